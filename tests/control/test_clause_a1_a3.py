"""A1 to A3: alarms, horn and the two calls for help.  Each test is one claim of the narrative, in numbers."""

import pytest
from duplexsump.control import alarms
from duplexsump.control import records as r
from duplexsump.control import settings as s

from tests.control.clause_bench import DAY, locked, near
from tests.rig import ALARM_PRIORITY, WITH_CURRENT, ready

HIGH_ALARMS = {
    "high_water", "no_pump", "level_lost", "float_wiring", "not_keeping_up", "pump_1_will_not_stop",
    "pump_2_will_not_stop", "battery_low", "inputs_forced_long",
}
MEDIUM_ALARMS = {
    "pump_1_unavailable", "pump_2_unavailable", "mains_lost", "floats_out_of_sequence", "transmitter_failed",
    "pump_1_exercise_failed", "pump_2_exercise_failed", "charger_failed", "selector_away", "pump_1_suspect",
    "pump_2_suspect", "battery_failed", "mains_unsteady", "pump_1_weak", "pump_2_weak", "expander_silent",
    "storage_failed",
}


# A1 ------------------------------------------------------------------------------------------------


def test_a1_every_alarm_has_a_name_of_its_own_a_priority_and_a_text():
    names = [row[0] for row in alarms.TABLE]
    assert len(names) == len(set(names))
    assert [row[1] for row in alarms.TABLE] == sorted(row[1] for row in alarms.TABLE)
    for name, priority, latch, text in alarms.TABLE:
        assert priority in (0, 1, 2), name
        assert latch in (0, 1), name
        assert text.strip(), name


def test_a1_priorities_are_those_of_the_narrative():
    by_priority = {}
    for name, priority in ALARM_PRIORITY.items():
        by_priority.setdefault(priority, set()).add(name)
    high = next(p for p, names in by_priority.items() if "high_water" in names)
    medium = next(p for p, names in by_priority.items() if "mains_lost" in names)
    assert by_priority[high] == HIGH_ALARMS
    assert by_priority[medium] == MEDIUM_ALARMS
    assert len(by_priority) == 3


def test_a1_high_water_is_raised_in_the_step_in_which_high_turns_wet():
    rig = ready()
    rig.fill("off", "lead", "lag")
    at = rig.t
    rig.set(high=1).run(2)
    assert rig.raised("high_water") == [near(at + 1.0)]


@pytest.mark.parametrize("wet", [(), ("off", "lead")])
def test_a1_both_pumps_unavailable_leave_the_house_unprotected_wet_or_dry(wet):
    rig = ready()
    rig.set(**dict.fromkeys(wet, 1)).run(30)
    rig.set(selector_1="off", selector_2="off").run(1)
    assert rig.active("no_pump")


def test_a1_one_pump_unavailable_is_medium():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(thermal_1=1).run(1)
    assert rig.active("pump_1_unavailable")
    assert not rig.active("no_pump")


def test_a1_a_selector_not_in_auto_for_a_day():
    rig = ready()
    rig.set(selector_1="off").run(DAY - 120)
    assert not rig.active("selector_away")
    rig.run(240)
    assert rig.active("selector_away")


@pytest.mark.parametrize("acknowledged", [False, True])
def test_a1_one_press_ends_the_lockout_and_the_one_alarm_of_the_pump(acknowledged):
    rig = locked()
    assert {name for _t, name, _state in rig.alarm_log if name.startswith("pump_1")} == {"pump_1_unavailable"}
    assert rig.active("pump_1_unavailable")
    if acknowledged:
        rig.press("silence").run(1)
        assert rig.alarm("pump_1_unavailable") == "acknowledged"
    rig.press("reset").run(1)
    assert rig.pump_state(1) != "locked"
    assert rig.alarm("pump_1_unavailable") == ("normal" if acknowledged else "returned")
    assert not rig.run(120).active("pump_1_unavailable")


def test_a1_what_still_holds_stays_active_through_a_reset():
    rig = locked()
    rig.fill("lag", "high").run(5)
    assert rig.active("high_water")
    rig.press("reset").run(1)
    assert rig.alarm("high_water") == "unacknowledged"


@pytest.mark.parametrize("mended", [False, True])
def test_a1_a_pump_stays_unavailable_when_its_rest_is_over_until_a_run_has_proved_it(mended):
    rig = ready(sensing=WITH_CURRENT)
    rig.load[0] = "none"
    rig.fill("off", "lead").run(30)
    assert rig.active("pump_1_unavailable")
    rig.drain("lead", "off").run(700)
    assert rig.pump_state(1) == "idle"
    assert rig.active("pump_1_unavailable"), "its rest is over and nothing is proved"
    if mended:
        rig.load[0] = "normal"
    for _ in range(3):
        rig.fill("off", "lead").run(20).drain("lead", "off").run(70)
    assert rig.active("pump_1_unavailable") == (not mended)
    assert len(rig.raised("pump_1_unavailable")) == 1
    rig.press("reset").run(1)
    assert not rig.active("pump_1_unavailable")


# A2 ------------------------------------------------------------------------------------------------


def sounding(**overrides):
    """A medium alarm and no other: mains lost, with both pumps able to run on the battery."""
    rig = ready(supply_1=s.EITHER, supply_2=s.EITHER, mains_grace=10_000, **overrides)
    rig.set(mains=0).run(11)
    assert rig.active("mains_lost")
    assert rig.output("horn") == 1
    return rig


def test_a2_silence_acts_on_the_press_edge():
    rig = sounding()
    rig.set(silence=1)
    assert rig.output("horn") == 0
    assert rig.alarm("mains_lost") == "acknowledged"


def test_a2_a_button_that_stays_pressed_acknowledges_nothing_new():
    rig = sounding()
    rig.set(silence=1).run(5)
    rig.fill("off", "lead", "lag", "high").run(2)
    assert rig.alarm("high_water") == "unacknowledged"
    assert rig.output("horn") == 1


def test_a2_a_low_alarm_sounds_no_horn():
    rig = ready(inspection=1).run(DAY)
    assert rig.active("inspection_due")
    assert rig.horn_edges() == []


def test_a2_the_same_alarm_within_fifteen_minutes_of_silence_is_quiet():
    rig = sounding()
    rig.press("silence").run(60)
    rig.set(mains=1).run(60).set(mains=0)
    since = rig.t
    rig.run(300)
    assert rig.active("mains_lost")
    assert rig.horn_edges(since) == []


def test_a2_unless_it_is_still_there_after_it():
    rig = sounding()
    rig.press("silence")
    silenced = rig.t - 0.2
    rig.run(60).set(mains=1).run(60).set(mains=0)
    since = rig.t
    rig.run(1200)
    assert rig.horn_edges(since)[0] == (pytest.approx(silenced + 900, abs=0.3), 1)


def test_a2_another_alarm_within_those_fifteen_minutes_is_heard():
    rig = sounding()
    rig.press("silence").run(60)
    rig.set(thermal_1=1).run(2)
    assert rig.output("horn") == 1


def test_a2_high_still_wet_sounds_again_every_thirty_minutes():
    rig = ready(not_keeping_up=7_200_000)
    rig.fill("off", "lead", "lag", "high").run(2)
    rig.press("silence")
    silenced = rig.t - 0.2
    since = rig.t
    rig.run(1795)
    assert rig.horn_edges(since) == []
    rig.run(10)
    assert rig.horn_edges(since)[0] == (pytest.approx(silenced + 1800, abs=0.3), 1)
    rig.press("silence")
    again = rig.t
    rig.run(1805)
    assert len([t for t, value in rig.horn_edges(again) if value]) == 1


def test_a2_other_alarms_sound_again_every_twelve_hours():
    rig = sounding()
    rig.press("silence")
    since = rig.t
    rig.run(12 * 3600 - 60)
    assert rig.horn_edges(since) == []
    rig.run(120)
    assert [value for _, value in rig.horn_edges(since)] == [1]


def lengths(edges):
    """Return (start, length) of each stretch of horn."""
    on = [t for t, value in edges if value]
    return [(t, min(e for e, value in edges if not value and e > t) - t) for t in on]


def test_a2_returned_unacknowledged_chirps_at_10_30_and_60_minutes_and_the_beacon_stays():
    rig = sounding()
    rig.set(mains=1)
    rig.run_until(lambda rig: rig.alarm("mains_lost") == "returned", 60)
    since = rig.t
    rig.run(2 * DAY)
    assert lengths(rig.horn_edges(since + 0.1)) == [(near(since + 60 * k), near(10)) for k in (10, 30, 60)]
    assert rig.output("beacon") == 1


def test_a2_a_fault_that_is_ignored_is_heard_for_less_than_half_an_hour_in_a_week():
    rig = sounding()
    raised = rig.raised("mains_lost")[0]
    rig.run(7 * DAY - 11)
    heard = lengths(rig.horn_edges(raised))
    assert heard[0] == (near(raised), near(120))
    assert heard[1:4] == [(near(raised + 60 * k), near(20)) for k in (10, 30, 60)]
    assert all(length == near(60) for _, length in heard[4:])
    assert sum(length for _, length in heard) < 1800


def test_a2_high_water_sounds_for_as_long_as_it_is_wet_and_another_high_alarm_ever_more_seldom():
    rig = ready(not_keeping_up=7_200_000, max_run=7_200_000)
    rig.fill("off", "lead", "lag", "high").run(3600)
    assert [value for _, value in rig.horn_edges()] == [1]
    rig = ready()
    at = rig.t
    rig.set(selector_1="off", selector_2="off").run(7 * 3600)
    first = [(near(at + 3600 * k), near(60)) for k in range(1, 7)]
    assert lengths(rig.horn_edges(at)) == [(near(at), near(300)), *first]


def test_a2_a_button_held_over_thirty_seconds_is_stuck():
    rig = ready()
    rig.set(silence=1).run(29.5)
    assert not rig.active("button_stuck")
    rig.run(1)
    assert rig.active("button_stuck")


def test_a2_silence_pressed_three_seconds_with_no_alarm_tests_horn_beacon_and_relay():
    rig = ready()
    rig.set(silence=1).run(2.8)
    assert (rig.output("horn"), rig.output("beacon"), rig.output("relay")) == (0, 0, 1)
    rig.run(0.4)
    assert (rig.output("horn"), rig.output("beacon"), rig.output("relay")) == (1, 1, 0)
    rig.set(silence=0).run(60)
    assert (rig.output("horn"), rig.output("beacon"), rig.output("relay")) == (0, 0, 1)


def test_a2_silence_held_with_an_alarm_tests_nothing():
    rig = sounding()
    since = rig.t
    rig.set(silence=1).run(20).set(silence=0).run(30)
    assert [value for t, value in rig.horn_edges(since)] == [0]
    assert rig.output("relay") == 1


# A3 ------------------------------------------------------------------------------------------------


def test_a3_the_relay_drops_for_a_high_alarm_and_stays_dropped_while_it_is_unacknowledged():
    rig = ready()
    assert rig.output("relay") == 1
    rig.fill("off", "lead", "lag", "high").run(2)
    assert rig.output("relay") == 0
    rig.drain("high", "lag", "lead", "off").run(100)
    assert rig.alarm("high_water") in ("returned", "latched")
    assert rig.output("relay") == 0
    rig.press("silence").run(1)
    if rig.alarm("high_water") != "normal":
        rig.press("reset").run(1)
    assert rig.output("relay") == 1


def test_a3_an_acknowledged_high_alarm_still_drops_the_relay():
    rig = ready()
    rig.fill("off", "lead", "lag", "high").run(2)
    rig.press("silence").run(10)
    assert rig.alarm("high_water") == "acknowledged"
    assert rig.output("relay") == 0


@pytest.mark.parametrize("calls", [0, 1])
def test_a3_a_medium_alarm_calls_for_service_and_with_one_line_on_the_alarm_relay(calls):
    rig = sounding(calls=calls)
    assert (rig.output("service"), rig.output("relay")) == (0, calls)
    at = rig.t
    rig.run(3 * DAY)
    edges = [(t, value) for t, name, value in rig.edges if name == "relay" and t > at]
    called = rig.raised("mains_lost")[0]
    held = [(called + 600, 1), (called + DAY, 0), (called + DAY + 600, 1), (called + 2 * DAY, 0),
            (called + 2 * DAY + 600, 1)]  # fmt: skip
    assert edges == [] if calls else edges[:5] == [(near(t), value) for t, value in held]


def test_a3_an_acknowledged_call_for_service_frees_the_one_line_and_the_service_relay_stays_dropped():
    rig = sounding()
    rig.press("silence").run(60)
    assert (rig.output("service"), rig.output("relay")) == (0, 1)
    rig.set(mains=1).run(30)
    assert (rig.output("service"), rig.output("relay")) == (1, 1)


def test_a3_a_flood_after_a_call_for_service_makes_an_edge_of_its_own():
    rig = sounding().run(700)
    assert rig.output("relay") == 1
    rig.fill("off", "lead", "lag", "high").run(2)
    assert rig.output("relay") == 0
    rig.run(1200)
    assert rig.output("relay") == 0, "held for as long as it lasts"


def test_a3_a_second_trouble_calls_again_between_two_calls():
    rig = sounding().run(700)
    assert rig.output("relay") == 1
    rig.set(thermal_1=1)
    assert rig.output("relay") == 0


def test_a3_a_low_alarm_calls_nobody():
    rig = ready(inspection=1).run(2 * DAY)
    assert rig.active("inspection_due")
    assert (rig.output("service"), rig.output("relay")) == (1, 1)


def test_a2_a_test_over_the_link_sounds_for_five_seconds_and_only_where_nothing_is_wrong():
    rig = ready()
    rig.set(command=r.CMD_TEST)
    rig.run(0.2)
    assert (rig.output("horn"), rig.output("beacon"), rig.output("relay")) == (1, 1, 0)
    rig.run(5.1)
    assert (rig.output("horn"), rig.output("beacon"), rig.output("relay")) == (0, 0, 1)
    rig.set(command=0)
    rig.set(high=1)
    rig.run(2.0)
    rig.press("silence")
    rig.set(command=r.CMD_TEST)
    rig.run(0.3)
    assert rig.output("horn") == 0


def test_a1_the_status_light_shines_with_no_alarm_of_any_kind_and_both_pumps_available():
    rig = ready()
    assert rig.output("light") == 1
    for n in (1, 2):
        rig.set(**{f"selector_{n}": "off"}).run(5)
        assert rig.active_alarms() == [], "not in AUTO is told after 30 min"
        assert rig.output("light") == 0
        rig.set(**{f"selector_{n}": "auto"}).run(5)
        assert rig.output("light") == 1
    rig.set(moisture_1=1).run(1)
    assert rig.active_alarms() == ["pump_1_moisture"]
    assert rig.c.pair.available == 3
    assert rig.output("light") == 0
