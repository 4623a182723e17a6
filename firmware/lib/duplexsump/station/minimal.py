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

    def __init__(self, settings, now_ms):
        self.settings = settings
        self.timers = Timers()
        self.timers.now = now_ms
        self.gate = Gate(settings, self.timers)
        self.gate.begin()
        self.out = [0] * N_OUTPUTS
        self.demand = 0
        self.until_ms = now_ms

    def step(self, now_ms, raw):
        """Return the outputs for a raw record at `now_ms`."""
        st = self.settings
        self.timers.expire(now_ms)
        wet = (raw[IN_CONTACTS] ^ st[s.NORMALLY_CLOSED]) & st[s.FITTED]
        barred = 0
        for n in range(2):
            unfed = not raw[IN_MAINS] and st[s.SUPPLY_1 + n] == s.MAINS
            if raw[IN_SELECTOR_1 + n] == SELECT_OFF or raw[IN_THERMAL_1 + n] or unfed:
                barred |= 1 << n
        gate = self.gate
        gate.barred = barred
        gate.wet = wet
        gate.contacts = wet & (LEAD | LAG | HIGH)
        if wet & (LAG | HIGH):
            self.demand = 3
        elif wet & LEAD and not self.demand:
            self.demand = 1 if not barred & 1 else 2
        if wet & (LEAD | LAG | HIGH):
            self.until_ms = add(now_ms, min(_LONGEST_MS, st[s.BLIND_RUN_MS]))
        elif not wet & OFF and (st[s.FITTED] & OFF or diff(now_ms, self.until_ms) >= 0):
            self.demand = 0
        elif diff(now_ms, self.until_ms) >= 0:
            self.demand = 0
        gate.step(self.demand)
        self.out[OUT_PUMP_1] = gate.out & 1
        self.out[OUT_PUMP_2] = gate.out >> 1
        self.out[OUT_HORN] = self.out[OUT_BEACON] = 1 if wet & HIGH else 0
        return self.out
