"""What no other claim reaches: refusals, clocks that jump, lives taken over, parts told of what cannot happen."""

import pytest
from duplexsump.control import alarms, blind, pump
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.alarm_table import TABLE
from duplexsump.control.controller import FIELDS, RETAINED, Controller
from duplexsump.control.ticks import MASK
from duplexsump.control.timers import Timers

from tests.rig import ALARM_PLACE, WITH_CURRENT, make_settings, ready

LAG_REACHED, LOCKOUT = ALARM_PLACE["lag_reached"], ALARM_PLACE["pump_1_lockout"]


# What cannot happen is said ------------------------------------------------------------------------


def test_an_event_that_cannot_happen_names_itself_and_the_state():
    timers, values = Timers(), s.defaults()
    with pytest.raises(ValueError, match="pump 2: event proved in state idle"):
        pump.Pump(1, values, timers).event(pump.PROVED)
    told = alarms.Alarms(values, timers)
    told.active[0] = 1  # and its state still says normal
    with pytest.raises(ValueError, match="alarm high_water: event clear in state normal"):
        told.tell(0, 0)
    c = Controller(values)
    with pytest.raises(ValueError, match="blind pumping: event on in state watching"):
        c.blind.event(blind.ON)


def test_the_places_that_are_kept_are_those_that_their_fields_say():
    c = Controller(s.defaults())
    c.power_up(0)
    assert c.retained_places() == [place for place, field in enumerate(FIELDS) if field[2]]
    snapshot = c.snapshot()
    assert c.retain() == [snapshot[place] for place in c.retained_places()]


def test_settings_that_are_refused_make_no_controller():
    values = s.defaults()
    values[s.RETRIES] = 0
    with pytest.raises(ValueError, match="retries = 0: a whole number from 1 to 10"):
        Controller(values)


def test_a_life_begins_once():
    c = Controller(s.defaults())
    c.power_up(0)
    with pytest.raises(ValueError, match="powered up twice"):
        c.power_up(100)


def test_a_record_of_another_length_is_refused():
    c = Controller(s.defaults())
    with pytest.raises(ValueError, match=f"must hold {len(FIELDS)}"):
        c.restore([0] * 3)
    with pytest.raises(ValueError, match=f"retained record of 2 values: must hold {len(RETAINED)}"):
        c.power_up(0, [1, 2])


# Lives ---------------------------------------------------------------------------------------------


def test_j2_contacts_that_have_been_limited_before_are_taken_as_they_are():
    rig = ready()
    inputs = list(rig.held)
    inputs[r.IN_CONTACTS], inputs[r.IN_CHATTER] = r.LEAD, r.LEAD
    for k in range(12):
        rig.c.step(rig.now_ms + 100 * (k + 1) & MASK, inputs, True)
    assert inputs[r.IN_CHATTER] == r.LEAD, "the record of a replay is not written over"
    assert rig.c.contacts.wet == r.LEAD
    assert rig.c.chatter.mask == 0


@pytest.mark.parametrize("acknowledged", [False, True])
def test_j4_a_power_up_clears_what_is_not_latched_and_keeps_what_is(acknowledged):
    c = Controller(s.defaults())
    for place in (LAG_REACHED, LOCKOUT):
        c.alarms.tell(place, 1)
    if acknowledged:
        c.alarms.silence()
    after = Controller(s.defaults())
    after.power_up(0, c.retain())
    latched = alarms.LATCHED_ACKNOWLEDGED if acknowledged else alarms.LATCHED
    assert after.alarms.state[LAG_REACHED] == (alarms.NORMAL if acknowledged else alarms.RETURNED)
    assert after.alarms.state[LOCKOUT] == latched
    assert TABLE[LOCKOUT][2] == 1
    assert after.alarms.any()
    assert not Controller(s.defaults()).alarms.any()


# Clocks that jump ----------------------------------------------------------------------------------


@pytest.mark.parametrize("jump_ms", [-3_600_000, -100, 90_000_000])
def test_m3_a_clock_that_jumps_is_a_fault_and_every_deadline_moves_with_it(jump_ms):
    rig = ready()
    rig.fill("off", "lead")
    rig.run_until(lambda rig: rig.pumps_on() != (0, 0), 5.0)
    left = {i: rig.c.timers.left_ms(i) for i in range(tm.N_TIMERS) if rig.c.timers.at[i] >= 0}
    minutes, out = rig.c.uptime_min, rig.pumps_on()
    rig.elapsed_ms += jump_ms
    inputs = list(rig.held)
    rig.c.step(rig.now_ms, inputs)
    assert rig.c.out[r.OUT_CLOCK] == 1
    assert rig.c.out[r.OUT_LATE] == 0
    assert rig.c.uptime_min == minutes, "a jump is no time that has passed"
    assert (rig.c.out[r.OUT_PUMP_1], rig.c.out[r.OUT_PUMP_2]) == out
    assert {i: rig.c.timers.left_ms(i) for i in left if rig.c.timers.at[i] >= 0} == left
    rig.step()
    assert rig.active("clock_fault")
    rig.press("reset")
    rig.run(1.0)
    assert not rig.active("clock_fault")


# Parts on their own --------------------------------------------------------------------------------


def made_pump():
    timers = Timers()
    return pump.Pump(0, make_settings(sensing=WITH_CURRENT), timers), timers


def test_s5_a_pump_that_is_locked_out_cannot_trip_once_more():
    one, _timers = made_pump()
    one.state = pump.LOCKED
    one.trip(pump.OVERLOAD)
    assert (one.failures, one.trips, one.cause) == (0, 0, 0)


def test_s5_taking_back_a_fault_that_is_not_there_changes_nothing_and_a_lockout_stays():
    one, _timers = made_pump()
    one.withdraw()
    assert (one.state, one.failures, one.trips) == (pump.IDLE, 0, 0)
    one.state, one.prior, one.cause, one.failures = pump.LOCKED, pump.LOCKED, pump.RUN_LOST, 3
    one.withdraw()
    assert (one.state, one.cause, one.failures) == (pump.LOCKED, pump.RUN_LOST, 2)


@pytest.mark.parametrize("held", [pump.RETRY, pump.LOCKED])
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
    one.state = pump.RETRY
    one.started()
    timers.arm(tm.RETRY, 1000)
    timers.expire(1000)
    one.step(0, [0] * r.N_INPUTS)
    assert (one.state, one.held) == (pump.STARTING, 0)


def test_s8_the_ring_of_starts_drops_the_oldest_when_it_is_full():
    one, timers = made_pump()
    for k in range(len(one.ring) + 3):
        timers.now = 1000 * k
        one.started()
        one.stopped(True)
    assert one.count == len(one.ring) == 61, "one more than the most starts an hour that a setting allows"
    assert one.ring[one.ring_first] == 3000 + 3_600_000


def test_r3_with_every_pump_barred_the_try_waits_for_its_next_turn():
    rig = ready()
    for each in rig.c.pumps:
        each.state = pump.RETRY
    rig.c.flood.mode = r.HIGH
    rig.c.timers.rang[tm.FLOOD_TRY] = True
    rig.c.flood.step(r.HIGH, 3)
    assert [each.trial for each in rig.c.pumps] == [0, 0]
    assert rig.c.timers.left_ms(tm.FLOOD_TRY) == 30_000


def test_j3_wear_is_told_from_twenty_cycles_on():
    history = Controller(s.defaults()).history
    history.first_rate_ml_min[1], history.rate_ml_min[1], history.measured[1] = 100_000, 70_000, 19
    assert history.wear_percent(1) == 0
    history.measured[1] = 20
    assert history.wear_percent(1) == 30
    history.rate_ml_min[1] = 120_000
    assert history.wear_percent(1) == 0, "a pump does not grow better"
    history.first_rate_ml_min[1] = 0
    assert history.wear_percent(1) == 0


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


def test_l6_a_reset_while_a_blind_run_rests_starts_the_rests_anew():
    rig = ready()
    rig.set(high=1).run(1.0)
    rig.run_until(lambda rig: rig.c.blind.state == blind.RESTING, 120.0)
    assert rig.c.blind.rung
    rig.c.blind.reset()
    assert (rig.c.blind.state, rig.c.blind.rung) == (blind.WATCHING, 0)


def test_l6_a_level_that_is_found_again_before_the_pump_was_on_needs_no_blind_run():
    c = Controller(s.defaults())
    c.belief.begin(r.HIGH)
    c.belief.make_suspect(r.HIGH, r.HIGH)
    c.blind.step(r.HIGH, 0, 0)
    assert c.blind.state == blind.ASKING
    c.belief.begin(r.HIGH)
    c.blind.step(r.HIGH, 0, 0)
    assert c.blind.state == blind.WATCHING


# Settings ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("changes", "words"), [
    ({"sensing": 2, "underload": 400}, "underload = 400 mA: must be above no_current = 500 mA"),
    ({"sensing": 2, "rated": 4500}, "must rise in this order"),
    ({"fitted": 7}, "the high float (8) must be there"),
    ({"fitted": 13, "normally_closed": 10}, "names a contact that is not fitted"),
    ({"fitted": 13}, "the lead float (2) must be there, or a transmitter"),
    ({"fitted": 14, "pump_down_lead": 0}, "fit the off float (1) or give a pump-down time"),
    ({"transmitter": 1, "level_lead": 160}, "must rise by 20 mm or more"),
    ({"transmitter": 1, "level_span": 500, "level_lag": 500}, "lie within level_span = 500 mm"),
    ({"pump_down_lead": 21_000}, "pump_down_lead = 21000: must be at most pump_down_lag"),
    ({"pump_down_lag": 24_000}, "pump_down_lag = 24000: must be at most pump_down_high"),
    ({"pump_down_high": 36_000}, "must be at least the longest pump-down time, 36000"),
    ({"blind_run": 120_100}, "because nothing else ends a dry run"),
    ({"battery_low": 10_900}, "battery_dead 10500, battery_loaded 11000, battery_low 10900 mV"),
    ({"battery_dead": 11_000}, "must rise in this order"),
    ({"min_off": 60_050}, "a whole number of 100 ms steps"),
    ({"start_proof": 8000}, "start_proof = 8000: must be below dry_run = 8000, because a start is proved"),
])  # fmt: skip
def test_m4_a_refusal_names_the_setting_its_value_and_the_reason(changes, words):
    values = s.defaults()
    for name, value in changes.items():
        values[s.index(name)] = value
    said = "; ".join(s.check(values))
    assert words in said


def test_m4_a_record_of_another_length_and_an_unknown_name_are_refused():
    assert s.check([1, 2]) == [f"settings record of 2 values: must hold {s.N_SETTINGS}"]
    with pytest.raises(ValueError, match="unknown setting 'min-off'"):
        s.index("min-off")
    assert s.check(s.defaults()) == []
