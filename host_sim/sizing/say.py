"""SI values as texts with units, US or SI, rounded as a tape measure reads."""

import re

from host_sim import units
from host_sim.report.clock import lasting
from host_sim.sizing.limits import FOOT, GALLON, GPM, INCH, PSI

# kind: (factor and unit in US, decimals), (the same in SI)
SHOWN = {
    "length": ((INCH, "in", 1), (1e-3, "mm", 0)),
    "distance": ((FOOT, "ft", 1), (1.0, "m", 2)),
    "head": ((FOOT, "ft", 2), (1.0, "m", 2)),
    "flow": ((GPM, "gpm", 1), (1e-3, "L/s", 2)),
    "volume": ((GALLON, "gal", 1), (1e-3, "L", 1)),
    "velocity": ((FOOT, "ft/s", 1), (1.0, "m/s", 2)),
    "area": ((FOOT**2, "ft2", 0), (1.0, "m2", 1)),
    "rate": ((INCH / 3600.0, "in/h", 2), (1e-3 / 3600.0, "mm/h", 0)),
    "pressure": ((PSI, "psi", 0), (1e3, "kPa", 0)),
    "conductance": ((GPM / FOOT, "gpm/ft", 2), (1e-3, "L/s/m", 3)),
    "current": ((1.0, "A", 1), (1.0, "A", 1)),
    "voltage": ((1.0, "V", 2), (1.0, "V", 2)),
    "power": ((1.0, "W", 0), (1.0, "W", 0)),
    "charge": ((3600.0, "Ah", 0), (3600.0, "Ah", 0)),
    "air": ((FOOT**3 / 3600.0, "ft3/h", 0), (1.0 / 3600.0, "m3/h", 2)),
    "opening": ((INCH**2, "in2", 1), (1e-4, "cm2", 0)),
    "mass": ((0.45359237, "lb", 0), (1.0, "kg", 0)),
}

_ASSUMED = {
    "margin": "margin on the inflow", "least run": "shortest run", "least rest": "shortest rest",
    "outfall freezes": "pipe outside can freeze", "basin wall": "basin's wall",
    "basin weight": "weight of the empty basin",
    "basin water table": "water table above the bottom", "power battery voltage": "battery voltage",
}  # fmt: skip


class Say:
    """Speaks one unit system, "us" or "si"."""

    def __init__(self, system="us"):
        if system not in ("us", "si"):
            raise ValueError(f'units "{system}": must be us or si')
        self.system = system
        self.place = 0 if system == "us" else 1

    def number(self, value, kind):
        """Return an SI value as a number in the shown unit."""
        return value / SHOWN[kind][self.place][0]

    def unit(self, kind):
        """Return the sign of the shown unit."""
        return SHOWN[kind][self.place][1]

    def __call__(self, value, kind):
        """Return an SI value as a text with its unit."""
        if value is None:
            return "unknown"
        if kind == "share":
            return f"{value * 100:.0f} %"
        if kind == "number":
            return f"{value:.3g}"
        if kind == "seconds" and value < 120.0:
            return f"{value:.1f} s" if value < 20.0 else f"{value:.0f} s"
        if kind in ("time", "seconds"):
            return "unlimited" if value == float("inf") else lasting(value)
        _, unit, decimals = SHOWN[kind][self.place]
        return f"{round(self.number(value, kind), decimals) + 0.0:.{decimals}f} {unit}"

    def span(self, low, high, kind):
        """Return two SI values as "32 min to 38 min", or as one where they read the same."""
        ends = self(low, kind), self(high, kind)
        return ends[0] if ends[0] == ends[1] else " to ".join(ends)

    def again(self, text):
        """Return a text with its quantities in the shown system: in SI "6.0 gpm" becomes "0.38 L/s"."""
        if self.system == "us":
            return text
        return _US.sub(lambda found: self(units.read(found[0], _KINDS[found[2]]), _KINDS[found[2]]), text)


def text_of(value, kind, decimals=None):
    """Return an SI value as a text that a site file takes, in US units: "18 in", "45 gpm"."""
    factor, unit, places = SHOWN[kind][0]
    places = places if decimals is None else decimals
    return f"{round(value / factor, places):g} {unit}"


_KINDS = {"in": "length", "ft": "distance", "gpm": "flow", "gal": "volume", "ft2": "area", "lb": "mass"}
_US = re.compile(r"(?<![\w.-])(\d+(?:\.\d+)?) (in|ft2|ft|gpm|gal|lb)\b(?!/)")


def assumed_words(key):
    """Return a key of the site file's [sizing], as "sizing.motor1.least_run", in words: "pump 1: shortest run"."""
    words = key.removeprefix("sizing.").replace(".", " ").replace("_", " ")
    for part, pump in (("motor1 ", "pump 1: "), ("motor2 ", "pump 2: "), ("motor ", "both pumps: ")):
        if words.startswith(part):
            rest = words.removeprefix(part)
            return pump + _ASSUMED.get(rest, rest)
    return _ASSUMED.get(words, words)
