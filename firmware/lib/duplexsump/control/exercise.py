"""D7: a pump that has long been idle is run for a moment; a long dry pit asks for a bucket of water."""

from . import pump as pm
from . import settings as s
from . import timers as tm
from .records import AGAIN, BATTERY_GOOD, CLOCK, OFF, RETAIN, STATE, STATISTIC
from .ticks import const

DAY_MIN = const(1440)
_NOBODY = const(-1)
_MOST_MIN = const(1 << 29)
PASSED = const(1)  # verdicts; 0: none yet
FLAT = const(2)  # the battery did not bear it
FAILED = const(3)
_FOUR = const(255)


class Exercise:
    """`who` is the pump (0 or 1) now exercised, -1 nobody."""

    FIELDS = (
        ("who", STATE, 0, AGAIN),
        ("began", STATE, 0, 0),  # its output has been on
        ("failed", STATE, 0, RETAIN),  # pumps whose last exercise failed
        ("flat", STATE, 0, RETAIN),  # the battery did not bear the last exercise on it, or died under a run
        ("passed", STATISTIC, 2, RETAIN),
        ("tried", STATISTIC, 2, RETAIN),
        ("verdicts", STATISTIC, 2, RETAIN),  # the last four of each pump, the newest in the lowest two bits
        ("idle_min", CLOCK, 2, RETAIN),  # since each pump last ran
        ("off_dry_min", CLOCK, 0, RETAIN),
    )

    def __init__(self, settings: list[int], timers: "tm.Timers", pumps: list["pm.Pump"]) -> None:
        self.settings = settings
        self.timers = timers
        self.pumps = pumps
        self.who = _NOBODY
        self.calm = 0  # the level asks for nothing, no blind run goes on, mains is there
        self.level_fell = True  # False where a transmitter saw no movement
        self.drawing = 0  # pumps that would draw on the battery
        self.battery = BATTERY_GOOD
        self.unfed = 0  # pumps without a supply while the mains is there
        self.began = 0
        self.failed = 0
        self.flat = 0
        self.passed = [0, 0]
        self.tried = [0, 0]
        self.verdicts = [0, 0]
        self.idle_min = [0, 0]
        self.off_dry_min = 0

    def minutes(self, count: int, out: int, wet: int) -> None:
        """Count `count` minutes in which `out` pumps were on and `wet` contacts were believed wet."""
        for n in range(2):
            self.idle_min[n] = 0 if out & (1 << n) else min(_MOST_MIN, self.idle_min[n] + count)
        self.off_dry_min = 0 if wet & OFF else min(_MOST_MIN, self.off_dry_min + count)

    def next_min(self) -> int:
        """Return the minutes until one of the long times is reached, at most a day."""
        least = DAY_MIN
        limit = self.settings[s.EXERCISE_DAYS] * DAY_MIN
        for minutes in self.idle_min:
            if limit > minutes and limit - minutes < least:
                least = limit - minutes
            elif limit <= minutes < limit + DAY_MIN and limit + DAY_MIN - minutes < least:
                least = limit + DAY_MIN - minutes
        limit = self.settings[s.POUR_DAYS] * DAY_MIN
        if limit > self.off_dry_min and limit - self.off_dry_min < least:
            least = limit - self.off_dry_min
        return least

    def pour(self) -> bool:
        """Tell whether `off` has been dry for so long that a test with poured water is due."""
        return self.off_dry_min >= self.settings[s.POUR_DAYS] * DAY_MIN

    def step(self, off_wet: int, available: int, out: int) -> None:
        """Begin, end and judge an exercise; `off_wet`: off is believed wet."""
        if off_wet:
            self.off_dry_min = 0
        for n in range(2):
            if out & (1 << n):
                self.idle_min[n] = 0
        if self.who < 0:
            self._begin(self.calm and off_wet and not out, available)
            return
        if out & (1 << self.who) and not self.began:
            self._began(self.who)
        self._judge(self.pumps[self.who], available & (1 << self.who))
        if self.who >= 0 and not (self.calm and off_wet and available & (1 << self.who)):
            self._quit()

    def _judge(self, pump: "pm.Pump", available: int) -> None:
        # A battery that does not bear the load is not the pump's fault, but no standby either.
        if self.began and self.drawing & (1 << self.who) and self.battery != BATTERY_GOOD:
            self._end(self.who, FLAT)
        elif pump.state >= pm.RETRY or (self.began and self.calm and not available):
            self._end(self.who, FAILED)
        elif self.timers.rang[tm.EXERCISE]:
            loaded = pump.loaded or self.settings[s.SENSING] != s.SENSE_CURRENT
            good = pump.state == pm.RUNNING and loaded and self.level_fell
            self._end(self.who, PASSED if good else FAILED)

    def _began(self, n: int) -> None:
        self.began = 1
        self.tried[n] += 1
        self.timers.arm(tm.EXERCISE, self.settings[s.EXERCISE_RUN_MS])

    def _begin(self, calm: int, available: int) -> None:
        limit = self.settings[s.EXERCISE_DAYS] * DAY_MIN
        for n in range(2):
            if calm and available & (1 << n) and self.idle_min[n] >= limit:
                self.who = n
                return
            if self.unfed & (1 << n) and self.idle_min[n] >= limit + DAY_MIN:
                self._end(n, FLAT)  # while the mains is there nothing but a battery leaves a pump without a supply

    def _end(self, n: int, verdict: int) -> None:
        self.verdicts[n] = (self.verdicts[n] << 2 & _FOUR) | verdict
        if verdict == PASSED:
            self.passed[n] += 1
            self.failed &= ~(1 << n)
            if self.drawing & (1 << n):
                self.flat = 0
        else:
            if verdict == FLAT:
                self.flat = 1
            else:
                self.failed |= 1 << n
            self.idle_min[n] = 0
        self._quit()

    def _quit(self) -> None:
        self.who = _NOBODY
        self.began = 0
        self.timers.stop(tm.EXERCISE)
