"""One pump by itself: its table, what proves a start, and what is found in a run.  Each pump alike."""

import pytest
from duplexsump.control import pump as pm
from duplexsump.control import records as r
from duplexsump.control import timers as tm
from duplexsump.control.ticks import NEVER
from duplexsump.control.timers import Timers

from tests.control.pump_bench import HOUR, MINUTE, NONE, NORMAL, OVER, RETRY_MS, ROTOR, RUN, UNDER, Bench, running
from tests.rig import NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK, make_settings


@pytest.fixture(params=[0, 1], ids=["pump 1", "pump 2"])
def n(request):
    return request.param


# The table -----------------------------------------------------------------------------------------

LEADS_TO = {
    "idle": {"start": "starting", "trip": "retry", "lock_out": "locked", "thermal": "retry"},
    "starting": {"proved": "running", "stop": "idle", "rest_again": "retry", "lock_again": "locked", "trip": "retry",
                 "lock_out": "locked", "thermal": "retry", "release": "starting"},
    "running": {"stop": "idle", "rest_again": "retry", "lock_again": "locked", "trip": "retry", "lock_out": "locked",
                "thermal": "retry", "release": "running"},
    "retry": {"start": "starting", "rested": "idle", "release": "idle", "withdrawn": "idle"},
    "locked": {"start": "starting", "release": "idle", "withdrawn": "idle"},
}  # fmt: skip


@pytest.mark.parametrize("state", pm.STATES)
@pytest.mark.parametrize("event", pm.EVENTS)
def test_each_event_in_each_state_leads_where_it_should_or_is_refused(n, state, event):
    pump = Bench(n).pump
    pump.state = pm.STATES.index(state)
    after = LEADS_TO[state].get(event)
    if after is None:
        with pytest.raises(ValueError, match=f"pump {n + 1}: event {event} in state {state}"):
            pump.event(pm.EVENTS.index(event))
        after = state
    else:
        pump.event(pm.EVENTS.index(event))
    assert pm.STATES[pump.state] == after
    assert pump.on() == (after in ("starting", "running"))


def test_as_built_it_is_idle_and_knows_of_nothing(n):
    bench = Bench(n)
    assert (bench.known(), bench.armed()) == ({}, set())
    assert (bench.pump.flooded, bench.pump.unseen) == (0, 0)
    assert (bench.pump.ring_first, bench.pump.count, bench.pump.ring) == (0, 0, [NEVER] * 61)
    assert [Bench(n, sensing=k).pump.sensing for k in (NO_CURRENT, WITH_FEEDBACK, WITH_CURRENT)] == [False, True, True]
    assert bench.go(HOUR) == "idle"
    assert (bench.known(), bench.armed()) == ({}, set())


@pytest.mark.parametrize(("state", "after", "trial", "cause"), [
    ("idle", "idle", 0, 0), ("starting", "idle", 0, 0), ("running", "idle", 0, 0), ("retry", "idle", 0, 0),
    ("locked", "locked", pm.BOOT_TRIAL, pm.OVERLOAD),
])  # fmt: skip
def test_s4_after_a_power_up_a_resting_pump_is_ready_and_a_locked_out_one_gets_one_try(n, state, after, trial, cause):
    pump = Bench(n).pump
    pump.state, pump.cause, pump.failures, pump.trial = pm.STATES.index(state), pm.OVERLOAD, 2, pm.FLOOD_TRIAL
    pump.begin()
    assert (pm.STATES[pump.state], pump.trial, pump.cause, pump.failures) == (after, trial, cause, 2)


# Starting and stopping -----------------------------------------------------------------------------


def test_s5_a_start_is_counted_and_begins_its_timers(n):
    bench = Bench(n)
    bench.pump.trial = pm.FLOOD_TRIAL
    bench.start()
    assert bench.known() == {"state": pm.STARTING, "starts": 1}
    assert (bench.left("PROOF"), bench.left("INRUSH"), bench.left("MIN_RUN")) == (3000, 1000, 5000)
    assert bench.armed(*RUN) == {"PROOF", "INRUSH", "MIN_RUN"}


@pytest.mark.parametrize("current", [UNDER, NORMAL, OVER, ROTOR])
def test_s5_any_current_proves_a_start(n, current):
    bench = Bench(n).start(NONE)
    assert bench.go(2900) == "starting"
    assert bench.go(0, current=current) == "running"
    assert bench.left("PROOF") is None


def test_s5_without_current_a_start_fails_after_start_proof(n):
    bench = Bench(n).start(NONE)
    assert bench.go(2900) == "starting"
    assert bench.go(100) == "retry"
    assert bench.known() == {"state": pm.RETRY, "cause": pm.FAILED_START, "failures": 1, "trips": 1, "starts": 1,
                             "out": 1}
    assert (bench.left("RETRY"), bench.left("RECENT"), bench.armed(*RUN)) == (RETRY_MS, 3000, set())


def test_s5_where_nothing_is_sensed_the_time_alone_proves_a_start_and_nothing_trips_it(n):
    bench = Bench(n, sensing=NO_CURRENT).start(ROTOR)
    assert bench.go(2900) == "starting"
    assert bench.go(100) == "running"
    for current in (NONE, UNDER, NORMAL, OVER, ROTOR):
        for _ in range(3):
            assert bench.go(20_000, current=current) == "running"
    assert bench.known() == {"state": pm.RUNNING, "starts": 1}
    assert bench.armed(*RUN) == set()
    bench.stop()
    bench.go(100, current=NORMAL)
    assert bench.go(60_000) == "idle"
    assert not bench.pump.welded


@pytest.mark.parametrize(("by_level", "proved", "failures"), [
    (True, True, 0), (False, True, 2), (True, False, 2), (False, False, 2),
])  # fmt: skip
def test_s5_only_a_proved_run_that_the_level_ends_clears_the_count(n, by_level, proved, failures):
    bench = Bench(n).start(NORMAL if proved else NONE)
    bench.go()
    bench.pump.failures = 2
    assert bench.stop(by_level) == "idle"
    assert (bench.pump.failures, bench.armed(*RUN)) == (failures, set())


def test_s5_a_run_that_goes_well_does_not_clear_the_count_before_it_ends(n):
    bench = running(n)
    bench.pump.failures = 2
    bench.go(MINUTE)
    bench.go(MINUTE)
    assert (bench.pump.steady, bench.pump.failures) == (True, 2)


def test_what_was_found_in_a_run_ends_with_it(n):
    bench = running(n)
    bench.go(9000)
    bench.go(0, current=UNDER)
    bench.go(100)
    assert bench.pump.loaded
    assert "DRY" in bench.armed()
    assert bench.stop() == "idle"
    assert (bench.known(), bench.armed(*RUN)) == ({"starts": 1}, set())


@pytest.mark.parametrize("current", [UNDER, NORMAL])
@pytest.mark.parametrize("tripped", [False, True])
def test_what_has_lasted_long_enough_ends_with_the_run_as_well(n, current, tripped):
    bench = Bench(n).start(current)
    bench.go()
    bench.go(8000)
    assert (bench.pump.steady, bench.pump.dry) == (current == NORMAL, current == UNDER)
    if tripped:
        bench.trip()
    else:
        bench.stop()
    assert (bench.pump.loaded, bench.pump.steady, bench.pump.dry) == (0, False, False)


# What is found in a run ----------------------------------------------------------------------------


@pytest.mark.parametrize("current", [NORMAL, OVER])
def test_r1_a_run_that_has_drawn_a_load_for_a_second_was_loaded_whatever_comes_later(n, current):
    bench = Bench(n).start(current)
    bench.go()
    bench.go(900)
    assert not bench.pump.loaded
    bench.go(100)
    assert bench.pump.loaded == 1
    bench.go(100)
    assert bench.left("LOAD") is None, "once is enough"
    bench.go(100, current=UNDER)
    assert bench.pump.loaded == 1


@pytest.mark.parametrize("current", [NONE, UNDER])
def test_r1_a_load_that_breaks_off_begins_its_second_anew(n, current):
    bench = running(n)
    bench.go(900)
    bench.go(0, current=current)
    bench.go(0, current=NORMAL)
    bench.go(900)
    assert not bench.pump.loaded
    bench.go(100)
    assert bench.pump.loaded


@pytest.mark.parametrize(("current", "loaded", "steady", "dry"), [
    (UNDER, 0, 0, 1), (NORMAL, 1, 1, 0), (OVER, 1, 0, 0),
])  # fmt: skip
def test_r1_r4_each_band_of_current_means_one_thing(n, current, loaded, steady, dry):
    bench = Bench(n, overload_time=30_000).start(current)
    bench.go()
    bench.go(7900)
    assert (bench.pump.dry, bench.pump.steady) == (False, False)
    bench.go(100)
    assert (bench.pump.loaded, bench.pump.steady, bench.pump.dry) == (loaded, steady, dry)
    bench.go(100)
    assert (bench.pump.steady, bench.pump.dry) == (steady, dry)
    other = NORMAL if dry else UNDER
    bench.go(100, current=other)
    assert (bench.pump.steady, bench.pump.dry) == (False, False), "for as long as it lasts"


@pytest.mark.parametrize("current", [NONE, UNDER, NORMAL])
def test_s5b_a_run_is_lost_when_the_current_is_gone_for_start_proof(n, current):
    bench = running(n)
    bench.go(10_000)
    bench.go(0, current=current)
    assert bench.armed("LOST", "PROOF") == ({"LOST"} if current == NONE else set())
    after = bench.go(2900)
    assert after == "running"
    after = bench.go(100)
    assert after == ("retry" if current == NONE else "running")
    if current == NONE:
        assert bench.known() == {"state": pm.RETRY, "cause": pm.RUN_LOST, "failures": 1, "trips": 1, "starts": 1,
                                 "out": 1}
        assert bench.armed(*RUN) == set()


def test_s5b_a_current_that_comes_back_in_time_loses_nothing(n):
    bench = running(n)
    for _ in range(3):
        bench.go(100, current=NONE)
        assert bench.go(2900) == "running"
        assert bench.go(100, current=NORMAL) == "running"
        assert bench.left("LOST") is None


@pytest.mark.parametrize("current", [OVER, ROTOR])
def test_s7_an_overcurrent_trips_after_its_time(n, current):
    bench = running(n)
    bench.go(10_000)
    bench.go(0, current=current)
    within = 1000 if current == ROTOR else 5000
    assert bench.go(within - 100) == "running"
    assert bench.go(100) == "retry"
    assert (bench.pump.cause, bench.pump.failures) == (pm.OVERLOAD, 1)
    assert bench.armed(*RUN) == set(), "nothing of the run goes on"
    assert bench.go(60_000) == "retry"


def test_s7_a_locked_rotor_counts_from_the_end_of_the_first_second(n):
    bench = Bench(n).start(ROTOR)
    assert bench.go() == "running"
    assert bench.go(900) == "running"
    assert bench.go(900) == "running"
    assert bench.go(100) == "retry"
    assert bench.pump.cause == pm.OVERLOAD


def test_s7_a_short_overcurrent_trips_nothing_and_normal_current_begins_it_anew(n):
    bench = running(n)
    for _ in range(3):
        bench.go(100, current=OVER)
        assert bench.go(4800) == "running"
        assert bench.go(100, current=ROTOR) == "running"
        bench.go(0, current=NORMAL)
        assert bench.armed("OVER", "ROTOR") == set()


def test_s7_a_rotor_locked_for_less_than_a_second_again_and_again_is_an_overload_all_the_same(n):
    bench = running(n)
    bench.go(2000)
    for _ in range(5):
        assert bench.go(100, current=ROTOR) == "running"
        assert bench.go(800, current=OVER) == "running"
    assert bench.go(600) == "retry"


# One pump and nothing else -------------------------------------------------------------------------


def made_pump():
    timers = Timers()
    return pm.Pump(0, make_settings(sensing=WITH_CURRENT), timers), timers


def test_s5_a_pump_that_is_locked_out_cannot_trip_once_more():
    one, _timers = made_pump()
    one.state = pm.LOCKED
    one.trip(pm.OVERLOAD)
    assert (one.failures, one.trips, one.cause) == (0, 0, 0)


def test_s5_taking_back_a_fault_that_is_not_there_changes_nothing_and_a_lockout_stays():
    one, _timers = made_pump()
    one.withdraw()
    assert (one.state, one.failures, one.trips) == (pm.IDLE, 0, 0)
    one.state, one.prior, one.cause, one.failures = pm.LOCKED, pm.LOCKED, pm.RUN_LOST, 3
    one.withdraw()
    assert (one.state, one.cause, one.failures) == (pm.LOCKED, pm.RUN_LOST, 2)


@pytest.mark.parametrize("held", [pm.RETRY, pm.LOCKED])
def test_r4_a_try_that_is_ended_by_the_level_proves_nothing(held):
    one, timers = made_pump()
    timers.arm(tm.RETRY, 60_000)
    one.state = held
    one.started()
    assert one.held == held
    one.stopped(True)
    assert one.state == held


def test_s5_a_retry_rest_that_ends_in_the_middle_of_a_try_lets_the_pump_run_on_as_usual():
    one, timers = made_pump()
    one.state = pm.RETRY
    one.started()
    timers.arm(tm.RETRY, 1000)
    timers.expire(1000)
    one.step(0, [0] * r.N_INPUTS)
    assert (one.state, one.held) == (pm.STARTING, 0)


def test_s8_the_ring_of_starts_drops_the_oldest_when_it_is_full():
    one, timers = made_pump()
    for k in range(len(one.ring) + 3):
        timers.now = 1000 * k
        one.started()
        one.stopped(True)
    assert one.count == len(one.ring) == 61, "one more than the most starts an hour that a setting allows"
    assert one.ring[one.ring_first] == 3000 + 3_600_000


def test_an_event_that_cannot_happen_names_itself_and_the_state():
    with pytest.raises(ValueError, match=r"^pump 2: event proved in state idle$"):
        pm.Pump(1, make_settings(), Timers()).event(pm.PROVED)


@pytest.mark.parametrize(("sensing", "alone", "over"), [
    (WITH_CURRENT, 1, 0), (WITH_CURRENT, 0, 0), (WITH_FEEDBACK, 1, 1), (WITH_FEEDBACK, 0, 0), (NO_CURRENT, 1, 1),
    (NO_CURRENT, 0, 0),
])  # fmt: skip
def test_a1_what_no_current_tells_is_over_when_the_level_has_stopped_the_pump_that_ran_alone(sensing, alone, over):
    one = pm.Pump(0, make_settings(sensing=sensing), Timers())
    one.out = 1
    one.event(pm.START)
    one.event(pm.PROVED)
    one.stopped(True, alone)
    assert one.out == (0 if over else 1)


def test_a1_a_feedback_that_stays_tells_of_no_load():
    for sensing, out in ((WITH_CURRENT, 0), (WITH_FEEDBACK, 1)):
        one = pm.Pump(0, make_settings(sensing=sensing), Timers())
        one.out = 1
        one.timers.expire(0)
        one.started()
        record = [0] * r.N_INPUTS
        record[r.IN_CURRENT_1] = r.CURRENT_NORMAL
        for now in range(0, 20_000, 100):
            one.timers.expire(now)
            one.step(0, record)
        assert one.steady and one.out == out
