"""One pump by itself: what a trip costs, what ends it or takes it back, what is found while it is off.  Each alike."""

from itertools import product

import pytest
from duplexsump.control import pump as pm
from duplexsump.control import records as r
from duplexsump.control.ticks import MASK, NEVER

from tests.control.pump_bench import (
    DAY,
    HOUR,
    MINUTE,
    NONE,
    NORMAL,
    OVER,
    RETRY_MS,
    ROTOR,
    RUN,
    UNDER,
    Bench,
    out,
    running,
)
from tests.rig import NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK


@pytest.fixture(params=[0, 1], ids=["pump 1", "pump 2"])
def n(request):
    return request.param


# Trips ---------------------------------------------------------------------------------------------


def test_s5_three_in_a_row_lock_out_and_the_rest_is_over_with_it(n):
    bench = Bench(n)
    for failures in (1, 2):
        assert bench.start().trip() == "retry"
        assert (bench.pump.failures, bench.left("RETRY"), bench.left("RECENT")) == (failures, RETRY_MS, 3000)
        assert bench.go(RETRY_MS - 100) == "retry"
        assert bench.go(100) == "idle"
        assert (bench.pump.cause, bench.pump.failures) == (0, failures), "the rest clears no count"
    assert bench.start().trip(pm.OVERLOAD) == "locked"
    assert (bench.pump.cause, bench.pump.failures, bench.pump.trips) == (pm.OVERLOAD, 3, 3)
    assert (bench.left("RETRY"), bench.left("RECENT")) == (None, 3000)
    assert bench.go(DAY) == "locked"


@pytest.mark.parametrize(("retries", "failures", "after"), [(1, 0, "locked"), (3, 1, "retry"), (10, 9, "locked")])
def test_s5_as_many_in_a_row_as_set_lock_out(n, retries, failures, after):
    bench = Bench(n, retries=retries)
    bench.pump.failures = failures
    assert bench.start().trip() == after


def test_s5_a_pump_that_is_locked_out_cannot_trip_once_more(n):
    bench = out(n, "locked")
    before = bench.known()
    assert bench.trip(pm.OVERLOAD) == "locked"
    assert bench.known() == before


@pytest.mark.parametrize("state", ["retry", "locked"])
def test_s5_a_try_that_trips_leads_back_to_where_it_came_from(n, state):
    bench = out(n, state)
    bench.pump.failures = 0
    bench.start()
    assert bench.pump.held == pm.STATES.index(state)
    assert bench.left("RETRY") == (RETRY_MS - 5000 if state == "retry" else None)
    bench.go()
    assert bench.trip(pm.OVERLOAD) == state, "a locked-out pump whatever the count"
    assert (bench.pump.held, bench.pump.prior, bench.pump.cause) == (0, pm.STATES.index(state), pm.OVERLOAD)
    assert bench.left("RETRY") == (RETRY_MS if state == "retry" else None)


def test_s5_a_try_that_is_one_trip_too_many_locks_out_and_awaits_no_rest(n):
    bench = out(n, "retry")
    bench.pump.failures = 2
    assert bench.start().trip() == "locked"
    assert bench.left("RETRY") is None


@pytest.mark.parametrize("state", ["retry", "locked"])
@pytest.mark.parametrize("by_level", [False, True])
def test_r4_a_try_that_is_stopped_proves_nothing(n, state, by_level):
    bench = out(n, state)
    failures = bench.pump.failures
    bench.start()
    bench.go(2000)
    assert bench.stop(by_level) == state
    assert (bench.pump.failures, bench.pump.held, bench.pump.cause) == (failures, 0, pm.RUN_LOST)
    assert bench.armed(*RUN) == set()
    assert bench.left("RETRY") == (RETRY_MS - 7000 if state == "retry" else None)


def test_s5_a_rest_that_ends_in_the_middle_of_a_try_leaves_a_run_like_any_other(n):
    bench = out(n, "retry")
    bench.go(RETRY_MS - 7000)
    bench.start()
    bench.go(100)
    assert bench.pump.held == pm.RETRY
    assert bench.go(1900) == "running"
    assert (bench.pump.held, bench.pump.cause) == (0, 0)
    assert bench.stop() == "idle"
    assert bench.pump.failures == 0


@pytest.mark.parametrize("flooded", [0, r.HIGH])
def test_r3_a_rest_that_ends_in_the_middle_of_a_try_leaves_it_to_the_level_with_high_wet(n, flooded):
    # A sensor that shows a current 1 s in 6: the rest ended, the try was one no more, and tripped for the third time.
    bench = out(n, "retry")
    bench.go(RETRY_MS - 7000)
    bench.start()
    bench.pump.flooded = flooded
    assert bench.go(2000) == "running"
    assert (bench.pump.held, bench.pump.silent) == (0, 1 if flooded else 0)
    bench.go(0, current=NONE)
    assert bench.go(5000) == ("running" if flooded else "retry")
    if flooded:
        bench.go(0, current=NORMAL)
        assert bench.go(8000) == "running"
        assert bench.pump.silent == 0, "loaded for dry_run, it is doubted no more"
        bench.go(0, current=NONE)
        assert bench.go(5000) == "retry"


def test_s5_a_rest_that_was_taken_back_in_the_middle_of_a_try_is_not_gone_back_to(n):
    bench = out(n, "retry")
    bench.start()
    bench.pump.withdraw()
    assert bench.stop() == "idle"


@pytest.mark.parametrize("state", ["retry", "locked"])
def test_r4_a_try_that_stays_loaded_for_dry_run_after_its_proof_releases_the_pump(n, state):
    bench = out(n, state)
    bench.start(NONE)
    bench.go(2900)
    bench.go(0, current=NORMAL)
    assert bench.go(7900) == "running"
    assert bench.pump.held
    bench.go(100)
    starts = bench.pump.starts
    assert bench.known() == {"state": pm.RUNNING, "loaded": 1, "steady": 1, "starts": starts, "trips": 1}
    assert bench.left("RETRY") is None


@pytest.mark.parametrize("breaks", [NONE, UNDER, OVER])
def test_r4_a_break_of_the_load_begins_the_time_anew(n, breaks):
    bench = out(n, "locked")
    bench.start()
    bench.go()
    bench.go(7900)
    bench.go(0, current=breaks)
    bench.go(0, current=NORMAL)
    bench.go(7900)
    assert bench.pump.held == pm.LOCKED
    bench.go(100)
    assert bench.pump.held == 0


# Taking back, releasing ----------------------------------------------------------------------------


@pytest.mark.parametrize(("failures", "state"), [(0, "retry"), (1, "retry"), (2, "locked")])
def test_s5_a_trip_that_is_taken_back_was_never_there(n, failures, state):
    bench = Bench(n)
    bench.pump.failures = bench.pump.trips = failures
    assert bench.start().trip() == state
    bench.pump.withdraw()
    assert bench.armed("RETRY", "RECENT") == set()
    bench.watch_strangers()
    expected = {"starts": 1, "failures": failures, "trips": failures}
    assert bench.known() == {name: value for name, value in expected.items() if value}


def test_s5_a_trip_of_a_locked_out_pump_that_is_taken_back_leaves_it_locked_out(n):
    bench = out(n, "locked")
    assert bench.start().trip(pm.OVERLOAD) == "locked"
    bench.pump.withdraw()
    assert (bench.pump.state, bench.pump.cause, bench.pump.failures, bench.pump.trips) == (pm.LOCKED, pm.OVERLOAD, 3, 1)
    assert bench.left("RECENT") is None


@pytest.mark.parametrize("state", ["idle", "starting", "running"])
def test_s5_where_there_is_no_trip_nothing_is_taken_back(n, state):
    bench = Bench(n)
    bench.pump.state, bench.pump.failures, bench.pump.trips = pm.STATES.index(state), 2, 2
    before = bench.known()
    bench.pump.withdraw()
    assert bench.known() == before


def test_s5_a_count_of_none_is_not_taken_below_none(n):
    bench = out(n, "retry")
    bench.pump.failures = 0
    bench.pump.withdraw()
    assert bench.pump.failures == 0


@pytest.mark.parametrize("state", ["retry", "locked"])
def test_r4_a_release_ends_rest_or_lockout_and_forgets_the_failures(n, state):
    bench = out(n, state)
    bench.pump.trial = pm.FLOOD_TRIAL
    bench.pump.release()
    assert bench.known() == {"starts": 1, "trips": 1, "out": 1}
    assert bench.left("RETRY") is None
    bench.watch_strangers()


@pytest.mark.parametrize("proved", [False, True])
def test_r4_a_release_in_the_middle_of_a_try_lets_it_run_on(n, proved):
    bench = out(n, "locked")
    bench.start(NORMAL if proved else NONE)
    bench.go()
    state = pm.STATES[bench.pump.state]
    bench.pump.release()
    assert (pm.STATES[bench.pump.state], bench.pump.held, bench.pump.failures) == (state, 0, 0)
    assert bench.stop() == "idle"


# Thermal contact, moisture -------------------------------------------------------------------------


@pytest.mark.parametrize("state", ["idle", "starting", "running"])
def test_s7_an_open_thermal_contact_withdraws_the_pump_uncounted_and_a_rest_follows(n, state):
    bench = Bench(n)
    if state != "idle":
        bench.start(NORMAL if state == "running" else NONE)
        bench.go()
    starts = bench.pump.starts
    assert bench.go(100, thermal=1, current=NONE) == "retry"
    known = {"state": pm.RETRY, "cause": pm.THERMAL_OPEN, "open": 1, "out": 1, "starts": starts}
    assert bench.known() == {name: value for name, value in known.items() if value}
    assert bench.armed(*RUN, "RETRY", "RECENT") == set()
    assert bench.go(HOUR) == "retry"
    assert bench.go(100, thermal=0) == "retry"
    assert (bench.left("RETRY"), bench.pump.open) == (RETRY_MS, 0)
    bench.go(100)
    assert bench.left("RETRY") == RETRY_MS - 100, "from the moment it closed"
    assert bench.go(RETRY_MS - 100) == "idle"
    assert bench.pump.cause == 0


def test_s7_a_thermal_contact_that_opens_during_a_rest_begins_the_rest_anew_when_it_has_closed(n):
    bench = out(n, "retry", pm.OVERLOAD)
    bench.go(100, thermal=1)
    assert (bench.left("RETRY"), bench.pump.cause, bench.pump.failures) == (None, pm.OVERLOAD, 1)
    assert bench.go(RETRY_MS) == "retry"
    bench.go(100, thermal=0)
    assert bench.left("RETRY") == RETRY_MS


def test_s7_a_thermal_contact_ends_no_lockout_and_adds_no_rest(n):
    bench = out(n, "locked")
    for thermal in (1, 0):
        assert bench.go(100, thermal=thermal) == "locked"
        assert (bench.left("RETRY"), bench.pump.cause) == (None, pm.RUN_LOST)
    assert bench.go(RETRY_MS) == "locked"


@pytest.mark.parametrize("state", ["retry", "locked"])
def test_s7_a_thermal_contact_that_opens_in_a_try_leads_back_to_where_it_came_from(n, state):
    bench = out(n, state)
    failures = bench.pump.failures
    bench.start()
    bench.go(2000)
    assert bench.go(100, thermal=1) == state
    assert (bench.pump.held, bench.pump.loaded, bench.pump.failures) == (0, 0, failures)
    assert bench.armed(*RUN, "RETRY") == set()
    bench.go(100, thermal=0)
    assert bench.left("RETRY") == (RETRY_MS if state == "retry" else None)


@pytest.mark.parametrize("state", ["idle", "starting", "running", "retry", "locked"])
@pytest.mark.parametrize("trips", [0, 1])
def test_s7_moisture_trips_where_it_is_set_to_and_only_at_the_moment_it_appears(n, state, trips):
    bench = out(n, state, moisture_trips=trips) if state in ("retry", "locked") else Bench(n, moisture_trips=trips)
    if state in ("starting", "running"):
        bench.start(NORMAL if state == "running" else NONE)
        bench.go()
    failures, cause = bench.pump.failures, bench.pump.cause
    tripped = trips and state not in ("retry", "locked")
    assert bench.go(100, moisture=1, current=NONE) == ("retry" if tripped else state)
    assert (bench.pump.moist, bench.pump.failures) == (1, failures + tripped)
    assert bench.pump.cause == (pm.MOISTURE if tripped else cause)
    if tripped:
        bench.start()
        assert bench.go() == "running", "moisture that stands ends no flood retry"
        assert bench.go(100, moisture=0) == "running"
        assert bench.pump.moist == 0
        assert bench.go(100, moisture=1) == "retry"


# Welded contact ------------------------------------------------------------------------------------


@pytest.mark.parametrize("current", [UNDER, NORMAL, OVER, ROTOR])
def test_s6_current_for_start_proof_while_off_is_a_welded_contact_for_as_long_as_it_flows(n, current):
    bench = running(n)
    bench.stop()
    bench.go(100, current=current)
    bench.go(2900)
    assert not bench.pump.welded
    bench.go(100)
    assert bench.pump.welded is True
    bench.go(MINUTE)
    assert bench.pump.welded is True
    bench.go(100, current=NONE)
    assert bench.pump.welded is False


def test_s6_current_that_dies_away_after_the_stop_or_flows_while_on_is_none(n):
    bench = running(n)
    bench.go(MINUTE)
    assert bench.left("WELD") is None
    bench.stop()
    bench.go(100, current=NORMAL)
    bench.go(2000)
    bench.go(100, current=NONE)
    bench.go(MINUTE)
    assert not bench.pump.welded


# Short cycling -------------------------------------------------------------------------------------


def cycles(bench, count, apart_ms=MINUTE):
    for _ in range(count):
        bench.start()
        bench.go(5000)
        bench.stop()
        bench.go(apart_ms - 5000)


@pytest.mark.parametrize("start", [0, MASK + 1 - HOUR // 2, MASK + 1 - HOUR - 30 * MINUTE])
def test_s8_more_starts_within_an_hour_than_the_motor_bears_are_told(n, start):
    bench = Bench(n, start)
    cycles(bench, 15)
    assert bench.pump.short == 0
    bench.start()
    bench.go(100)
    assert (bench.pump.short, bench.pump.count) == (1, 16)
    assert bench.left("SHORT_DAY") == DAY
    bench.go(45 * MINUTE - 200)
    assert bench.pump.short == 1
    bench.go(100)
    assert (bench.pump.short, bench.pump.count) == (0, 15), "an hour after the first"


def test_s8_starts_leave_the_count_an_hour_after_they_were_made(n):
    bench = Bench(n)
    cycles(bench, 3, 10 * MINUTE)
    assert bench.left("HOUR") == 30 * MINUTE
    for gone, left in ((1, 10 * MINUTE), (2, 10 * MINUTE), (3, None)):
        bench.go((30 if gone == 1 else 10) * MINUTE - 100)
        assert bench.pump.count == 4 - gone
        bench.go(100)
        assert (bench.pump.count, bench.left("HOUR")) == (3 - gone, left)
    assert (bench.pump.ring, bench.pump.ring_first) == ([NEVER] * 61, 3)
    bench.start()
    assert bench.left("HOUR") == HOUR
    assert bench.pump.ring[3] == bench.now + HOUR


def test_s8_a_step_that_comes_late_drops_all_that_have_left_the_hour(n):
    bench = Bench(n)
    cycles(bench, 5)
    bench.go(HOUR - 3 * MINUTE)
    assert (bench.pump.count, bench.left("HOUR")) == (2, MINUTE)


def test_s8_a_start_in_the_hour_of_others_leaves_their_end_where_it_is(n):
    bench = Bench(n)
    cycles(bench, 1, 10 * MINUTE)
    bench.start()
    assert bench.left("HOUR") == 50 * MINUTE


def test_s8_the_ring_holds_one_more_than_can_be_set_and_drops_the_oldest(n):
    bench = Bench(n, starts_per_hour=60, lag_min_off=5000, flood_min_off=4000)
    cycles(bench, 61, 10_000)
    assert (bench.pump.count, bench.pump.short, bench.pump.ring_first) == (61, 1, 0)
    first = bench.pump.ring[0]
    cycles(bench, 2, 10_000)
    assert (bench.pump.count, bench.pump.ring_first) == (61, 2)
    assert bench.pump.ring[0] == first + 61 * 10_000
    assert bench.pump.ring[bench.pump.ring_first] == first + 2 * 10_000
    assert bench.left("HOUR") == HOUR - 61 * 10_000


def test_s8_it_is_told_once_a_day(n):
    bench = Bench(n)
    cycles(bench, 16)
    assert bench.pump.short == 1
    bench.go(2 * HOUR)
    assert bench.pump.short == 0
    cycles(bench, 17)
    assert bench.pump.short == 0, "not again on the same day"
    bench.go(bench.left("SHORT_DAY") - 30 * MINUTE)
    cycles(bench, 29)
    assert (bench.pump.short, bench.left("SHORT_DAY")) == (0, MINUTE)
    cycles(bench, 1)
    assert (bench.pump.short, bench.left("SHORT_DAY")) == (1, DAY), "what goes on when the day is over is told then"


def test_s8_what_stands_for_more_than_a_day_is_told_again_at_once_when_it_comes_back(n):
    bench = Bench(n)
    for _ in range(26):
        cycles(bench, 17, 210_000)
    assert (bench.pump.short, bench.left("SHORT_DAY")) == (1, None)
    bench.go(2 * HOUR)
    assert bench.pump.short == 0
    cycles(bench, 16)
    assert bench.pump.short == 1


# Out until proved ----------------------------------------------------------------------------------


@pytest.mark.parametrize("why", ["trip", "lockout", "thermal"])
def test_a1_a_pump_that_tripped_or_was_too_hot_is_out_until_it_has_run_loaded(n, why):
    bench = running(n)
    assert bench.pump.out == 0
    bench.pump.failures = 2 if why == "lockout" else 0
    bench.go(100, thermal=1) if why == "thermal" else bench.trip()
    bench.go(100, thermal=0)
    assert bench.pump.out == 1
    bench.go(RETRY_MS)
    bench.go()
    assert (bench.pump.out, bench.pump.begin()) == (1, None), "a rest that is over proves nothing, nor a power-up"
    assert bench.pump.out == 1
    bench.pump.state, bench.pump.held = pm.IDLE, 0
    bench.start()
    bench.go()
    bench.go(7900)
    assert bench.pump.out == 1
    bench.go(100)
    assert bench.pump.out == 0


@pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_FEEDBACK, WITH_CURRENT])
@pytest.mark.parametrize(("by_level", "loaded", "held", "state"), list(product((0, 1), (0, 1), (0, pm.RETRY),
                                                                            (pm.STARTING, pm.RUNNING))))  # fmt: skip
def test_a1_a_run_that_the_level_ended_proves_a_pump_and_with_current_only_a_loaded_one(
        n, sensing, by_level, loaded, held, state):  # fmt: skip
    bench = Bench(n, sensing=sensing)
    one = bench.pump
    one.state, one.held, one.loaded, one.out = state, held, loaded, 1
    bench.stop(by_level)
    proved = by_level and state == pm.RUNNING and not held and (loaded or sensing != WITH_CURRENT)
    assert one.out == (0 if proved else 1)


@pytest.mark.parametrize("before", [0, 1])
def test_a1_a_trip_that_is_taken_back_leaves_the_pump_as_it_was(n, before):
    bench = running(n)
    bench.pump.out = before
    bench.trip()
    bench.pump.withdraw()
    assert bench.pump.out == before


@pytest.mark.parametrize("state", [pm.RETRY, pm.LOCKED])
def test_s8_a_try_of_a_pump_that_is_out_does_not_count(n, state):
    bench = Bench(n)
    bench.pump.state = state
    bench.start()
    assert (bench.pump.starts, bench.pump.count, bench.left("HOUR")) == (1, 0, None)
