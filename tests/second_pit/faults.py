"""What may break in a night, when, and what it does to the pit.

A fault is (kind, target, start_s, end_s): `end_s` is None for one that lasts the night.  Each kind
is an object with `begin(pit, fault)` and `end(pit, fault)`; `pit` is a `night.Pit`.
"""

import random
from dataclasses import dataclass

from .floats import HIGH, LAG, LEAD, NAMES, OFF

PUMPS = (0, 1)


@dataclass(frozen=True)
class Fault:
    """One fault of a night.  `target` is a contact or pump number, or None; `seed` feeds what is random about it."""

    kind: str
    target: int | None
    start_s: float
    end_s: float | None
    seed: int

    def describe(self):
        """Return the fault in words, times as h:mm:ss."""
        if self.target is None:
            who = ""
        elif KINDS[self.kind].target == "float":
            who = f" {NAMES[self.target]}"
        else:
            who = f" pump {self.target + 1}"
        until = "to the end" if self.end_s is None else f"to {clock(self.end_s)}"
        return f"{self.kind}{who} from {clock(self.start_s)} {until}"


def clock(seconds):
    """Return seconds as h:mm:ss.s."""
    tenths = round(seconds * 10)
    return f"{tenths // 36000}:{tenths // 600 % 60:02d}:{tenths // 10 % 60:02d}.{tenths % 10}"


@dataclass(frozen=True)
class Kind:
    """A kind of fault: the group it belongs to, what it is aimed at, and what it does."""

    group: str
    target: str | None
    begin: object
    end: object
    fits: object = None  # site -> whether it can happen there


def _float(act, undo):
    def begin(pit, fault):
        act(pit.floats.floats[fault.target])
        pit.floats.touch()

    def end(pit, fault):
        undo(pit.floats.floats[fault.target])
        pit.floats.touch()

    return Kind("floats", "float", begin, end)


def _free(f):
    f.free()


def _cable(cut):
    def act(pit, fault):
        for i in (OFF, LEAD, LAG):
            f = pit.floats.floats[i]
            if f is not None:
                f.cut() if cut else f.join()
        pit.floats.touch()

    return act


def _several_floats(site):
    return sum(site.pivots[i] is not None for i in (OFF, LEAD, LAG)) >= 2


def _unit(name, value, usual, group="pumps"):
    def begin(pit, fault):
        setattr(pit.units[fault.target], name, value)

    def end(pit, fault):
        setattr(pit.units[fault.target], name, usual)

    return Kind(group, "pump", begin, end)


def _cord(name, value, usual, group, fits=None):
    def begin(pit, fault):
        setattr(pit.cords[fault.target], name, value)

    def end(pit, fault):
        setattr(pit.cords[fault.target], name, usual)

    return Kind(group, "pump", begin, end, fits)


def _current(site):
    return site.sensing == 2


def _feedback(site):
    return site.sensing == 1


def _has_transmitter(site):
    return site.transmitter


def _park(pit, fault):
    # At, just past and well past the failure levels of NAMUR NE 43, or the loop broken.
    pit.transmitter.parked_ua = random.Random(fault.seed).choice((0, 3500, 3590, 3600, 21000, 21010, 21500))


def _freeze(pit, fault):
    pit.transmitter.parked_ua = pit.transmitter.ua


def _drift(pit, fault):
    rng = random.Random(fault.seed)
    pit.transmitter.drift_m_s = rng.choice((-1, 1)) * rng.uniform(0.05, 0.4) / 3600.0


def _mend(pit, fault):
    pit.transmitter.mend()


def _mains(value):
    def act(pit, fault):
        pit.supply.mains = value

    return act


def _flap(pit, fault):
    # On and off by turns, each as long as drawn; the turns stand as events of their own.
    rng = random.Random(fault.seed)
    least = rng.uniform(1.5, 20.0)
    most = least + rng.uniform(0.5, 40.0)
    t, there = fault.start_s, True
    end = fault.end_s if fault.end_s is not None else pit.night_s
    while t < end:
        there = not there
        pit.at(t, _set_mains, there)
        t += rng.uniform(least, most)
    pit.at(end, _set_mains, True)


def _set_mains(pit, there):
    pit.supply.mains = there


def _wire(value):
    def act(pit, fault):
        pit.supply.wire_open = value

    return act


def _nothing(pit, fault):
    pass


def _weak(pit, fault):
    battery = pit.supply.battery
    battery.charge = min(battery.charge, 0.12 * battery.capacity)
    battery.resistance *= 3.0
    pit.supply.second()


def _strong(pit, fault):
    pit.supply.battery.resistance /= 3.0
    pit.supply.second()


def _collapse(value):
    def act(pit, fault):
        pit.supply.battery.collapsed = value
        pit.supply.second()

    return act


def _has_battery(site):
    return any(site.supplies)


def _resets(pit, fault):
    # Power cuts of the controller alone, each 0.5 to 20 s long.
    rng = random.Random(fault.seed)
    apart = rng.choice((8.0, 30.0, 120.0, 600.0))
    t = fault.start_s
    end = fault.end_s if fault.end_s is not None else pit.night_s
    while t < end:
        dark = rng.uniform(0.5, 20.0)
        pit.at(t, _set_power, False)
        pit.at(t + dark, _set_power, True)
        t += dark + apart * rng.uniform(0.5, 1.5)


def _set_power(pit, there):
    pit.controller_power = there


def _select(value):
    def act(pit, fault):
        pit.selectors[fault.target] = value

    return act


KINDS = {
    "float-stuck-wet": _float(lambda f: f.stick(True), _free),
    "float-stuck-dry": _float(lambda f: f.stick(False), _free),
    "float-hung": _float(lambda f: f.hang(), _free),
    "float-intermittent": _float(lambda f: f.flutter(), _free),
    "float-wire": _float(lambda f: f.cut(), lambda f: f.join()),
    "cable-cut": Kind("cable", None, _cable(True), _cable(False), _several_floats),
    "jammed": _unit("jammed", True, False),
    "air-lock": _unit("airlocked", True, False),
    "worn": _unit("wear", 0.6, 1.0),
    "check-leaks": _unit("leaks", True, False),
    "breaker": _cord("breaker_open", True, False, "pumps"),
    "thermal": _cord("thermal_open", True, False, "pumps"),
    "relay-welded": _cord("relay_welded", True, False, "pumps"),
    "current-zero": _cord("sensor", "zero", None, "sensors", _current),
    "current-offset": _cord("sensor", "offset", None, "sensors", _current),
    "current-intermittent": _cord("sensor", "intermittent", None, "sensors", _current),
    "feedback-on": _cord("sensor", "feedback-on", None, "sensors", _feedback),
    "feedback-off": _cord("sensor", "feedback-off", None, "sensors", _feedback),
    "transmitter-stuck": Kind("transmitter", None, _freeze, _mend, _has_transmitter),
    "transmitter-parked": Kind("transmitter", None, _park, _mend, _has_transmitter),
    "transmitter-drift": Kind("transmitter", None, _drift, _mend, _has_transmitter),
    "mains-lost": Kind("mains", None, _mains(False), _mains(True)),
    "mains-flaps": Kind("mains", None, _flap, _nothing),
    "mains-wire": Kind("mains", None, _wire(True), _wire(False)),
    "battery-weak": Kind("battery", None, _weak, _strong, _has_battery),
    "battery-dead": Kind("battery", None, _collapse(True), _collapse(False), _has_battery),
    "resets": Kind("resets", None, _resets, _nothing),
    "selector-off": Kind("selector", "pump", _select(1), _select(0)),
    "selector-hand": Kind("selector", "pump", _select(2), _select(0)),
}
GROUPS = ("floats", "cable", "pumps", "sensors", "transmitter", "mains", "battery", "resets", "selector")


def draw_fault(rng, site, night_s, groups=GROUPS, avoid=()):
    """Return a Fault of one of `groups` that can happen at `site`, at a random time, for a while or to the end.

    `avoid`: (target kind, number) that may not be hit again.  The group is drawn first, so that none is rare.
    Raises IndexError where nothing of `groups` can happen.
    """
    groups = [group for group in groups if can_happen(site, (group,))]
    while True:
        group = rng.choice(groups)
        kind = rng.choice([name for name, kind in KINDS.items() if kind.group == group])
        rule = KINDS[kind]
        if rule.fits and not rule.fits(site):
            continue
        target = None
        if rule.target == "float":
            target = rng.choice([i for i in (OFF, LEAD, LAG, HIGH) if site.pivots[i] is not None])
        elif rule.target == "pump":
            target = rng.choice(PUMPS)
        if (rule.target, target) in avoid and target is not None:
            continue
        start = 0.0 if rng.random() < 0.1 else rng.uniform(120.0, 0.75 * night_s)
        end = None
        if kind == "float-hung" or rng.random() < 0.5:
            end = min(night_s, start + rng.choice((rng.uniform(30.0, 300.0), rng.uniform(300.0, 4000.0))))
        return Fault(kind, target, round(start, 1), end and round(end, 1), rng.randrange(1 << 30))


def can_happen(site, groups):
    """Tell whether some fault of `groups` can happen at `site`."""
    return any(kind.group in groups and (kind.fits is None or kind.fits(site)) for kind in KINDS.values())
