"""What each alarm stands for, one reason at a time: all at rest tells nothing, and each reason tells just its own.

Each part of a controller holds what the test has put there; its alarms show what they were told.
"""

from itertools import product

import pytest
from duplexsump.control import pump as pm
from duplexsump.control import records as r
from duplexsump.control import timers as tm
from duplexsump.control.alarm_table import TABLE
from duplexsump.control.controller import Controller
from duplexsump.control.watch import MONTH_MIN, tell_alarms

from tests.rig import make_settings

NAMES = [row[0] for row in TABLE]
DAY_MIN = 1440


def quiet(**overrides):
    """A controller with nothing wrong: both pumps in AUTO, fed from the mains."""
    c = Controller(make_settings(**overrides))
    c.pair.available = c.supply.fed = 3
    c.supply.mains = 1
    c.belief.rising = 1
    return c


def told(c, **inputs):
    """Return {alarm: detail} of all that are told to stand."""
    record = [0] * r.N_INPUTS
    for name, value in inputs.items():
        record[r.INPUT_NAMES.index(name)] = value
    c.forces.inputs[:] = record
    tell_alarms(c, record)
    return {name: c.alarms.detail[i] for i, name in enumerate(NAMES) if c.alarms.active[i]}


def test_with_nothing_wrong_nothing_is_told():
    assert told(quiet()) == {}


@pytest.mark.parametrize(("available", "tells"), [(3, False), (1, True), (2, True), (0, False)])
def test_r2_a_level_that_does_not_fall_is_told_where_no_other_pump_can_help(available, tells):
    c = quiet()
    c.demand.boost, c.pair.available = 1, available
    assert ("not_keeping_up" in told(c)) == tells


@pytest.mark.parametrize(("looked", "wet", "tells"), [
    (r.LEAD, r.LEAD, True), (r.LEAD, r.LEAD | r.OFF, True), (r.LEAD, r.OFF | r.LAG, False), (0, r.LEAD, False),
])  # fmt: skip
def test_l3_what_is_looked_at_is_told_as_not_keeping_up_while_it_reads_wet(looked, wet, tells):
    c = quiet()
    c.belief.looked, c.contacts.wet = looked, wet
    assert told(c) == ({"not_keeping_up": 0} if tells else {})


ONE_REASON = [
    ("contacts.wet", r.HIGH, "high_water", 0), ("blind.reason", True, "level_lost", 0),
    ("pair.both_long", True, "not_keeping_up", 0),
    ("transmitter.apart", True, "floats_out_of_sequence", 0), ("transmitter.bad", True, "transmitter_failed", 0),
    ("transmitter.frozen", True, "transmitter_failed", 0),
    ("exercise.off_dry_min", 30 * DAY_MIN, "pour_and_test", 0),
    ("supply.lost", True, "mains_lost", 0), ("supply.not_charging", True, "charger_failed", 0),
    ("supply.gone", True, "battery_failed", 0), ("supply.flat", True, "battery_failed", 0),
    ("exercise.flat", 1, "battery_failed", 0),
    ("supply.unsteady", True, "mains_unsteady", 0), ("clock_fault", 1, "clock_fault", 0),
    ("inspection_min", 90 * DAY_MIN, "inspection_due", 0), ("forces.long", True, "inputs_forced_long", 0),
    ("forces.active", r.FORCE_MAINS, "inputs_forced", 0), ("selectors.away_long", 2, "selector_away", 0),
    ("selectors.away", 1, "not_in_auto", 0),
    ("buttons.stuck", 1, "button_stuck", 0),
]  # fmt: skip


@pytest.mark.parametrize(("where", "value", "alarm", "detail"), ONE_REASON)
def test_a1_one_reason_tells_one_alarm(where, value, alarm, detail):
    c = quiet()
    *part, field = where.split(".")
    place = getattr(c, part[0]) if part else c
    before = getattr(place, field)
    setattr(place, field, value)
    assert told(c) == {alarm: detail}
    setattr(place, field, before)
    assert told(c) == {}, "and told to be over with its reason"


@pytest.mark.parametrize("mask", [r.FAULT_EXPANDER, r.FAULT_CONVERTER, r.FAULT_EXPANDER | r.FAULT_CONVERTER])
def test_m8_what_is_silent_on_the_bus_is_told_and_named(mask):
    c = quiet()
    assert told(c, board=mask) == {"expander_silent": mask}
    assert told(c, board=mask | r.FAULT_STORAGE) == {"expander_silent": mask, "storage_failed": 0}
    assert told(c, board=r.FAULT_STORAGE) == {"storage_failed": 0}
    assert told(c) == {}


@pytest.mark.parametrize("mask", range(1, 16))
def test_a1_the_contacts_concerned_are_named(mask):
    c = quiet()
    c.belief.wiring = mask
    assert told(c) == {"float_wiring": mask}
    for order, proof in ((mask, 0), (0, mask), (mask, 5)):
        c = quiet()
        c.belief.order, c.belief.evidence = order, proof
        assert told(c) == {"floats_out_of_sequence": order | proof}
        c = quiet(fitted=r.LEAD | r.HIGH, sensing=2)
        c.belief.order, c.belief.evidence = order, proof
        named = (order | proof) & (r.LEAD | r.HIGH)
        assert told(c) == ({"floats_out_of_sequence": named} if named else {}), "one that is not fitted is not named"
    c = quiet()
    assert told(c, chatter=mask) == {}
    c.timers.expire(59_900)
    assert told(c, chatter=mask) == {}
    c.timers.expire(60_000)
    assert told(c, chatter=mask) == {"chattering": mask}, "after a minute of it"
    assert told(c, chatter=mask) == {"chattering": mask}
    assert told(c) == {}


@pytest.mark.parametrize("mask", range(1, 16))
def test_l5_a_level_that_the_transmitter_stands_for_is_told_as_its_failure_and_a_float_as_a_float(mask):
    for order, proof in ((mask, 0), (0, mask)):
        c = quiet(fitted=r.HIGH | r.OFF, transmitter=1)
        c.belief.order, c.belief.evidence = order, proof
        expected = {}
        if mask & (r.LEAD | r.LAG):
            expected["transmitter_failed"] = 0
        if mask & (r.HIGH | r.OFF):
            expected["floats_out_of_sequence"] = mask & (r.HIGH | r.OFF)
        assert told(c) == expected


def test_a1_a_pump_that_moved_nothing_is_blamed_once_the_other_has_shown_that_there_is_water(n):
    c = quiet()
    c.timers.at[tm.RECENT + n] = 3000
    one, other = c.pumps[n], c.pumps[1 - n]
    one.state, one.out, one.cause = pm.RETRY, 1, pm.NOT_PUMPING
    blamed = {f"pump_{n + 1}_unavailable": pm.NOT_PUMPING}
    assert told(c) == {}, "the other is on its way"
    c.timers.at[tm.RECENT + n] = -1
    other.state = pm.RUNNING
    assert told(c) == {}, "the other runs, and may find the pit empty"
    other.loaded = 1
    assert told(c) == blamed
    other.loaded = 0
    assert told(c) == blamed, "once told it stands"


def test_a1_a_pump_that_moved_nothing_and_has_no_other_is_blamed_at_once(n):
    for cause in (pm.NOT_PUMPING, pm.FAILED_START, pm.OVERLOAD):
        c = quiet()
        one = c.pumps[n]
        one.state, one.out, one.cause = pm.RETRY, 1, cause
        c.pumps[1 - n].state = pm.IDLE if cause == pm.NOT_PUMPING else pm.RUNNING
        assert told(c) == {f"pump_{n + 1}_unavailable": cause}


def both_out():
    """Return a controller that has told of both pumps unavailable."""
    c = quiet()
    for pump in c.pumps:
        pump.state, pump.out, pump.cause = pm.RETRY, 1, pm.FAILED_START
    c.pair.available = 0
    assert "no_pump" in told(c)
    return c


def test_a1_both_pumps_unavailable_once_told_stands_until_one_that_is_out_has_run(n):
    c = both_out()
    one = c.pumps[n]
    one.state, c.pair.available = pm.IDLE, 1 << n  # its rest is over
    assert "no_pump" in told(c)
    one.out = 0  # it has run loaded
    assert "no_pump" not in told(c)
    one.out = 1
    assert "no_pump" not in told(c), "one that was never told of both counts as soon as its rest is over"


def test_a1_a4_nor_does_one_that_is_out_count_because_the_mains_it_waits_for_may_be_back(n):
    c = both_out()
    c.pumps[n].state = pm.IDLE  # its rest is over
    c.supply.fed = 0  # and the mains has just gone: that alarm is to come
    c.supply.on_battery = 0
    assert "no_pump" in told(c)
    c.pumps[n].out = 0
    assert "no_pump" not in told(c), "a sound one counts until then"


def test_l6_a_high_that_hangs_wet_is_one_alarm_however_often_lead_comes_and_goes():
    c = quiet()
    c.contacts.wet, c.belief.order, c.blind.reason = r.HIGH, r.HIGH, True
    c.belief.suspect = r.HIGH
    told(c)
    for reason in (False, True, False):
        c.blind.reason = reason
        assert "level_lost" in told(c)
    c.belief.suspect = 0
    assert "level_lost" in told(c), "`high` is believed again, and still wet"
    c.contacts.wet = 0
    assert "level_lost" not in told(c)
    c.contacts.wet, c.belief.suspect = r.HIGH, r.HIGH
    assert "level_lost" not in told(c), "it stands for one that was told, and tells none"


def test_a1_a_pump_that_is_locked_out_is_the_one_alarm_it_was_until_it_has_run_loaded():
    c = quiet()
    one = c.pumps[1]
    for state in (pm.RETRY, pm.LOCKED, pm.RUNNING):  # R4: rising water ends the lockout
        one.state, one.out, one.cause = state, 1, pm.NOT_PUMPING
        assert told(c) == {"pump_2_unavailable": pm.NOT_PUMPING}
    assert c.alarms.raised[NAMES.index("pump_2_unavailable")] == 1
    one.out = 0
    assert told(c) == {}


@pytest.mark.parametrize("wet", range(16))
def test_i4_high_water_goes_by_what_high_reads_and_the_water_at_lag_is_no_alarm(wet):
    c = quiet()
    c.contacts.wet, c.belief.wet = wet, 0
    assert told(c) == ({"high_water": 0} if wet & r.HIGH else {})
    c.contacts.wet, c.belief.wet = 0, wet
    assert told(c) == {}


@pytest.mark.parametrize("low", [False, True])
def test_a4_battery_low_is_what_the_supply_has_found(low):
    c = quiet(supply_2=1)
    c.supply.low = low
    for battery in (r.BATTERY_LOW, r.BATTERY_GOOD, r.BATTERY_DEAD):
        assert told(c, battery=battery) == ({"battery_low": 0} if low else {})


@pytest.mark.parametrize(("dark", "told_so"), [(0, False), (1, False), (2, True)])
def test_a4_a_controller_that_was_without_power_while_the_water_rose_tells_of_the_mains(dark, told_so):
    c = quiet()
    c.dark = dark
    assert told(c) == ({"mains_lost": 0} if told_so else {})


@pytest.mark.parametrize("order", range(1, 16))
def test_l2_before_any_edge_a_suspect_by_order_is_not_told_and_one_by_evidence_is(order):
    c = quiet()
    c.belief.order, c.belief.rising = order, Controller(make_settings()).belief.rising
    assert told(c) == {}
    c.belief.evidence = r.LEAD
    assert told(c) == {"floats_out_of_sequence": r.LEAD}
    for rising in (0, 1):
        c.belief.rising = rising
        assert told(c) == {"floats_out_of_sequence": r.LEAD | order}


@pytest.mark.parametrize("exhaust", [0, 1])
def test_a4_a_pump_that_runs_a_dead_battery_to_exhaustion_is_no_protection(exhaust):
    c = quiet(supply_2=1)
    c.pair.available, c.supply.fed, c.supply.on_battery = 2, 2, 2
    c.supply.lost, c.supply.exhaust = True, exhaust
    assert ("no_pump" in told(c)) == bool(exhaust)


@pytest.mark.parametrize("no_pump", [0, 1])
@pytest.mark.parametrize("told_before", [0, 1])
def test_d5_with_no_pump_left_nothing_can_keep_up_and_what_was_told_stands(no_pump, told_before):
    c = quiet()
    c.pair.both_long = bool(told_before)
    assert ("not_keeping_up" in told(c)) == bool(told_before)
    c.pair.both_long, c.pair.available = True, 0 if no_pump else 3
    c.selectors.at[:] = [r.SELECT_OFF if no_pump else r.SELECT_AUTO] * 2
    assert ("not_keeping_up" in told(c)) == bool(told_before or not no_pump)
    c.pair.both_long = False
    assert "not_keeping_up" not in told(c)


@pytest.mark.parametrize("other", ["well", "waits", "out"])
@pytest.mark.parametrize("told_before", [0, 1])
@pytest.mark.parametrize("n", [0, 1])
def test_a1_of_two_pumps_that_are_out_both_unavailable_tells_and_none_of_their_own(n, told_before, other):
    c = quiet()
    c.pair.available = 1 << 1 - n
    if told_before:
        c.pumps[n].state, c.pumps[n].out = pm.LOCKED, 1
        told(c)
    if other != "well":
        c.pair.available = 0
        c.pumps[1 - n].state, c.pumps[1 - n].out = pm.RETRY, int(other == "out")
    c.pumps[n].state, c.pumps[n].out = pm.LOCKED, 1
    own = {f"pump_{n + 1}_unavailable"}
    expected = own if told_before or other != "out" else set()
    assert told(c).keys() == (expected | {"no_pump"} if other != "well" else expected)
    c.pumps[1 - n].state, c.pumps[1 - n].out, c.pair.available = pm.RUNNING, 0, 1 << 1 - n
    assert told(c).keys() == own, "once the other pumps, the one that is out is told"


@pytest.mark.parametrize("n", [0, 1])
@pytest.mark.parametrize("current", range(1, 5))
def test_s6_a_pump_that_will_not_stop_is_told_until_it_is_off_without_a_current(n, current):
    c = quiet()
    one, draws = c.pumps[n], {f"current_{n + 1}": current}
    name = f"pump_{n + 1}_will_not_stop"
    one.state = pm.RUNNING
    assert name not in told(c, **draws), "it runs because it shall"
    one.state = pm.IDLE
    assert name not in told(c, **draws), "it stops in this very step"
    one.welded = True
    assert name in told(c, **draws)
    for state, seen in ((pm.STARTING, {}), (pm.RUNNING, draws), (pm.IDLE, draws)):  # R3: with high wet it is commanded
        one.state, one.welded = state, False
        assert name in told(c, **seen)
    assert name not in told(c, **{f"current_{2 - n}": current}), "the other's says nothing of it"
    assert c.alarms.raised[NAMES.index(name)] == 1


@pytest.mark.parametrize("n", [0, 1])
def test_a1_both_unavailable_stands_while_one_is_out_and_the_other_would_not_stop(n):
    c = quiet()
    draws = {f"current_{n + 1}": r.CURRENT_NORMAL}
    c.pumps[1 - n].out, c.pumps[1 - n].state = 1, pm.RETRY
    c.pumps[n].welded, c.pair.available = True, 0
    assert "no_pump" in told(c, **draws)
    c.pumps[n].state, c.pumps[n].welded, c.pair.available = pm.RUNNING, False, 1 << n
    assert "no_pump" in told(c, **draws), "commanded with high wet"
    c.pumps[n].state = pm.IDLE
    c.pair.available = 3
    assert "no_pump" in told(c, **draws)
    c.pumps[1 - n].out = 0
    assert "no_pump" not in told(c, **draws), "the other may be relied on"
    c.pumps[1 - n].out = 1
    c.pair.available = 0
    assert "no_pump" in told(c, **draws)
    c.pair.available = 1 << n
    assert "no_pump" not in told(c), "off, and no current: it may be relied on"


@pytest.mark.parametrize("mains", [0, 1])
@pytest.mark.parametrize("pump_1", ["well", "out", "off"])
@pytest.mark.parametrize("battery", ["good", "low", "spent"])
def test_a4_battery_low_is_told_with_the_mains_there_where_the_battery_pump_is_alone(mains, pump_1, battery):
    c = quiet(supply_2=1)
    c.supply.mains, c.supply.on_battery = mains, 2
    c.pair.available = 2 if pump_1 == "off" else 3
    c.pumps[0].out = int(pump_1 == "out")
    c.supply.battery = r.BATTERY_LOW if battery == "low" else r.BATTERY_GOOD
    c.supply.spent = int(battery == "spent")
    alone = mains and pump_1 != "well"
    assert ("battery_low" in told(c)) == bool(alone and battery != "good")
    c.supply.battery, c.supply.spent = r.BATTERY_GOOD, 0
    assert ("battery_low" in told(c)) == bool(alone and battery != "good"), "at rest it always recovers"
    c.pair.available, c.pumps[0].out = 3, 0
    assert "battery_low" not in told(c)


def test_a4_where_no_pump_is_on_a_battery_none_is_low():
    c = quiet()
    c.pair.available, c.supply.battery, c.supply.spent = 0, r.BATTERY_DEAD, 1
    assert "battery_low" not in told(c)


@pytest.mark.parametrize("field", ["supply.gone", "supply.flat", "exercise.flat"])
def test_a4_a_failed_battery_is_not_told_beside_a_low_one_but_stands_where_it_was_told_before(field):
    part, name = field.split(".")
    c = quiet(supply_2=1)
    setattr(getattr(c, part), name, 1)
    c.supply.low = 1
    assert told(c) == {"battery_low": 0}
    c.supply.low = 0
    assert told(c) == {"battery_failed": 0}
    c.supply.low = 1
    assert told(c) == {"battery_failed": 0, "battery_low": 0}


@pytest.mark.parametrize("battery", ["good", "low", "spent"])
def test_a1_both_unavailable_stands_where_the_one_left_is_on_a_battery_that_was_found_low(battery):
    c = quiet(supply_2=1)
    c.pair.available, c.supply.on_battery, c.selectors.at[0] = 0, 2, r.SELECT_OFF
    c.supply.fed, c.supply.battery = 1, r.BATTERY_LOW if battery == "low" else r.BATTERY_GOOD
    c.supply.spent = int(battery == "spent")
    assert "no_pump" in told(c)
    c.pair.available, c.supply.fed, c.supply.battery, c.supply.spent = 2, 3, r.BATTERY_GOOD, 0
    assert ("no_pump" in told(c)) == (battery != "good")
    c.pair.available, c.selectors.at[0] = 3, r.SELECT_AUTO
    assert "no_pump" not in told(c)


def test_a1_two_pumps_out_of_which_one_may_still_start_are_told_each():
    c = quiet()
    for pump in c.pumps:
        pump.out, pump.cause = 1, pm.OVERLOAD
    assert told(c) == {"pump_1_unavailable": pm.OVERLOAD, "pump_2_unavailable": pm.OVERLOAD}


@pytest.mark.parametrize("days", [1, 90])
def test_a5_an_inspection_is_due_at_the_minute(days):
    c = quiet(inspection=days)
    c.inspection_min = days * DAY_MIN - 1
    assert told(c) == {}
    c.inspection_min += 1
    assert told(c) == {"inspection_due": 0}


# Pumps ---------------------------------------------------------------------------------------------


@pytest.fixture(params=[0, 1], ids=["pump 1", "pump 2"])
def n(request):
    return request.param


@pytest.mark.parametrize(("state", "held", "opened", "out"),
                         list(product(range(5), (0, pm.RETRY, pm.LOCKED), (0, 1), (0, 1))))  # fmt: skip
def test_a1_a_pump_that_is_out_or_too_hot_is_unavailable_and_the_alarm_names_the_cause(n, state, held, opened, out):
    c = quiet()
    one = c.pumps[n]
    one.state, one.held, one.open, one.out, one.cause = state, held, opened, out, pm.OVERLOAD
    expected = {}
    if out or opened:
        expected[f"pump_{n + 1}_unavailable"] = pm.OVERLOAD
    assert told(c) == expected


@pytest.mark.parametrize(("field", "value", "alarm", "detail"), [
    ("welded", True, "will_not_stop", 0), ("moist", 1, "moisture", 0),
    ("short", 1, "short_cycling", 0),
])  # fmt: skip
def test_a1_one_reason_in_one_pump_tells_that_pump_s_alarm(n, field, value, alarm, detail):
    c = quiet()
    setattr(c.pumps[n], field, value)
    assert told(c) == {f"pump_{n + 1}_{alarm}": detail}


def test_d6_d7_a_suspect_and_a_failed_exercise_name_their_pump(n):
    for mask in (1 << n, 3):
        c = quiet()
        c.pair.suspects = mask
        assert told(c) == {f"pump_{k + 1}_suspect": 0 for k in range(2) if mask >> k & 1}
        c = quiet()
        c.exercise.failed = mask
        assert told(c) == {f"pump_{k + 1}_exercise_failed": 0 for k in range(2) if mask >> k & 1}


@pytest.mark.parametrize("fed", range(4))
def test_a4_the_loss_of_the_mains_counts_against_a_pump_when_its_own_alarm_does(fed):
    c = quiet()
    c.supply.fed, c.pair.available = fed, fed
    assert told(c) == {}, "not within mains_grace"
    c.supply.on_battery = 3
    assert told(c) == ({} if fed else {"no_pump": 0}), "a pump on a spent battery does not wait for the mains"
    c.supply.on_battery = 0
    c.supply.lost = True
    assert told(c) == {"mains_lost": 0, **({} if fed else {"no_pump": 0})}, "mains lost tells of its pumps too"
    c.supply.on_battery = 3
    assert told(c) == {"mains_lost": 0, **({} if fed else {"no_pump": 0})}, "a dead battery is told by battery low"


@pytest.mark.parametrize(("state", "opened", "off"), list(product(range(5), (0, 1), (0, 1))))
@pytest.mark.parametrize(("fed", "on_battery", "lost"), list(product((0, 1), (0, 1), (False, True))))
def test_a1_both_unavailable_is_told_unless_one_waits_for_a_mains_lost_this_moment(
        n, state, opened, off, fed, on_battery, lost):  # fmt: skip
    c = quiet()
    c.pumps[1 - n].state = pm.LOCKED
    c.pumps[n].state, c.pumps[n].open = state, opened
    c.selectors.at[n] = r.SELECT_OFF if off else r.SELECT_AUTO
    c.supply.fed, c.supply.on_battery, c.supply.lost = fed << n | 2 >> n, on_battery << n, lost
    well = state < pm.RETRY and not opened and not off
    c.pair.available = 1 << n if well and fed else 0
    waits = well and not fed and not on_battery and not lost
    assert ("no_pump" in told(c)) == (not (c.pair.available or waits))


def test_s6_a_welded_pump_has_its_supply_and_is_no_protection_all_the_same(n):
    c = quiet()
    c.pumps[1 - n].state = pm.LOCKED
    c.pumps[n].welded = True
    c.pair.available = 0
    assert {"no_pump", f"pump_{n + 1}_will_not_stop"} <= told(c).keys()


@pytest.mark.parametrize("available", range(4))
def test_a1_one_available_pump_is_enough(available):
    c = quiet()
    c.pair.available = available
    c.selectors.at[:] = [r.SELECT_AUTO if available >> k & 1 else r.SELECT_OFF for k in range(2)]
    assert ("no_pump" in told(c)) == (not available)


def test_j3_what_was_told_of_decay_stands_until_the_figures_are_well_back(n):
    c = quiet()
    h = c.history
    h.first_rate_ml_min[n], h.rate_ml_min[n], h.measured[n], h.worn[n] = 100_000, 70_000, 20, 8
    assert told(c) == {f"pump_{n + 1}_worn": 0}
    h.worn[n], h.rate_ml_min[n] = 0, 84_000
    assert told(c) == {f"pump_{n + 1}_worn": 0}
    h.rate_ml_min[n] = 85_000
    assert told(c) == {}
    h.rate_ml_min[n] = 84_000
    assert told(c) == {}, "it stands for what was told, and tells nothing"
    h.leaks[n] = 12
    assert told(c) == {f"pump_{n + 1}_check_leaks": 0}
    h.reset()
    assert told(c) == {}


@pytest.mark.parametrize(("field", "limit", "alarm"), [("worn", 8, "worn"), ("leaks", 12, "check_leaks")])
def test_j3_a_worn_pump_and_a_leaking_check_valve_are_told_at_their_count(n, field, limit, alarm):
    c = quiet()
    getattr(c.history, field)[n] = limit - 1
    assert told(c) == {}
    getattr(c.history, field)[n] = limit
    assert told(c) == {f"pump_{n + 1}_{alarm}": 0}


@pytest.mark.parametrize(("fitted", "months", "minutes", "old"), [
    (1, 48, 48 * MONTH_MIN, True), (1, 48, 48 * MONTH_MIN + 1, True), (1, 48, 48 * MONTH_MIN - 1, False),
    (1, 0, 48 * MONTH_MIN, False), (0, 48, 48 * MONTH_MIN, False),
])  # fmt: skip
def test_a4_a_standby_battery_is_told_as_old_once_it_has_its_age_where_there_is_one(fitted, months, minutes, old):
    c = quiet(battery_age=months)
    c.supply.fitted, c.battery_min = fitted, minutes
    assert told(c) == ({"battery_old": 0} if old else {})


def test_j3_a_worn_pump_is_told_as_weak_as_well_where_the_inflow_of_late_asks_for_it(n):
    c = quiet()
    c.history.worn[n], c.history.rate_ml_min[n] = 8, 60_000
    for peak, weak in ((50_000, False), (50_005, True), (0, True)):
        c.history.peak_ml_min = peak
        worn = {f"pump_{n + 1}_worn": 0}
        assert told(c) == ({**worn, f"pump_{n + 1}_weak": 0} if weak else worn)
    c.history.worn[n] = 0
    assert told(c) == {}, "as long as it is worn"


def test_j3_a_worn_pump_stands_while_either_figure_says_so(n):
    c = quiet()
    c.history.worn[n] = 8
    for _ in range(2):
        assert told(c) == {f"pump_{n + 1}_worn": 0}, "its rate is no worse than at first, and still eight were slow"
    c.history.worn[n] = 0
    assert told(c) == {}
