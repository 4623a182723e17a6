"""R3: flood retries, when the water is high and every pump is out, or one is and the other does not keep up."""

from . import pump as pm
from . import settings as s
from . import timers as tm
from .records import AGAIN, COUNTER, STATE
from .ticks import const

STEPS_MS = (10000, 30000, 60000)  # then every `flood_retry`
OVERLOADS = const(3)  # tries of an overloaded pump an hour
_SECOND_MS = const(1000)
_HOUR_MS = const(3600000)


class FloodRetries:
    """Grants one pump at a time a trial; which, by turn."""

    FIELDS = (
        ("rung", STATE, 0, AGAIN),
        ("turn", STATE, 0, 0),
        ("second", STATE, 0, AGAIN),  # the other pump's try follows the one just made
        ("aside", STATE, 0, AGAIN),  # the ladder is climbed beside a run that is no try
        ("overloads", COUNTER, 2, 0),
    )

    def __init__(self, settings: list[int], timers: "tm.Timers", pumps: list["pm.Pump"]) -> None:
        self.settings = settings
        self.timers = timers
        self.pumps = pumps
        self.rung = 0
        self.turn = 0
        self.second = 0
        self.aside = 0
        self.overloads = [0, 0]
        self.barred = 0  # pumps that cannot use a try, as told in this step

    def _delay_ms(self) -> int:
        if self.second:
            return _SECOND_MS
        return STEPS_MS[self.rung] if self.rung < 3 else self.settings[s.FLOOD_RETRY_MS]

    def step(self, high: int, barred: int) -> None:
        """Grant a try that is due; `high`: it is believed wet, `barred`: pumps that could not use a try."""
        self.barred = barred
        for n in range(2):
            if self.timers.rang[tm.OVER_HOUR + n]:
                self.overloads[n] = 0
            if barred & (1 << n) and self.pumps[n].trial == pm.FLOOD_TRIAL:
                self.pumps[n].trial = 0  # it cannot use its try: the other is not kept waiting
        if self.timers.rang[tm.FLOOD_TRY] and high:
            self._grant(barred)

    def count(self, high: int, out: int, ready: int) -> None:
        """At the end of a step, count down to the next try.

        `high`: it is believed wet; `out`: pumps on; `ready`: pumps available without a try.
        """
        if self._owed(high, out, ready) and not self.timers.running(tm.FLOOD_TRY):
            self.timers.arm(tm.FLOOD_TRY, self._delay_ms())

    def _owed(self, high: int, out: int, ready: int) -> int:
        # Tell whether tries are owed now, and end their ladder where they are not.
        beside = high and self._beside(out)
        if beside:
            self.aside = 1
            return not self._outstanding()
        trying = self._trying(out)
        if not high or (ready and not trying):
            self._over()
        elif self.aside and not trying:
            self._anew()
        if out:
            self.timers.stop(tm.FLOOD_TRY)
        return high and not (ready or out or self._outstanding())

    def _trying(self, out: int) -> int:
        # Tell whether a try is made beside a pump that runs: it does not end the ladder.
        return out == 3 and (self.pumps[0].held or self.pumps[1].held)

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

    def _anew(self) -> None:
        # The run beside which the times grew is over: they begin anew, for nobody else pumps now.  A try that was to
        # come sooner still does.
        self.rung = 0
        self.aside = 0
        if self.timers.running(tm.FLOOD_TRY):
            self.timers.arm(tm.FLOOD_TRY, min(STEPS_MS[0], self.timers.left_ms(tm.FLOOD_TRY)))

    def _over(self) -> None:
        # A pump is ready in the usual way, or the water is down: no try is owed.
        self.rung = 0
        self.aside = 0
        self.timers.stop(tm.FLOOD_TRY)
        self.second = 0
        for pump in self.pumps:
            if pump.trial == pm.FLOOD_TRIAL:
                pump.trial = 0

    def _grant(self, barred: int) -> None:
        # By turn, and at once the other as well, unless both are jammed: one of them may be good, and its sensor bad.
        # The times grow with the tries made: who could not use its own is tried soon after it can.
        was = self.second
        n = self.turn if was else self._first(barred)
        tried = self._may(n, barred)
        if tried:
            self._try(n)
            self.turn = self.turn if was else 1 - n
        both = tried and not was and self._may(1 - n, barred) and not (self._jams(n) and self._jams(1 - n))
        self.second = 1 if both else 0
        if (tried or was) and not both:
            self.rung = min(self.rung + 1, 3)
        if not tried:
            self.timers.arm(tm.FLOOD_TRY, self._delay_ms())

    def _first(self, barred: int) -> int:
        # Whose turn it is, unless it may not, or the other may and has better prospects.
        n = self.turn
        if self._may(1 - n, barred) and (not self._may(n, barred) or self._yields(n)):
            n = 1 - n
        return n

    def _yields(self, n: int) -> bool:
        # Who is jammed yields to who is not, and of two alike who still rests (S1) to who could start at once.
        if self._jams(n) != self._jams(1 - n):
            return self._jams(n)
        return self.timers.running(tm.REST_FLOOD + n) and not self.timers.running(tm.REST_FLOOD + 1 - n)

    def _jams(self, n: int) -> bool:
        return self.pumps[n].cause == pm.OVERLOAD

    def _may(self, n: int, barred: int) -> bool:
        # Tell whether pump `n` may have a try: it is out, not barred, and not tired of overloads.
        pump = self.pumps[n]
        if pump.state < pm.RETRY or barred & (1 << n):
            return False
        return not self._jams(n) or self.overloads[n] < OVERLOADS

    def _try(self, n: int) -> None:
        if self._jams(n):
            self.overloads[n] += 1
            self.timers.arm(tm.OVER_HOUR + n, _HOUR_MS)
        self.pumps[n].trial = pm.FLOOD_TRIAL
