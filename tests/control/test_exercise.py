"""D7 for each pump alike: when an exercise begins, what ends it, and how it is judged."""

import pytest
from duplexsump.control import exercise, pump
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.controller import Controller

from tests.rig import make_settings

WEEK_MIN = 7 * 1440
MOST_MIN = 1 << 29


class Bench:
    """The exercise with nothing round it but pumps and timers."""

    def __init__(self, **overrides):
        self.c = Controller(make_settings(**{"sensing": s.SENSE_CURRENT, **overrides}))
        self.e = self.c.exercise
        self.e.calm = True
        self.now = 0

    def go(self, ms=100, off_wet=1, available=3, out=0):
        self.now += ms
        self.c.timers.expire(self.now)
        self.e.step(off_wet, available, out)
        return self.e.who

    def begin(self, n, state=pump.RUNNING, loaded=1):
        """An exercise of pump `n` under way, its output on."""
        self.e.idle_min[n] = WEEK_MIN
        assert self.go() == n
        self.c.pumps[n].state, self.c.pumps[n].loaded = state, loaded
        self.go(out=1 << n)
        return self


@pytest.fixture(params=[0, 1], ids=["pump 1", "pump 2"])
def n(request):
    return request.param


def test_d7_it_begins_at_the_minute_the_pump_has_been_idle_for_seven_days(n):
    bench = Bench()
    bench.e.idle_min[n] = WEEK_MIN - 1
    assert bench.go() == -1
    bench.e.idle_min[n] = WEEK_MIN
    assert bench.go() == n
    assert bench.e.began == 0
    assert bench.e.tried == [0, 0], "counted when the output is on, not before"


@pytest.mark.parametrize("changes", [{"off_wet": 0}, {"available": 0}, {"out": 1}, {"out": 2}])
def test_d7_it_waits_for_water_a_pump_and_quiet(n, changes):
    bench = Bench()
    bench.e.idle_min[n] = WEEK_MIN
    running = changes.get("out") == 1 << n  # then it is no longer idle at all
    assert bench.go(**changes) == -1
    assert bench.go() == (-1 if running else n)


def test_d7_it_waits_for_calm_and_only_an_available_pump_is_taken(n):
    bench = Bench()
    bench.e.idle_min = [WEEK_MIN, WEEK_MIN]
    bench.e.calm = False
    assert bench.go() == -1
    bench.e.calm = True
    assert bench.go(available=1 << n) == n


def test_d7_of_two_that_are_due_the_first_goes_first_and_one_at_a_time():
    bench = Bench()
    bench.e.idle_min = [WEEK_MIN, WEEK_MIN]
    assert bench.go() == 0
    assert bench.go() == 0


def test_d7_it_lasts_for_exercise_run_from_the_output_on_and_passes(n):
    bench = Bench().begin(n)
    assert (bench.e.began, bench.e.tried[n]) == (1, 1)
    assert bench.c.timers.left_ms(tm.EXERCISE) == 10_000
    bench.e.failed = 3
    assert bench.go(9900, out=1 << n) == n
    assert bench.e.tried[n] == 1
    assert bench.go(100, out=1 << n) == -1
    assert (bench.e.passed[n], bench.e.passed[1 - n]) == (1, 0)
    assert bench.e.failed == 3 & ~(1 << n), "a pass forgets that pump's failure alone"
    assert bench.e.began == 0


@pytest.mark.parametrize("bad", ["not proved", "not loaded", "level stands"])
def test_d7_it_fails_where_the_start_the_current_or_the_level_was_not_right(n, bad):
    state = pump.STARTING if bad == "not proved" else pump.RUNNING
    bench = Bench().begin(n, state, 0 if bad == "not loaded" else 1)
    bench.e.level_fell = bad != "level stands"
    bench.e.idle_min[n] = 5
    assert bench.go(10_000, out=1 << n) == -1
    assert (bench.e.failed, bench.e.passed) == (1 << n, [0, 0])
    assert bench.e.idle_min[n] == 0, "the next one is a week away"
    assert not bench.c.timers.running(tm.EXERCISE)


def test_d7_without_current_sensing_the_load_is_not_asked_for(n):
    bench = Bench(sensing=s.SENSE_FEEDBACK).begin(n, loaded=0)
    bench.go(10_000, out=1 << n)
    assert bench.e.passed[n] == 1


def test_d7_the_time_counts_from_the_output_on_whatever_holds_it_off_before(n):
    bench = Bench()
    bench.e.idle_min[n] = WEEK_MIN
    for out in (0, 0, 2 >> n):
        assert bench.go(5000, out=out) == n
        assert (bench.e.began, bench.e.tried) == (0, [0, 0])
        assert not bench.c.timers.running(tm.EXERCISE)


@pytest.mark.parametrize("state", [pump.RETRY, pump.LOCKED])
def test_d7_a_pump_that_is_out_before_it_ran_has_failed_and_waits_a_week_for_the_next(n, state):
    bench = Bench()
    bench.e.idle_min[n] = WEEK_MIN
    bench.go()
    bench.c.pumps[n].state = state
    assert bench.go() == -1
    assert (bench.e.failed, bench.e.idle_min[n]) == (1 << n, 0)
    assert bench.go() == -1


@pytest.mark.parametrize("state", [pump.RETRY, pump.LOCKED])
def test_d7_a_pump_that_trips_has_failed_at_once(n, state):
    bench = Bench().begin(n)
    bench.c.pumps[n].state = state
    assert bench.go(out=0) == -1
    assert bench.e.failed == 1 << n
    assert not bench.c.timers.running(tm.EXERCISE)


@pytest.mark.parametrize(("off_wet", "calm", "available"), [(0, 1, 3), (1, 0, 3), (1, 0, 0)])
def test_d7_no_verdict_when_the_water_is_gone_or_asks_for_the_pumps_or_the_mains_is_lost(n, off_wet, calm, available):
    bench = Bench().begin(n)
    bench.e.calm = calm
    assert bench.go(off_wet=off_wet, out=1 << n, available=available) == -1
    assert (bench.e.failed, bench.e.passed, bench.e.began) == (0, [0, 0], 0)
    assert not bench.c.timers.running(tm.EXERCISE)


def test_d7_a_pump_that_is_lost_in_mid_run_has_failed_and_one_lost_before_it_ran_has_not(n):
    bench = Bench().begin(n)
    assert bench.go(out=1 << n, available=2 >> n) == -1
    assert (bench.e.failed, bench.e.idle_min[n], bench.e.flat) == (1 << n, 0, 0)
    bench = Bench()
    bench.e.idle_min[n] = WEEK_MIN
    assert bench.go() == n
    assert bench.go(available=2 >> n) == -1
    assert (bench.e.failed, bench.e.idle_min[n]) == (0, WEEK_MIN)


@pytest.mark.parametrize("battery", [r.BATTERY_GOOD, r.BATTERY_LOW, r.BATTERY_DEAD])
@pytest.mark.parametrize("drawing", range(4))
def test_a4_the_battery_is_judged_under_the_load_of_the_pump_exercised(n, drawing, battery):
    bench = Bench()
    bench.e.idle_min[n] = WEEK_MIN
    bench.e.drawing, bench.e.battery, bench.e.flat = drawing, battery, 0
    assert bench.go() == n, "not before the pump is on"
    assert (bench.go(), bench.e.flat) == (n, 0), "nor while it waits for its start"
    bench.c.pumps[n].state, bench.c.pumps[n].loaded = pump.RUNNING, 1
    bad = bool(drawing >> n & 1 and battery != r.BATTERY_GOOD)
    assert bench.go(out=1 << n) == (-1 if bad else n)
    assert (bench.e.flat, bench.e.failed) == (int(bad), 0), "the battery is blamed, and no pump"
    assert bench.e.verdicts[n] & 3 == (2 if bad else 0)
    if not bad:
        bench.e.flat = 1
        bench.go(10_000, out=1 << n)
        assert bench.e.flat == 1 - (drawing >> n & 1), "passed on the battery, it is good again"


@pytest.mark.parametrize("unfed", range(4))
def test_d7_an_exercise_that_cannot_begin_for_a_day_for_want_of_a_supply_is_the_battery_s_failure(n, unfed):
    bench = Bench()
    bench.e.unfed = unfed
    bench.e.idle_min[n] = WEEK_MIN + 1439
    assert bench.go(available=0) == -1
    assert bench.e.flat == 0
    bench.e.idle_min[n] += 1
    assert bench.go(available=0) == -1
    late = unfed >> n & 1
    assert (bench.e.flat, bench.e.failed) == (late, 0)
    assert (bench.e.idle_min[n], bench.e.verdicts[n] & 3) == ((0, 2) if late else (WEEK_MIN + 1440, 0))


def test_d7_idle_minutes_count_while_a_pump_is_off_and_no_further_than_they_must(n):
    e = Bench().e
    e.minutes(5, 0, r.OFF)
    e.minutes(3, 1 << n, r.OFF)
    assert (e.idle_min[n], e.idle_min[1 - n]) == (0, 8)
    e.minutes(MOST_MIN, 0, 0)
    assert e.idle_min == [MOST_MIN, MOST_MIN]
    bench = Bench()
    bench.e.idle_min = [7, 7]
    bench.go(out=1 << n)
    assert (bench.e.idle_min[n], bench.e.idle_min[1 - n]) == (0, 7), "a run shorter than a minute counts as well"


def test_d7_dry_minutes_of_off_count_until_it_is_wet_for_a_moment():
    bench = Bench()
    bench.e.minutes(30 * 1440 - 1, 0, r.LEAD)
    assert not bench.e.pour()
    bench.e.minutes(1, 0, 0)
    assert bench.e.pour()
    bench.e.minutes(MOST_MIN, 0, 0)
    assert bench.e.off_dry_min == MOST_MIN
    bench.go(off_wet=0)
    assert bench.e.pour()
    bench.go(off_wet=1)
    assert (bench.e.off_dry_min, bench.e.pour()) == (0, False)
    bench.e.minutes(3, 0, 0)
    bench.e.minutes(3, 0, r.OFF)
    assert bench.e.off_dry_min == 0


# Long times ----------------------------------------------------------------------------------------


def test_d7_the_next_long_time_is_the_nearest_of_exercise_pour_test_and_a_day():
    e = Controller(s.defaults()).exercise
    assert e.next_min() == 1440
    e.idle_min[1] = 7 * 1440 - 100
    assert e.next_min() == 100
    e.off_dry_min = 30 * 1440 - 60
    assert e.next_min() == 60
    e.idle_min[1] = e.off_dry_min = 60 * 1440
    assert e.next_min() == 1440, "what is over is no longer awaited"
    e.idle_min[1] = 8 * 1440 - 7
    assert e.next_min() == 7, "an exercise that is due for a day"
    e.off_dry_min = 30 * 1440 - 5
    assert e.next_min() == 5, "the nearest, whichever comes first"
    e.off_dry_min = 60 * 1440
    e.idle_min[1] = 8 * 1440
    assert e.next_min() == 1440
    e.idle_min[0], e.idle_min[1] = 7 * 1440, 8 * 1440 - 9
    assert e.next_min() == 9
    e.idle_min[0] = 7 * 1440 - 5
    assert e.next_min() == 5, "the nearest, whichever pump comes first"
    e.idle_min[1] = 8 * 1440
    e.idle_min[0], e.off_dry_min = 7 * 1440, 30 * 1440
    assert e.next_min() == 1440, "nor what is over in this very minute"


def test_as_built_no_pump_draws_on_a_battery_none_lacks_a_supply_and_the_battery_is_good():
    e = Controller(s.defaults()).exercise
    assert (e.drawing, e.unfed, e.flat, e.failed) == (0, 0, 0, 0)
    assert e.battery == r.BATTERY_GOOD


def test_d7_the_last_four_verdicts_of_each_pump_are_kept(n):
    bench = Bench(supply_2=s.BATTERY, supply_1=s.BATTERY)
    bench.e.battery = r.BATTERY_GOOD
    for band, loaded in ((r.BATTERY_GOOD, 1), (r.BATTERY_GOOD, 0), (r.BATTERY_LOW, 1), (r.BATTERY_GOOD, 1)):
        bench.e.battery, bench.e.drawing = r.BATTERY_GOOD, 3
        bench.begin(n, loaded=loaded)
        bench.e.battery = band
        bench.go(10_000, out=1 << n)
        assert bench.e.who == -1
        bench.c.pumps[n].state = pump.IDLE
        bench.go()
    passed, flat, failed = exercise.PASSED, exercise.FLAT, exercise.FAILED
    assert bench.e.verdicts[n] == passed << 6 | failed << 4 | flat << 2 | passed
    assert bench.e.verdicts[1 - n] == 0
    bench.begin(n)
    bench.go(10_000, out=1 << n)
    assert bench.e.verdicts[n] == failed << 6 | flat << 4 | passed << 2 | passed
