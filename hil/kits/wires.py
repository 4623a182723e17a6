"""The wires between a bench and a controller: one table of names, from which everything else is worked out.

Into the controller go contacts, analog signals and selectors; out of it come its
relays.  A wire's value is a whole number:

    contact    1 = electrically closed (a float), made (a button) or there (mains); thermal: 1 = open, that is hot
    current    mA, or 0 and 1 where run feedback takes its place
    level      uA of the transmitter's loop
    battery    mV
    selector   0 auto, 1 off, 2 hand
    relay      1 = on
"""

from dataclasses import dataclass

from duplexsump.control import records as r
from duplexsump.control import settings as s

from host_sim.errors import InputError

CONTACT, ANALOG, SELECTOR, RELAY = "contact", "analog", "selector", "relay"
INTO, OUT = "into the controller", "out of it"


@dataclass(frozen=True)
class Wire:
    """One wire: its kind, its place in a raw (IN_*) or output record (OUT_*), its bit there, its value at rest."""

    name: str
    direction: str
    kind: str
    place: int
    bit: int
    rest: int
    unit: str = ""


def _into(name, kind, place, rest, bit=0, unit=""):
    return Wire(name, INTO, kind, place, bit, rest, unit)


# At rest: floats hang dry, mains and charger are there, a fresh 12 V battery, nothing pressed, both pumps in AUTO.
TABLE = (
    _into("off", CONTACT, r.IN_CONTACTS, 0, r.OFF),
    _into("lead", CONTACT, r.IN_CONTACTS, 0, r.LEAD),
    _into("lag", CONTACT, r.IN_CONTACTS, 0, r.LAG),
    _into("high", CONTACT, r.IN_CONTACTS, 0, r.HIGH),
    _into("current_1", ANALOG, r.IN_CURRENT_1, 0, unit="mA"),
    _into("current_2", ANALOG, r.IN_CURRENT_2, 0, unit="mA"),
    _into("level", ANALOG, r.IN_LEVEL, 4000, unit="uA"),
    _into("battery", ANALOG, r.IN_BATTERY, 12800, unit="mV"),
    _into("mains", CONTACT, r.IN_MAINS, 1),
    _into("charger", CONTACT, r.IN_CHARGER, 1),
    _into("generator", CONTACT, r.IN_GENERATOR, 0),
    _into("selector_1", SELECTOR, r.IN_SELECTOR_1, 0),
    _into("selector_2", SELECTOR, r.IN_SELECTOR_2, 0),
    _into("thermal_1", CONTACT, r.IN_THERMAL_1, 0),
    _into("thermal_2", CONTACT, r.IN_THERMAL_2, 0),
    _into("moisture_1", CONTACT, r.IN_MOISTURE_1, 0),
    _into("moisture_2", CONTACT, r.IN_MOISTURE_2, 0),
    _into("silence", CONTACT, r.IN_SILENCE, 0),
    _into("reset", CONTACT, r.IN_RESET, 0),
    _into("jumper", CONTACT, r.IN_JUMPER, 0),
    Wire("pump_1", OUT, RELAY, r.OUT_PUMP_1, 0, 0),
    Wire("pump_2", OUT, RELAY, r.OUT_PUMP_2, 0, 0),
    Wire("horn", OUT, RELAY, r.OUT_HORN, 0, 0),
    Wire("beacon", OUT, RELAY, r.OUT_BEACON, 0, 0),
    Wire("relay", OUT, RELAY, r.OUT_RELAY, 0, 0),
    Wire("service", OUT, RELAY, r.OUT_SERVICE, 0, 0),
    Wire("light", OUT, RELAY, r.OUT_LIGHT, 0, 0),
)
WIRES = {wire.name: wire for wire in TABLE}
INPUTS = tuple(wire.name for wire in TABLE if wire.direction == INTO)
OUTPUTS = tuple(wire.name for wire in TABLE if wire.direction == OUT)
FLOATS = ("off", "lead", "lag", "high")
MOST = {ANALOG: 200000, SELECTOR: 2, CONTACT: 1, RELAY: 1}


def wire(name):
    """Return the Wire called `name`.  Raises InputError that lists all of them."""
    found = WIRES.get(name)
    if found is None:
        raise InputError(f'there is no wire "{name}"; the wires are: {", ".join(WIRES)}', "wires")
    return found


def rest_values(settings=None):
    """Return {input wire: value at rest} for a settings record (a list of integers), the defaults where None.

    A normally-closed float is closed while it hangs dry, so the settings decide.
    """
    closed = (settings or s.defaults())[s.NORMALLY_CLOSED]
    values = {name: WIRES[name].rest for name in INPUTS}
    for name in FLOATS:
        values[name] = 1 if closed & WIRES[name].bit else 0
    return values


def raw_record(values):
    """Return the raw record (a list of N_INPUTS integers) that wire values make; `values` holds every input wire."""
    raw = [0] * r.N_INPUTS
    for name, value in values.items():
        row = WIRES[name]
        if row.bit:
            raw[row.place] |= row.bit if value else 0
        else:
            raw[row.place] = value
    return raw


def from_raw(raw):
    """Return {input wire: value} of a raw record."""
    found = {}
    for name in INPUTS:
        row = WIRES[name]
        found[name] = (1 if raw[row.place] & row.bit else 0) if row.bit else raw[row.place]
    return found


def checked(name, value):
    """Return `value` as an integer that may be put on an input wire.  Raises InputError otherwise."""
    row = wire(name)
    if row.direction != INTO:
        raise InputError(f'"{name}" is an output of the controller: it can be read, not driven', "wires")
    most = MOST[row.kind]
    if not isinstance(value, int | bool) or not 0 <= value <= most:
        raise InputError(f'"{name}" = {value!r}: a whole number from 0 to {most} {row.unit}'.rstrip(), "wires")
    return int(value)
