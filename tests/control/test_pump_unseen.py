"""One pump whose current is not seen: a try in a flood (R3), and a supply that nobody sees (A4).  Each pump alike."""

import pytest
from duplexsump.control import pump as pm
from duplexsump.control import timers as tm

from tests.control.pump_bench import MINUTE, NONE, NORMAL, OVER, RETRY_MS, ROTOR, UNDER, Bench, out, running
from tests.rig import WITH_CURRENT, WITH_FEEDBACK


@pytest.fixture(params=[0, 1], ids=["pump 1", "pump 2"])
def n(request):
    return request.param


def tried(n, state="retry", current=NONE, **overrides):
    """A bench whose pump is in a try, with high believed wet."""
    bench = out(n, state, **overrides)
    bench.pump.flooded = 8
    return bench.start(current)


def silent(n, state="retry", **overrides):
    """The same, when start_proof is over and no current has been seen."""
    bench = tried(n, state, **overrides)
    assert bench.go(2900) == "starting"
    assert bench.pump.silent == 0
    assert bench.go(100) == "starting"
    assert bench.pump.silent == 1
    return bench


# R3: a try in a flood ------------------------------------------------------------------------------


@pytest.mark.parametrize("sensing", [WITH_FEEDBACK, WITH_CURRENT])
@pytest.mark.parametrize("state", ["retry", "locked"])
def test_r3_with_high_wet_a_try_without_current_goes_on(n, state, sensing):
    bench = silent(n, state, sensing=sensing)
    failures, trips = bench.pump.failures, bench.pump.trips
    for _ in range(3):
        assert bench.go(MINUTE) == "starting"
    assert (bench.pump.held, bench.pump.failures, bench.pump.trips) == (pm.STATES.index(state), failures, trips)
    assert bench.left("PROOF") is None


@pytest.mark.parametrize("state", ["retry", "locked"])
def test_r3_with_high_wet_a_try_that_loses_its_current_goes_on(n, state):
    bench = tried(n, state, NORMAL)
    assert bench.go() == "running"
    bench.go(100, current=NONE)
    assert bench.go(2900) == "running"
    assert bench.pump.silent == 0
    assert bench.go(100) == "running"
    assert (bench.pump.silent, bench.left("LOST")) == (1, None)
    for _ in range(3):
        assert bench.go(3000) == "running"
        assert bench.left("LOST") is None


def test_r3_a_try_without_current_whose_current_comes_is_proved_and_may_lose_it_again(n):
    bench = silent(n)
    assert bench.go(100, current=UNDER) == "running"
    assert (bench.pump.silent, bench.pump.held) == (1, pm.RETRY)
    bench.go(100, current=NONE)
    assert bench.left("LOST") is None
    assert bench.go(MINUTE) == "running"
    bench.go(100, current=NORMAL)
    assert bench.go(7900) == "running"
    assert bench.pump.held == pm.RETRY
    bench.go(100)
    assert (bench.pump.held, bench.pump.silent) == (0, 0), "loaded for dry_run it is a run like any other"
    assert bench.armed("PROOF", "RETRY") == set()
    bench.go(100, current=NONE)
    bench.go(2900)
    assert bench.go(100) == "retry"


@pytest.mark.parametrize("proved", [False, True])
@pytest.mark.parametrize(("held", "flooded"), [(False, 8), (True, 0), (False, 0)])
def test_s5_a_run_that_is_no_try_or_with_high_dry_needs_its_current(n, proved, held, flooded):
    bench = out(n, "retry") if held else Bench(n)
    failures = bench.pump.failures
    bench.pump.flooded = flooded
    bench.start(NORMAL if proved else NONE)
    bench.go(100)
    if proved:
        bench.go(0, current=NONE)
    assert bench.go(2800) != "retry"
    bench.go(200)
    assert (bench.pump.state, bench.pump.failures, bench.pump.silent) == (pm.RETRY, failures + 1, 0)
    assert bench.pump.cause == (pm.RUN_LOST if proved else pm.FAILED_START)


@pytest.mark.parametrize(("current", "within"), [(OVER, 5000), (ROTOR, 1000)])
def test_r3_an_overcurrent_ends_a_try_without_current_as_ever(n, current, within):
    bench = silent(n)
    bench.go(100, current=current)
    assert bench.go(within - 100) == "running"
    assert bench.go(100) == "retry"
    assert (bench.pump.cause, bench.pump.silent) == (pm.OVERLOAD, 0)


@pytest.mark.parametrize("ends", ["stop", "thermal"])
def test_r3_the_end_of_a_try_without_current_leaves_nothing_of_it(n, ends):
    bench = silent(n)
    assert (bench.stop() if ends == "stop" else bench.go(100, thermal=1)) == "retry"
    assert (bench.pump.silent, bench.pump.held) == (0, 0)
    bench.pump.flooded = 0
    bench.go(100, thermal=0)
    bench.start(NONE)
    bench.go(2900)
    assert bench.go(100) == "retry"


@pytest.mark.parametrize("state", ["retry", "locked"])
def test_r4_a_release_makes_a_try_without_current_a_start_like_any_other(n, state):
    bench = silent(n, state)
    bench.go(MINUTE)
    bench.pump.release()
    bench.watch_strangers()
    assert (bench.pump.silent, bench.pump.held, bench.left("PROOF")) == (0, 0, 3000)
    assert bench.go(2900) == "starting"
    assert bench.go(100) == "retry", "with high wet as well"
    assert bench.pump.cause == pm.FAILED_START


def test_r4_a_release_begins_no_proof_where_one_has_begun_or_is_over(n):
    bench = tried(n)
    bench.go(1000)
    bench.pump.release()
    assert bench.left("PROOF") == 2000, "the proof that was going on"
    bench = silent(n)
    bench.go(100, current=UNDER)
    bench.pump.release()
    assert (bench.pump.state, bench.pump.silent, bench.left("PROOF")) == (pm.RUNNING, 0, None)
    bench = running(n)
    bench.pump.release()
    assert bench.left("PROOF") is None


def test_r4_a_release_at_rest_begins_no_proof(n):
    bench = out(n, "locked")
    bench.pump.release()
    assert (bench.pump.state, bench.left("PROOF")) == (pm.IDLE, None)


def test_s5_a_rest_that_ends_in_a_try_without_current_leaves_it_going_on(n):
    bench = silent(n)
    assert bench.go(RETRY_MS - 8000) == "starting"
    assert (bench.pump.held, bench.pump.silent) == (0, 1)
    assert bench.go(MINUTE) == "starting"
    assert bench.stop() == "idle"


# A4: a supply that is not seen ---------------------------------------------------------------------


def test_a4_where_the_supply_is_not_seen_a_missing_current_fails_no_start(n):
    bench = Bench(n)
    bench.pump.unseen = 1 << n
    bench.start(NONE)
    for _ in range(4):
        assert bench.go(2900) == "starting"
        assert bench.go(100) == "starting"
        assert bench.left("PROOF") == 3000, "looked at again and again"
    bench.pump.unseen = 0
    assert bench.go(2900) == "starting"
    assert bench.go(100) == "retry"
    assert (bench.pump.cause, bench.pump.failures) == (pm.FAILED_START, 1)


def test_a4_where_the_supply_is_not_seen_a_missing_current_loses_no_run(n):
    bench = running(n)
    bench.pump.unseen = 1 << n
    bench.go(100, current=NONE)
    assert bench.left("LOST") is None
    assert bench.go(MINUTE) == "running"
    bench.pump.unseen = 0
    bench.go(100)
    assert bench.go(2900) == "running"
    assert bench.go(100) == "retry"
    assert bench.pump.cause == pm.RUN_LOST


def test_a4_a_try_in_a_flood_with_the_supply_not_seen_is_proved_or_looked_at_again(n):
    bench = tried(n)
    bench.pump.unseen = 1 << n
    bench.go(3000)
    assert (bench.pump.state, bench.pump.silent, bench.left("PROOF")) == (pm.STARTING, 0, 3000)
    assert bench.go(100, current=NORMAL) == "running"
    assert not bench.timers.running(tm.PROOF + n)
