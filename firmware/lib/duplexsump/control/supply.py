"""A4: what feeds each pump - mains, battery or either - and when the mains counts as back."""

from . import settings as s
from . import timers as tm
from .records import (
    AGAIN,
    BATTERY_DEAD,
    BATTERY_GOOD,
    COUNTER,
    FAULT_CONVERTER,
    FAULT_EXPANDER,
    IN_BATTERY,
    IN_BOARD,
    IN_CHARGER,
    IN_MAINS,
    RETAIN,
    STATE,
)
from .ticks import DAY_MS, const

UNSTEADY = const(5)  # losses within an hour
_HOUR_MS = const(3600000)
GONE_MS = const(60000)
SAG_MS = const(1000)  # the inrush of a start pulls any battery down for a moment
BEARS_MS = const(10000)


class Supply:
    """Mains with settling, battery with its latch; masks over pumps are 1 for pump 1, 2 for pump 2."""

    FIELDS = (
        ("mains", STATE, 0, AGAIN),  # mains counts as there
        ("lost", STATE, 0, 0),  # it has been gone for mains_grace, or is gone with lag wet
        ("losses", COUNTER, 0, 0),  # within an hour
        ("unsteady", STATE, 0, 0),
        ("battery", STATE, 0, 0),  # what it counts as: what it has read for a second
        ("spent", STATE, 0, AGAIN),  # the battery was found dead
        ("exhaust", STATE, 0, AGAIN),  # ... and is used all the same, until the demand is over
        ("not_charging", STATE, 0, 0),
        ("gone", STATE, 0, RETAIN),  # dead at rest for a minute, though the mains is there
        ("flat", STATE, 0, RETAIN),  # low at rest for a day, though the mains is there
        ("charged", STATE, 0, 0),  # the mains has been there for a day
        ("low", STATE, 0, 0),  # it carries the house and is low, or has been since the mains went
        ("fed", STATE, 0, AGAIN),  # pumps that are seen to have a supply
        ("unseen", STATE, 0, AGAIN),  # pumps used without: water is high, and the mains may be there all the same
        ("assumed", STATE, 0, AGAIN),  # ... until the demand is over
        ("on_battery", STATE, 0, AGAIN),  # pumps that would draw on the battery
    )

    def __init__(self, settings: list[int], timers: "tm.Timers") -> None:
        self.settings = settings
        self.timers = timers
        self.mains = 0
        self.lost = False
        self.losses = 0
        self.unsteady = False
        self.lag = 0  # lag or high reads wet
        self.battery = BATTERY_GOOD
        self.spent = 0
        self.exhaust = 0
        self.demanded = 0  # pumps that the level asked for in the step before
        self.running = 0  # pumps that are on
        self.not_charging = False
        self.gone = False
        self.flat = False
        self.charged = False
        self.low = 0
        self.loaded = 0  # pumps that draw on the battery now
        self.fell = 0  # in this very step it was found dead under a pump, charged as it should be
        self.fed = 0
        self.unseen = 0
        self.assumed = 0
        self.on_battery = 0
        self.went = False  # the mains went in this very step
        self.came = False
        self.fitted = 0
        for n in range(2):
            if settings[s.SUPPLY_1 + n] != s.MAINS:
                self.fitted |= 1 << n

    def begin(self, inputs: list[int]) -> None:
        """Take the mains as it is at power-up."""
        self.mains = self._present(inputs)
        self._masks()

    def _present(self, inputs: list[int]) -> int:
        return inputs[IN_MAINS] if self.settings[s.MAINS_FITTED] else 1

    def step(self, inputs: list[int], high: int, lag: int) -> None:
        """Judge the supplies; `high`: it reads wet, believed or not; `lag`: it, or lead for it, is believed wet."""
        self._mains(self._present(inputs), high)
        self._battery(inputs[IN_BATTERY])
        # M8: of what nobody reads nothing is raised and nothing cleared.
        if not inputs[IN_BOARD] & FAULT_EXPANDER:
            self._charger(self._present(inputs) and self.settings[s.CHARGER_FITTED] and not inputs[IN_CHARGER])
        if not inputs[IN_BOARD] & FAULT_CONVERTER:
            self._resting(inputs[IN_BATTERY])
        self._exhaustion(high)
        self._assume(high, self._long(lag and not self.mains))
        self._masks()

    def _battery(self, battery: int) -> None:
        # At rest a dead battery soon reads as a good one: it is spent until it bears its pump or the mains is back.
        if self._sags(battery != self.battery):
            self.battery = battery
        dead = self.battery == BATTERY_DEAD
        self.fell = dead and self.charged and self.loaded and not self.spent
        if self._bears(self.spent and not dead and (self.mains or self.loaded)):
            self.spent = 0
        elif dead and self.fitted:
            self.spent = 1
        self.low = self.fitted and not self.mains and (self.low or self.spent or self.battery != BATTERY_GOOD)

    def _sags(self, other: int) -> bool:
        return self.timers.on_delay(tm.SAG, False, other, SAG_MS)

    def _bears(self, bears: int) -> bool:
        return self.timers.on_delay(tm.BEARS, False, bears, BEARS_MS)

    def _resting(self, battery: int) -> None:
        # A battery that the charger does not keep up, told while the mains is there; once told, until it reads good.
        t = self.timers
        rests = self.fitted and self.mains and not self.loaded
        self.gone = t.on_delay(tm.BATTERY_GONE, self.gone, (rests or self.gone) and battery == BATTERY_DEAD, GONE_MS)
        self.flat = t.on_delay(tm.BATTERY_FLAT, self.flat, (rests or self.flat) and battery != BATTERY_GOOD, DAY_MS)

    def _charger(self, idle: int) -> None:
        self.not_charging = self.timers.on_delay(tm.CHARGER, self.not_charging, idle, DAY_MS)

    def _mains(self, present: int, high: int) -> None:
        t = self.timers
        self.went = False
        self.came = False
        if not present:
            t.stop(tm.SETTLE)
            t.stop(tm.SETTLE_FLOOD)
            self.went = self.mains == 1
            self.mains = 0
        elif not self.mains:
            if t.rang[tm.SETTLE] or (high and not t.running(tm.SETTLE_FLOOD) and t.running(tm.SETTLE)):
                self.mains = 1
                self.came = True
                t.stop(tm.SETTLE)
            elif not t.running(tm.SETTLE):
                t.arm(tm.SETTLE, self.settings[s.MAINS_SETTLE_MS])
                t.arm(tm.SETTLE_FLOOD, self.settings[s.FLOOD_SETTLE_MS])
        grace_ms = self.settings[s.MAINS_GRACE_MS]
        self.lost = t.on_delay(tm.MAINS_ALARM, self.lost or self.lag, not self.mains, grace_ms)
        self.charged = t.on_delay(tm.CHARGED, self.charged, self.fitted and self.mains, DAY_MS)
        self._count()

    def _count(self) -> None:
        # Losses within an hour of the first; once told, until an hour has passed without one.
        t = self.timers
        if t.rang[tm.UNSTEADY]:
            self.losses = 0
            self.unsteady = False
        if self.went:
            self.losses = min(UNSTEADY, self.losses + 1)
            if self.losses == UNSTEADY:
                self.unsteady = True
            if self.unsteady or self.losses == 1:
                t.arm(tm.UNSTEADY, _HOUR_MS)

    def _exhaustion(self, high: int) -> None:
        # With high wet a spent battery runs to exhaustion, until the demand is over.
        if high and self.spent:
            self.exhaust = 1
        elif not self.spent or not self.demanded:
            self.exhaust = 0

    def _long(self, missing: int) -> bool:
        return self.timers.on_delay(tm.UNSEEN, self.assumed, missing, self.settings[s.FLOOD_SETTLE_MS])

    def _assume(self, high: int, lag: int) -> None:
        # With high wet, or lag for some time, a mains that is not seen is used all the same, until the demand and
        # the shortest run are over: a relay energized without mains does no harm.
        if not self.mains and (high or lag):
            self.assumed = 1
        elif self.mains or not (self.demanded or self.unseen & self.running):
            self.assumed = 0

    def _masks(self) -> None:
        battery = self.exhaust or not self.spent
        self.fed = 0
        self.unseen = 0
        self.on_battery = 0
        for n in range(2):
            kind = self.settings[s.SUPPLY_1 + n]
            bit = 1 << n
            if kind == s.BATTERY or (kind == s.EITHER and not self.mains):
                self.on_battery |= bit
                if battery:
                    self.fed |= bit
            elif self.mains:
                self.fed |= bit
            if self.assumed and kind != s.BATTERY:
                self.unseen |= bit & ~self.fed

    def doubted(self) -> int:
        """Return the pumps whose supply is not seen or is a spent battery: a missing current is no fault of theirs."""
        return self.unseen | self.on_battery if self.exhaust else self.unseen

    def on_mains(self, n: int) -> int:
        """Tell whether pump `n` hangs on the mains, or did until it went."""
        return self.settings[s.SUPPLY_1 + n] != s.BATTERY
