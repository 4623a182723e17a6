"""Pumps that are out: what is taken back, who is tried instead, what starts over (S5, S7, R1, R3, M1, A4)."""

import pytest
from duplexsump.control import settings as s

from tests.rig import NO_CURRENT, WITH_CURRENT, ready

NEAR = 0.15


def near(seconds):
    return pytest.approx(seconds, abs=NEAR)


def one_dead(**overrides):
    """Pump 1 locked out by failed starts, pump 2 healthy, the pit empty again."""
    rig = ready(**{"sensing": WITH_CURRENT, "retries": 1, "duty": s.FIXED, **overrides})
    rig.load[0] = "none"
    rig.fill("off", "lead").run(20)
    assert rig.pump_state(1) == "locked"
    rig.drain("lead", "off").run(70)
    return rig


def both_dead(**overrides):
    rig = ready(**{"sensing": WITH_CURRENT, "retries": 1, **overrides})
    rig.load = ["none", "none"]
    rig.fill("off", "lead", "lag", "high")
    return rig


def rests(rig, since=0.0):
    """Return the rest before each start of either pump, from its predecessor's stop on."""
    stops = sorted(rig.stops(1) + rig.stops(2))
    return [t - max(stop for stop in stops if stop <= t) for t, _ in rig.all_starts() if t > since]


# S5, S7: rests ----------------------------------------------------------------------------------


def test_s7_a_thermal_contact_that_opens_in_a_retry_rest_starts_the_rest_anew_when_it_closes():
    rig = ready(sensing=WITH_CURRENT).set(selector_2="off")
    rig.load[0] = "none"
    rig.fill("off", "lead").run(10)
    rig.load[0] = "normal"
    rig.set(thermal_1=1).run(400).set(thermal_1=0)
    closed = rig.t
    rig.run(700)
    assert rig.starts(1)[1:] == [near(closed + 600)]


def test_s7_two_open_thermal_contacts_leave_the_house_unprotected():
    rig = ready()
    rig.set(thermal_1=1, thermal_2=1).run(1)
    assert rig.active("no_pump")
    assert rig.active("pump_1_unavailable")
    assert rig.active("pump_2_unavailable")


def test_m1_hand_does_not_start_a_pump_that_has_tripped():
    rig = ready(sensing=WITH_CURRENT)
    rig.load[0] = "over"
    rig.set(selector_1="hand").run(590)
    assert len(rig.starts(1)) == 1
    rig.set(selector_1="auto").run(1).set(selector_1="hand").run(5)
    assert len(rig.starts(1)) == 1


def test_m1_hand_at_off_and_back_starts_a_pump_that_has_tripped_after_its_rest():
    rig = ready(sensing=WITH_CURRENT)
    rig.load[0] = "over"
    rig.set(selector_1="hand").run(20)
    stop = rig.stops(1)[0]
    rig.load[0] = "normal"
    rig.set(selector_1="off").run(2).set(selector_1="hand").run(70)
    assert rig.starts(1)[1] == near(stop + 60)  # R4: OFF and back; S1 still holds


# R1: what is taken back -------------------------------------------------------------------------


def test_r1_trips_that_are_taken_back_are_not_counted():
    rig = ready(sensing=WITH_CURRENT)
    rig.load = ["under", "under"]
    rig.fill("off", "lead").run(60)
    assert (rig.c.pumps[0].trips, rig.c.pumps[1].trips) == (0, 0)
    assert (rig.c.pumps[0].failures, rig.c.pumps[1].failures) == (0, 0)


@pytest.mark.parametrize("contact", ["lead", "lag", "high"])
def test_r1_a_trip_goes_with_the_contact_that_vouched_for_the_water(contact):
    rig = ready(sensing=WITH_CURRENT, sequence_time=15_000)
    rig.fill("off", "lead").run(20)  # an honest run, so that a fall is the last edge
    rig.drain("lead", "off").run(70)
    rig.load = ["under", "normal"]
    turn = 3 - rig.all_starts()[-1][1]
    rig.load = ["under", "normal"] if turn == 1 else ["normal", "under"]
    rig.set(**{contact: 1}).run(11)
    assert rig.pump_state(turn) == "retry"
    rig.run(12)
    assert contact in rig.suspects() or rig.suspects() == {"off"}
    if contact in rig.suspects():
        assert rig.pump_state(turn) != "retry"


def test_r1_a_trip_of_an_earlier_demand_does_not_make_the_pit_empty():
    rig = ready(sensing=WITH_CURRENT)
    rig.load = ["under", "normal"]
    rig.fill("off", "lead").run(30)
    rig.drain("lead", "off").run(70)
    rig.set(selector_1="off")  # pump 1 is away; the next lead underloads alone
    rig.load = ["normal", "under"]
    rig.fill("off", "lead").run(30)
    assert rig.pump_state(2) == "retry"
    assert rig.suspects() == set()


# R3: who is tried, and when ---------------------------------------------------------------------


def test_r3_a_pump_that_is_out_is_not_tried_while_the_other_can_run():
    rig = one_dead()
    since = rig.t
    rig.fill("off", "lead", "lag", "high").run(600)
    assert rig.starts(1, since=since) == []
    assert rig.pumps_on() == (0, 1)


def test_r3_a_pump_that_rests_is_waited_for_and_the_other_not_tried():
    rig = one_dead(flood_min_off=60_000, lag_min_off=60_000)
    rig.set(selector_2="hand").run(10).set(selector_2="auto")
    since = rig.t
    rig.fill("off", "lead", "lag", "high").run(70)
    assert rig.starts(1, since=since) == []
    assert rig.starts(2, since=since) == [near(since + 60)]


@pytest.mark.parametrize("away", [{"thermal_1": 1}, {"selector_1": "off"}])
def test_r3_where_one_may_not_run_the_other_is_tried_in_its_place(away):
    rig = both_dead().run(5)
    rig.set(**away)
    since = rig.t
    rig.run(600)
    assert {n for t, n in rig.all_starts() if t > since} == {2}
    assert [round(rest) for rest in rests(rig, since)[:4]] == [10, 30, 60, 120]


def test_r3_the_tries_start_over_after_the_water_has_been_down():
    rig = both_dead().run(900)
    rig.drain("high", "lag").run(60)
    assert rig.pumps_on() == (0, 0)
    wet = rig.t + 1
    rig.set(lag=1).run(3).set(high=1).run(150)
    starts = [t for t, _ in rig.all_starts() if t > wet]
    assert starts[0] - (wet + 3) <= 10.2
    assert [round(rest) for rest in rests(rig, starts[0])[:2]] == [30, 60]


def test_r3_no_try_is_owed_once_the_water_is_down():
    rig = both_dead().run(100)
    rig.drain("high", "lag")
    since = rig.t
    rig.run(3600)
    assert [t for t, _ in rig.all_starts() if t > since] == []


# A4 ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("primary", [1, 2])
def test_a4_whichever_is_primary_takes_over_when_the_mains_returns(primary):
    supplies = {f"supply_{primary}": s.MAINS, f"supply_{3 - primary}": s.BATTERY}
    rig = ready(sensing=WITH_CURRENT, duty=s.FIXED, primary=primary, **supplies)
    rig.set(mains=0).fill("off", "lead").run(30)
    assert rig.pumps_on()[2 - primary] == 1
    rig.set(mains=1).run(30)
    assert rig.pumps_on()[primary - 1] == 1
    assert sum(rig.pumps_on()) == 1


def test_a4_a_voltage_that_collapses_at_the_start_makes_the_pump_unavailable():
    rig = ready(sensing=WITH_CURRENT, supply_2=s.BATTERY, duty=s.FIXED)
    rig.set(mains=0).fill("off", "lead")
    assert rig.pumps_on() == (0, 1)
    rig.set(battery="dead").run(1)
    assert rig.pumps_on() == (0, 0)
    rig.set(battery="low").run(300)  # at rest the voltage comes up again, and means nothing
    assert len(rig.starts(2)) == 1
    assert rig.active("pump_2_unavailable")
    rig.set(battery="good").run(70)
    assert len(rig.starts(2)) == 2


def test_a4_a_low_battery_with_the_mains_there_is_no_alarm():
    rig = ready(supply_2=s.BATTERY)
    rig.set(battery="low").run(600)
    assert rig.raised("battery_low") == []


def test_a4_without_a_charger_that_reports_there_is_no_charger_alarm():
    rig = ready(supply_2=s.BATTERY, charger_fitted=0)
    rig.set(charger=0).run(3 * 86_400)
    assert rig.raised("charger_failed") == []


def test_d4_a_handed_over_pump_may_lead_again_after_its_rest():
    rig = ready(sensing=NO_CURRENT, max_run=120_000, fitted=11)
    rig.fill("off", "lead").run(1000)
    order = [n for _, n in rig.all_starts()]
    assert len(order) >= 7
    assert all(a != b for a, b in zip(order, order[1:], strict=False))
    assert len(rig.raised("long_run")) >= 1
