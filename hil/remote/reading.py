"""One full reading of the controller, and what is published of it."""

from dataclasses import dataclass

from duplexsump.control import alarm_table, alarms
from duplexsump.control import settings as s
from duplexsump.control.pump import CAUSES, STATES
from duplexsump.control.records import CONTACT_NAMES
from duplexsump.station import registers as r

from host_sim import alarm_words
from host_sim.board.screen import RESETS, SELECTORS

BATTERY_NAMES = ("good", "low", "dead")
STEP_MV = 100  # voltages are published in steps of this, so that their jitter is no news
ACTIVE = (alarms.UNACKNOWLEDGED, alarms.ACKNOWLEDGED)


@dataclass
class Reading:
    """What the controller answered at `at` (s since 1970-01-01)."""

    at: float
    values: dict
    states: dict
    alarm_states: list


def take(client, at):
    """Return the Reading of a `host_sim.board.client.Client`.  Raises InputError where it does not answer."""
    alarm_states = client.words(r.ALARM_STATES_AT, alarm_table.COUNT)
    return Reading(at, client.values(), client.states(), alarm_states)


def _names(mask, names):
    return [name for i, name in enumerate(names) if mask >> i & 1]


def state(reading):
    """Return the fields of topic `state`."""
    values, states = reading.values, reading.states
    return {
        "wet": _names(states["wet"], CONTACT_NAMES), "suspect": _names(states["suspect"], CONTACT_NAMES),
        "pumps_on": _names(states["outputs"] & 3, (1, 2)), "available": _names(states["available"], (1, 2)),
        "pumps_called": values["demand"], "blind": 1 if values["blind"] else 0, "mains": states["mains"],
        "selectors": [SELECTORS[min(2, values[f"selector_{n}"])] for n in (1, 2)],
    }  # fmt: skip


def level(reading, settings):
    """Return the fields of topic `level`."""
    lower = 7 if settings[s.TRANSMITTER] else 0  # the transmitter stands for the lower contacts
    fitted = [i for i in range(4) if (settings[s.FITTED] | lower) >> i & 1]
    believed, suspect = reading.states["believed"], reading.states["suspect"]
    trusted = [i for i in fitted if not suspect >> i & 1]
    wet = [i for i in trusted if believed >> i & 1]
    dry = [i for i in trusted if not believed >> i & 1 and (not wet or i > max(wet))]
    return {
        "above": CONTACT_NAMES[max(wet)] if wet else None,
        "below": CONTACT_NAMES[min(dry)] if dry else None,
        "transmitter_mm": round(reading.values["level"], -1) if settings[s.TRANSMITTER] else None,
    }


def pumps(reading):
    """Return the fields of topic `pumps`."""
    v = reading.values
    rows = [
        {"state": STATES[v[f"pump_{n}_state"]], "last_fault": CAUSES[v[f"pump_{n}_cause"]], "starts": v[f"starts_{n}"],
         "run_s": v[f"run_{n}"], "rate_ml_min": v[f"rate_{n}"], "wear_percent": v[f"wear_{n}"]}
        for n in (1, 2)
    ]  # fmt: skip
    return {"pumps": rows, "inflow_ml_min": v["inflow"]}


def has_battery(settings):
    """Return whether a pump is wired to a battery."""
    return settings[s.SUPPLY_1] != s.MAINS or settings[s.SUPPLY_2] != s.MAINS


def battery(reading, settings, loaded_mv, loaded_at):
    """Return the fields of topic `battery`."""
    if not has_battery(settings):
        return {"mv": None, "band": None, "charging": None, "loaded_mv": None, "loaded_at": None}
    return {
        "mv": reading.values["battery"] // STEP_MV * STEP_MV,
        "band": BATTERY_NAMES[min(2, reading.values["battery_band"])], "charging": reading.states["charging"],
        "loaded_mv": loaded_mv, "loaded_at": loaded_at,
    }  # fmt: skip


def board(reading, since):
    """Return the fields of topic `board` of a controller that answers."""
    v = reading.values
    return {"up": 1, "since": since, "firmware": f"{v['firmware']:08x}", "uptime_min": v["uptime"],
            "reset_cause": RESETS[min(2, v["reset_cause"])]}  # fmt: skip


def alarm(place, alarm_state, since):
    """Return one object of topic `alarms`: alarm `place` of the table in a state that is not normal."""
    row = alarm_table.TABLE[place]
    name = row[alarm_table.NAME]
    return {
        "name": name, "text": row[alarm_table.TEXT], "priority": alarm_table.PRIORITIES[row[alarm_table.PRIORITY]],
        "state": alarms.STATES[alarm_state], "active": 1 if alarm_state in ACTIVE else 0, "since": since,
        "call": alarm_words.call(row), "do": alarm_words.of(name).do,
    }  # fmt: skip
