"""The registry of faults, and the grammar in which a fault is written.

To add a fault, add one `_add(...)`: its name, its effect at the pit, the
response to expect of the controller, and the function that sets a `FaultState`
record; where it acts on equipment that not every site has, `needs` names it.

A fault is written  NAME[=VALUE][@START][+DURATION]  for example
"pump1-jammed@3h", "lead-stuck-wet@02:10+90min", "pump1-worn=40%@1h".
START is a time since the start of the run ("3h", "90 min") or a clock time
("02:10", the first time the clock shows it); without one the fault begins with
the run.  Without DURATION it lasts to the end.
"""

import difflib
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from duplexsump.control import settings as s
from duplexsump.control.records import CONTACT_NAMES

from host_sim import units
from host_sim.errors import InputError
from host_sim.plant.fault_state import BROKEN, CHATTERING, DRY, WET

GRAMMAR = 'NAME[=VALUE][@START][+DURATION], as in "lead-stuck-wet@02:10+90min" or "pump1-worn=40%@1h"'
_FORM = re.compile(r"^([a-z0-9-]+)(?:=([^@+]+))?(?:@([^+]+))?(?:\+(.+))?$")
_CLOCK = re.compile(r"^(\d{1,2}):(\d{2})(?::(\d{2}))?$")
TICK_S = 0.1
_GRACE_MIN = s.TABLE[s.MAINS_GRACE_MS][s.DEFAULT] // 60000
# Responses to expect that many faults share.
TRIP = "the other pump takes over; retries, then lockout; medium alarm"
NOT_PUMPING = (
    'where a current is sensed, underload: "not pumping", trip, ' + TRIP + '; where none is, "suspect" (medium) once '
    "it has let the water rise twice, so a spare that runs in its exercise alone is not told"
)


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
    """One kind of fault."""

    name: str
    does: str  # its effect at the pit
    says: str  # the response to expect of the controller
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
    sequence = 'medium alarm "floats out of sequence" naming it, once a neighboring float shows it'
    for i, name in enumerate(CONTACT_NAMES):
        needs = (f"{name} float",)
        _add(f"{name}-stuck-wet", f"{name} float hung up: reads wet at any level", sequence,
             _contact(i, WET), needs=needs)
        _add(f"{name}-stuck-dry", f"{name} float held down: reads dry at any level", sequence,
             _contact(i, DRY), needs=needs)
        _add(f"{name}-chattering", f"{name} contact chatters: opens and closes several times a second",
             "reads as wet while it chatters; low alarm", _contact(i, CHATTERING), needs=needs)
        _add(f"{name}-wire-broken", f"wire of the {name} float broken: its contact reads open",
             "as a stuck float: dry if the contact is normally open, wet if it is normally closed",
             _contact(i, BROKEN), needs=needs)
    _add("common-wire-broken", "common wire of the off, lead and lag floats broken: all three read open",
         'high alarm "float wiring" and blind pumping when two or more change together', _common_wire,
         needs=tuple(f"{name} float" for name in CONTACT_NAMES[:3]))


def _transmitter():
    device = ("level transmitter",)
    failed = 'medium alarm "level transmitter failed"; its levels are suspect'
    _add("transmitter-below-range", "loop of the level transmitter open: 0 mA", failed,
         _set("transmitter", "below range"), needs=device)
    _add("transmitter-above-range", "level transmitter signals a fault: 22 mA", failed,
         _set("transmitter", "above range"), needs=device)
    _add("transmitter-frozen", "level transmitter frozen at its last value",
         "transmitter failed, once the level does not move through a start and a proved run",
         _set("transmitter", "frozen"), needs=device)
    _add("transmitter-drifting", "level transmitter drifts: reads higher and higher",
         "out of sequence with a float, where floats are fitted too",
         _set_value("transmitter_value", "transmitter", "drifting"),
         Parameter("rate of the drift", "rate", 0.05 / 3600.0, -1.0 / 3600.0, 1.0 / 3600.0), needs=device)
    _add("transmitter-clogged", "stilling pipe of the level transmitter clogged: the reading lags",
         "no alarm while the level is slow; out of sequence with a float, where floats are fitted too",
         _set_value("transmitter_value", "transmitter", "clogged"),
         Parameter("time constant", "time", 120.0, 1.0, 86400.0), needs=device)


def _pump_faults():
    for n in (0, 1):
        _motor_faults(n, f"pump {n + 1}", f"pump{n + 1}")
        _line_faults(n, f"pump {n + 1}", f"pump{n + 1}")


def _motor_faults(n, p, key):
    _add(f"{key}-will-not-start", f"{p} does not start and draws no current", TRIP, _pump(n, "will_not_start"))
    _add(f"{key}-jammed", f"{p} jammed: locked-rotor current, no flow, the motor heats up",
         "overcurrent trip within seconds; " + TRIP, _pump(n, "jammed"))
    _add(f"{key}-worn", f"{p} worn: a share of its flow and head is lost",
         f'longer runs; low alarm "{p} worn" from a quarter less flow than at first; where current is sensed and it no '
         f'longer lifts the water (about half), medium alarm "{p} unavailable" and in the end a lockout',
         _pump_value(n, "worn"), Parameter("share lost", "share", 0.3, 0.0, 0.95))
    _add(f"{key}-breaker-open", f"breaker of {p} open: no supply to that pump alone", TRIP, _pump(n, "breaker_open"))
    _add(f"{key}-relay-welded", f"relay of {p} welded: the pump runs whatever the command",
         f'high alarm "{p} will not stop": unplug {p}', _pump(n, "welded"))
    _add(f"{key}-thermal-trip", f"thermal contact of {p} open: the motor is off",
         "pump unavailable while open, then a rest; medium alarm", _pump(n, "thermal_open"))
    _add(f"{key}-moisture", f"moisture in the seal chamber of {p}; it still runs", "low alarm, latched",
         _pump(n, "moisture"))
    _add(f"{key}-sensor-dead", f"current sensor or run feedback of {p} reads nothing",
         "as a pump that will not start: " + TRIP, _pump(n, "sensor_dead"), needs=("current sensor or run feedback",))
    _add(f"{key}-left-off", f"selector of {p} left at OFF", "low alarm after 30 min, medium after 24 h",
         _pump(n, "selector", "off"))
    _add(f"{key}-left-in-hand", f"selector of {p} left at HAND",
         "runs for the hand limit at most, then AUTO; low alarm", _pump(n, "selector", "hand"))


def _line_faults(n, p, key):
    drains_back = (f'low alarm "water runs back after {p}" where it begins after commissioning, for it is told by '
                   "the difference from the first runs; from the first day on, only where it runs back within seconds")
    _add(f"{key}-air-locked", f"{p} air-locked: it runs without flow", NOT_PUMPING, _pump(n, "air_locked"))
    _add(f"{key}-clogged", f"inlet of {p} partly blocked by debris",
         f'longer runs; low alarm "{p} worn" from a quarter less flow; underload when nearly blocked',
         _pump_value(n, "clogged"), Parameter("share of the inlet blocked", "share", 0.7, 0.0, 0.99))
    _add(f"{key}-check-leaking", f"check valve of {p} leaks: water drains back between runs", drains_back,
         _pump_value(n, "leak_m3s", "check", "leaking"),
         Parameter("leak at full lift", "flow", units.read("1 gpm", "flow"), 0.0, units.read("50 gpm", "flow")))
    _add(f"{key}-check-stuck-shut", f"check valve of {p} stuck shut: no flow", NOT_PUMPING, _pump(n, "check", "shut"))
    _add(f"{key}-check-missing", f"{p} has no check valve: its pipe drains back at every stop",
         drains_back, _pump(n, "check", "missing"))
    _add(f"{key}-valve-shut", f"shutoff valve above the check valve of {p} left closed: no flow", NOT_PUMPING,
         _pump(n, "valve_shut"))


def _others():
    _add("discharge-frozen", "discharge pipe frozen shut: no flow from either pump",
         "both pumps underload, trip and are locked out, where current is sensed; both pumps unavailable; "
         "high water", _set("frozen"))
    _add("discharge-burst", "discharge pipe burst: a share of the water runs back into the pit",
         "long runs, both pumps; not keeping up", lambda c, v: (setattr(c, "burst", True), setattr(c, "returned", v)),
         Parameter("share that runs back", "share", 0.7, 0.0, 1.0))
    _add("mains-lost", "mains out in the whole house",
         f'medium alarm "mains lost" after {_GRACE_MIN} min (`mains_grace`), at once with lag or high wet; a pump on '
         "battery keeps running; a controller without a battery is off too: its relays drop, and that is the call",
         _set("mains_lost"))
    _add("mains-sense-open", "wire of the mains-present input open: the controller sees no mains while it is there",
         "medium alarm, mains lost; with lag or high wet the mains pumps run all the same", _set("mains_sense_open"))
    _add("mains-flapping", "mains on and off again and again",
         "no fault counted; power-up delays; restored once it has settled",
         _set_value("flapping_s"), Parameter("mean time between changes", "time", 20.0, 1.0, 3600.0))
    _add("battery-weak", "battery holds only a share of its capacity",
         'medium alarm "standby battery failed" when it sags under its pump in the weekly test; '
         'in an outage, high alarm "battery low on battery" sooner',
         _set_value("battery_share"), Parameter("share left", "share", 0.3, 0.01, 1.0), needs=("battery",))
    _add("battery-dead", "battery gives no power",
         'medium alarm "standby battery failed" while the mains is on; in an outage its pump does not run, '
         "and a controller that lives on this battery is off: no alarm, but its relays drop",
         _set("battery_dead"), needs=("battery",))
    _add("charger-failed", "charger does not charge", "medium alarm after 24 h with mains", _set("not_charging"),
         needs=("charger",))
    _add("controller-reset", "controller reset once", "outputs off, power-up delay, then demand as before",
         lambda c, v: None, None, True)
    _add("controller-crash-looping", "controller resets itself again and again",
         "longer power-up delays, never too long with high water",
         _set_value("crash_s"), Parameter("time between resets", "time", 8.4, 2.0, 3600.0))
    silent = 'medium alarm "I2C expander not answering"; pumps, floats, selector OFF and thermal contacts go on'
    _add("expander-silent", "I2C expander of the controller does not answer: HAND, push buttons, moisture, generator "
         "and charger are not read", silent, _set("expander_silent"))
    _add("converter-silent", "converter of the battery on the controller's I2C bus does not answer, or is stuck: the "
         "battery reads as a full one", silent, _set("converter_silent"), needs=("battery",))
    _add("adc-stuck", "analog converter of the controller stuck: currents, level loop and battery read what they read "
         "when it stuck", "as dead current sensors, pumps that will not stop, or a frozen transmitter; high water is "
         "pumped all the same", _set("adc_stuck"),
         needs=("current sensor or run feedback", "level transmitter", "battery"))
    _add("silence-stuck", "silence button stuck", 'low alarm "button stuck" after 30 s', _set("silence_stuck"))
    _add("reset-stuck", "reset button stuck", 'low alarm "button stuck" after 30 s', _set("reset_stuck"))


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
            raise ValueError(f'"{text}" is before the start: give 0 or later')
        return _on_grid(value)
    hours, minutes, seconds = (int(part or 0) for part in clock.groups())
    if hours > 23 or minutes > 59 or seconds > 59:
        raise ValueError(f'"{text}" is not a clock time: 00:00 to 23:59')
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
