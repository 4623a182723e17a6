"""A bench for the pair: real pumps and timers, and stand-ins that say just what the test wants for everything else."""

from types import SimpleNamespace

from duplexsump.control import timers as tm
from duplexsump.control.pair import Pair
from duplexsump.control.pump import Pump

from tests.rig import make_settings

AUTO, OFF, HAND = "auto", "off", "hand"


class Selectors:
    """Two selectors, each where the test has put it."""

    def __init__(self):
        self.at = [AUTO, AUTO]

    def auto(self, n):
        return self.at[n] == AUTO

    def hand(self, n):
        return self.at[n] == HAND


class Belief:
    """What is believed wet and what is suspect; notes what it is told to make suspect."""

    def __init__(self):
        self.wet = self.suspect = 0
        self.made_suspect = []

    def make_suspect(self, mask, wet):
        self.made_suspect.append((mask, wet))


class Bench:
    """The pair with a clock; `go` is one step, and the outputs stay what the test last said they were."""

    def __init__(self, **overrides):
        self.settings = make_settings(**overrides)
        self.timers = tm.Timers()
        self.pumps = [Pump(n, self.settings, self.timers) for n in range(2)]
        self.gate = SimpleNamespace(out=0, contacts=0, rested=lambda n: bool(self.rested & (1 << n)))
        self.rested = 3
        self.supply = SimpleNamespace(fed=3, came=False)
        self.selectors = Selectors()
        self.belief = Belief()
        self.contacts = SimpleNamespace(wet=0)
        self.history = SimpleNamespace(run_s=[0, 0])
        self.pair = Pair(self)
        self.now = 0

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
