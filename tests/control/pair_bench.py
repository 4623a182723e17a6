"""A bench for the pair: it works in a controller whose other parts say just what the test has put into them."""

from duplexsump.control import records as r
from duplexsump.control import timers as tm
from duplexsump.control.controller import Controller

from tests.rig import make_settings

AUTO, OFF, HAND = r.SELECT_AUTO, r.SELECT_OFF, r.SELECT_HAND
LONG_MS = 80_000_000  # longer than any test here


class Bench:
    """The pair with a clock; `go` is one step, and the outputs stay what the test last said they were."""

    def __init__(self, **overrides):
        self.c = c = Controller(make_settings(**overrides))
        self.settings, self.timers, self.pumps, self.pair = c.settings, c.timers, c.pumps, c.pair
        self.gate, self.supply, self.selectors, self.belief = c.gate, c.supply, c.selectors, c.belief
        self.contacts, self.history = c.contacts, c.history
        self.supply.fed = 3
        self.now = 0

    def rest(self, mask):
        """Have the pumps of `mask`, and no other, rest for longer than any test takes."""
        for n in range(2):
            for timer in (tm.REST, tm.REST_LAG, tm.REST_FLOOD):
                if mask >> n & 1:
                    self.timers.arm(timer + n, LONG_MS)
                else:
                    self.timers.stop(timer + n)

    def go(self, ms=0, demand=0, blind=-1, out=None, **available):
        """One step after `ms`; `out`: what the gate has made of the step before."""
        self.now += ms
        self.timers.expire(self.now)
        if out is not None:
            self.gate.out = out
        self.pair.judge()
        if "available" in available:
            self.pair.available = available["available"]
        return self.pair.step(demand, blind)


def leads(lead, first, available, running, rested):
    """Who leads, from D2, D3 and the wish not to switch a running pump off for nothing; -1 nobody."""
    if available in (1, 2):
        return available - 1
    if not available:
        return -1
    wanted = lead if lead >= 0 else first
    other = 1 - wanted
    if running >> wanted & 1:
        return wanted
    if running >> other & 1:
        return other
    return other if rested >> other & 1 and not rested >> wanted & 1 else wanted


def other_bit(n):
    """The bit of the pump that is not `n`."""
    return 2 >> n
