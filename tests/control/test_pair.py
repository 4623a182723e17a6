"""The pair by itself: who is available, who leads, who runs, by whole tables beside the narrative's words."""

from itertools import product

import pytest
from duplexsump.control import pump as pm
from duplexsump.control.pair import Pair

from tests.control.pair_bench import AUTO, HAND, OFF, Bench, leads, other_bit


@pytest.fixture(params=[0, 1], ids=["pump 1", "pump 2"])
def n(request):
    return request.param


def test_as_built_nobody_leads_and_nothing_is_known():
    pair = Bench().pair
    known = {row[0]: getattr(pair, row[0]) for row in Pair.FIELDS}
    nobody = {"lead": -1, "led": -1}
    assert known.pop("lag_leads") == [0, 0]
    assert known == {name: nobody.get(name, 0) for name in known}
    assert pair.step(0, -1) == 0


# Who is available ----------------------------------------------------------------------------------


@pytest.mark.parametrize("at", [AUTO, OFF, HAND])
@pytest.mark.parametrize("fed", [0, 1])
@pytest.mark.parametrize("neighbour", ["well", "out"])
def test_d2_available_means_in_auto_supplied_not_resting_not_locked_out_closed_and_not_welded(n, at, fed, neighbour):
    bench = Bench()
    pair, pump, other = bench.pair, bench.pumps[n], bench.pumps[1 - n]
    other.state = pm.IDLE if neighbour == "well" else pm.LOCKED
    rest = other_bit(n) if neighbour == "well" else 0
    bench.supply.fed = fed << n | other_bit(n)
    bench.selectors.at[n] = at
    tried = (0, pm.RETRY, pm.LOCKED)
    for opened, welded, state, trial, held in product((0, 1), (False, True), range(5), range(3), tried):
        pump.open, pump.welded, pump.state, pump.trial, pump.held = opened, welded, state, trial, held
        pair.judge()
        out = state in (pm.RETRY, pm.LOCKED)
        available = at == AUTO and fed and not opened and not welded and (not out or trial)
        ready = available and not out and not held
        assert pair.available == (rest | (1 << n if available else 0))
        assert pair.ready == (rest | (1 << n if ready else 0))


# Who leads -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("lead", "first"), list(product((-1, 0, 1), (0, 1))))
def test_d2_d3_who_leads_over_every_state_of_two_pumps(lead, first):
    bench = Bench()
    for available, out, rested in product(range(4), range(4), range(4)):
        bench.pair.turn = first
        bench.pair.lead, bench.pair.available, bench.gate.out = lead, available, out
        bench.rest(3 & ~rested)
        bench.pair.step(1, -1)
        assert bench.pair.lead == leads(lead, first, available, out & available, rested), (available, out, rested)


@pytest.mark.parametrize("duty", ["alternate", "fixed", "run_time"])
@pytest.mark.parametrize("primary", [1, 2])
@pytest.mark.parametrize("turn", [0, 1])
@pytest.mark.parametrize("run_s", [(7, 7), (7, 8), (8, 7)])
def test_d2_d6_whose_lead_it_is(duty, primary, turn, run_s):
    bench = Bench(duty=("alternate", "fixed", "run_time").index(duty), primary=primary)
    bench.pair.turn = turn
    bench.history.run_s[:] = run_s
    if duty == "fixed":
        first = primary - 1
    elif duty == "run_time" and run_s != (7, 7):
        first = run_s.index(min(run_s))
    else:
        first = turn
    for suspects in range(4):
        bench.pair.suspects, bench.pair.lead, bench.pair.available = suspects, -1, 3
        bench.pair.step(1, -1)
        assert [bool(bench.pair.suspect(k)) for k in range(2)] == [bool(suspects & 1), bool(suspects & 2)]
        loses = suspects == 1 << first  # with both flagged neither loses the lead
        assert bench.pair.lead == (1 - first if loses else first)


# Who runs ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("demand", [1, 2])
@pytest.mark.parametrize("turn", [0, 1])
@pytest.mark.parametrize("hands", [(AUTO, AUTO), (HAND, AUTO), (AUTO, HAND), (HAND, HAND), (OFF, AUTO), (AUTO, OFF)])
def test_d1_m1_s6_a_pump_in_hand_that_runs_and_one_that_will_not_stop_count_towards_the_demand(demand, turn, hands):
    for out, welded in product(range(4), range(4)):
        bench = Bench()
        bench.pair.turn = turn
        bench.selectors.at = list(hands)
        for k in range(2):
            bench.pumps[k].welded = bool(welded >> k & 1)
        want = bench.go(demand=demand, out=out)
        available = sum((hands[k] == AUTO and not welded >> k & 1) << k for k in range(2))
        served = sum((hands[k] == HAND and out >> k & 1) or welded >> k & 1 for k in range(2))
        asked = max(0, demand - served)
        lead = leads(-1, turn, available, out & available, 3)
        level = available if asked == 2 else 1 << lead if asked and lead >= 0 else 0
        manual = sum((hands[k] == HAND) << k for k in range(2))
        assert want == level | manual, (out, welded)
        assert bench.pair.lead == lead
        assert bench.pair.led == (lead if lead >= 0 and out >> lead & 1 else -1)


def test_with_no_pump_available_nobody_leads_and_nothing_is_wanted():
    for demand in (1, 2):
        bench = Bench()
        bench.supply.fed = 0
        assert bench.go(demand=demand, out=0) == 0
        assert (bench.pair.lead, bench.pair.led) == (-1, -1)


@pytest.mark.parametrize("state", range(5))
def test_m1_hand_asks_for_its_pump_whatever_the_level_but_not_for_one_that_is_out(n, state):
    bench = Bench()
    bench.selectors.at[n] = HAND
    bench.pumps[n].state = state
    hand = 1 << n if state < pm.RETRY else 0
    assert bench.go(demand=0) == hand
    assert bench.go(demand=1) == hand | other_bit(n)
    assert bench.go(demand=0, blind=n) == hand | other_bit(n)
    bench.selectors.at[1 - n] = OFF
    assert bench.go(demand=0, blind=n) == hand


def test_s3_a_run_is_wanted_for_min_run_whatever_the_level(n):
    bench = Bench()
    bench.pumps[n].started()
    for _ in range(2):
        assert bench.go(1000, out=1 << n) == 1 << n
    bench.go(2900, demand=1)
    assert bench.go() == 1 << n
    assert bench.go(100) == 0


def test_d1_the_level_the_blind_run_and_the_shortest_run_add_up(n):
    bench = Bench()
    bench.pumps[n].started()
    bench.gate.out = 1 << n
    assert bench.go(100, blind=1 - n, out=0) == 3
    assert bench.go(100, demand=1, available=other_bit(n)) == 3


def test_l6_a_blind_run_is_the_turn_s_or_the_other_s_where_that_is_out(n):
    bench = Bench()
    assert bench.go(blind=n) == 1 << n
    assert bench.go(blind=1 - n) == other_bit(n), "each time anew"
    assert bench.go(blind=n, available=other_bit(n)) == other_bit(n)
    bench.rest(1 << n)
    assert bench.go(blind=n) == other_bit(n), "nor is a rest waited for"
    assert bench.go(blind=n, available=0) == 0
    assert bench.go(blind=-1) == 0
    assert bench.pair.lead == -1


@pytest.mark.parametrize("takes", [1, 2, 3])
@pytest.mark.parametrize("available", [1, 2, 3])
def test_l6_a_blind_run_of_both_takes_those_of_them_that_are_available(n, available, takes):
    bench = Bench()
    bench.pair.available = available
    assert bench.pair.step(0, n, takes) == available & takes


def test_d5_both_running_for_not_keeping_up_is_told_for_as_long_as_they_do():
    bench = Bench()
    bench.go(demand=2, out=3)
    bench.go(599_900, demand=2)
    assert not bench.pair.both_long
    bench.go(100, demand=2)
    assert bench.pair.both_long is True
    bench.go(100, demand=2)
    assert bench.pair.both_long is True
    for out in (1, 2, 0):
        bench.go(100, demand=2, out=out)
        assert bench.pair.both_long is False
        bench.go(700_000, demand=2)
        assert bench.pair.both_long is False


# The turn ------------------------------------------------------------------------------------------


def test_d2_the_turn_goes_to_the_one_that_did_not_lead_when_the_cycle_is_over(n):
    bench = Bench()
    pair = bench.pair
    pair.turn = n
    assert bench.go(demand=1) == 1 << n
    bench.go(demand=1, out=1 << n)
    assert (pair.lead, pair.led, pair.turn, pair.cycles) == (n, n, n, 0)
    assert bench.go(demand=0) == 0
    assert (pair.lead, pair.led, pair.turn, pair.cycles) == (-1, -1, 1 - n, 1)
    bench.go(demand=0, out=0)
    assert (pair.turn, pair.cycles) == (1 - n, 1), "once a cycle"


def test_d2_a_pump_that_is_skipped_keeps_its_one_turn(n):
    bench = Bench()
    bench.pair.turn = n
    for _ in range(3):
        assert bench.go(demand=1, available=other_bit(n)) == other_bit(n)
        bench.go(demand=1, out=other_bit(n), available=other_bit(n))
        bench.go(demand=0, out=0)
        assert bench.pair.turn == n


def test_d2_a_demand_in_which_nobody_ran_is_no_cycle(n):
    bench = Bench()
    bench.pair.turn = n
    bench.go(demand=1)
    assert bench.pair.lead == n
    bench.go(demand=0)
    assert (bench.pair.lead, bench.pair.turn, bench.pair.cycles) == (-1, n, 0)


def test_d3_when_the_lead_is_out_the_other_takes_over_and_the_cycle_counts_for_it(n):
    bench = Bench()
    bench.pair.turn = n
    bench.go(demand=1)
    bench.go(demand=1, out=1 << n)
    bench.pumps[n].state = pm.RETRY
    assert bench.go(demand=1) == other_bit(n)
    assert (bench.pair.lead, bench.pair.led) == (1 - n, n)
    bench.go(demand=1, out=other_bit(n))
    assert bench.pair.led == 1 - n
    bench.go(demand=0)
    assert bench.pair.turn == n


def test_d3_a_cycle_whose_pumps_are_both_out_at_its_end_is_over_all_the_same(n):
    bench = Bench()
    bench.pair.turn = n
    bench.go(demand=1)
    bench.go(demand=1, out=1 << n)
    bench.go(demand=1, out=0, available=0)
    assert (bench.pair.lead, bench.pair.led) == (-1, n)
    bench.go(demand=0)
    assert (bench.pair.led, bench.pair.turn, bench.pair.cycles) == (-1, 1 - n, 1)
