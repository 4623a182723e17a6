"""R3: flood retries, when the water is high and every pump is out."""

from . import pump as pm
from . import settings as s
from . import timers as tm
from .records import COUNTER, HIGH, LAG, STATE
from .ticks import const

STEPS_MS = (10000, 30000, 60000)  # then every `flood_retry`
LAG_MS = const(60000)  # both out with lag wet: once after this, then every `retry`
OVERLOADS = const(3)  # tries of an overloaded pump an hour
_HOUR_MS = const(3600000)


class FloodRetries:
    """Grants one pump at a time a trial; which, by turn."""

    FIELDS = (
        ("mode", STATE, 0, False),  # 0, LAG or HIGH: what asks for the tries
        ("rung", STATE, 0, False),
        ("turn", STATE, 0, False),
        ("overloads", COUNTER, 2, False),
    )

    def __init__(self, settings, timers, pumps):
        self.settings = settings
        self.timers = timers
        self.pumps = pumps
        self.mode = 0
        self.rung = 0
        self.turn = 0
        self.overloads = [0, 0]

    def _delay_ms(self):
        if self.mode == HIGH:
            return STEPS_MS[self.rung] if self.rung < 3 else self.settings[s.FLOOD_RETRY_MS]
        return LAG_MS if self.rung == 0 else self.settings[s.RETRY_MS]

    def step(self, wet, out, ready, barred):
        """Grant tries.

        `wet`: believed contacts; `out`: pumps on; `ready`: pumps available
        without a try; `barred`: pumps that may not run whoever asks.
        """
        t = self.timers
        for n in range(2):
            if t.rang[tm.OVER_HOUR + n]:
                self.overloads[n] = 0
        mode = HIGH if wet & HIGH else LAG if wet & LAG else 0
        if not mode or ready or out:
            if not mode or ready:
                self._over()
            self.mode = mode
            t.stop(tm.FLOOD_TRY)
            return
        if mode != self.mode:
            self.mode = mode
            self.rung = 0
            t.stop(tm.FLOOD_TRY)
        if self.pumps[0].trial or self.pumps[1].trial:
            return
        if t.rang[tm.FLOOD_TRY]:
            self._grant(barred)
        elif not t.running(tm.FLOOD_TRY):
            t.arm(tm.FLOOD_TRY, self._delay_ms())

    def _over(self):
        # A pump is ready in the usual way, or the water is down: no try is owed.
        self.rung = 0
        for pump in self.pumps:
            if pump.trial == pm.FLOOD_TRIAL:
                pump.trial = 0

    def _grant(self, barred):
        t = self.timers
        self.rung = min(self.rung + 1, 3)
        for k in range(2):
            n = self.turn ^ k
            pump = self.pumps[n]
            out = pump.state == pm.RETRY or pump.state == pm.LOCKED
            tired = pump.cause == pm.OVERLOAD and self.overloads[n] >= OVERLOADS
            if out and not barred & (1 << n) and not tired:
                if pump.cause == pm.OVERLOAD:
                    self.overloads[n] += 1
                    t.arm(tm.OVER_HOUR + n, _HOUR_MS)
                pump.trial = pm.FLOOD_TRIAL
                self.turn = 1 - n
                return
        t.arm(tm.FLOOD_TRY, self._delay_ms())
