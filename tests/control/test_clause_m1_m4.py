"""M1 to M4: hand, forcing, the clock's health and settings.  Each test is one claim of the narrative, in numbers."""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control.ticks import DAY_MS, MASK

from tests.control.clause_bench import near
from tests.rig import ALARM_PLACE, NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK, Rig, ready

# M1 ------------------------------------------------------------------------------------------------


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


def test_m1_hand_runs_a_pump_whatever_the_level():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(selector_1="hand").run(10)
    assert rig.pumps_on() == (1, 0)


def test_m1_hand_ends_after_hand_limit_and_counts_as_auto():
    rig = ready(sensing=NO_CURRENT)
    rig.set(off=1).run(2).set(selector_1="hand")
    at = rig.t
    rig.run(1200)
    assert rig.runs(1) == [(near(at), near(at + 300))]
    assert rig.c.history.hand_overruns == 1
    rig.fill("off", "lead").run(10)
    assert rig.pumps_on() == (1, 0)  # it counts as AUTO, so it takes its turn


@pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_FEEDBACK])
@pytest.mark.parametrize("fitted", [15, 11])
def test_m1_by_hand_with_every_contact_dry_and_no_current_sensed_a_run_is_no_longer_than_any_other(fitted, sensing):
    rig = ready(sensing=sensing, fitted=fitted)
    rig.load = ["normal", "normal"]
    rig.set(selector_1="hand")
    at = rig.t
    rig.run(1200)
    assert rig.runs(1) == [(near(at), near(at + 35))]
    assert rig.c.history.hand_overruns == 0
    rig.set(selector_1="auto").run(1).set(selector_1="hand", lead=1).run(20)
    rig.set(lead=0)
    fell = rig.t
    rig.run(600)
    assert rig.runs(1)[-1][1] == near(fell + 1 + 35), "counted from where nothing reads wet any more"


def test_m1_by_hand_in_an_empty_pit_a_current_tells_by_itself():
    rig = ready(sensing=WITH_CURRENT)
    rig.load[0] = "normal"
    rig.set(selector_1="hand")
    at = rig.t
    rig.run(400)
    assert rig.runs(1) == [(near(at), near(at + 300))]


def test_m1_underload_with_lead_dry_ends_a_hand_run():
    rig = ready(sensing=WITH_CURRENT)
    rig.load[0] = "under"
    rig.set(selector_1="hand").run(60)
    (start, stop), = rig.runs(1)
    assert stop - start == pytest.approx(8.1, abs=0.2)


def test_m1_underload_with_lead_wet_does_not_end_a_hand_run():
    rig = ready(sensing=WITH_CURRENT)
    rig.load[0] = "under"
    rig.fill("off")
    rig.set(selector_2="off", selector_1="hand", lead=1).run(60)
    assert rig.pumps_on() == (1, 0)


def test_m1_overcurrent_ends_a_hand_run():
    rig = ready(sensing=WITH_CURRENT)
    rig.load[0] = "over"
    rig.set(selector_1="hand").run(20)
    (start, stop), = rig.runs(1)
    assert stop - start == pytest.approx(5.1, abs=0.2)


def test_m1_hand_keeps_start_spacing_and_rest():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(selector_1="hand", selector_2="hand").run(10)
    (first, _), (second, _) = rig.all_starts()
    assert second - first == near(3.0)
    rig.set(selector_1="off").run(1).set(selector_1="hand").run(100)
    assert rig.starts(1)[1] - rig.stops(1)[0] == near(60)


def test_m1_hand_found_at_power_up_is_auto_until_it_is_moved():
    rig = Rig(boot=False)
    rig.apply({"selector_1": "hand"})
    rig.power_up()
    rig.run(600)
    assert rig.all_starts() == []
    rig.set(selector_1="auto").run(1).set(selector_1="hand").run(1)
    assert rig.pumps_on() == (1, 0)


def test_m1_a_pump_in_hand_counts_towards_demand():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(selector_1="hand").run(10)
    rig.fill("off", "lead").run(60)
    assert rig.pumps_on() == (1, 0)
    rig.fill("lag").run(10)
    assert rig.pumps_on() == (1, 1)


def test_m1_off_never_runs():
    rig = ready()
    rig.set(selector_1="off", selector_2="off").fill("off", "lead", "lag", "high").run(3600)
    assert rig.all_starts() == []


def test_m1_not_in_auto_for_thirty_minutes_is_a_low_alarm():
    rig = ready()
    rig.set(selector_2="off").run(1800 - 61)
    assert not rig.active("not_in_auto")
    rig.run(122)
    assert rig.active("not_in_auto")


@pytest.mark.parametrize("n", [1, 2])
def test_m1_underload_ends_the_hand_run_of_its_own_pump_alone(n):
    rig = ready(sensing=WITH_CURRENT)
    rig.set(selector_1="hand", selector_2="hand").run(10)
    assert rig.pumps_on() == (1, 1)
    rig.load[n - 1] = "under"
    rig.run(12)
    assert rig.pumps_on() == ((0, 1) if n == 1 else (1, 0))


# M2 ------------------------------------------------------------------------------------------------


def test_m2_a_forced_input_acts_like_the_real_one_and_is_alarmed_at_once():
    rig = ready().set(jumper=1)
    rig.set(force_mask=r.FORCE_OFF | r.FORCE_LEAD, force_value=r.FORCE_OFF | r.FORCE_LEAD, force_refresh=1)
    assert rig.active("inputs_forced")
    rig.run(5)
    assert rig.pumps_on() == (1, 0)


def test_m2_without_the_jumper_nothing_is_forced():
    rig = ready()
    rig.set(force_mask=r.FORCE_LEAD, force_value=r.FORCE_LEAD, force_refresh=1).run(30)
    assert rig.all_starts() == []
    assert not rig.active("inputs_forced")


def test_m2_pulling_the_jumper_ends_the_forces():
    rig = ready().set(jumper=1)
    rig.set(force_mask=r.FORCE_LEAD, force_value=r.FORCE_LEAD, force_refresh=1).run(10)
    assert sum(rig.pumps_on()) == 1
    rig.set(jumper=0).run(60)
    assert rig.pumps_on() == (0, 0)


def test_m2_forces_lapse_sixty_seconds_after_the_last_refresh():
    rig = ready().set(jumper=1)
    rig.set(force_mask=r.FORCE_MAINS, force_value=0, force_refresh=1).run(50)
    rig.set(force_refresh=2).run(59)
    assert rig.active("inputs_forced")
    rig.run(2)
    assert not rig.active("inputs_forced")


def test_m2_a_real_high_cancels_all_forces():
    rig = ready().set(jumper=1)
    mask = r.FORCE_OFF | r.FORCE_LEAD | r.FORCE_LAG | r.FORCE_HIGH
    rig.set(force_mask=mask, force_value=0, force_refresh=1)
    rig.fill("off", "lead", "lag").run(3)
    assert rig.pumps_on() == (0, 0)
    rig.set(high=1).run(6)
    assert rig.pumps_on() == (1, 1)
    assert rig.active("high_water")
    assert not rig.active("inputs_forced")


def test_m2_what_the_link_asked_for_before_a_power_up_is_asked_for_anew_or_not_at_all():
    rig = Rig(boot=False)
    rig.apply({"jumper": 1, "force_mask": r.FORCE_LAG, "force_value": r.FORCE_LAG, "force_refresh": 7})
    rig.power_up()
    rig.run(5)
    assert not rig.active("inputs_forced")
    rig.set(force_refresh=8).run(0.2)
    assert rig.active("inputs_forced")


def test_m2_outputs_cannot_be_forced_past_the_gate():
    rig = ready().set(jumper=1, thermal_1=1, selector_2="off")
    mask = r.FORCE_LEAD | r.FORCE_LAG | r.FORCE_HIGH
    rig.set(force_mask=mask, force_value=mask, force_refresh=1).run(30)
    assert rig.all_starts() == []


def test_m2_forced_for_ten_minutes_is_a_high_alarm():
    rig = ready().set(jumper=1)
    rig.set(force_mask=r.FORCE_MAINS, force_value=r.FORCE_MAINS, force_refresh=1)
    for i in range(19):
        rig.run(30).set(force_refresh=2 + i)
    assert not rig.active("inputs_forced_long")
    rig.run(30).set(force_refresh=90).run(31)
    assert rig.active("inputs_forced_long")


# M3 ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("jump_ms", [-100, -3_600_000, DAY_MS + 100, 5 * DAY_MS])
def test_m3_backwards_or_over_a_day_is_a_clock_fault_and_no_time_that_passed(jump_ms):
    rig = ready()
    rig.fill("off", "lead").run(20.0)
    known = rig.c.uptime_min, rig.c.inspection_min, list(rig.c.history.run_s), rig.c.demand.run_ms, rig.pumps_on()
    assert known[-1] != (0, 0)
    to = rig.now_ms + jump_ms & MASK
    out = rig.c.step(to, list(rig.held))
    assert (out[r.OUT_CLOCK], out[r.OUT_LATE], out[r.OUT_PUMP_1], out[r.OUT_PUMP_2]) == (1, 0, *known[-1])
    c = rig.c
    assert (c.uptime_min, c.inspection_min, list(c.history.run_s), c.demand.run_ms) == known[:4]
    assert (c.now, c.clock_fault) == (to, 1)
    assert c.alarms.active[ALARM_PLACE["clock_fault"]] == 1, "told in this very step"
    out = c.step(to + 100 & MASK, list(rig.held))
    assert (out[r.OUT_CLOCK], c.uptime_min) == (1, known[0]), "it stands until reset, and time goes on from here"
    pressed = list(rig.held)
    pressed[r.IN_RESET] = 1
    c.step(to + 200 & MASK, pressed)
    assert c.clock_fault == 0
    assert c.step(to + 300 & MASK, pressed)[r.OUT_CLOCK] == 0
    assert c.alarms.active[ALARM_PLACE["clock_fault"]] == 0


@pytest.mark.parametrize("elapsed_ms", [0, 100, DAY_MS])
def test_m3_up_to_a_day_is_no_clock_fault(elapsed_ms):
    rig = ready()
    rig.c.step(rig.now_ms + elapsed_ms & MASK, list(rig.held))
    assert rig.c.clock_fault == 0


# M4 ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("overrides", "named"), [
    ({"min_off": 5}, ("min_off", "5", "10000")),
    ({"lag_min_off": 90_000}, ("lag_min_off", "90000", "min_off", "60000", "because")),
    ({"fitted": 7}, ("fitted", "7", "high")),
    ({"fitted": 14, "pump_down_lead": 0, "sensing": 2}, ("fitted", "14", "pump_down_lead", "pump-down")),
    ({"sensing": 2, "underload_2": 10_000}, ("underload", "10000")),
    ({"blind_run": 130_000}, ("blind_run", "130000", "120000", "current")),
    ({"debounce": 950}, ("debounce", "950", "100 ms")),
])
def test_m4_a_refusal_names_setting_value_limit_and_reason(overrides, named):
    values = s.defaults()
    for name, value in overrides.items():
        values[s.index(name)] = value
    text = " ".join(s.check(values))
    for word in named:
        assert word in text


def test_m4_the_defaults_are_accepted():
    assert s.check(s.defaults()) == []


def test_m4_all_refusals_come_at_once():
    values = s.defaults()
    values[s.MIN_OFF_MS] = 0
    values[s.MAX_RUN_MS] = 0
    assert len(s.check(values)) == 2


def test_m2_currents_mains_and_an_open_thermal_contact_can_be_forced_a_closed_one_not():
    rig = ready(sensing=WITH_CURRENT)
    forces = rig.c.forces
    rig.held[r.IN_THERMAL_1] = 1
    rig.set(jumper=1, force_mask=r.FORCE_ALL, force_refresh=1,
            force_value=r.FORCE_CURRENT_1 | r.FORCE_THERMAL_2)  # fmt: skip
    assert forces.inputs[r.IN_CURRENT_1] == r.CURRENT_NORMAL
    assert forces.inputs[r.IN_CURRENT_2] == r.CURRENT_NONE
    assert forces.inputs[r.IN_MAINS] == 0
    assert forces.inputs[r.IN_THERMAL_1] == 1, "open in truth: it stays open"
    assert forces.inputs[r.IN_THERMAL_2] == 1
    rig.set(force_value=r.FORCE_CURRENT_2 | r.FORCE_MAINS | r.FORCE_THERMAL_1, force_refresh=2)
    assert forces.inputs[r.IN_CURRENT_1] == r.CURRENT_NONE
    assert forces.inputs[r.IN_CURRENT_2] == r.CURRENT_NORMAL
    assert forces.inputs[r.IN_MAINS] == 1
    assert forces.inputs[r.IN_THERMAL_2] == 0
