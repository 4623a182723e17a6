"""Everything that goes wrong in a pit: one registry, one line of grammar.

To add a fault, add one `_add(...)` in `_build()`: its name, what it does to
the pit, what the controller should say, and the function that sets a
`FaultState` record.

A fault is written  NAME[=VALUE][@START][+DURATION]  for example
"pump1-jammed@3h", "lead-stuck-wet@02:10+90min", "pump1-worn=40%@1h".
START is a time since the start of the run ("3h", "90 min") or a clock time
("02:10", the first time the clock shows it); without one the fault is there
from the start.  Without DURATION it stays.
"""

import difflib
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from duplexsump.control.records import CONTACT_NAMES

from host_sim import units
from host_sim.errors import InputError
from host_sim.plant.fault_state import BROKEN, CHATTERING, DRY, WET

GRAMMAR = 'NAME[=VALUE][@START][+DURATION], as in "lead-stuck-wet@02:10+90min" or "pump1-worn=40%@1h"'
_FORM = re.compile(r"^([a-z0-9-]+)(?:=([^@+]+))?(?:@([^+]+))?(?:\+(.+))?$")
_CLOCK = re.compile(r"^(\d{1,2}):(\d{2})(?::(\d{2}))?$")
TICK_S = 0.1


@dataclass(frozen=True)
class Parameter:
    """The value of a fault: what it means, its kind of unit, its default and bounds in SI."""

    meaning: str
    kind: str
    default: float
    least: float
    most: float


@dataclass(frozen=True)
class FaultKind:
    """One thing that can go wrong."""

    name: str
    does: str  # to the pit
    says: str  # what the controller should say or do
    apply: Callable[[Any, float], None]
    parameter: Parameter | None = None
    at_once: bool = False  # happens at one instant; a duration means nothing
    needs: tuple[str, ...] = ()  # the equipment it acts on, any one of these; empty: every site has it


@dataclass(frozen=True)
class Fault:
    """A fault with its times, in seconds since the start of the run on the 100 ms grid; `end_s` None: it stays."""

    name: str
    start_s: float = 0.0
    end_s: float | None = None
    value: float = 0.0

    @property
    def kind(self):
        return REGISTRY[self.name]

    @property
    def text(self):
        return self.kind.does


REGISTRY: dict[str, FaultKind] = {}


def _add(name, does, says, apply, parameter=None, at_once=False, needs=()):
    REGISTRY[name] = FaultKind(name, does, says, apply, parameter, at_once, needs)


def _set(field, value=True):
    return lambda fault_state, _: setattr(fault_state, field, value)


def _set_value(field, also=None, word=None):
    def apply(fault_state, value):
        setattr(fault_state, field, value)
        if also:
            setattr(fault_state, also, word)

    return apply


def _contact(i, state):
    def apply(fault_state, _):
        fault_state.contacts[i] = state

    return apply


def _pump(n, field, value=True):
    return lambda fault_state, _: setattr(fault_state.pumps[n], field, value)


def _pump_value(n, field, also=None, word=None):
    def apply(fault_state, value):
        setattr(fault_state.pumps[n], field, value)
        if also:
            setattr(fault_state.pumps[n], also, word)

    return apply


def _common_wire(fault_state, _):
    for i in range(3):  # high hangs on its own pair of wires
        fault_state.contacts[i] = BROKEN


def _contacts():
    sequence = 'medium alarm "floats out of sequence" that names it, once a neighbour shows it'
    for i, name in enumerate(CONTACT_NAMES):
        _add(f"{name}-stuck-wet", f"the {name} float hangs up and reads wet whatever the level", sequence,
             _contact(i, WET), needs=(f"{name} float",))
        _add(f"{name}-stuck-dry", f"the {name} float is held down and reads dry whatever the level", sequence,
             _contact(i, DRY), needs=(f"{name} float",))
        _add(f"{name}-chattering", f"the {name} contact opens and closes several times a second",
             "counts as wet while it chatters; low alarm", _contact(i, CHATTERING),
             needs=(f"{name} float",))
        _add(f"{name}-wire-broken", f"the wire of the {name} float is broken: its contact reads open",
             "as a stuck float: dry for a normally-open contact, wet for a normally-closed one", _contact(i, BROKEN),
             needs=(f"{name} float",))
    _add("common-wire-broken", "the common wire of the off, lead and lag floats is broken: all three read open",
         'high alarm "float wiring" and blind pumping when two or more change together', _common_wire,
         needs=tuple(f"{name} float" for name in CONTACT_NAMES[:3]))


def _transmitter():
    device = ("level transmitter",)
    failed = 'medium alarm "transmitter failed"; its virtual contacts are no longer believed'
    _add("transmitter-below-range", "the loop of the level transmitter is open: 0 mA", failed,
         _set("transmitter", "below range"), needs=device)
    _add("transmitter-above-range", "the level transmitter signals a fault high: 22 mA", failed,
         _set("transmitter", "above range"), needs=device)
    _add("transmitter-frozen", "the level transmitter holds its last value",
         "failed, once the level does not move across a start and a proved run", _set("transmitter", "frozen"),
         needs=device)
    _add("transmitter-drifting", "the level transmitter reads ever higher than the water",
         "out of sequence with a float, where floats are fitted too",
         _set_value("transmitter_value", "transmitter", "drifting"),
         Parameter("rate of the drift", "rate", 0.05 / 3600.0, -1.0 / 3600.0, 1.0 / 3600.0), needs=device)
    _add("transmitter-clogged", "the transmitter's stilling pipe is clogged: its reading follows late",
         "nothing while slow; out of sequence with a float, where floats are fitted too",
         _set_value("transmitter_value", "transmitter", "clogged"),
         Parameter("time constant", "time", 120.0, 1.0, 86400.0), needs=device)


def _pump_faults():
    for n in (0, 1):
        p = f"pump {n + 1}"
        key = f"pump{n + 1}"
        trip = "the other pump takes over; retries, then lockout; medium alarm"
        not_pumping = 'underload: "not pumping", trip, ' + trip
        _add(f"{key}-will-not-start", f"{p} does not turn and draws nothing when switched on", trip,
             _pump(n, "will_not_start"))
        _add(f"{key}-jammed", f"the rotor of {p} is held: locked-rotor current, no water, heat",
             "overcurrent trip within seconds; " + trip, _pump(n, "jammed"))
        _add(f"{key}-air-locked", f"{p} turns in trapped air and moves no water", not_pumping,
             _pump(n, "air_locked"))
        _add(f"{key}-worn", f"{p} has lost a share of its flow and head", "longer runs; the trend of its pump rate",
             _pump_value(n, "worn"), Parameter("share lost", "share", 0.3, 0.0, 0.95))
        _add(f"{key}-clogged", f"the inlet of {p} is partly shut by debris", "longer runs; underload when nearly shut",
             _pump_value(n, "clogged"), Parameter("share of the inlet shut", "share", 0.7, 0.0, 0.99))
        _add(f"{key}-breaker-open", f"the breaker of {p} is open: no supply to that pump alone", trip,
             _pump(n, "breaker_open"))
        _add(f"{key}-relay-welded", f"the relay of {p} is welded: it runs whatever the controller commands",
             f'high alarm "will not stop": unplug {p}', _pump(n, "welded"))
        _add(f"{key}-thermal-trip", f"the thermal contact of {p} is open and its motor stands still",
             "withdrawn while open, then a rest; medium alarm", _pump(n, "thermal_open"))
        _add(f"{key}-moisture", f"there is moisture in the seal chamber of {p}; it still runs", "low alarm, latched",
             _pump(n, "moisture"))
        _add(f"{key}-sensor-dead", f"the current sensor or run feedback of {p} reads nothing",
             "taken for a pump that will not start: " + trip, _pump(n, "sensor_dead"),
             needs=("current sensor or run feedback",))
        _add(f"{key}-check-leaking", f"the check valve of {p} leaks: water runs back when the pump rests",
             "a fill right after a stop much faster than before it",
             _pump_value(n, "leak_m3s", "check", "leaking"),
             Parameter("leak under the full lift", "flow", units.read("1 gpm", "flow"), 0.0,
                       units.read("50 gpm", "flow")))
        _add(f"{key}-check-stuck-shut", f"the check valve of {p} does not open: no flow", not_pumping,
             _pump(n, "check", "shut"))
        _add(f"{key}-check-missing", f"{p} has no check valve: its line runs back at every stop",
             "a fill right after a stop much faster than before it; short cycling", _pump(n, "check", "missing"))
        _add(f"{key}-valve-shut", f"the valve above the check of {p} was left shut: no flow", not_pumping,
             _pump(n, "valve_shut"))
        _add(f"{key}-left-off", f"somebody left the selector of {p} at OFF",
             "low alarm after 30 min, medium after 24 h", _pump(n, "selector", "off"))
        _add(f"{key}-left-in-hand", f"somebody left the selector of {p} at HAND",
             "runs at most the hand limit, then AUTO; low alarm", _pump(n, "selector", "hand"))


def _others():
    _add("discharge-frozen", "the discharge is frozen shut: no pump moves water", "both pumps underload; high water",
         _set("frozen"))
    _add("discharge-burst", "the discharge has burst: a share of the water runs back into the pit",
         "long runs, both pumps; not keeping up", lambda c, v: (setattr(c, "burst", True), setattr(c, "returned", v)),
         Parameter("share that runs back", "share", 0.7, 0.0, 1.0))
    _add("mains-lost", "the mains is out", "medium alarm after 10 s; a pump on battery carries on", _set("mains_lost"))
    _add("mains-flapping", "the mains comes and goes", "no fault counted; power-up delays, returns count once settled",
         _set_value("flapping_s"), Parameter("mean time between changes", "time", 20.0, 1.0, 3600.0))
    _add("battery-weak", "the battery holds only a share of its capacity", "battery low sooner: high alarm",
         _set_value("battery_share"), Parameter("share left", "share", 0.3, 0.01, 1.0), needs=("battery",))
    _add("battery-dead", "the battery gives nothing", "that pump is unavailable; high alarm on battery",
         _set("battery_dead"), needs=("battery",))
    _add("charger-failed", "the charger does not charge", "medium alarm after 24 h with mains", _set("not_charging"),
         needs=("charger",))
    _add("controller-reset", "the controller is reset once", "outputs off, power-up delay, demand taken up again",
         lambda c, v: None, None, True)
    _add("controller-crash-looping", "the controller resets itself again and again",
         "longer power-up delays, never too long with high water",
         _set_value("crash_s"), Parameter("time between resets", "time", 8.4, 2.0, 3600.0))
    _add("silence-stuck", "the silence button is stuck", 'low alarm "button stuck" after 30 s', _set("silence_stuck"))
    _add("reset-stuck", "the reset button is stuck", 'low alarm "button stuck" after 30 s', _set("reset_stuck"))


def _build():
    _contacts()
    _transmitter()
    _pump_faults()
    _others()


_build()


def _on_grid(seconds):
    return round(seconds / TICK_S) * TICK_S


def time_of(text, begins_s=0.0):
    """Return seconds since the start of the run for "3h", "90 min" or a clock time "02:10".

    `begins_s` is the clock time of the start; a clock time means the first
    time the clock shows it.  Raises ValueError.
    """
    text = str(text).strip()
    clock = _CLOCK.match(text)
    if not clock:
        value = units.read(text, "time")
        if value < 0.0:
            raise ValueError(f'"{text}" lies before the start: a time is 0 or later')
        return _on_grid(value)
    hours, minutes, seconds = (int(part or 0) for part in clock.groups())
    if hours > 23 or minutes > 59 or seconds > 59:
        raise ValueError(f'"{text}" is no clock time: 00:00 to 23:59')
    return _on_grid((hours * 3600 + minutes * 60 + seconds - begins_s) % 86400.0)


def _value(kind, text):
    if text is None:
        return kind.parameter.default if kind.parameter else 0.0
    if kind.parameter is None:
        raise ValueError(f'fault "{kind.name}" takes no value, but "{text}" was given')
    p = kind.parameter
    value = units.read(text, p.kind)
    if not p.least <= value <= p.most:
        low, high = units.show(p.least, p.kind), units.show(p.most, p.kind)
        raise ValueError(f'fault "{kind.name}": {p.meaning} {text}, allowed {low} to {high}')
    return value


def parse_fault(text, begins_s=0.0):
    """Return the Fault written in a text (the grammar is in the module's head).

    `begins_s` is the clock time at which the run begins.  Raises InputError
    that says what is allowed.
    """
    form = _FORM.match(str(text).strip())
    if not form:
        raise InputError(f'fault "{text}": write {GRAMMAR}')
    name, value, start, duration = form.groups()
    if name not in REGISTRY:
        near = difflib.get_close_matches(name, REGISTRY, 3, 0.5)
        hint = f"did you mean {' or '.join(near)}?" if near else "the faults command lists them all"
        raise InputError(f'fault "{name}" is unknown: {hint}')
    kind = REGISTRY[name]
    problems = []

    def attempt(work, *args):
        try:
            return work(*args)
        except ValueError as error:
            problems.append(f'fault "{text}": {error}')
            return None

    amount = attempt(_value, kind, value)
    begin = attempt(time_of, start, begins_s) if start else 0.0
    lasts = attempt(units.read, duration, "time") if duration else None
    if lasts is not None and _on_grid(lasts) <= 0.0:
        problems.append(f'fault "{text}": its duration must be 0.1 s or more')
    if problems:
        raise InputError(problems)
    end = begin + _on_grid(lasts) if lasts is not None and not kind.at_once else None
    return Fault(name, begin, end, amount)
