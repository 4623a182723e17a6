"""What the controller reads of each signal of its board's table, over its link."""

from duplexsump.control import records as r

# Place in the raw record: (which state's mask, shift, whether a bit means open).
STATES = {
    r.IN_THERMAL_1: ("thermal", 0, True), r.IN_THERMAL_2: ("thermal", 1, True),
    r.IN_MOISTURE_1: ("moisture", 0, False), r.IN_MOISTURE_2: ("moisture", 1, False),
    r.IN_SILENCE: ("pressed", 0, False), r.IN_RESET: ("pressed", 1, False), r.IN_JUMPER: ("jumper", 0, False),
    r.IN_MAINS: ("mains", 0, False), r.IN_CHARGER: ("charging", 0, False), r.IN_GENERATOR: ("generator", 0, False),
}  # fmt: skip
SELECTORS = {r.IN_SELECTOR_1: "selector_1", r.IN_SELECTOR_2: "selector_2"}
ANALOG = {r.IN_CURRENT_1: ("current_1", "A"), r.IN_CURRENT_2: ("current_2", "A"), r.IN_LEVEL: ("loop", "mA"),
          r.IN_BATTERY: ("battery", "V")}  # fmt: skip


def closed(signal, states, values):
    """Return whether a contact of the table reads as electrically closed, 1 or 0."""
    if signal.place == r.IN_CONTACTS:
        return 1 if states["closed"] & signal.level else 0
    if signal.place in SELECTORS:
        return 1 if values[SELECTORS[signal.place]] == signal.level else 0
    name, shift, opens = STATES[signal.place]
    bit = states[name] >> shift & 1
    return 1 - bit if opens else bit


def measured(signal, values):
    """Return (value, unit) of an analog signal in the unit that a person reads on a meter."""
    name, unit = ANALOG[signal.place]
    return values[name] / 1000.0, unit


def output(signal, states):
    """Return whether an output is on, 1 or 0."""
    return states["outputs"] >> signal.place & 1
