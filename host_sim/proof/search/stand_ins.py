"""What stands in for the level, the flood retries and the turn while the duty is searched alone.

Each may do whatever `contract` lets the real one do; the move of a tick chooses.
"""

from duplexsump.control import pump as pm
from duplexsump.control.records import STATE

from host_sim.proof.search import contract


class Views:
    """For belief: shows the contacts that the move says."""

    wiring = order = proof = virtual = 0
    failed = False
    fitted = 15
    wet = dry = suspect = raised = running = fickle = bobs = 0

    def show(self, believed, suspect):
        """Take the view of this step; `suspect` are contacts that read wet and are not believed."""
        self.wet, self.suspect, self.dry = believed, suspect, 15 & ~believed & ~suspect

    def make_suspect(self, mask, _wet):
        """R1: what vouched for water is no longer believed."""
        self.suspect |= mask & self.wet
        self.wet &= ~mask

    def prove_high(self, wet):
        """L6: what the level reads next is chosen afresh."""

    def found_dry(self, called, wet):
        """R1: the pit is empty though `called` rose; which of them are fickle is the part of belief's to search."""


class Demand:
    """For demand: `keep` chooses among what the contract allows, 0 the least."""

    FIELDS = (("demand", STATE, 0, 0),)
    demand = boost = stopped = by_level = 0
    keep = 0

    def __init__(self, views):
        self.views = views

    def step(self, *_):
        """Ask for what the contract allows."""
        allowed = contract.demands(self.demand, self.views.wet)
        self.demand = allowed[min(self.keep, len(allowed) - 1)]

    def end(self, by_level):
        """R1 has found the pit empty."""
        self.demand = 0

    def reset(self):
        """Nothing to forget."""


class Blind:
    """For blind pumping: `asks` is 0, or 1 + the pump that it asks for, and 2 more for both."""

    FIELDS = (("asks", STATE, 0, 0),)
    asks = turn = both = dry = wish = 0
    reason = loaded = False

    def wants(self):
        """Tell whether a blind run asks for a pump."""
        return self.asks

    def step(self, _wet, demand, _running):
        """Ask as the move says; a demand takes the pump over."""
        self.asks = 0 if demand else self.wish
        self.turn, self.both = (self.asks - 1) % 2 if self.asks else 0, int(self.asks > 2)

    def takes(self):
        """Both, where the run takes both."""
        return 3 * self.both

    def started(self):
        """Nothing to do."""

    def reset(self):
        """Nothing to forget."""


class Trials:
    """For the flood retries and S4: any pump that is out and not barred may be given its try in any step."""

    granted = 0

    def __init__(self, pumps):
        self.pumps = pumps

    def step(self, _wet, barred):
        """Give the tries of this step; those of the step before are gone."""
        for pump in self.pumps:
            bit = 1 << pump.n
            free = self.granted & ~barred & bit and pump.state >= pm.RETRY
            pump.trial = pm.FLOOD_TRIAL if free else 0

    def count(self, *_):
        """Nothing to do."""
