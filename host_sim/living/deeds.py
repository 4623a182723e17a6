"""What a person does to a living pit, as a site file writes it: faults, actions, each at a tick of its own."""

from dataclasses import dataclass

from host_sim.errors import InputError
from host_sim.plant.equipment import Action
from host_sim.site import faults
from host_sim.units import read as read_quantity

BUTTONS = ("silence", "reset")
SELECTORS = ("selector1", "selector2")
TURNS = {**dict.fromkeys(SELECTORS, ("auto", "off", "hand")), "mains": ("on", "off")}
PRESS_MS = 500
MOST_FLOW_M3S = 0.02  # about 317 gpm: several times what any pit of this kind takes


@dataclass(frozen=True)
class Deed:
    """One deed: `what` and `value` as said, at `at_ms` from the start.

    what     value
    break    a fault of the registry, "pump1-jammed" or "pump1-worn=40%"
    repair   the name of a fault that is there
    inflow   a flow as text, "12 gpm"
    mains    "on" or "off"
    selector1, selector2   "auto", "off" or "hand"
    silence, reset         "" (the button is let go after half a second)
    """

    at_ms: int
    what: str
    value: str = ""
    fault: str = ""  # the name of the fault that is broken or repaired


def deed(at_ms, what, value=""):
    """Return a Deed.  Raises InputError that says what was given and what is allowed."""
    what, value, fault = str(what), str(value), ""
    if what == "break":
        if "@" in value or "+" in value:
            raise InputError(f'"{value}": name the fault alone; it begins now and lasts until it is repaired')
        fault = faults.parse_fault(value).name
    elif what == "repair":
        fault = value
        if value not in faults.REGISTRY:
            raise InputError(f'fault "{value}" is unknown: the faults command lists them all')
    elif what == "inflow":
        _flow(value)
    elif what in TURNS:
        if value not in TURNS[what]:
            raise InputError(f'{what} "{value}": one of {", ".join(TURNS[what])} is wanted')
    elif what not in BUTTONS:
        allowed = ", ".join(("break", "repair", "inflow", *TURNS, *BUTTONS))
        raise InputError(f'"{what}" cannot be done: there are {allowed}')
    return Deed(at_ms, what, value, fault)


def _flow(value):
    try:
        flow = read_quantity(value, "flow")
    except ValueError as error:
        raise InputError(f"inflow: {error}") from error
    if not 0.0 <= flow <= MOST_FLOW_M3S:
        raise InputError(f'inflow "{value}": 0 to 300 gpm (about 19 L/s) is allowed')
    return flow


def action_of(done):
    """Return the Action of a Deed that is no fault."""
    flow = _flow(done.value) if done.what == "inflow" else 0.0
    return Action(done.at_ms, done.what, "" if done.what == "inflow" else done.value, PRESS_MS, flow)


def written(deeds):
    """Return (texts of faults, tables of actions) as a site file holds them, for deeds in order of time."""
    texts, tables, since = [], [], {}
    for done in deeds:
        if done.what == "break":
            since[done.fault] = done
        elif done.what == "repair":
            began = since.pop(done.fault)
            texts.append((began.at_ms, f"{began.value}@{_at(began.at_ms)}+{_at(done.at_ms - began.at_ms)}"))
        else:
            table = {"at": _at(done.at_ms), "do": done.what}
            tables.append(table | ({"to": done.value} if done.value else {}))
    texts += [(done.at_ms, f"{done.value}@{_at(done.at_ms)}") for done in since.values()]
    return [text for _, text in sorted(texts)], tables


def _at(ms):
    return f"{ms // 1000}.{ms % 1000 // 100} s"
