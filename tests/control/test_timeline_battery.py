"""A battery that fails while the mains is there: told once, and in time where it carries the house alone (A4)."""

import pytest
from duplexsump.control import settings as s

from tests.control.clause_bench import DAY
from tests.rig import ALARM_PLACE, WITH_CURRENT, ready


def with_battery():
    return ready(sensing=WITH_CURRENT, supply_2=s.BATTERY, duty=s.FIXED, mains_grace=10_000)


@pytest.mark.parametrize("known", [False, True])
def test_a4_a_battery_that_dies_under_any_run_after_a_day_of_mains_has_failed(known):
    rig = ready(sensing=WITH_CURRENT, supply_2=s.BATTERY).run(DAY)  # alternate: it is never idle for a week
    for _ in range(2):
        rig.set(battery="dead" if known else "good").run(2).fill("off", "lead").run(5)
        if rig.pumps_on()[1]:
            rig.set(battery="dead").run(1.5).set(battery="good")
        rig.set(battery="good").run(20).drain("lead", "off").run(70)
    assert rig.raised("battery_failed") == ([] if known else [pytest.approx(rig.t, abs=120)])
    for _ in range(3):
        rig.fill("off", "lead").run(20).drain("lead", "off").run(70)
    assert rig.active("battery_failed") != known, "a good run between two is no proof"
    rig.press("reset").run(1)
    assert not rig.active("battery_failed")


def test_a4_a_battery_that_an_outage_has_emptied_has_not_failed():
    rig = ready(sensing=WITH_CURRENT, supply_2=s.BATTERY).run(DAY)
    rig.set(mains=0).fill("off", "lead").run(10).set(battery="dead").run(5)
    assert rig.active("battery_low") and rig.raised("battery_failed") == []
    rig.set(battery="good", mains=1).drain("lead", "off").run(DAY - 60)
    for _ in range(2):
        rig.fill("off", "lead").run(5).set(battery="dead").run(1.5).set(battery="good").drain("lead", "off").run(20)
    assert rig.raised("battery_failed") == [], "the charger has had no day to fill it"


def test_a4_a_battery_that_was_told_dead_at_rest_stays_told_while_its_pump_draws_on_it_or_the_mains_is_out():
    rig = with_battery()
    rig.set(battery="dead").run(70).fill("off", "lead", "lag", "high").run(60)
    assert rig.pumps_on() == (1, 1), "to exhaustion"
    rig.set(mains=0).run(60).set(mains=1).run(60).drain("high", "lag", "lead", "off").run(120)
    assert len(rig.raised("battery_failed")) == 1 and rig.active("battery_failed")


@pytest.mark.parametrize("silenced", [False, True])
@pytest.mark.parametrize(("battery", "after_s"), [("dead", 62), ("low", DAY + 2)])
def test_a4_a_dead_battery_is_told_once_though_its_controller_goes_dark_on_it(battery, after_s, silenced):
    rig = with_battery()
    rig.set(battery=battery).run(after_s)
    if silenced:
        rig.press("silence").run(1)
    for _ in range(3):
        rig.power_cut(600).run(DAY)
        assert rig.active("battery_failed")
    # A1: what somebody has acknowledged is raised anew by a power-up; what nobody has goes on.
    assert rig.c.alarms.raised[ALARM_PLACE["battery_failed"]] == (2 if silenced else 1)
    rig.set(battery="good").run(1).power_cut().run(60)
    assert not rig.active("battery_failed")


@pytest.mark.parametrize("why", ["off", "out"])
def test_a4_with_the_battery_pump_alone_a_battery_that_sinks_calls_while_the_mains_is_there(why):
    rig = with_battery()
    if why == "off":
        rig.set(selector_1="off")
    else:
        rig.load[0] = "locked"
    rig.fill("off", "lead").run(30)
    assert rig.pumps_on() == (0, 1) and not rig.active("battery_low")
    assert rig.output("relay") == (1 if why == "off" else 0)
    rig.set(battery="low").run(0.9)
    assert not rig.active("battery_low"), "the inrush pulls any battery down for a moment"
    rig.run(0.2)
    assert rig.active("battery_low") and rig.output("relay") == 0
    rig.set(battery="good").drain("lead", "off").run(700).fill("off", "lead").run(20)
    assert rig.active("battery_low"), "between two runs it always recovers"
    assert rig.c.alarms.raised[ALARM_PLACE["battery_low"]] == 1
    rig.load[0] = "normal"
    rig.set(selector_1="auto").press("reset").run(1)
    assert not rig.active("battery_low")


def test_a4_a_visit_with_a_selector_at_off_calls_nobody_on_a_sound_battery_nor_does_a_low_one_beside_a_good_pump():
    rig = with_battery()
    rig.set(selector_1="off").fill("off", "lead").run(20).drain("lead", "off").run(1500)
    rig.set(selector_1="auto").run(60).set(battery="low").run(1800)
    assert {name for _t, name, _state in rig.alarm_log} == set()


def test_a4_with_the_battery_pump_alone_a_battery_that_dies_under_each_run_is_one_alarm():
    rig = with_battery().run(DAY)
    rig.set(selector_1="off")
    began = rig.t
    for _ in range(5):
        rig.fill("off", "lead").run_until(lambda rig: rig.pumps_on()[1], 120)
        rig.set(battery="dead").run(1.5).set(battery="good").run(30)
    raised = {name: rig.c.alarms.raised[place] for name, place in ALARM_PLACE.items()}
    assert (raised["no_pump"], raised["battery_low"], raised["battery_failed"]) == (1, 1, 0)
    assert len(rig.starts(2, since=began)) >= 5, "it is tried all the same"
    rig.set(selector_1="auto").run(1)
    assert not rig.active("no_pump") and not rig.active("battery_low")
    assert rig.active("battery_failed"), "that it is dead is told with the house on the mains again"
