"""Random nights by class: a seed, a class and a number give a night again."""

import random

from .faults import GROUPS, KINDS, can_happen, draw_fault
from .night import Night
from .site import draw_site
from .water import draw_inflow

# class: (groups of the first fault, groups of a second fault, how often there is one, what the site must have)
CLASSES = {
    "healthy": ((), (), 0.0, {}),
    "floats": (("floats",), (), 0.0, {"transmitter": False}),
    "two_floats": (("floats",), ("floats",), 1.0, {"transmitter": False}),
    "cable": (("cable",), ("cable", "floats", "pumps"), 0.3, {"transmitter": False}),
    "pumps": (("pumps",), ("pumps",), 0.3, {}),
    "sensors": (("sensors",), ("sensors", "pumps"), 0.4, {"sensing": (1, 2, 2)}),
    "transmitter": (("transmitter",), ("floats", "pumps"), 0.3, {"transmitter": True}),
    "mains": (("mains",), ("mains", "pumps"), 0.3, {}),
    "battery": (("battery",), ("mains",), 1.0, {"supply": ("second", "either")}),
    "resets": (("resets",), ("floats", "pumps"), 0.4, {}),
    "selector": (("selector",), ("pumps", "floats"), 0.4, {}),
    "float_and_pump": (("floats",), ("pumps",), 1.0, {}),
    "mixed": (GROUPS, GROUPS, 1.0, {}),
}
EXTRA = ("all", "below_0.9")  # any class; any class with no more inflow than nine tenths of one pump
ONE_PUMP = 0.9


def draw(seed, number, group="all", *, hours=3.0, without=(), peak=None):
    """Return night `number` of a class.  `without`: numbers of its faults (from 1) that are left out; `peak`: the
    highest inflow in parts of one pump's rate, in place of what was drawn.

    Raises ValueError for a class that does not exist.
    """
    if group not in CLASSES and group not in EXTRA:
        raise ValueError(f"class {group!r}: one of {', '.join(EXTRA + tuple(CLASSES))}")
    rng = random.Random(f"{seed}/{group}/{number}")
    name = group if group in CLASSES else rng.choice(tuple(CLASSES))
    first, second, share, needs = CLASSES[name]
    pinned = {key: rng.choice(value) if isinstance(value, tuple) else value for key, value in needs.items()}
    site = draw_site(rng, **pinned)
    while not all(can_happen(site, groups) for groups in (first, second) if groups):
        site = draw_site(rng, **pinned)
    most = ONE_PUMP if group == "below_0.9" or name == "healthy" else 1.8
    part = rng.uniform(0.15, most)
    part_asked = part if peak is None else peak
    shape, inflow = draw_inflow(rng, part_asked * site.rate, hours * 3600.0)
    faults = _draw_faults(rng, site, hours * 3600.0, first, second, share)
    kept = [fault for i, fault in enumerate(faults, 1) if i not in without]
    line = f"--seed {seed} --class {group} --only {number}"
    if hours != 3.0:
        line += f" --hours {hours:g}"
    if without:
        line += " --without " + ",".join(str(i) for i in sorted(without))
    if peak is not None:
        line += f" --peak {peak:g}"
    night = Night(site, inflow, kept, rng.randrange(1 << 30), hours, shape, name, line)
    night.extras["peak"] = part_asked
    night.extras["drawn_faults"] = len(faults)
    return night


def _draw_faults(rng, site, night_s, first, second, share):
    if not first:
        return []
    faults = [draw_fault(rng, site, night_s, first)]
    if rng.random() < share:
        other = draw_fault(rng, site, night_s, second, _taken(faults[0]))
        while _clash(faults[0], other):
            other = draw_fault(rng, site, night_s, second, _taken(faults[0]))
        faults.append(other)
    return faults


def _taken(fault):
    # The same float or the same pump is not hit twice.
    return ((KINDS[fault.kind].target, fault.target),)


def _clash(one, other):
    # Two that work the same switch of the pit would end each other.
    a, b = KINDS[one.kind], KINDS[other.kind]
    if a.group == b.group and a.target is None:
        return one.kind == other.kind
    return {one.kind, other.kind} == {"cable-cut", "float-wire"}


def describe(night):
    """Return the night in a few lines."""
    lines = [
        f"night: {night.line}",
        f"class {night.group}; {night.site.describe()}",
        f"inflow: {night.shape}, at most {night.extras['peak']:.2f} of one pump",
    ]
    lines += [f"fault {i}: {fault.describe()}" for i, fault in enumerate(night.faults, 1)]
    return "\n".join(lines)
