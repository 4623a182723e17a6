"""D5 and R1 by the contacts: water that the pumps do not keep up with, and contacts that called into an empty pit."""

from itertools import product

import pytest
from duplexsump.control import pump as pm
from duplexsump.control import records as r
from duplexsump.control import timers as tm

from tests.control.pair_bench import Bench, other_bit
from tests.rig import WITH_CURRENT

LEAD, LAG, HIGH, OFF = r.LEAD, r.LAG, r.HIGH, r.OFF
LAG_MS, LEAD_MS = 60_000, 600_000


@pytest.fixture(params=[0, 1], ids=["pump 1", "pump 2"])
def n(request):
    return request.param


class Water(Bench):
    """The pair with contacts; `at` is one step in which they read `wet`, all believed but `suspect`."""

    def at(self, wet, ms=0, suspect=0, **more):
        self.contacts.fell = self.contacts.wet & ~wet
        self.contacts.wet, self.belief.wet = wet, wet & ~suspect
        self.go(ms, **more)
        return self.pair.lag_long, self.pair.lead_long, bool(self.pair.behind())


def test_d5_lag_wet_for_a_minute_is_told_for_as_long_as_it_is():
    bench = Water()
    bench.at(LEAD | LAG)
    assert bench.at(LEAD | LAG, LAG_MS - 100) == (False, False, False)
    assert bench.at(LEAD | LAG, 100) == (True, False, True)
    assert bench.at(LEAD | LAG, 100) == (True, False, True)
    assert bench.at(LEAD, 100) == (False, False, False)
    bench.at(LEAD | LAG, 100)
    assert bench.at(LEAD | LAG, LAG_MS - 100) == (False, False, False), "without a break"


@pytest.mark.parametrize("wet", [LEAD, LEAD | OFF])
def test_d5_water_not_below_lead_for_not_keeping_up_is_told_for_as_long_as_it_is(wet):
    bench = Water()
    bench.at(wet)
    assert bench.at(wet, LEAD_MS - 100) == (False, False, False)
    assert bench.at(wet, 100) == (False, True, True)
    assert bench.at(wet, 100) == (False, True, True)
    assert bench.at(LAG, 100) == (False, True, True), "lag alone is not below lead"
    assert bench.at(OFF, 100) == (False, False, False)
    assert bench.at(0, LEAD_MS) == (False, False, False)
    assert not bench.timers.running(tm.LEAD_LONG)


def test_d5_not_keeping_up_is_a_setting_and_lag_s_minute_is_none():
    bench = Water(not_keeping_up=120_000)
    bench.at(LEAD | LAG)
    assert bench.at(LEAD | LAG, LAG_MS) == (True, False, True)
    assert bench.at(LEAD | LAG, 120_000 - LAG_MS - 100) == (True, False, True)
    assert bench.at(LEAD | LAG, 100) == (True, True, True)


def test_d5_water_for_which_no_pump_may_start_is_told_by_that_until_it_is_at_lag():
    for available in (1, 2, 3):
        bench = Water()
        bench.at(LEAD, available=available)
        assert bench.at(LEAD, LEAD_MS, available=available) == (False, True, True)
    bench = Water()
    bench.at(LEAD, available=0)
    assert bench.at(LEAD, LEAD_MS, available=0) == (False, False, False)
    bench.at(LEAD | LAG, available=0)
    assert bench.at(LEAD | LAG, LAG_MS, available=0) == (True, False, True)


@pytest.mark.parametrize("contact", [LEAD, LAG, LEAD | LAG])
def test_d5_a_contact_that_is_not_believed_tells_of_no_water(contact):
    bench = Water()
    bench.at(contact, suspect=contact)
    assert bench.at(contact, LEAD_MS, suspect=contact) == (False, False, False)


@pytest.mark.parametrize("suspect", [0, HIGH])
def test_d5_high_calls_itself_believed_or_not_and_two_minutes_after_it_fell_lag_does(suspect):
    bench = Water()
    bench.at(LEAD | LAG)
    bench.at(LEAD | LAG, LAG_MS)
    assert bench.at(15, 100, suspect=suspect) == (False, False, False)
    assert bench.at(15, LEAD_MS, suspect=suspect) == (False, False, False)
    assert bench.at(LEAD | LAG, 100) == (False, False, False)
    assert bench.at(LEAD | LAG, 2 * LAG_MS - 100) == (False, False, False)
    assert bench.at(LEAD | LAG, 100) == (True, False, True), "it may hang dry now, in the middle of a flood"
    assert bench.at(LEAD, LEAD_MS - 2 * LAG_MS) == (False, True, True)
    bench.at(15, 100, suspect=suspect)
    bench.at(OFF | LEAD, 100)
    bench.at(LEAD | LAG, 100)
    assert bench.at(LEAD | LAG, LAG_MS) == (True, False, True), "below lag the two minutes are over"


def test_d5_high_that_hangs_wet_over_a_pit_drawn_down_goes_on_calling():
    bench = Water()
    bench.at(HIGH, suspect=HIGH)
    bench.at(HIGH | OFF, 1000, suspect=HIGH)
    assert bench.at(HIGH | OFF | LEAD, LEAD_MS, suspect=HIGH) == (False, False, False)


def test_d5_any_of_the_three_is_behind():
    pair = Bench().pair
    for both, lag, lead in product((False, True), repeat=3):
        pair.both_long, pair.lag_long, pair.lead_long = both, lag, lead
        assert bool(pair.behind()) is (both or lag or lead)


def test_d5_the_water_is_looked_at_with_and_without_a_demand():
    for demand in (0, 1, 2):
        bench = Water()
        bench.at(LEAD | LAG, demand=demand)
        assert bench.at(LEAD | LAG, LAG_MS, demand=demand) == (True, False, True)


# R1, L2: called into an empty pit ------------------------------------------------------------------


def dry(n, wet, loaded, not_pumping=0, **belief):
    """A bench whose pump n has just been found dry."""
    bench = Bench(sensing=WITH_CURRENT)
    bench.pumps[n].state, bench.pumps[n].loaded = pm.RUNNING, loaded
    bench.pumps[1 - n].state, bench.pumps[1 - n].cause = pm.RETRY, pm.NOT_PUMPING
    bench.belief.wet = bench.contacts.wet = wet
    bench.pair.not_pumping = not_pumping
    for name, value in belief.items():
        setattr(bench.belief, name, value)
    bench.empty = bench.pair.dry_pump(n)
    return bench


def test_r1_an_empty_pit_is_held_against_the_contact_that_had_risen_and_the_second_time_it_is_fickle(n):
    bench = dry(n, OFF, 1, raised=LAG)
    assert bench.empty is True
    assert (bench.belief.dried, bench.belief.fickle) == (LAG, 0)
    bench = dry(n, 0, 0, raised=LAG, dried=LAG)
    assert bench.empty is True
    assert (bench.belief.dried, bench.belief.fickle, bench.belief.evidence) == (LAG, LAG, LAG)
    bench = dry(n, OFF, 1, raised=LAG, dried=HIGH)
    assert (bench.belief.dried, bench.belief.fickle, bench.belief.evidence) == (LAG, 0, OFF)


def test_r1_when_both_found_the_pit_empty_it_is_held_against_all_that_read_wet(n):
    bench = dry(n, LAG, 1, other_bit(n), raised=HIGH)
    assert bench.empty is True
    assert (bench.belief.dried, bench.belief.fickle, bench.belief.evidence) == (LAG, 0, LAG)
    bench = dry(n, LAG, 1, other_bit(n), dried=LAG)
    assert (bench.belief.dried, bench.belief.fickle, bench.belief.evidence) == (LAG, LAG, LAG)


@pytest.mark.parametrize("wet", [LEAD | LAG, OFF | LEAD, OFF | HIGH])
def test_r1_two_contacts_that_agree_outweigh_two_pumps(n, wet):
    bench = dry(n, wet, 1, other_bit(n), raised=LEAD, dried=LEAD)
    assert bench.empty is False
    assert (bench.belief.evidence, bench.pair.not_pumping, bench.belief.dried) == (0, 3, LEAD)


def test_r1_one_pump_that_does_not_pump_says_nothing_of_the_contacts(n):
    bench = dry(n, LEAD, 1, raised=LEAD, dried=LEAD)
    assert bench.empty is False
    assert (bench.belief.dried, bench.belief.fickle) == (LEAD, 0)


# S6: a pump that will not stop ---------------------------------------------------------------------


@pytest.mark.parametrize("wet", range(16))
@pytest.mark.parametrize("demand", [1, 2])
def test_s6_with_high_believed_wet_a_pump_that_seems_welded_is_commanded_all_the_same(n, wet, demand):
    bench = Bench()
    bench.pumps[n].welded = True
    bench.pair.turn = n
    bench.belief.wet = bench.contacts.wet = wet
    want = bench.go(demand=demand)
    if wet & HIGH:
        assert want == (3 if demand == 2 else 1 << n)
        assert (bench.pair.available, bench.pair.ready) == (3, 3)
    else:
        assert want == (other_bit(n) if demand == 2 else 0)
        assert (bench.pair.available, bench.pair.ready) == (other_bit(n), other_bit(n))


@pytest.mark.parametrize(("fed", "unseen"), list(product(range(4), repeat=2)))
def test_a4_a_pump_whose_supply_is_not_seen_is_available_in_a_flood(fed, unseen):
    bench = Bench()
    bench.supply.fed, bench.supply.unseen = fed, unseen
    bench.go(demand=0)
    assert bench.pair.available == bench.pair.ready == fed | unseen
