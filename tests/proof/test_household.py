"""What a household hears of one cause: days and nights on invented sites, nobody pressing a button."""

from collections import Counter
from importlib import resources

import pytest

from host_sim.run import closed_loop
from host_sim.site.chosen import read
from host_sim.site.faults import parse_fault
from host_sim.site.load import read_site

DEMO = (resources.files("host_sim") / "scenarios" / "demo.toml").read_text(encoding="utf-8")
HOUR = 3600.0


def storm(*faults):
    """The demo's storm with other faults than its own."""
    plan, added, seed = read("demo", list(faults), None, own_faults=False)
    return closed_loop.run(plan, faults=added, seed=seed, curves=False)


def quiet(*faults, days=3, rate="0.5 gpm", controller="battery", alternate=False, sensing="current"):
    """The demo's house in dry weather, from midnight on."""
    text = DEMO[: DEMO.index("[[inflow]]")].replace('controller = "battery"', f'controller = "{controller}"')
    text = text.replace("duty = 1\n", "") if alternate else text
    text = text.replace('sensing = "current"', f'sensing = "{sensing}"')
    text += f'[[inflow]]\nkind = "constant"\nrate = "{rate}"\n'
    text += f'[scenario]\nbegins = "00:00"\nlasts = "{days} days"\nseed = 1\n'
    return closed_loop.run(read_site(text), faults=[parse_fault(fault) for fault in faults], curves=False)


def told(trace):
    """Return {name: how often raised}."""
    return dict(Counter(alarm.name for alarm in trace.alarms))


def spans(trace, name):
    return [span for span in trace.outputs if span.name == name]


def minutes(trace, name):
    return sum(span.end_s - span.start_s for span in spans(trace, name)) / 60.0


def test_a_weak_battery_and_an_outage_in_a_storm_are_one_alarm_each():
    trace = storm("battery-weak@1h", "mains-lost@5h+4h")
    raised = told(trace)
    assert raised.pop("battery_low") == raised.pop("mains_lost") == 1
    raised.pop("pump_2_short_cycling", None)  # it is a storm
    assert raised == {}, "a battery that sags in a pump's inrush and then carries it is not dead"
    assert trace.totals.floor_wet_s == 0.0


@pytest.mark.parametrize("battery", ["battery-weak=5%@1h", "battery-weak=12%@1h"])
def test_a_battery_that_dies_under_its_pump_is_told_once_however_often_the_pump_is_tried(battery):
    raised = told(storm(battery, "mains-lost@5h+4h"))
    for name in ("battery_low", "mains_lost", "no_pump"):
        assert raised.pop(name) == 1, name
    water = raised.pop("high_water")  # each rise of the water to the high float is an episode of its own
    assert water <= 30
    # When the mains is back its charger does not carry the pump either.
    assert {name for name in raised if "short_cycling" not in name} <= {"not_keeping_up", "pump_2_unavailable"}
    assert set(raised.values()) <= {1}


def test_two_days_without_mains_are_one_outage_one_battery_and_the_water():
    raised = told(quiet("mains-lost@10h+2d", rate="2 gpm"))
    assert set(raised) <= {"mains_lost", "battery_low", "no_pump", "high_water"}
    assert {raised[name] for name in raised if name != "high_water"} == {1}


@pytest.mark.parametrize("fault", ["battery-dead", "battery-weak=5%"])
def test_a_bad_battery_is_one_alarm_in_ten_days(fault):
    assert told(quiet(fault, days=10)) == {"battery_failed": 1}


@pytest.mark.long
@pytest.mark.parametrize("fault", ["battery-dead", "battery-weak=5%@1h"])
def test_where_the_pumps_take_turns_a_battery_that_dies_under_each_run_is_one_alarm_too(fault):
    assert told(quiet(fault, rate="2 gpm", alternate=True)) == {"battery_failed": 1}


def test_a_dead_battery_is_told_once_though_the_controller_that_hangs_on_it_comes_back_from_an_outage():
    raised = told(quiet("battery-dead@1h", "mains-lost@10h+1h", days=1))
    assert raised == {"battery_failed": 1, "high_water": 1, "mains_lost": 1}


@pytest.mark.long
def test_with_pump_1_at_off_and_no_charger_somebody_is_called_hours_before_the_battery_is_empty():
    trace = quiet("pump1-left-off@1h", "charger-failed@1h", rate="8 gpm", days=1)
    low = next(alarm for alarm in trace.alarms if alarm.name == "battery_low")
    assert trace.totals.floor_first_s - low.raised_s > 5.0 * HOUR
    assert spans(trace, "relay")[0].start_s == low.raised_s
    raised = told(trace)
    assert raised["battery_low"] == raised["no_pump"] == 1


def test_an_hour_with_pump_1_at_off_calls_nobody():
    trace = quiet("pump1-left-off@10h+1h", rate="2 gpm", days=1)
    assert told(trace) == {"not_in_auto": 1}
    assert spans(trace, "relay") == spans(trace, "service") == spans(trace, "horn") == []


@pytest.mark.parametrize("fault", ["pump1-worn=60%@05:06", "pump1-jammed@05:06", "pump1-breaker-open@05:06"])
def test_a_pump_that_fails_is_one_alarm_though_it_is_locked_out_in_the_end(fault):
    trace = quiet(fault, days=1)
    assert told(trace) == {"pump_1_unavailable": 1}
    locked = [event for event in trace.events if event.kind == "pump_state" and event.data["state"] == "locked"]
    assert locked, "and it was locked out"


@pytest.mark.parametrize("minute", [0, 2, 4, 6])
def test_a_pump_that_wears_in_mid_draw_down_is_one_alarm_and_no_float_is_blamed(minute):
    raised = told(quiet(f"pump1-worn=60%@02:{minute:02}", rate="20 gpm", controller="mains", days=0.25))
    assert {name: count for name, count in raised.items() if "short_cycling" not in name} == {"pump_1_unavailable": 1}


@pytest.mark.long
@pytest.mark.parametrize("sensing", ["nothing", "feedback"])
@pytest.mark.parametrize("rate", ["0.05 gpm", "0.1 gpm", "0.5 gpm"])
def test_a_worn_primary_is_one_alarm_with_its_number_where_no_current_is_sensed(rate, sensing):
    trace = quiet("pump1-worn=60%@1h", rate=rate, sensing=sensing)
    assert told(trace) == {"pump_1_suspect": 1}
    assert minutes(trace, "horn") < 15.0


def test_a_frozen_discharge_is_told_by_no_pump_and_high_water_alone():
    trace = quiet("discharge-frozen", days=2)
    assert told(trace) == {"no_pump": 1, "high_water": 1}
    no_pump, water = sorted(trace.alarms, key=lambda alarm: alarm.raised_s)
    assert (no_pump.name, water.name) == ("no_pump", "high_water")


def test_a_lead_float_stuck_wet_from_the_start_is_named_and_no_other():
    trace = quiet("lead-stuck-wet")
    assert told(trace) == {"floats_out_of_sequence": 1}
    life = [record for record in trace.journal.records if hasattr(record, "outputs")]
    assert life
    named = {span.contact for span in trace.suspects if span.end_s > trace.alarms[0].raised_s}
    assert "lead" in named


def test_an_outage_that_is_over_calls_for_an_hour_and_no_more():
    trace = quiet("mains-lost@3h+2h")
    assert told(trace) == {"mains_lost": 1}
    calls = spans(trace, "relay")
    assert len(calls) == 1 and calls[0].start_s < 3.2 * HOUR
    assert max(span.end_s for span in spans(trace, "horn")) < 6.1 * HOUR
    assert max(span.end_s for span in spans(trace, "beacon")) > 71 * HOUR, "somebody must still look"


def test_a_house_that_was_dark_with_the_water_up_is_told_of_it_when_the_power_is_back():
    trace = quiet("mains-lost@3h+6h", rate="2 gpm", controller="mains", days=1)
    raised = told(trace)
    assert raised["mains_lost"] == 1
    assert [alarm.raised_s for alarm in trace.alarms if alarm.name == "mains_lost"][0] == pytest.approx(9 * HOUR, abs=1)


@pytest.mark.parametrize("fault", ["mains-lost@3h+30s", "controller-reset@3h"])
def test_a_blip_or_a_reset_of_a_controller_without_a_battery_is_no_alarm(fault):
    assert told(quiet(fault, controller="mains", days=1)) == {}
