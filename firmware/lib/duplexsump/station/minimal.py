"""M5, the last resort: two pumps by their floats alone, through the same gate, nothing else.

It runs when the controller itself has failed again and again.  No belief, no
current, no alarm: the alarm relay stays dropped, horn and beacon are on while
`high` is wet.
"""

from ..control import settings as s
from ..control.gate import Gate
from ..control.records import (
    HIGH,
    IN_CONTACTS,
    IN_MAINS,
    IN_SELECTOR_1,
    IN_THERMAL_1,
    LAG,
    LEAD,
    N_OUTPUTS,
    OFF,
    OUT_BEACON,
    OUT_HORN,
    OUT_PUMP_1,
    OUT_PUMP_2,
    SELECT_OFF,
)
from ..control.ticks import add, const, diff
from ..control.timers import Timers

_LONGEST_MS = const(120000)  # without an off float: a run lasts so long after the last wet contact


class FloatsOnly:
    """lead starts one pump, lag or high both, off dry stops them.  `step` takes raw readings."""

    def __init__(self, settings: list[int], now_ms: int) -> None:
        self.settings = settings
        self.timers = Timers()
        self.timers.now = now_ms
        self.gate = Gate(settings, self.timers)
        self.gate.begin()
        self.out = [0] * N_OUTPUTS
        self.demand = 0
        self.until_ms = now_ms

    def step(self, now_ms: int, raw: list[int]) -> list[int]:
        """Return the outputs for a raw record at `now_ms`."""
        self.timers.expire(now_ms)
        wet = (raw[IN_CONTACTS] ^ self.settings[s.NORMALLY_CLOSED]) & self.settings[s.FITTED]
        gate = self.gate
        gate.barred = self._barred(0, raw) | self._barred(1, raw)
        gate.wet = wet
        gate.contacts = wet & (LEAD | LAG | HIGH)
        self._ask(now_ms, wet)
        gate.step(self.demand)
        out = self.out
        out[OUT_PUMP_1] = gate.out & 1
        out[OUT_PUMP_2] = gate.out >> 1
        out[OUT_HORN] = 1 if wet & HIGH else 0
        out[OUT_BEACON] = out[OUT_HORN]
        return out

    def _barred(self, n: int, raw: list[int]) -> int:
        # People and motors first; a pump without its supply is left alone.
        unfed = not raw[IN_MAINS] and self.settings[s.SUPPLY_1 + n] == s.MAINS
        return 1 << n if unfed or raw[IN_SELECTOR_1 + n] == SELECT_OFF or raw[IN_THERMAL_1 + n] else 0

    def _ask(self, now_ms: int, wet: int) -> None:
        # `off` may hang up wet: without a higher contact it keeps a pump running for one blind run at most.
        if wet & (LAG | HIGH):
            self.demand = 3
        elif wet & LEAD and not self.demand:
            self.demand = 1 if not self.gate.barred & 1 else 2
        if wet & (LEAD | LAG | HIGH):
            self.until_ms = add(now_ms, min(_LONGEST_MS, self.settings[s.BLIND_RUN_MS]))
        elif diff(now_ms, self.until_ms) >= 0 or (self.settings[s.FITTED] & OFF and not wet & OFF):
            self.demand = 0
