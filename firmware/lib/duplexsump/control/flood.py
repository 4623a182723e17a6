"""R3: flood retries, when the water is high and every pump is out, or one is and the other does not keep up."""

from . import pump as pm
from . import settings as s
from . import timers as tm
from .records import AGAIN, COUNTER, HIGH, LAG, STATE
from .ticks import const

STEPS_MS = (10000, 30000, 60000)  # then every `flood_retry`
LAG_MS = const(60000)  # both out with lag wet: three times after this, then every `retry`
OVERLOADS = const(3)  # tries of an overloaded pump an hour
_HOUR_MS = const(3600000)


class FloodRetries:
    """Grants one pump at a time a trial; which, by turn."""

    FIELDS = (
        ("mode", STATE, 0, AGAIN),  # 0, LAG or HIGH: what asks for the tries
        ("rung", STATE, 0, AGAIN),
        ("turn", STATE, 0, 0),
        ("overloads", COUNTER, 2, 0),
    )

    def __init__(self, settings: list[int], timers: "tm.Timers", pumps: list["pm.Pump"]) -> None:
        self.settings = settings
        self.timers = timers
        self.pumps = pumps
        self.mode = 0
        self.rung = 0
        self.turn = 0
        self.overloads = [0, 0]
        self.barred = 0  # pumps that cannot use a try, as told in this step

    def _delay_ms(self) -> int:
        if self.mode == HIGH:
            return STEPS_MS[self.rung] if self.rung < 3 else self.settings[s.FLOOD_RETRY_MS]
        return LAG_MS if self.rung < 3 else self.settings[s.RETRY_MS]

    def step(self, wet: int, barred: int) -> None:
        """Grant a try that is due; `wet`: believed contacts, `barred`: pumps that could not use a try."""
        self.barred = barred
        for n in range(2):
            if self.timers.rang[tm.OVER_HOUR + n]:
                self.overloads[n] = 0
            if barred & (1 << n) and self.pumps[n].trial == pm.FLOOD_TRIAL:
                self.pumps[n].trial = 0  # it cannot use its try: the other is not kept waiting
        if self.timers.rang[tm.FLOOD_TRY] and wet & self.mode:
            self._grant(barred)

    def count(self, wet: int, out: int, ready: int) -> None:
        """At the end of a step, count down to the next try.

        `wet`: believed contacts; `out`: pumps on; `ready`: pumps available without a try.
        """
        if self._owed(HIGH if wet & HIGH else wet & LAG, out, ready) and not self.timers.running(tm.FLOOD_TRY):
            self.timers.arm(tm.FLOOD_TRY, self._delay_ms())

    def _owed(self, mode: int, out: int, ready: int) -> int:
        # Tell whether tries are owed now, and start their ladder where they begin.
        beside = mode == HIGH and self._beside(out)
        if not mode or (ready and not beside and not self._trying(mode, out)):
            self._over()
        if (out and not beside) or mode != self.mode:
            self.timers.stop(tm.FLOOD_TRY)
        if mode != self.mode:
            self.mode = mode
            self.rung = 0
        if beside:
            return not self._outstanding()
        return mode and not (ready or out or self._outstanding())

    def _trying(self, mode: int, out: int) -> int:
        # Tell whether a try is made beside a pump that runs: it does not end the ladder.
        return mode == HIGH and out == 3 and (self.pumps[0].held or self.pumps[1].held)

    def _beside(self, out: int) -> int:
        # Tell whether one pump runs, in no try, and the other is out: with high wet it does not keep up alone.
        if out != 1 and out != 2:
            return False
        runs, other = self.pumps[out - 1], self.pumps[2 - out]
        return not runs.held and other.state >= pm.RETRY

    def _outstanding(self) -> bool:
        # Tell whether a pump holds a try.  One that cannot use the try of S4 keeps it, and keeps nobody waiting.
        for n in range(2):
            if self.pumps[n].trial and not self.barred & (1 << n):
                return True
        return False

    def _over(self) -> None:
        # A pump is ready in the usual way, or the water is down: no try is owed.
        self.rung = 0
        self.timers.stop(tm.FLOOD_TRY)
        for pump in self.pumps:
            if pump.trial == pm.FLOOD_TRIAL:
                pump.trial = 0

    def _grant(self, barred: int) -> None:
        # The times grow with the tries made: a pump that could not use its own is tried soon after it can.
        first = self.turn
        if self._try(first, barred) or self._try(1 - first, barred):
            self.rung = min(self.rung + 1, 3)
        else:
            self.timers.arm(tm.FLOOD_TRY, self._delay_ms())

    def _try(self, n: int, barred: int) -> bool:
        # Give pump `n` its try if it is out, not barred, and not tired of overloads.
        pump = self.pumps[n]
        if pump.state < pm.RETRY or barred & (1 << n):
            return False
        if pump.cause == pm.OVERLOAD:
            if self.overloads[n] >= OVERLOADS:
                return False
            self.overloads[n] += 1
            self.timers.arm(tm.OVER_HOUR + n, _HOUR_MS)
        pump.trial = pm.FLOOD_TRIAL
        self.turn = 1 - n
        return True
