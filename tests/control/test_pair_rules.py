"""The pair by itself: a long run, the primary brought back, a weak lead, and underload.  Each pump alike."""

import pytest
from duplexsump.control import pump as pm
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.controller import Controller

from tests.control.clause_bench import pump_1_only
from tests.control.pair_bench import Bench, other_bit
from tests.rig import NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK, make_settings

MAX_RUN = 1_200_000


@pytest.fixture(params=[0, 1], ids=["pump 1", "pump 2"])
def n(request):
    return request.param


# D4: a long run ------------------------------------------------------------------------------------


def long_run(n, **overrides):
    """A bench whose pump n has led alone for 100 ms less than max_run."""
    bench = Bench(**{"sensing": WITH_CURRENT, **overrides})
    bench.pair.turn = n
    bench.go(demand=1, out=1 << n)
    assert bench.go(MAX_RUN - 100, demand=1) == 1 << n
    assert not bench.pair.overdue
    return bench


def test_d4_a_lead_past_max_run_hands_over_first_one_stops_then_the_other_starts(n):
    bench = long_run(n)
    assert bench.go(100, demand=1) == 0
    assert (bench.pair.lead, bench.pair.led, bench.pair.overdue) == (1 - n, n, True)
    assert bench.go(100, demand=1, out=0) == other_bit(n)
    assert not bench.pair.overdue
    assert bench.go(100, demand=1, out=other_bit(n)) == other_bit(n)
    assert bench.pair.led == 1 - n
    assert bench.go(MAX_RUN - 100, demand=1) == other_bit(n)
    assert bench.go(100, demand=1) == 0, "and so on, by turns"


@pytest.mark.parametrize("why", ["resting", "not available", "lag"])
def test_d4_it_keeps_on_while_the_other_cannot_start_or_the_water_is_at_lag_and_is_told(n, why):
    bench = long_run(n)
    bench.rest(other_bit(n) if why == "resting" else 0)
    bench.gate.contacts = r.LEAD | r.LAG if why == "lag" else r.LEAD
    available = 1 << n if why == "not available" else 3
    for _ in range(3):
        assert bench.go(100, demand=1, available=available) == 1 << n
        assert bench.pair.overdue
    bench.rest(0)
    bench.gate.contacts = r.LEAD | r.HIGH | r.OFF
    assert bench.go(100, demand=1) == 0
    assert bench.pair.lead == 1 - n


@pytest.mark.parametrize("change", [{"demand": 2}, {"out": 0}, {"demand": 0}])
def test_d4_the_time_counts_from_where_it_ran_alone_without_a_break(n, change):
    bench = long_run(n)
    bench.go(50, **{"demand": 1, **change})
    assert not bench.timers.running(tm.LONG_RUN)
    bench.pair.turn = n
    assert bench.go(50, demand=1, out=1 << n) == 1 << n
    assert bench.go(MAX_RUN - 100, demand=1) == 1 << n
    assert bench.go(100, demand=1) == 0


def test_d4_what_was_overdue_is_forgotten_with_the_cycle(n):
    bench = long_run(n)
    bench.rest(other_bit(n))
    bench.go(100, demand=1)
    assert bench.pair.overdue
    bench.go(100, demand=0)
    assert not bench.pair.overdue
    assert not bench.timers.running(tm.LONG_RUN)


def test_d4_not_in_fixed_duty_where_a_current_is_sensed(n):
    bench = Bench(duty=s.FIXED, primary=n + 1, sensing=WITH_CURRENT)
    bench.go(demand=1, out=1 << n)
    assert bench.go(2 * MAX_RUN, demand=1) == 1 << n
    assert not bench.pair.overdue
    assert not bench.timers.running(tm.LONG_RUN)


# L5: a level that stands still -----------------------------------------------------------------------


def still(n, **overrides):
    """A bench whose pump n leads alone, and the level stands still under it."""
    bench = Bench(**{"sensing": WITH_CURRENT, **overrides})
    bench.pair.turn = n
    bench.go(demand=1, out=1 << n)
    bench.pair.doubted = 1
    return bench


@pytest.mark.parametrize("duty", [s.ALTERNATE, s.FIXED, s.RUN_TIME])
def test_l5_a_lead_under_which_the_level_stands_still_hands_over_in_any_duty(n, duty):
    bench = still(n, duty=duty, primary=n + 1)
    assert bench.go(100, demand=1) == 0
    assert (bench.pair.lead, bench.pair.overdue) == (1 - n, False)
    assert bench.go(100, demand=1, out=0) == 0
    assert bench.go(7_800, demand=1) == 0
    assert bench.go(100, demand=1) == other_bit(n)
    bench.pair.doubted = 2
    assert bench.go(100, demand=1, out=other_bit(n)) == other_bit(n), "once"


@pytest.mark.parametrize("demand", [0, 1, 2])
def test_l5_no_pump_runs_between_the_two_looks_unless_two_are_asked_for(n, demand):
    bench = still(n)
    bench.go(100, demand=1)
    assert bench.go(100, demand=demand, out=0) == (3 if demand == 2 else 0)


def test_l5_a_shortest_run_is_over_before_it_hands_over(n):
    bench = still(n)
    bench.timers.arm(tm.MIN_RUN + n, 20_000)
    assert bench.go(100, demand=1) == 1 << n
    assert not bench.timers.running(tm.PAUSE)
    assert bench.go(20_000, demand=1) == 0
    assert bench.timers.running(tm.PAUSE)


@pytest.mark.parametrize("why", ["resting", "not available", "both asked for", "nothing runs", "no doubt"])
def test_l5_it_keeps_on_where_the_other_cannot_tell(n, why):
    bench = still(n)
    bench.rest(other_bit(n) if why == "resting" else 0)
    bench.pair.doubted = 0 if why == "no doubt" else 1
    wanted = bench.go(100, demand=2 if why == "both asked for" else 1, out=0 if why == "nothing runs" else 1 << n,
                      available=1 << n if why == "not available" else 3)  # fmt: skip
    assert wanted == (3 if why == "both asked for" else 1 << n)
    assert bench.pair.lead == n


def test_l5_the_rest_that_applies_with_no_pump_running_is_enough(n):
    bench = still(n)
    bench.timers.arm(tm.REST + 1 - n, 60_000)
    assert bench.go(100, demand=1) == 0
    assert bench.pair.lead == 1 - n


@pytest.mark.parametrize(("sensing", "counted"), [(NO_CURRENT, True), (WITH_FEEDBACK, True), (WITH_CURRENT, False)])
def test_d6_a_lead_under_which_the_level_stood_still_counts_as_handed_over(n, sensing, counted):
    bench = still(n, sensing=sensing)
    bench.go(100, demand=1)
    assert bench.pair.handed == (n + 1 if counted else 0)


def test_d4_in_run_time_balancing_as_well(n):
    bench = long_run(n, duty=s.RUN_TIME)
    assert bench.go(100, demand=1) == 0


RELIEVED = 540_000  # nine tenths of not_keeping_up
UNSENSED = pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_FEEDBACK])


def relieved(bench, n, follower_ms):
    """Pump n leads till it is relieved, the other draws the pit down in `follower_ms`; then the cycle is over."""
    bench.pair.turn = n
    bench.go(demand=1, out=1 << n)
    assert bench.go(RELIEVED - 100, demand=1) == 1 << n
    assert bench.go(100, demand=1) == 0
    assert bench.go(100, demand=1, out=0) == other_bit(n)
    bench.go(100, demand=1, out=other_bit(n))
    bench.go(follower_ms, demand=1)
    bench.go(0, demand=0)
    bench.go(100, out=0)


@UNSENSED
def test_d4_a_pump_of_which_no_current_tells_is_relieved_before_d5_calls(n, sensing):
    bench = Bench(sensing=sensing)
    bench.belief.wet = r.OFF | r.LEAD
    relieved(bench, n, 20_000)
    assert not bench.pair.lead_long


@UNSENSED
def test_d4_a_shorter_max_run_holds_all_the_same(n, sensing):
    bench = Bench(sensing=sensing, max_run=60_000)
    bench.pair.turn = n
    bench.go(demand=1, out=1 << n)
    assert bench.go(59_900, demand=1) == 1 << n
    assert bench.go(100, demand=1) == 0


@UNSENSED
def test_d6_twice_relieved_by_a_pump_that_draws_the_pit_down_at_once_makes_a_pump_suspect(n, sensing):
    bench = Bench(sensing=sensing)
    relieved(bench, n, 20_000)
    assert bench.pair.suspects == 0
    relieved(bench, n, 119_000)
    assert bench.pair.suspects == 1 << n
    assert bench.pair.lag_leads[1 - n] == 0
    bench.pair.turn = n
    assert bench.go(100, demand=1) == other_bit(n), "the other leads"


@UNSENSED
def test_d6_a_pump_relieved_by_one_that_is_no_quicker_is_not_suspect(n, sensing):
    bench = Bench(sensing=sensing)
    for _ in range(4):
        relieved(bench, n, 120_000)
    assert bench.pair.suspects == 0
    for _ in range(2):
        relieved(bench, n, 119_900)
    assert bench.pair.suspects == 1 << n


@UNSENSED
def test_d6_a_pit_that_took_both_in_the_end_says_nothing_of_the_one_that_was_relieved(n, sensing):
    bench = Bench(sensing=sensing)
    for _ in range(3):
        bench.pair.turn = n
        bench.go(demand=1, out=1 << n)
        bench.go(RELIEVED, demand=1)
        bench.go(100, demand=1, out=0)
        bench.go(100, demand=1, out=other_bit(n))
        bench.go(20_000, demand=2, out=3)
        bench.go(0, demand=0)
        bench.go(100, out=0)
    assert (bench.pair.suspects, bench.pair.lag_leads) == (0, [0, 0])


@UNSENSED
def test_d6_one_that_was_relieved_and_drew_the_pit_down_itself_is_not_suspect(n, sensing):
    bench = Bench(sensing=sensing)
    for _ in range(3):
        bench.pair.turn = n
        bench.go(demand=1, out=1 << n)
        assert bench.go(RELIEVED, demand=1) == 0
        bench.go(100, demand=1, out=0)
        assert bench.go(100, demand=1, available=1 << n) == 1 << n, "the other is out"
        bench.go(100, demand=1, out=1 << n, available=1 << n)
        bench.go(20_000, demand=1, available=1 << n)
        bench.go(0, demand=0)
        bench.go(100, out=0)
    assert (bench.pair.suspects, bench.pair.lag_leads) == (0, [0, 0])


@UNSENSED
def test_d6_a_relief_counts_in_its_own_cycle_alone(n, sensing):
    bench = Bench(sensing=sensing)
    relieved(bench, n, 20_000)
    for _ in range(3):
        bench.pair.turn = 1 - n
        bench.go(demand=1, out=other_bit(n))
        bench.go(20_000, demand=1)
        bench.go(0, demand=0)
        bench.go(100, out=0)
    assert bench.pair.lag_leads == [int(i == n) for i in range(2)]


def test_d6_where_a_current_tells_being_relieved_makes_no_pump_suspect(n):
    bench = long_run(n)
    for _ in range(3):
        bench.go(100, demand=1)
        bench.go(100, demand=1, out=0)
        bench.go(100, demand=1, out=other_bit(n))
        bench.go(100, demand=0)
        bench.pair.turn = n
        bench.go(100, demand=1, out=1 << n)
        bench.go(MAX_RUN - 100, demand=1)
    assert bench.pair.suspects == 0 and bench.pair.lag_leads == [0, 0]


# A4: the primary is brought back -------------------------------------------------------------------


def on_secondary(n, **overrides):
    """Fixed duty, pump n the primary; the secondary leads and runs, since the mains is out."""
    bench = Bench(**{"duty": s.FIXED, "primary": n + 1, **overrides})
    bench.supply.fed = other_bit(n)
    bench.go(demand=1)
    bench.pumps[1 - n].state = pm.RUNNING
    assert bench.go(demand=1, out=other_bit(n)) == other_bit(n)
    assert bench.pair.lead == 1 - n
    return bench


def test_a4_the_mains_returns_the_primary_starts_and_is_proved_then_the_secondary_stops(n):
    bench = on_secondary(n)
    bench.supply.fed, bench.supply.came = 3, True
    assert bench.go(demand=1) == 3
    assert bench.pair.take_back == 1
    bench.supply.came = False
    bench.pumps[n].state = pm.STARTING
    assert bench.go(demand=1, out=3) == 3, "not yet proved"
    bench.pumps[n].state = pm.RUNNING
    assert bench.go(demand=1, out=3) == 1 << n
    assert (bench.pair.lead, bench.pair.led, bench.pair.take_back) == (n, n, 0)
    assert bench.go(demand=1, out=1 << n) == 1 << n


def test_a4_a_primary_that_fails_on_its_return_is_not_waited_for(n):
    bench = on_secondary(n)
    bench.supply.fed, bench.supply.came = 3, True
    bench.go(demand=1)
    bench.supply.came = False
    bench.pumps[n].state = pm.RETRY
    assert bench.go(demand=1) == other_bit(n)
    assert bench.pair.take_back == 0
    bench.pumps[n].state = pm.IDLE
    assert bench.go(demand=1) == other_bit(n), "the next return of the mains brings it back, not the end of its rest"


def test_a4_without_a_return_of_the_mains_a_running_secondary_is_left_to_run(n):
    bench = on_secondary(n)
    bench.supply.fed = 3
    assert bench.go(demand=1) == other_bit(n)
    bench.pumps[n].state = pm.RUNNING  # by hand, say
    assert bench.go(demand=1) == other_bit(n)


def test_a4_a_return_that_finds_the_primary_leading_or_nobody_changes_nothing(n):
    bench = Bench(duty=s.FIXED, primary=n + 1)
    bench.supply.came = True
    assert bench.go(demand=1) == 1 << n
    assert bench.pair.take_back == 0
    bench.supply.fed = 0
    assert bench.go(demand=1) == 0
    assert bench.pair.take_back == 0


def test_a4_bringing_back_ends_with_the_demand(n):
    bench = on_secondary(n)
    bench.supply.fed, bench.supply.came = 3, True
    bench.go(demand=1)
    bench.supply.came = False
    assert bench.go(demand=0) == 0
    assert bench.pair.take_back == 0


@pytest.mark.parametrize("duty", [s.ALTERNATE, s.RUN_TIME])
def test_a4_in_any_other_duty_a_return_of_the_mains_moves_no_lead(n, duty):
    bench = on_secondary(n, duty=duty)
    bench.supply.fed, bench.supply.came = 3, True
    assert bench.go(demand=1) == other_bit(n)
    assert bench.pair.take_back == 0


# D6: a weak lead -----------------------------------------------------------------------------------


@pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_FEEDBACK, WITH_CURRENT])
@pytest.mark.parametrize("demand", [0, 1, 2])
@pytest.mark.parametrize("led", [-1, 0, 1])
def test_d6_lag_counts_against_a_pump_that_led_alone_where_no_current_is_sensed(sensing, demand, led):
    bench = Bench(sensing=sensing)
    bench.pair.led = led
    bench.pair.reached_lag(demand)
    assert bench.pair.lagged == (1 if sensing != WITH_CURRENT and demand == 1 and led >= 0 else 0)


def cycle(bench, n, lagged):
    bench.pair.turn = n
    bench.go(demand=1)
    bench.go(demand=1, out=1 << n, available=1 << n)
    if lagged:
        bench.pair.reached_lag(1)
    bench.go(demand=0)
    bench.gate.out = 0
    assert bench.pair.lagged == 0


def test_d6_two_leads_of_its_own_that_reached_lag_make_a_suspect_and_only_a_reset_clears_it(n):
    bench = Bench()
    pair = bench.pair
    cycle(bench, n, True)
    assert (pair.lag_leads[n], pair.suspects) == (1, 0)
    cycle(bench, 1 - n, False)
    cycle(bench, n, True)
    assert (pair.lag_leads[n], pair.suspects) == (2, 1 << n), "what the other did in between does not matter"
    cycle(bench, n, True)
    assert pair.lag_leads[n] == 2
    cycle(bench, n, False)
    assert (pair.lag_leads[n], pair.suspects) == (0, 1 << n), "once suspect, suspect"
    cycle(bench, 1 - n, True)
    cycle(bench, 1 - n, True)
    assert pair.suspects == 3
    pair.lag_leads = [2, 2]
    pair.reset()
    assert (pair.lag_leads, pair.suspects) == ([0, 0], 0)


def test_d6_a_good_lead_in_between_begins_the_count_anew(n):
    bench = Bench()
    for lagged in (True, False, True):
        cycle(bench, n, lagged)
    assert (bench.pair.lag_leads[n], bench.pair.suspects) == (1, 0)


# S2: who starts first -------------------------------------------------------------------------------


@pytest.mark.parametrize("out", range(4))
@pytest.mark.parametrize("lead", [-1, 0, 1])
@pytest.mark.parametrize("turn", [0, 1])
def test_s2_of_two_that_are_wanted_the_leader_starts_first_but_not_one_that_is_out(turn, lead, out):
    bench = Bench()
    bench.pair.turn, bench.pair.lead = turn, lead
    bench.pumps[0].out, bench.pumps[1].out = out & 1, out >> 1
    leader = lead if lead >= 0 else turn
    assert bench.pair.goes_first() == ({1: 1, 2: 0}[out] if out in (1, 2) else leader)


def test_s2_in_a_flood_after_a_reset_the_good_pump_starts_before_the_one_that_is_out():
    rig = pump_1_only(sensing=WITH_CURRENT)
    rig.load[0] = "over"
    rig.fill("off", "lead").run(60)
    assert rig.c.pumps[0].out
    rig.set(selector_2="auto").fill("lag", "high").power_cut()
    up = rig.t
    rig.run(20)
    assert [n for t, n in rig.all_starts() if t >= up] == [2, 1]


# R1: underload -------------------------------------------------------------------------------------


@pytest.mark.parametrize("loaded", [0, 1])
@pytest.mark.parametrize("wet", range(16))
def test_r1_underload_means_an_empty_pit_or_a_pump_that_does_not_pump(n, loaded, wet):
    for before in range(4):
        bench = Bench(sensing=WITH_CURRENT)
        pump, other = bench.pumps[n], bench.pumps[1 - n]
        pump.state, pump.loaded = pm.RUNNING, loaded
        other.state, other.cause, other.failures, other.trips = pm.RETRY, pm.NOT_PUMPING, 1, 1
        bench.belief.wet, bench.contacts.wet, bench.pair.not_pumping = wet, wet | r.HIGH, before
        empty = bench.pair.dry_pump(n)
        above = wet & (r.LEAD | r.LAG | r.HIGH)
        if not above and (loaded or not wet & r.OFF):
            assert empty is True, "the pit is empty and the pump is good"
            assert (bench.belief.evidence, bench.belief.wet) == (wet & r.OFF, r.HIGH), "off, if it reads wet"
            assert (pump.state, pump.failures, bench.pair.not_pumping) == (pm.RUNNING, 0, before)
            taken_back = before & other_bit(n) and not loaded
            assert (other.state, other.failures) == ((pm.IDLE, 0) if taken_back else (pm.RETRY, 1)), "it moved nothing"
        elif before & other_bit(n) and bin(wet).count("1") < 2:
            assert empty is True, "the other one found the same"
            assert (bench.belief.evidence, bench.belief.wet) == (wet, r.HIGH & ~wet), "every one that reads wet"
            assert [(p.state, p.failures, p.trips, p.cause) for p in bench.pumps] == [(pm.IDLE, 0, 0, 0)] * 2
            assert bench.pair.not_pumping == 0
        else:
            assert empty is False
            assert bench.belief.evidence == 0
            assert (pump.state, pump.cause, pump.failures) == (pm.RETRY, pm.NOT_PUMPING, 1)
            assert (other.state, other.failures) == (pm.RETRY, 1)
            assert bench.pair.not_pumping == before | 1 << n


@pytest.mark.parametrize("cause", [pm.NOT_PUMPING, pm.OVERLOAD])
@pytest.mark.parametrize("tripped", range(4))
@pytest.mark.parametrize("suspect", [0, r.OFF, r.LEAD, r.LAG, r.HIGH, 15])
def test_r1_a_trip_is_taken_back_at_the_end_when_a_contact_that_vouched_for_water_is_suspect(cause, tripped, suspect):
    for wet in (r.OFF | r.LEAD, r.LAG, r.HIGH, 0):
        bench = Bench(sensing=WITH_CURRENT)
        for pump in bench.pumps:
            pump.state, pump.cause, pump.failures, pump.trips = pm.RETRY, cause, 1, 1
        bench.pair.not_pumping, bench.contacts.wet, bench.belief.suspect = tripped, wet, suspect
        assert bench.go(demand=0) == 0
        vouched = wet & suspect & (r.LEAD | r.LAG | r.HIGH) and cause == pm.NOT_PUMPING
        taken_back = [bool(vouched and tripped >> k & 1) for k in range(2)]
        assert [p.state for p in bench.pumps] == [pm.IDLE if back else pm.RETRY for back in taken_back]
        assert [p.failures for p in bench.pumps] == [0 if back else 1 for back in taken_back]
        assert bench.pair.not_pumping == 0


def test_r1_a_trip_is_withdrawn_at_the_end_of_a_demand_that_a_false_contact_vouched_for():
    c = Controller(make_settings(sensing=WITH_CURRENT))
    for n, cause in ((0, pm.NOT_PUMPING), (1, pm.RUN_LOST)):
        c.pumps[n].state, c.pumps[n].cause, c.pumps[n].failures, c.pumps[n].trips = pm.RETRY, cause, 1, 1
    c.pair.not_pumping = 3
    c.contacts.wet = r.LEAD
    c.belief.begin(r.LEAD)
    c.belief.make_suspect(r.LEAD, r.LEAD)
    assert c.pair.step(0, -1) == 0
    assert [each.state for each in c.pumps] == [pm.IDLE, pm.RETRY]
    assert [each.failures for each in c.pumps] == [0, 1]
    assert c.pair.not_pumping == 0
