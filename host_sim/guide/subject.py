"""What a guide is about: a site, a board with or without the expander, the kind of relay module."""

from dataclasses import dataclass
from functools import cached_property

from host_sim.board import fitted, signals
from host_sim.errors import InputError
from host_sim.guide import figures
from host_sim.sizing import sensors


@dataclass(frozen=True)
class Subject:
    """`site` a `host_sim.site.plan.Site`.  What is worked out from it raises InputError as `figures.motors` does."""

    site: object
    board: str
    expander: bool
    active_low: bool = False
    thermal: tuple = ()  # numbers of the pumps whose motor brings its thermal contact out: relay KT

    @cached_property
    def rows(self):
        """Return the board's Signals, current sensors with the site's ranges."""
        return signals.ranged(signals.signals(self.board, self.expander), self.site.settings)

    @cached_property
    def absent(self):
        """Return {name of a signal: why nothing is built for it}."""
        return fitted.absent(self.rows, self.site.settings)

    @cached_property
    def motors(self):
        """Return the pair of `figures.Motor`s."""
        return figures.motors(self.site)

    def has(self, name):
        """Return whether a signal is on the board and something is built for it."""
        return name not in self.absent and any(one.name == name for one in self.rows)

    def row(self, name):
        """Return the Signal of a name.  Raises StopIteration where the board has none."""
        return next(one for one in self.rows if one.name == name)

    @property
    def has_lamp(self):
        """Return whether the status light is a lamp on the front panel."""
        return self.row("status light").pin != "LED"

    @property
    def usb_words(self):
        """Return whether USB may be in beside the 5 V supply: the first board has a diode of its own for it."""
        return "USB may be plugged in too" if self.board == "pico" else "with USB: see the board's own rules"

    @property
    def has_converter(self):
        """Return whether an analog converter sits on the bus."""
        return any(str(one.pin).startswith("AIN") for one in self.rows)

    @property
    def lines(self):
        """Return the numbers of the pumps at line voltage."""
        return tuple(one.number for one in self.motors if not one.direct)

    @property
    def read_hot(self):
        """Return the numbers of the pumps whose relay KT the controller reads.

        At line voltage KT drops with the mains: without the mains relay's second contact each outage would read hot.
        """
        seen = self.has("mains present")
        return tuple(n for n in self.thermal if seen or n not in self.lines)

    @property
    def bridged_hot(self):
        """Return the numbers of the pumps whose thermal terminal is bridged for good."""
        return tuple(one.number for one in self.motors if one.number not in self.read_hot)

    @property
    def kept_cool(self):
        """Return the numbers of the pumps at line voltage whose KT is bridged by the mains relay in an outage."""
        return tuple(n for n in self.read_hot if n in self.lines)

    def sensed(self, kind):
        """Return the Motors whose current sensor is of a kind (`host_sim.sizing.sensors.TRANSFORMER`, `HALL`)."""
        return tuple(one for one in self.motors if one.sensor is not None and one.sensor.kind == kind)

    @property
    def hall(self):
        """Return the number of sensors that need 5 V and a clamp."""
        return len(self.sensed(sensors.HALL)) + len(self.sensed(sensors.SHUNT))

    @property
    def charger_a(self):
        """Return the amperes of the charger: the site's, else 20 % of our own battery's ampere-hours."""
        given = self.site.supply.charger
        return given.amps if given else 0.2 * figures.OWN_BATTERY_AH

    @property
    def charger_fuse_a(self):
        """Return the fuse between charger and battery: the next size from 125 % of its current.

        Raises InputError beyond the sizes.
        """
        found = next((size for size in figures.FUSES_DC_A if size >= 1.25 * self.charger_a), None)
        if found is None:
            raise InputError(f"the charger gives {self.charger_a:g} A: more than this guide's fuses hold "
                             f"({figures.FUSES_DC_A[-1]} A); an electrician sizes its circuit", "build")  # fmt: skip
        return found
