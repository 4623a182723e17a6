"""Remarks about the contacts and dry-run protection."""

from duplexsump.control import settings as s

from host_sim.plant.equipment import Contact
from host_sim.sizing.contacts import NAMES, draw_down_s, lowest_off_m, step_m, tables
from host_sim.sizing.limits import INCH, limit
from host_sim.sizing.remarks.change import deeper, much_deeper, one, spread
from host_sim.sizing.remarks.remark import CONCRETE, HAND, Remark
from host_sim.sizing.say import text_of
from host_sim.sizing.sensors import usual

SECTION = "contacts"


def _low_off(result, say):
    lowest = max(
        max(p.intake_m + p.cover_m, plate.covered_m)
        for p, plate in zip(result.inputs.pumps, result.inputs.plates, strict=True)
    )
    off = result.contacts[0].dry_m
    if off >= lowest - 1e-4:
        return None
    return (
        f"off opens at {say(off, 'length')}; inlet and motor need water up to {say(lowest, 'length')} "
        f"(with waves and a second's delay, set off at {say(lowest_off_m(result.inputs), 'length')})"
    )


def _respread(result, say):
    return [spread(result, say)]


def _close(result, say):
    need, close = step_m(result.inputs), []
    for low, high in ((1, 2), (2, 3)):
        gap = result.contacts[high].wet_m - result.contacts[low].wet_m
        if gap < need - 2e-4:
            close.append(f"{NAMES[low]} and {NAMES[high]} {say(gap, 'length')}")
    if not close:
        return None
    kind = {"tethered": f"tethered floats of {say(result.inputs.floats.travel_m, 'length')} travel",
            "vertical": "vertical floats", "transmitter": "levels of the transmitter"}[result.inputs.floats.kind]
    return f"{kind} closer than {say(need, 'length')}, so waves or a shifted float can swap them: {', '.join(close)}"


def _room_for_contacts(result, say):
    return [
        spread(result, say),
        deeper(result, say),
        much_deeper(result, say),
        one("calm the water: an elbow on the drain inlet", {"waves.height": "0 mm"}, HAND),
    ]


def _high_high(result, say):
    spare = result.inputs.pit.floor_m - result.contacts[3].wet_m
    if spare >= limit("freeboard") - 2e-4:
        return None
    return (
        f"the high contact is {say(spare, 'length')} below the floor (minimum {say(limit('freeboard'), 'length')}): "
        "the alarm comes too late"
    )


def _drowned(result, say):
    inlet = result.inputs.basin.inlet_m
    if inlet is None or result.contacts[1].wet_m <= inlet + 2e-4:
        return None
    return (
        f"lead is at {say(result.contacts[1].wet_m, 'length')}, above the drain inlet at {say(inlet, 'length')}: "
        "water backs up into the drain in every cycle"
    )


def _drain_stands(result, say):
    inlet = result.inputs.basin.inlet_m
    if inlet is None or result.contacts[1].wet_m > inlet + 2e-4 or result.contacts[2].wet_m <= inlet + 2e-4:
        return None
    return (
        f"lag at {say(result.contacts[2].wet_m, 'length')} and high at {say(result.contacts[3].wet_m, 'length')} lie "
        f"above the drain inlet at {say(inlet, 'length')}: when one pump is not enough, water stands in the drain "
        "before the second one starts"
    )


def _lower_lag(result, say):
    # Lead a step below lag, lag at the inlet, where off leaves room for it; else the floats' kind or the inlet decides.
    inlet, step = result.inputs.basin.inlet_m, step_m(result.inputs)
    off, travel = result.contacts[0], result.inputs.floats.travel_m
    lag, lead = inlet, inlet - step
    families = []
    if lead > off.wet_m + INCH / 2.0 and result.inputs.floats.kind != "transmitter":
        placed = [off, *(Contact(wet, max(wet - travel, off.dry_m + (i + 1) * INCH / 10.0))
                         for i, wet in enumerate((lead, lag))), result.contacts[3]]  # fmt: skip
        heights = f"lead at {say(lead, 'length')}, lag at {say(lag, 'length')}"
        found = tables(placed, result.inputs.closed, result.inputs.floats.kind)
        families.append(one(f"{heights}, both below the inlet; more starts per hour", {"contacts": found}, HAND))
    raised = text_of(result.contacts[2].wet_m, "length", 2)
    families.append(one(f"a drain inlet at {raised} or higher", {"sizing.basin.inlet": raised}, CONCRETE))
    return families


def _undrown(result, say):
    return [spread(result, say), deeper(result, say), much_deeper(result, say)]


def _travel(result, say):
    band = result.contacts[1].wet_m - result.contacts[0].dry_m
    travel = result.inputs.floats.travel_m
    if result.inputs.floats.kind == "transmitter" or travel < band - 0.1 * INCH:
        return None
    return f"float travel is {say(travel, 'length')}, as much as lead is above off: the two overlap"


def _short_travel(result, say):
    return [
        one(
            "vertical floats with 1 in of travel",
            {"sizing.floats": {"kind": "vertical", "travel": "1 in"}, "contacts": None},
            HAND,
        ),
        deeper(result, say),
        much_deeper(result, say),
    ]


def _no_sensing(result, say):
    if result.settings[s.SENSING] == s.SENSE_CURRENT:
        return None
    blind = result.settings[s.BLIND_RUN_MS] / 1000.0
    return (
        "without it only the off contact, its time limit (pump_down) and blind_run (at most "
        f"{say(blind, 'seconds')} on a suspect level) protect the pumps from running dry; a pump that turns but moves "
        "no water is noticed only when the level reaches lag"
    )


def _sense(result, say):
    fits = [usual(pump.supply == "battery") for pump in result.inputs.pumps]
    words = f"a {fits[0]} for each pump" if fits[0] == fits[1] else f"a {fits[0]} for pump 1, a {fits[1]} for pump 2"
    return [one(f"{words}, wired to the controller", {"controller.sensing": "current"})]


def _long_draw_down(result, say):
    seconds = draw_down_s(result.inputs, result.contacts[1].dry_m, result.contacts[0].dry_m)
    blind = result.settings[s.BLIND_RUN_MS] / 1000.0
    if result.settings[s.SENSING] == s.SENSE_CURRENT or seconds <= blind:
        return None
    return (
        f"one pump draws the pit down from lead to off in {say(seconds, 'seconds')}, but without current sensing the "
        f"time limit is {say(blind, 'seconds')} at most: at high inflow the controller would suspect a good off contact"
    )


def _shorter_draw_down(result, say):
    return [spread(result, say), *_sense(result, say)]


def _high_open(result, say):
    if result.inputs.closed[3]:
        return None
    return "the high contact is normally open: a broken wire to it goes unnoticed"


def _close_high(result, say):
    return [one("a normally closed high contact on its own pair of wires", {"contacts.high.normally_closed": True})]


def _missing(result, say):
    if not result.inputs.contacts or result.inputs.floats.kind == "transmitter":
        return None
    missing = [NAMES[i] for i in (0, 2) if result.inputs.contacts[i] is None]
    if not missing:
        return None
    return (
        f"not fitted: {', '.join(missing)}; the figures below assume it (without off the pumps stop by time, without "
        "lag the second pump starts at high)"
    )


REMARKS = (
    Remark("off_too_low", SECTION, True, "off too low", _low_off, _respread),
    Remark("contacts_too_close", SECTION, False, "contacts too close together", _close, _room_for_contacts),
    Remark("high_too_near_floor", SECTION, False, "high too close to the floor", _high_high, _room_for_contacts),
    Remark("drain_drowned", SECTION, False, "lead above the drain inlet", _drowned, _undrown),
    Remark("drain_stands", SECTION, False, "lag above the drain inlet", _drain_stands, _lower_lag),
    Remark("float_travel", SECTION, True, "float travel too long for the band", _travel, _short_travel),
    Remark("contact_missing", SECTION, False, "contact not fitted", _missing, _respread),
    Remark("high_normally_open", SECTION, False, "high contact is normally open", _high_open, _close_high),
    Remark("outlasts_blind_run", SECTION, True, "pump-down longer than blind_run", _long_draw_down, _shorter_draw_down),
    Remark("no_current_sensing", SECTION, False, "no current sensing", _no_sensing, _sense),
)
