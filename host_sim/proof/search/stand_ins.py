"""What stands in for the level, the flood retries and the turn while the duty is searched alone.

Each may do whatever `contract` lets the real one do; the move of a tick chooses.
Each is a class below the part's own, which a compiled core takes in the part's place, and makes as
much of it as is asked for.
"""

from duplexsump.control import pump as pm
from duplexsump.control.belief import Belief
from duplexsump.control.blind import Blind
from duplexsump.control.demand import Demand
from duplexsump.control.flood import FloodRetries
from duplexsump.control.pair import Pair
from duplexsump.control.pump import Pump
from duplexsump.control.records import STATE

from host_sim.proof.search import contract


class AnyViews(Belief):
    """For belief: shows the contacts that the move says."""

    def __init__(self, controller):
        super().__init__(controller.settings, controller.timers, 0)
        self.fitted = 15
        self.fickle = self.bobs = 0

    def believe(self, believed: int, suspect: int):
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


class AnyDemand(Demand):
    """For demand: `keep` chooses among what the contract allows, 0 the least."""

    FIELDS = (("demand", STATE, 0, 0),)
    keep: int = 0
    views: "AnyViews"

    def __init__(self, controller, views):
        super().__init__(controller.settings, controller.timers, views)
        self.views = views

    def step(self, _wet, _rose, _fell, _pumps, _inputs):
        """Ask for what the contract allows."""
        allowed: tuple = contract.demands(self.demand, self.views.wet)
        self.demand = allowed[min(self.keep, len(allowed) - 1)]

    def end(self, by_level):
        """R1 has found the pit empty."""
        self.demand = 0

    def reset(self):
        """Nothing to forget."""


class AnyBlind(Blind):
    """For blind pumping: `asks` is 0, or 1 + the pump that it asks for, and 2 more for both."""

    FIELDS = (("asks", STATE, 0, 0),)
    asks: int = 0
    wish: int = 0

    def __init__(self, controller):
        super().__init__(controller.settings, controller.timers, controller.belief)
        self.asks = self.wish = self.both = self.dry = 0

    def wants(self):
        """Tell whether a blind run asks for a pump."""
        return self.asks

    def step(self, _wet, demand: int, _running):
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


class Trials(FloodRetries):
    """For the flood retries and S4: any pump that is out and not barred may be given its try in any step."""

    granted: int = 0

    def __init__(self, controller):
        super().__init__(controller.settings, controller.timers, controller.pumps)

    def step(self, _high, barred: int):
        """Give the tries of this step; those of the step before are gone."""
        pump: Pump
        for pump in self.pumps:
            bit: int = 1 << pump.n
            free = self.granted & ~barred & bit and pump.state >= pm.RETRY
            pump.trial = pm.FLOOD_TRIAL if free else 0

    def count(self, _high, _out, _ready):
        """Nothing to do."""


class Counted(FloodRetries):
    """The flood retries themselves, for which the tries that a move would grant mean nothing."""

    granted: int = 0


class FreePair(Pair):
    """The pair whose turn and longest run are the move's.

    `first` (0 or 1) leads; `late`: a lead that runs alone is past max_run.
    """

    first: int = 0
    late: int = 0

    def _first(self):
        return self.first

    def _overdue(self, alone):
        self.overdue = bool(alone and self.late)
