"""A bench for one pump of the controller: its inputs, its clock, and a watch on every timer that is not its own.

All the while the other pump's inputs are full of trouble, and every timer that
is not this pump's is armed and must stay as it is.
"""

from duplexsump.control import pump as pm
from duplexsump.control import records as r
from duplexsump.control import timers as tm
from duplexsump.control.ticks import MASK, NEVER

from tests.rig import WITH_CURRENT, make_settings

NONE, UNDER, NORMAL, OVER, ROTOR = range(5)
RUN = ("PROOF", "LOST", "OVER", "INRUSH", "ROTOR", "DRY", "LOAD", "STEADY", "MIN_RUN")  # they end with a run
OWN = (*RUN, "WELD", "RETRY", "RECENT", "HOUR", "SHORT_DAY")
RETRY_MS, MINUTE, HOUR, DAY = 600_000, 60_000, 3_600_000, 86_400_000


class Bench:
    """Pump `n` with a clock; `go` is one step after `ms`."""

    def __init__(self, n, start=0, **overrides):
        self.n = n
        self.timers = tm.Timers()
        self.pump = pm.Pump(n, make_settings(**{"sensing": WITH_CURRENT, **overrides}), self.timers)
        self.own = {name: getattr(tm, name) + n for name in OWN}
        self.strangers = [i for i in range(tm.N_TIMERS) if i not in self.own.values()]
        self.inputs = [9] * r.N_INPUTS
        for k in range(2):
            mine = k == n
            self.inputs[r.IN_CURRENT_1 + k] = NONE if mine else ROTOR
            self.inputs[r.IN_THERMAL_1 + k] = self.inputs[r.IN_MOISTURE_1 + k] = 0 if mine else 1
        self.now = start
        self.planted = NEVER
        self.timers.expire(start)
        self.watch_strangers()

    def watch_strangers(self):
        if self.planted != NEVER:
            assert {self.timers.at[i] for i in self.strangers} == {self.planted}, "a timer that is not this pump's"
        self.planted = (self.now + DAY) & MASK
        for i in self.strangers:
            self.timers.at[i] = self.planted

    def go(self, ms=100, **changes):
        for name, value in changes.items():
            self.inputs[r.INPUT_NAMES.index(f"{name}_1") + self.n] = value
        self.watch_strangers()
        self.now = (self.now + ms) & MASK
        for i in self.strangers:
            self.timers.at[i] = (self.now + 1000) & MASK
        self.planted = (self.now + 1000) & MASK
        self.timers.expire(self.now)
        self.pump.step(self.n, self.inputs)
        self.watch_strangers()
        return pm.STATES[self.pump.state]

    def start(self, current=NORMAL):
        self.pump.started()
        self.watch_strangers()
        self.inputs[r.IN_CURRENT_1 + self.n] = current
        return self

    def stop(self, by_level=True):
        self.pump.stopped(by_level)
        self.watch_strangers()
        self.inputs[r.IN_CURRENT_1 + self.n] = NONE
        return pm.STATES[self.pump.state]

    def trip(self, cause=pm.RUN_LOST):
        self.pump.trip(cause)
        self.watch_strangers()
        self.inputs[r.IN_CURRENT_1 + self.n] = NONE
        return pm.STATES[self.pump.state]

    def left(self, name):
        i = self.own[name]
        return self.timers.left_ms(i) if self.timers.running(i) else None

    def armed(self, *names):
        """The names of this pump's timers that are armed, of all or of those given."""
        return {name for name in names or OWN if self.left(name) is not None}

    def known(self):
        """Everything the pump says about itself but its ring of starts."""
        names = [row[0] for row in pm.Pump.FIELDS if row[0] not in ("ring", "ring_first", "count")]
        return {name: int(getattr(self.pump, name)) for name in names if getattr(self.pump, name)}


def running(n, **overrides):
    bench = Bench(n, **overrides).start()
    assert bench.go() == "running"
    return bench


def out(n, state, cause=pm.RUN_LOST, **overrides):
    """A bench whose pump rests after a trip, or is locked out."""
    bench = Bench(n, **overrides)
    bench.pump.failures = 2 if state == "locked" else 0
    bench.start().trip(cause)
    bench.go(5000)
    assert pm.STATES[bench.pump.state] == state
    return bench
