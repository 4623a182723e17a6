"""M1 for each selector alike: what OFF, HAND and AUTO mean, when HAND ends, and what a move forgets."""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.selector import Selectors
from duplexsump.control.timers import Timers

AUTO, OFF, HAND = r.SELECT_AUTO, r.SELECT_OFF, r.SELECT_HAND
LIMIT_MS = 300_000


class Bench:
    """Two selectors with a clock; `go` is one step."""

    def __init__(self, *at):
        self.timers = Timers()
        self.sel = Selectors(s.defaults(), self.timers)
        self.inputs = [0] * r.N_INPUTS
        self.now = 0
        self.turn(*at)
        self.sel.begin(self.inputs)

    def turn(self, *at):
        self.inputs[r.IN_SELECTOR_1], self.inputs[r.IN_SELECTOR_2] = at

    def go(self, ms=0, out=0, dry=0, wet=0):
        self.now += ms
        self.timers.expire(self.now)
        self.sel.step(self.inputs, out, dry, wet)
        return self.sel


@pytest.fixture(params=[0, 1], ids=["pump 1", "pump 2"])
def n(request):
    return request.param


def one(n, position, other=AUTO):
    return (position, other) if n == 0 else (other, position)


def test_m1_each_position_means_one_thing_for_its_own_pump(n):
    sel = Bench(AUTO, AUTO).sel
    for position in (AUTO, OFF, HAND):
        for other in (AUTO, OFF, HAND):
            sel.at = list(one(n, position, other))
            assert (sel.off(n), sel.hand(n), sel.auto(n)) == (position == OFF, position == HAND, position == AUTO)


def test_m1_hand_at_power_up_is_auto_until_that_selector_is_moved(n):
    bench = Bench(*one(n, HAND))
    assert bench.sel.spent == 1 << n
    assert bench.sel.auto(n) and not bench.sel.hand(n)
    bench.turn(*one(n, HAND, OFF))
    assert bench.go(100).spent == 1 << n, "the other one's move is not this one's"
    bench.turn(*one(n, AUTO))
    bench.go(100)
    bench.turn(*one(n, HAND))
    assert bench.go(100).hand(n)


def test_m1_a_power_up_in_auto_or_off_leaves_nothing_spent():
    for at in ((AUTO, OFF), (OFF, AUTO)):
        bench = Bench(*at)
        assert bench.sel.spent == 0
        assert bench.sel.at == list(at)
    bench.sel.spent = 3
    bench.sel.begin(bench.inputs)
    assert bench.sel.spent == 0


def test_r4_leaving_off_is_told_for_one_step_and_leaving_anything_else_is_not(n):
    bench = Bench(*one(n, OFF))
    bench.turn(*one(n, AUTO))
    assert bench.go(100).returned == 1 << n
    assert bench.go(100).returned == 0
    for position in (HAND, AUTO, OFF):
        bench.turn(*one(n, position))
        assert bench.go(100).returned == 0, position


def test_m1_hand_lasts_for_hand_limit_of_running_and_is_then_auto(n):
    bench = Bench(AUTO, AUTO)
    bench.turn(*one(n, HAND))
    assert not bench.go(100, out=0).overrun
    bench.go(LIMIT_MS, out=2 >> n, wet=r.OFF)  # the other pump's running is no running of this one
    assert bench.sel.hand(n)
    bench.go(100, out=1 << n, wet=r.OFF)
    bench.go(LIMIT_MS - 100, out=1 << n, wet=r.OFF)
    assert bench.sel.hand(n)
    bench.go(100, out=1 << n, wet=r.OFF)
    assert (bench.sel.overrun, bench.sel.spent) == (1 << n, 1 << n)
    assert bench.sel.auto(n)
    bench.turn(*one(n, AUTO))
    assert (bench.go(100).overrun, bench.sel.spent) == (0, 0), "a move forgets it"


@pytest.mark.parametrize("sensing", [s.SENSE_NOTHING, s.SENSE_FEEDBACK, s.SENSE_CURRENT])
def test_m1_by_hand_with_nothing_wet_and_no_current_sensed_it_lasts_for_blind_run(n, sensing):
    bench = Bench(AUTO, AUTO)
    bench.sel.settings[s.SENSING] = sensing
    blind_ms = bench.sel.settings[s.BLIND_RUN_MS]
    bench.turn(*one(n, HAND))
    bench.go(100, out=1 << n)
    bench.go(blind_ms - 100, out=1 << n)
    assert bench.sel.hand(n)
    bench.go(0, out=1 << n, wet=r.OFF)  # something vouches for water: the time begins anew
    bench.go(100, out=2 >> n)
    bench.go(blind_ms, out=2 >> n)  # the other pump's running is no running of this one
    bench.go(100, out=1 << n)
    bench.go(blind_ms - 100, out=1 << n)
    assert bench.sel.hand(n)
    bench.go(100, out=1 << n)
    by_current = sensing == s.SENSE_CURRENT
    assert (bench.sel.hand(n), bench.sel.overrun) == (by_current, 0)
    assert not bench.timers.running(tm.HAND_DRY + n)


def test_m1_two_in_hand_are_each_limited_and_each_forgotten():
    bench = Bench(AUTO, AUTO)
    bench.turn(HAND, HAND)
    bench.go(100, out=3)
    assert bench.go(LIMIT_MS, out=3).overrun == 3
    bench.turn(HAND, AUTO)
    assert (bench.go(100).overrun, bench.sel.spent) == (1, 1)
    bench.turn(AUTO, AUTO)
    assert (bench.go(100).overrun, bench.sel.spent) == (0, 0)


def test_m1_a_run_in_auto_is_never_limited(n):
    bench = Bench(AUTO, AUTO)
    bench.go(100, out=1 << n)
    assert (bench.go(2 * LIMIT_MS, out=1 << n).overrun, bench.sel.spent) == (0, 0)


@pytest.mark.parametrize(("out", "dry", "wet", "ends"), [
    (1, 1, 0, True), (1, 1, r.OFF | r.LAG, True), (1, 1, r.LEAD, False), (0, 1, 0, False), (1, 0, 0, False),
])  # fmt: skip
def test_m1_underload_ends_hand_with_lead_dry_and_the_pump_on(n, out, dry, wet, ends):
    bench = Bench(AUTO, AUTO)
    bench.turn(*one(n, HAND))
    bench.go(100)
    assert bench.go(100, out=out << n, dry=dry << n, wet=wet).spent == (1 << n if ends else 0)
    assert bench.sel.overrun == 0
    auto = Bench(AUTO, AUTO)
    assert auto.go(100, out=out << n, dry=dry << n, wet=wet).spent == 0, "in AUTO there is no HAND to end"


def test_m1_underload_of_a_pump_in_auto_is_no_end_of_the_other_ones_hand(n):
    bench = Bench(AUTO, AUTO)
    bench.turn(*one(n, HAND))
    bench.go(100)
    assert bench.go(100, out=3, dry=3).spent == 1 << n
    assert bench.go(100, out=3, dry=2 >> n).spent == 1 << n


@pytest.mark.parametrize("position", [OFF, HAND])
def test_m1_out_of_auto_is_told_after_thirty_minutes_and_again_after_a_day(n, position):
    bench = Bench(AUTO, AUTO)
    bench.turn(*one(n, position))
    bench.go(0)
    bench.go(1_799_900)
    assert (bool(bench.sel.away), bool(bench.sel.away_long)) == (False, False)
    bench.go(100)
    assert (bool(bench.sel.away), bool(bench.sel.away_long)) == (True, False)
    bench.go(86_400_000 - 1_800_000)
    assert (bool(bench.sel.away), bool(bench.sel.away_long)) == (True, True)
    bench.turn(AUTO, AUTO)
    bench.go(100)
    assert (bool(bench.sel.away), bool(bench.sel.away_long)) == (False, False)


def test_m1_a_run_by_hand_that_nothing_vouches_for_ends_after_blind_run_of_its_own(n):
    bench = Bench(AUTO, AUTO)
    bench.turn(*one(n, HAND))
    bench.go(0)
    bench.go(100, out=1 << n)
    assert [bench.timers.running(tm.HAND_DRY + i) for i in range(2)] == [i == n for i in range(2)]
    bench.go(34_900, out=1 << n)
    assert bench.sel.spent == 0
    bench.go(50, out=1 << n, wet=r.OFF)
    assert not bench.timers.running(tm.HAND_DRY + n), "a contact vouches for water"
    bench.go(50, out=1 << n)
    bench.go(34_900, out=1 << n)
    assert bench.sel.spent == 0, "and it counts from the beginning"
    bench.go(100, out=1 << n)
    assert bench.sel.spent == 1 << n
