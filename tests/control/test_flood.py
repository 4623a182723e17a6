"""R3 rung by rung: when a try is owed, who gets it, and what takes it away.  Both pumps alike."""

import pytest
from duplexsump.control import pump as pm
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.controller import Controller
from duplexsump.control.flood import FloodRetries
from duplexsump.control.pump import Pump
from duplexsump.control.timers import Timers

from tests.rig import WITH_CURRENT, ready

WET = r.LEAD | r.LAG | r.HIGH


class Bench:
    """Flood retries over two pumps that are out; `tick` is the end of a step, `at` the next one."""

    def __init__(self, states=(pm.RETRY, pm.LOCKED), retry_ms=120_000):
        self.timers = Timers()
        values = s.defaults()
        values[s.FLOOD_RETRY_MS] = retry_ms
        self.pumps = [Pump(n, values, self.timers) for n in range(2)]
        for pump, state in zip(self.pumps, states, strict=True):
            pump.state = state
        self.f = FloodRetries(values, self.timers, self.pumps)
        self.now = 0

    def tick(self, wet=WET, out=0, ready=0):
        self.f.count(wet & r.HIGH, out, ready)
        return self.timers.left_ms(tm.FLOOD_TRY) if self.timers.running(tm.FLOOD_TRY) else None

    def at(self, ms, wet=WET, barred=0):
        self.now = ms
        self.timers.expire(ms)
        self.f.step(wet & r.HIGH, barred)
        return [pump.trial for pump in self.pumps]

    def try_runs(self, out=0, **_):
        """What is on, is in a try."""
        for k, pump in enumerate(self.pumps):
            pump.held = pump.state if out >> k & 1 else 0

    def taken(self):
        """The granted try was taken and has failed."""
        for pump in self.pumps:
            pump.trial = 0


@pytest.fixture(params=[0, 1], ids=["pump 1", "pump 2"])
def n(request):
    return request.param


def test_as_built_no_try_is_owed_and_pump_1_comes_first():
    f = Bench().f
    assert (f.rung, f.turn, f.second, f.aside, f.overloads) == (0, 0, 0, 0, [0, 0])


@pytest.mark.parametrize("wet", [WET, r.HIGH])
@pytest.mark.parametrize(("turn", "retry_ms"), [(0, 120_000), (1, 120_000), (0, 300_000)])
def test_r3_at_each_time_both_are_tried_one_after_the_other(wet, turn, retry_ms):
    bench, now = Bench(retry_ms=retry_ms), 0
    bench.f.turn = turn
    for k, step in enumerate((10_000, 30_000, 60_000, retry_ms, retry_ms)):
        first = turn ^ (k & 1)
        for wait, n in ((step, first), (1_000, 1 - first)):
            assert bench.tick(wet) == wait
            assert bench.at(now + wait - 100, wet) == [0, 0]
            now += wait
            assert bench.at(now, wet) == [pm.FLOOD_TRIAL * (i == n) for i in range(2)]
            assert bench.tick(wet) is None, "one try at a time"
            bench.taken()
        assert bench.f.rung == min(k + 1, 3), "no rung above the last"


@pytest.mark.parametrize("wet", [0, r.LEAD, r.LEAD | r.LAG])
def test_r3_below_high_no_try_is_owed(wet):
    bench = Bench()
    assert bench.tick(wet) is None
    assert bench.at(700_000, wet) == [0, 0]


@pytest.mark.parametrize("changes", [{"out": 1}, {"out": 2}, {"ready": 1}, {"ready": 2}])
def test_r3_while_a_pump_runs_or_is_ready_in_the_usual_way_no_try_is_owed(changes):
    bench = Bench()
    bench.tick()
    bench.try_runs(**changes)
    assert bench.tick(**changes) is None
    assert bench.at(20_000) == [0, 0]


def test_r3_a_try_that_runs_does_not_start_the_ladder_anew():
    bench = Bench()
    bench.tick()
    bench.at(10_000)
    bench.taken()
    bench.try_runs(1)
    bench.tick(out=1)
    assert (bench.f.rung, bench.f.second) == (0, 1)
    bench.try_runs()
    assert bench.tick() == 1_000
    bench.at(11_000)
    bench.taken()
    bench.try_runs(2)
    bench.tick(out=2)
    assert (bench.f.rung, bench.f.second) == (1, 0)
    bench.try_runs()
    assert bench.tick() == 30_000


@pytest.mark.parametrize("changes", [{"ready": 1}, {"wet": r.LEAD | r.LAG}])
def test_r3_a_pump_that_is_ready_or_water_that_is_down_starts_the_ladder_anew(changes):
    bench = Bench()
    bench.tick()
    bench.at(10_000)
    bench.f.rung = 2
    bench.pumps[1].trial = pm.BOOT_TRIAL
    bench.tick(**changes)
    assert [pump.trial for pump in bench.pumps] == [0, pm.BOOT_TRIAL], "the try of a power-up is not R3's to take"
    bench.taken()
    assert (bench.f.rung, bench.f.second) == (0, 0)
    assert bench.tick() == 10_000


@pytest.mark.parametrize("wet", [0, r.LEAD | r.LAG])
def test_r3_a_try_that_is_due_needs_high_still_wet(wet):
    bench = Bench()
    step = bench.tick()
    assert bench.at(step, wet) == [0, 0]


@pytest.mark.parametrize("jams", [1, 2, 3])
def test_r3_of_two_that_are_out_a_jammed_one_is_tried_last_and_two_jammed_ones_by_turns(jams):
    bench, now, tries = Bench(), 0, []
    for n in range(2):
        bench.pumps[n].cause = pm.OVERLOAD if jams & (1 << n) else pm.FAILED_START
    while bench.f.rung < 3:
        wait = bench.tick()
        now += wait
        tries += [(wait, k) for k, trial in enumerate(bench.at(now)) if trial]
        bench.taken()
    if jams == 3:
        assert tries == [(10_000, 0), (30_000, 1), (60_000, 0)]
    else:
        good, jammed = (1, 0) if jams == 1 else (0, 1)
        assert tries == [each for step in (10_000, 30_000, 60_000) for each in ((step, good), (1_000, jammed))]


def test_r3_nothing_is_granted_before_its_time():
    bench = Bench()
    bench.tick()
    assert bench.at(9_900) == [0, 0]
    assert bench.f.rung == 0


def test_r3_one_that_is_barred_leaves_its_try_to_the_other(n):
    bench = Bench()
    bench.f.turn = n
    bench.tick()
    granted = bench.at(10_000, barred=1 << n)
    assert granted == [pm.FLOOD_TRIAL * (k == 1 - n) for k in range(2)]
    assert bench.f.turn == n, "its turn is next"
    assert bench.tick() is None
    bench.taken()
    assert (bench.f.rung, bench.f.second) == (1, 0)
    assert bench.tick() == 30_000, "and is not tried twice for the one that cannot be"


def test_r3_one_that_is_barred_by_the_time_of_its_try_is_passed_over(n):
    bench = Bench()
    bench.f.turn = 1 - n
    bench.tick()
    bench.at(10_000)
    bench.taken()
    assert bench.tick() == 1_000
    assert bench.at(11_000, barred=1 << n) == [0, 0]
    assert (bench.f.rung, bench.f.second, bench.f.turn) == (1, 0, n)
    assert bench.timers.left_ms(tm.FLOOD_TRY) == 30_000


def test_r3_with_both_barred_the_times_do_not_grow():
    # A motor whose thermal contact closes after seven minutes of high water is tried within 10 s, not within 2 min.
    bench = Bench()
    bench.tick()
    assert bench.at(10_000, barred=3) == [0, 0]
    assert bench.timers.left_ms(tm.FLOOD_TRY) == 10_000
    assert bench.f.turn == 0


@pytest.mark.parametrize("state", [pm.IDLE, pm.STARTING, pm.RUNNING])
def test_r3_a_pump_that_is_not_out_needs_no_try(n, state):
    bench = Bench((state, pm.RETRY) if n == 0 else (pm.RETRY, state))
    bench.f.turn = n
    bench.tick()
    assert bench.at(10_000)[n] == 0
    assert bench.pumps[1 - n].trial == pm.FLOOD_TRIAL


def test_r3_after_an_overcurrent_three_tries_an_hour_and_the_other_is_not_held_back(n):
    bench = Bench()
    bench.pumps[n].cause = pm.OVERLOAD
    tries, now = [], 0
    for _ in range(60):
        now += bench.tick()
        granted = bench.at(now)
        tries += [(now, k) for k in range(2) if granted[k]]
        bench.taken()
    mine = [at for at, k in tries if k == n]
    assert len(mine) >= 5
    for first, fourth in zip(mine, mine[3:], strict=False):
        assert fourth - first >= 3_600_000 - 1, (first, fourth)
    others = [at for at, k in tries if k != n]
    assert max(b - a for a, b in zip(others, others[1:], strict=False)) <= 240_000
    assert bench.f.overloads[1 - n] == 0


def test_r3_the_hour_after_an_overcurrent_begins_with_each_try(n):
    bench = Bench()
    bench.pumps[n].cause = pm.OVERLOAD
    bench.f.turn = n
    bench.tick()
    assert bench.at(10_000, barred=2 >> n)[n] == pm.FLOOD_TRIAL
    assert bench.timers.left_ms(tm.OVER_HOUR + n) == 60 * 60 * 1000
    assert not bench.timers.running(tm.OVER_HOUR + 1 - n)


def test_r3_the_tries_after_an_overcurrent_are_counted_anew_after_an_hour(n):
    bench = Bench()
    bench.pumps[n].cause = pm.OVERLOAD
    bench.f.overloads = [2, 2]
    bench.timers.arm(tm.OVER_HOUR + n, 3_600_000)
    bench.at(3_599_900)
    assert bench.f.overloads == [2, 2]
    bench.at(3_600_000)
    assert bench.f.overloads == [2 * (n == 1), 2 * (n == 0)]


def test_r3_the_end_of_a_run_by_hand_is_none_of_its_business():
    bench = Bench()
    bench.f.overloads = [2, 2]
    for timer in (tm.HAND, tm.HAND + 1):
        bench.timers.arm(timer, 100)
    assert bench.at(100) == [0, 0]
    assert bench.f.overloads == [2, 2]


@pytest.mark.parametrize("barred", range(4))
@pytest.mark.parametrize("trial", [0, pm.BOOT_TRIAL, pm.FLOOD_TRIAL])
def test_r3_a_try_that_its_pump_cannot_use_is_taken_back_and_no_other(barred, trial):
    bench = Bench()
    for pump in bench.pumps:
        pump.trial = trial
    taken = [trial == pm.FLOOD_TRIAL and bool(barred & (1 << n)) for n in range(2)]
    assert bench.at(100, barred=barred) == [0 if taken[n] else trial for n in range(2)]


@pytest.mark.parametrize("changes", [{"out": 1}, {"out": 2}, {"ready": 1}, {"wet": r.LEAD}, {"wet": 0}])
@pytest.mark.parametrize("rung", [0, 2])
def test_r3_what_ends_the_wait_stops_its_timer(changes, rung):
    bench = Bench()
    bench.f.rung = rung
    bench.tick()
    assert bench.timers.running(tm.FLOOD_TRY)
    bench.try_runs(**changes)
    bench.tick(**changes)
    assert not bench.timers.running(tm.FLOOD_TRY)


def test_r3_water_that_falls_below_high_during_a_try_begins_the_ladder_anew():
    bench = Bench()
    for _ in range(8):
        bench.at(bench.now + bench.tick())
        bench.taken()
    assert bench.f.rung == 3
    bench.try_runs(1)
    assert bench.tick(out=1) is None
    assert bench.tick(r.LAG, out=1) is None
    bench.try_runs()
    assert bench.tick() == 10_000


def beside(n, state=pm.RETRY):
    """Pump n (0 or 1) runs in no try, the other is out."""
    bench = Bench((state, state))
    bench.pumps[n].state = pm.RUNNING
    return bench


def test_r3_one_that_is_out_is_tried_beside_one_that_runs_with_high_wet(n):
    for state in (pm.RETRY, pm.LOCKED):
        bench, now = beside(n, state), 0
        for k, step in enumerate((10_000, 30_000, 60_000, 120_000, 120_000)):
            assert bench.tick(out=1 << n, ready=1 << n) == step
            now += step
            assert bench.at(now) == [pm.FLOOD_TRIAL * (i != n) for i in range(2)]
            assert bench.tick(out=1 << n, ready=1 << n) is None, "one try at a time"
            bench.taken()
            bench.pumps[1 - n].held, bench.pumps[1 - n].state = state, pm.STARTING
            assert bench.tick(out=3, ready=1 << n) is None
            assert (bench.f.rung, bench.f.second) == (min(k + 1, 3), 0), "the try does not end the ladder"
            bench.pumps[1 - n].held, bench.pumps[1 - n].state = 0, state


@pytest.mark.parametrize("state", [pm.RETRY, pm.LOCKED])
def test_r3_when_the_run_beside_which_it_was_tried_trips_the_times_begin_anew(n, state):
    # Night 67 of seed 10, currents stuck: with high wet nothing ran for 27 s, and might not have for two minutes.
    bench, now = beside(n), 0
    for step in (10_000, 30_000, 60_000):
        assert bench.tick(out=1 << n, ready=1 << n) == step
        now += step
        bench.at(now)
        bench.taken()
    assert bench.tick(out=1 << n, ready=1 << n) == 120_000
    assert bench.f.aside == 1
    bench.at(now + 5_000)
    bench.pumps[n].state = state
    assert bench.tick() == 10_000
    bench.at(now + 6_000)
    assert bench.tick() == 9_000, "once"
    bench.at(now + 15_000)
    bench.taken()
    bench.at(now + 15_000 + bench.tick())
    bench.taken()
    assert bench.tick() == 30_000, "and grow again"


def test_r3_when_it_trips_while_the_try_beside_it_runs_they_begin_anew_after_that(n):
    bench = beside(n)
    bench.tick(out=1 << n, ready=1 << n)
    bench.f.rung = 3
    bench.at(10_000)
    bench.taken()
    other = bench.pumps[1 - n]
    other.held, other.state = pm.RETRY, pm.STARTING
    assert bench.tick(out=3, ready=1 << n) is None
    bench.pumps[n].state = pm.LOCKED
    assert bench.tick(out=2 >> n) is None
    other.held, other.state = 0, pm.LOCKED
    assert bench.tick() == 10_000


@pytest.mark.parametrize("wet", [0, r.LEAD, r.LEAD | r.LAG])
def test_r3_below_high_none_is_tried_beside_one_that_runs(n, wet):
    assert beside(n).tick(wet, out=1 << n, ready=1 << n) is None


@pytest.mark.parametrize(("wet", "out", "other"), [
    (r.LEAD | r.LAG, 3, pm.RUNNING), (WET, 1, pm.IDLE),
])  # fmt: skip
def test_r3_a_try_below_high_or_with_the_other_ready_and_not_running_ends_the_ladder(wet, out, other):
    bench = Bench((pm.STARTING, other))
    bench.pumps[0].held = pm.RETRY
    bench.f.rung = 2
    assert bench.tick(wet, out=out, ready=2) is None
    assert bench.f.rung == 0


def test_r3_while_both_run_or_neither_is_out_no_try_is_owed_beside(n):
    bench = Bench((pm.RUNNING, pm.RUNNING))
    bench.f.rung = 2
    for out in (3, 1 << n):
        assert bench.tick(out=out, ready=3) is None
        assert bench.f.rung == 0


def test_i6_a_pump_switched_off_before_it_took_its_try_does_not_hold_up_the_other():
    rig = ready(sensing=WITH_CURRENT, flood_min_off=20_000)
    rig.load = ["none", "none"]
    rig.fill("off", "lead", "lag", "high")
    rig.run_until(lambda rig: any(pump.trial for pump in rig.c.pumps), 60.0)
    assert rig.c.pumps[0].trial
    rig.set(selector_1="off")
    began = rig.t
    rig.run(200.0)
    assert rig.starts(2, began)
    assert rig.starts(2, began)[0] - began <= 60.3


# A run beside which the other waits for its try ----------------------------------------------------


@pytest.mark.parametrize(("ran_ms", "left_ms"), [(8_300, 1_700), (9_900, 100), (100, 9_900)])
def test_r3_a_try_that_was_to_come_soon_still_does_when_the_run_beside_it_trips(n, ran_ms, left_ms):
    # Night 55 of seed 9822, class below_0.9: one pump locked by air, the other's sensor bad; the floor got wet while
    # the first try, due in 1.7 s, waited for 10 s more.
    bench = beside(n)
    bench.f.turn = n
    assert bench.tick(out=1 << n, ready=1 << n) == 10_000
    bench.at(ran_ms)
    bench.pumps[n].state = pm.RETRY
    bench.timers.arm(tm.REST_FLOOD + n, 10_000)
    assert bench.tick() == left_ms
    assert (bench.f.rung, bench.f.aside) == (0, 0)
    assert bench.at(10_000) == [pm.FLOOD_TRIAL * (k != n) for k in range(2)], "not the one that still rests"


def test_r3_a_try_granted_and_not_yet_taken_when_the_run_beside_it_trips_is_the_only_one(n):
    bench = beside(n)
    bench.tick(out=1 << n, ready=1 << n)
    assert bench.at(10_000)[1 - n] == pm.FLOOD_TRIAL
    bench.pumps[n].state = pm.RETRY
    assert bench.tick() is None


def test_r3_a_pump_that_is_ready_after_all_takes_the_try_away(n):
    bench = beside(n)
    bench.tick(out=1 << n, ready=1 << n)
    bench.at(8_300)
    bench.pumps[n].state = pm.IDLE
    assert bench.tick(ready=1 << n) is None
    assert (bench.f.rung, bench.f.aside) == (0, 0)


@pytest.mark.parametrize("jams", range(4))
@pytest.mark.parametrize("rests", range(4))
def test_r3_who_is_jammed_waits_for_who_is_not_and_who_rests_for_who_does_not(n, jams, rests):
    bench = Bench()
    bench.f.turn = n
    for k, pump in enumerate(bench.pumps):
        pump.cause = pm.OVERLOAD if jams >> k & 1 else pm.FAILED_START
    bench.tick()
    for k in range(2):
        if rests >> k & 1:
            bench.timers.arm(tm.REST_FLOOD + k, 20_000)
    mine, other = [(jams >> k & 1, rests >> k & 1) for k in (n, 1 - n)]
    first = 1 - n if mine > other else n
    assert bench.at(10_000) == [pm.FLOOD_TRIAL * (k == first) for k in range(2)]


# With a controller round it ------------------------------------------------------------------------


def test_r3_with_every_pump_barred_the_try_waits_for_its_next_turn():
    rig = ready()
    for each in rig.c.pumps:
        each.state = pm.RETRY
    rig.c.timers.rang[tm.FLOOD_TRY] = True
    rig.c.flood.step(r.HIGH, 3)
    assert [each.trial for each in rig.c.pumps] == [0, 0]
    assert rig.c.timers.left_ms(tm.FLOOD_TRY) == 10_000


def test_r3_a_try_not_yet_taken_is_withdrawn_when_the_water_is_down():
    c = Controller(s.defaults())
    c.pumps[0].state, c.pumps[0].trial = pm.RETRY, pm.FLOOD_TRIAL
    c.pumps[1].state, c.pumps[1].trial = pm.LOCKED, pm.BOOT_TRIAL
    c.flood.rung = 2
    c.flood.count(0, 0, 0)
    assert [each.trial for each in c.pumps] == [0, pm.BOOT_TRIAL]
    assert c.flood.rung == 0
