"""Electricity: mains, battery, the motors' cords and what the sensors make of their current.

Volts, amperes, ampere-seconds; a current as the controller reads it is in mA.
"""

from .water import STEP_S

MAINS, BATTERY, EITHER = 0, 1, 2
CARRIES_V = 9.5  # below this a battery turns no pump
BROKEN_LOOP_UA = 0


class Battery:
    """A lead-acid battery: open-circuit voltage straight with its charge, less what its resistance takes."""

    __slots__ = ("capacity", "charge", "collapsed", "resistance")

    def __init__(self, amp_hours, resistance):
        self.capacity = 3600.0 * amp_hours
        self.charge = self.capacity
        self.resistance = resistance
        self.collapsed = False

    def volts(self, amps):
        """Return the terminal voltage at a load of `amps`."""
        rest = 11.5 + 1.3 * self.charge / self.capacity
        if self.charge <= 0.0:
            rest = 8.0
        return max((4.0 if self.collapsed else rest) - amps * self.resistance, 0.0)

    def draw(self, amps, seconds):
        """Take `amps` for `seconds` out of it (negative: charge it)."""
        self.charge = min(self.capacity, max(0.0, self.charge - amps * seconds))


class Cord:
    """The electrical side of one pump: supply, breaker, relay contact, sensor and thermal contact."""

    __slots__ = (
        "battery_amps", "breaker_open", "dry_part", "flicker", "gain", "locked_part", "on", "rated", "relay_welded",
        "sensor", "supply", "thermal_open",
    )  # fmt: skip

    def __init__(self, supply, rated_ma, battery_amps, gain):
        self.supply = supply
        self.rated = rated_ma
        self.battery_amps = battery_amps
        self.gain = gain  # loaded current over rated
        self.dry_part = 0.45  # of rated: a wheel in air
        self.locked_part = 4.6
        self.flicker = 1.0
        self.on = False
        self.breaker_open = False
        self.relay_welded = False
        self.thermal_open = False
        self.sensor = None  # what is broken about it

    def closed(self, commanded):
        """Tell whether the relay lets current through; a welded one stays once it has closed."""
        return commanded or (self.relay_welded and self.on)

    def draws(self, unit):
        """Return the true motor current in mA of a live pump."""
        if unit.jammed:
            return self.locked_part * self.rated
        if unit.run_s <= 0.3:
            return 5.0 * self.rated
        dry = self.dry_part * self.rated
        if unit.airlocked:
            return dry * self.flicker
        return (dry + (self.gain * self.rated - dry) * unit.cover) * self.flicker


def reading(cord, unit, sensing, second):
    """Return what the controller's terminal shows: mA, or 0 and 1 of a run feedback; 0 where nothing is sensed."""
    if sensing == 0:
        return 0
    if sensing == 1:
        if cord.sensor in ("feedback-on", "feedback-off"):
            return 1 if cord.sensor == "feedback-on" else 0
        return 1 if unit.live else 0
    true = cord.draws(unit) if unit.live else 0.0
    if cord.sensor == "zero":
        return 0
    if cord.sensor == "offset":
        return int(true + 0.15 * cord.rated)
    if cord.sensor == "intermittent":
        return int(true) if second % 6 == 0 else 0
    return int(true)


class Supply:
    """The house's mains and battery.  `shown` is what the controller's mains input reads."""

    def __init__(self, battery):
        self.battery = battery
        self.mains = True
        self.wire_open = False
        self.mv = 12800 if battery is None else int(1000 * battery.volts(0.0))
        self.load = 0.0

    def shown(self):
        """Return 1 where the controller sees mains."""
        return 1 if self.mains and not self.wire_open else 0

    def feeds(self, cord, load=0.0):
        """Tell whether there is voltage behind a cord; `load`: amperes on the battery with this pump on it."""
        if cord.breaker_open:
            return False
        if self.mains and cord.supply != BATTERY:
            return True
        if cord.supply == MAINS or self.battery is None:
            return False
        return self.battery.volts(load) >= CARRIES_V

    def on_battery(self, cord):
        """Tell whether a cord would draw on the battery now."""
        return cord.supply == BATTERY or (cord.supply == EITHER and not self.mains)

    def step(self, load):
        """Let `load` amperes flow for one step."""
        battery = self.battery
        if battery is None:
            return
        amps = load - (4.0 if self.mains else 0.0)
        battery.draw(amps, STEP_S)
        if load != self.load:
            self.load = load
            self.second()

    def second(self):
        """Measure the battery; called once a second and at every change of load."""
        if self.battery is not None:
            self.mv = int(1000 * self.battery.volts(self.load)) // 10 * 10


class Transmitter:
    """A 4-20 mA level transmitter with noise.  `level_m` 0 is its datum, the pit's bottom."""

    __slots__ = ("drift_m_s", "drifting_s", "parked_ua", "rng", "span", "ua")

    def __init__(self, rng, span):
        self.rng = rng
        self.span = span
        self.ua = 4000
        self.parked_ua = None
        self.drift_m_s = 0.0
        self.drifting_s = 0.0

    def sample(self, level, seconds):
        """Measure; called every half second."""
        if self.drift_m_s:
            self.drifting_s += seconds
        if self.parked_ua is not None:
            self.ua = self.parked_ua
            return
        seen = level + self.drift_m_s * self.drifting_s + self.rng.gauss(0.0, 0.0006)
        self.ua = min(max(int(4000 + 16000 * seen / self.span), 3700), 20800)

    def sound(self):
        """Tell whether the signal follows the water."""
        return self.parked_ua is None and not self.drift_m_s

    def mend(self):
        """End whatever is wrong with it."""
        self.parked_ua = None
        self.drift_m_s = self.drifting_s = 0.0
