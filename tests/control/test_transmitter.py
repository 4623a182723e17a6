"""L5 part by part: virtual contacts at every level, the signal, a level that stands still, and floats that disagree."""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.timers import Timers
from duplexsump.control.transmitter import Transmitter

HEIGHT_MM = {0: 150, 1: 300, 2: 450}  # of off, lead and lag; multiples of a level step, so that the edge itself is met
GAP_MM = 80


class Bench:
    """A transmitter with its timers; `go` is one step."""

    def __init__(self, fitted=8, fitted_at_all=1):
        values = s.defaults()
        values[s.TRANSMITTER], values[s.FITTED], values[s.LEVEL_GAP_MM] = fitted_at_all, fitted, GAP_MM
        for i, mm in HEIGHT_MM.items():
            values[s.LEVEL_OFF_MM + i] = mm
        self.timers = Timers()
        self.t = Transmitter(values, self.timers)
        self.inputs = [0] * r.N_INPUTS
        self.now = 0

    def go(self, ms=0, signal=r.TRANSMITTER_OK, proved=True, moved=0, level_mm=0, wet=0, fell=0):
        self.now += ms
        self.timers.expire(self.now)
        self.inputs[r.IN_TRANSMITTER], self.inputs[r.IN_MOVED] = signal, moved
        self.inputs[r.IN_LEVEL] = level_mm // 10
        self.t.step(self.inputs, proved, wet, fell)
        return self.t.failed()


@pytest.mark.parametrize("fitted", range(8, 16))
def test_l5_the_transmitter_stands_for_each_contact_that_is_no_float(fitted):
    bench = Bench(fitted)
    for level_mm in range(0, 700, 10):
        bench.inputs[r.IN_LEVEL] = level_mm // 10
        wanted = sum(1 << i for i in range(3) if not fitted & (1 << i) and level_mm >= HEIGHT_MM[i])
        assert bench.t.contacts(bench.inputs) == wanted, level_mm
    bench = Bench(fitted, fitted_at_all=0)
    bench.inputs[r.IN_LEVEL] = 100
    assert (bench.t.virtual, bench.t.contacts(bench.inputs)) == (0, 0)


@pytest.mark.parametrize("signal", [r.TRANSMITTER_LOW, r.TRANSMITTER_HIGH])
def test_l5_a_signal_out_of_range_for_two_seconds_has_failed_and_recovers_at_once(signal):
    bench = Bench()
    assert not bench.go()
    assert not bench.go(100, signal)
    assert not bench.go(1900, signal)
    assert not bench.go(100), "a break, and the two seconds begin anew"
    assert not bench.go(100, signal)
    assert not bench.go(1900, signal)
    assert bench.go(100, signal)
    assert bench.go(50_000, signal)
    assert not bench.go(100)


def test_l5_a_level_that_stands_still_over_a_start_and_two_looks_of_proved_running_has_failed():
    bench = Bench()
    bench.t.watch()
    assert not bench.go(0)
    assert not bench.go(14_900)
    assert bench.t.doubted == 0
    assert not bench.go(100)
    assert bench.t.doubted == 1, "the first look: the other pump may tell"
    assert bench.timers.left_ms(tm.FROZEN) == 15_000, "whenever the next step comes"
    assert not bench.go(14_900)
    assert bench.go(100)
    assert (bench.t.watching, bench.t.doubted) == (0, 0), "one verdict for one start"
    bench.t.reset()
    assert not bench.t.failed()
    assert not bench.go(100_000)
    assert not bench.go(100_000), "until the next start there is nothing to judge"
    bench.t.watch()
    assert not bench.go(100)
    assert not bench.go(15_000)
    assert bench.go(15_000)
    assert not bench.go(100, moved=1), "a level that moves is alive"


def test_l5_a_second_start_begins_its_look_anew_and_leaves_one_where_the_level_stood_before():
    bench = Bench()
    bench.t.watch()
    bench.go(0)
    assert not bench.go(14_000)
    bench.t.watch()
    assert not bench.go(100)
    assert not bench.go(14_900)
    assert bench.t.doubted == 0
    assert not bench.go(100)
    assert bench.t.doubted == 1
    assert not bench.go(14_000)
    bench.t.watch()
    assert bench.t.doubted == 2, "the other pump has started"
    assert not bench.go(100)
    assert not bench.go(14_900)
    assert bench.go(100)


@pytest.mark.parametrize("end", ["moved", "reset"])
def test_l5_a_doubt_ends_when_the_level_moves_and_at_a_reset(end):
    bench = Bench()
    bench.t.watch()
    bench.go(0)
    bench.go(15_000)
    assert bench.t.doubted == 1
    if end == "moved":
        bench.go(100, moved=1)
    else:
        bench.t.reset()
    assert bench.t.doubted == 0
    bench.t.watch()
    bench.go(100)
    assert not bench.go(15_000), "the next start has two looks again"
    assert bench.t.doubted == 1


@pytest.mark.parametrize("changes", [{"proved": False}, {"signal": r.TRANSMITTER_LOW}, {"moved": 1}])
def test_l5_nothing_is_judged_of_a_pump_not_proved_a_signal_out_of_range_or_a_level_that_moved(changes):
    bench = Bench()
    bench.t.watch()
    bench.go(0, **changes)
    bench.go(1000, **changes)
    bench.go(60_000, **changes)
    assert not bench.t.frozen and not bench.t.doubted
    assert bench.t.watching == ("moved" not in changes)
    bench.go(100)
    bench.go(15_000)
    assert not bench.go(14_900) or "signal" in changes
    assert not bench.t.frozen
    bench.go(100)
    assert bench.t.frozen == ("moved" not in changes)


def test_l5_a_level_that_stays_within_its_step_over_thirty_seconds_of_proved_running_after_high_fell_has_failed():
    bench = Bench()
    bench.go(moved=1, level_mm=610)
    assert not bench.go(100_000, moved=1, level_mm=610), "a level may stand: inflow and pumps may be equal"
    bench.go(0, moved=1, level_mm=610, fell=r.HIGH)
    assert not bench.go(29_900, moved=1, level_mm=610)
    assert bench.go(100, moved=1, level_mm=610), "it moved once after the start, and no more"
    assert not bench.t.watching, "one verdict for one fall"
    assert bench.go(100, moved=1, level_mm=610)
    assert bench.go(40_000, moved=1, level_mm=610), "and it stands while the level does"
    bench.t.watch()
    assert bench.go(100, moved=0, level_mm=610)
    assert bench.go(100, moved=1, level_mm=615), "a step is asked for"
    assert not bench.go(100, moved=1, level_mm=600)
    assert not bench.go(100_000, moved=1, level_mm=600)


@pytest.mark.parametrize(("fell", "later_mm", "proved"), [
    (r.HIGH, 600, True), (r.HIGH, 620, True), (r.HIGH, 610, False), (r.LAG, 610, True), (0, 610, True)])
def test_l5_a_level_that_moves_on_a_pump_not_proved_or_the_fall_of_another_contact_tells_of_no_failure(
        fell, later_mm, proved):
    bench = Bench()
    bench.go(0, moved=1, level_mm=610, proved=proved, fell=fell)
    bench.go(20_000, moved=1, level_mm=later_mm, proved=proved)
    assert not bench.go(20_000, moved=1, level_mm=later_mm, proved=proved)
    assert not bench.go(60_000, moved=1, level_mm=610, proved=proved)
    assert bench.t.watching == (2 if fell and not proved else 0)


def test_l5_a_start_after_high_fell_and_a_fall_after_a_start_begin_the_thirty_seconds_anew():
    bench = Bench()
    bench.go(0, moved=1, level_mm=610, fell=r.HIGH)
    bench.go(20_000, moved=1, level_mm=610)
    bench.t.watch()
    assert not bench.go(20_000, moved=0, level_mm=600), "from here on it is the movement since the start"
    assert not bench.go(10_000, moved=0, level_mm=600, fell=r.HIGH)
    assert not bench.go(29_900, moved=1, level_mm=600)
    assert bench.go(100, moved=1, level_mm=600)
    assert bench.t.doubted == 0, "a fall has one look"
    bench.t.reset()
    assert not bench.t.failed()


def test_l5_without_a_transmitter_nothing_is_watched():
    bench = Bench(15, fitted_at_all=0)
    bench.t.watch()
    assert bench.t.watching == 0
    bench.go(0, r.TRANSMITTER_LOW, level_mm=900, fell=r.HIGH)
    assert bench.t.watching == 0
    assert not bench.go(100_000, r.TRANSMITTER_LOW, level_mm=900)
    assert not bench.t.apart
    assert not any(bench.timers.running(i) for i in range(tm.N_TIMERS))


@pytest.mark.parametrize("fitted", range(8, 16))
def test_l5_a_float_and_the_level_differ_by_more_than_level_gap(fitted):
    bench = Bench(fitted)
    floats = [i for i in range(3) if fitted & (1 << i)]
    for level_mm in range(0, 700, 10):
        for wet in range(16):
            below = any(wet & (1 << i) and level_mm < HEIGHT_MM[i] - GAP_MM for i in floats)
            above = any(not wet & (1 << i) and level_mm > HEIGHT_MM[i] + GAP_MM for i in floats)
            bench.t.apart = True  # they have been apart for long enough: together they are at once
            bench.go(level_mm=level_mm, wet=wet)
            assert bench.t.apart == (below or above), (level_mm, wet)
            bench.t.apart = bench.t.bad = True
            bench.go(level_mm=level_mm, wet=wet, signal=r.TRANSMITTER_LOW)
            assert not bench.t.apart, "the floats rule, and the signal is known to be false"


def test_l5_floats_and_transmitter_are_apart_after_sequence_time_and_together_at_once():
    bench = Bench(15)
    bench.go(0, level_mm=500, wet=0)
    bench.go(19_900, level_mm=500, wet=0)
    assert not bench.t.apart
    bench.go(100, level_mm=500, wet=0)
    assert bench.t.apart
    bench.go(100, level_mm=500, wet=7)
    assert not bench.t.apart
    assert not bench.t.failed(), "the floats have rules of their own"
