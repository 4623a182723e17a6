"""The two unit systems in which a report can speak, with the decimals that a person wants to see.

A trace is SI throughout; `host_sim.units` knows the factors.  Here a quantity
turns an SI number into the number of an axis or into a text of steady width.
"""

from dataclasses import dataclass

from host_sim import units as edge

NAMES = ("us", "si")


@dataclass(frozen=True)
class Quantity:
    """One displayed quantity: a kind of `host_sim.units`, the system, and the decimals of a text."""

    kind: str
    system: str
    decimals: int

    @property
    def unit(self):
        """The unit's sign, such as "in" or "gpm"."""
        return edge.unit(self.kind, self.system)

    def number(self, value):
        """Return `value` (SI, a number or an array) in the displayed unit."""
        return edge.convert(value, self.kind, self.system)

    def text(self, value):
        """Return `value` (SI) as a text with its unit, never "-0"."""
        number = round(self.number(value), self.decimals) + 0.0
        return f"{number:.{self.decimals}f} {self.unit}"


@dataclass(frozen=True)
class Units:
    """A unit system: levels, flows, volumes."""

    name: str
    level: Quantity
    flow: Quantity
    volume: Quantity


US = Units("us", Quantity("length", "us", 1), Quantity("flow", "us", 1), Quantity("volume", "us", 0))
SI = Units("si", Quantity("length", "si", 0), Quantity("flow", "si", 2), Quantity("volume", "si", 0))


def units(name):
    """Return the unit system `name` ("us" or "si").  Raises ValueError for any other name."""
    for system in (US, SI):
        if system.name == name:
            return system
    raise ValueError(f"units {name!r}: must be one of {', '.join(NAMES)}")
