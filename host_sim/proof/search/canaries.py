"""Deliberately broken rules: a search that does not find them proves nothing.

Each canary patches one rule of the firmware in this process, names the
invariant that must be found broken, and the part that must find it.
"""

import contextlib
from dataclasses import dataclass
from typing import Any
from unittest import mock

from duplexsump.control import alarms, belief, blind, contacts, demand, flood, gate, pair
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.records import HIGH

from host_sim.proof.search import explorer
from host_sim.proof.search.search_plan import PlannedSearch

MOST_STATES = 100_000  # the slowest to be found, I6 and I5 in the duty, take some 30,000


@dataclass(frozen=True)
class Canary:
    """`break_it` returns the patches; `keep` may thin the part's moves so that the breach is reached at once."""

    invariant: str
    rule: str
    search: PlannedSearch
    break_it: Any
    keep: Any = None
    every: int = 1  # only each so many of the start states


def _always(*_):
    return True


def _nothing(*_):
    return None


def _rest_forgotten():
    return [mock.patch.object(gate.Gate, "rested", _always)]


def _bar_ignored():
    real = gate.Gate.step

    def step(self, want):
        self.barred &= ~self.out
        return real(self, want)

    return [mock.patch.object(gate.Gate, "step", step)]


def _never_let_go():
    return [mock.patch.object(pair.Pair, "_held", lambda self: self.gate.out)]


def _one_step_late():
    real = alarms.Alarms.tell

    def tell(self, i, condition, detail=0):
        real(self, i, condition if self.nothing == 0 or i else 0, detail)

    return [mock.patch.object(alarms.Alarms, "tell", tell)]


def _no_other():
    def choose(self, first):
        self.lead = first if self.available & (1 << first) else -1

    return [mock.patch.object(pair.Pair, "_choose", choose)]


def _no_try():
    return [mock.patch.object(flood.FloodRetries, "_grant", _nothing)]


def _no_spacing():
    real = gate.Gate._start

    def start(self, want, n):
        self.timers.stop(tm.SPACING)
        real(self, want, n)

    return [mock.patch.object(gate.Gate, "_start", start)]


def _turn_kept():
    real = pair.Pair._cycle_over

    def over(self):
        turn = self.turn
        real(self)
        self.turn = turn

    return [mock.patch.object(pair.Pair, "_cycle_over", over)]


def _lockout_ignored():
    def judge(self):
        self.available = self.ready = 3

    return [mock.patch.object(pair.Pair, "judge", judge)]


def _relay_kept():
    return [mock.patch.object(alarms, "URGENT", 0)]


def _reset_deaf():
    return [mock.patch.object(belief.Belief, "reset", _nothing)]


def _blind_for_ever():
    return [mock.patch.object(blind.Blind, "_run", _nothing)]


def _drawn_for_ever():
    return [mock.patch.object(demand.Demand, "_draw", _nothing)]


def _chatter_for_ever():
    def forget(self, i, now):
        pass

    return [mock.patch.object(contacts.Chatter, "_forget", forget)]


def _high_not_released():
    real = belief.Belief._release

    def release(self, wet, rose, fell):
        real(self, wet, rose & ~HIGH, fell & ~HIGH)

    return [mock.patch.object(belief.Belief, "_release", release)]


_GATE = PlannedSearch("gate", "quick")
_PUMP = PlannedSearch("pump", "quick")
_DUTY = PlannedSearch("duty", "quick")
_FLOOD = PlannedSearch("flood", "quick", (("who", 0),))
_TURNS = PlannedSearch("turns", "quick")
_DEMAND = PlannedSearch("demand", "quick", (("sensing", s.SENSE_CURRENT),))
_BLIND = PlannedSearch("blind", "quick", (("sensing", s.SENSE_CURRENT),))
_SMALL_PAIR = PlannedSearch("pair", "quick", (("fitted", 10),))
_WATER = PlannedSearch("alarms", "quick", (("which", (0,)), ("floats", True)))
_HIGH_ALARM = PlannedSearch("alarms", "quick", (("which", (4,)), ("floats", False)))
_ONE = PlannedSearch("contacts", "narrow", (("which", (3,)), ("debounce", 3), ("chatter", True)))
_BELIEF = PlannedSearch("belief", "quick", (("fitted", 11),))


def _bad(move):
    return move[0] in (0, 10) and move[1] in (0, 1) and move[2] in (0, 1) and not move[3]


def _high_only(move):
    return move[0] in (0, 8) and move[1] == move[2] == 3 and not move[3]


CANARIES = (
    Canary("I1", "rest after a stop forgotten", _GATE, _rest_forgotten),
    Canary("I2", "a running pump is not barred", _GATE, _bar_ignored),
    Canary("I3", "the shortest run never ends", _PUMP, _never_let_go),
    Canary("I4", "high water told a step late", _WATER, _one_step_late),
    Canary("I3", "the shortest run never ends, seen by the pair", _DUTY, _never_let_go),
    Canary("I13", "a draw-down by time never ends", _DEMAND, _drawn_for_ever),
    Canary("I5", "no take-over by the other pump", _SMALL_PAIR, _no_other, _bad),
    Canary("I5", "no take-over by the other pump, seen by the duty", _DUTY, _no_other),
    Canary("I6", "no flood retries", _FLOOD, _no_try, every=40009),
    Canary("I7", "start spacing forgotten", _GATE, _no_spacing),
    Canary("I8", "the lead turn never changes", _TURNS, _turn_kept),
    Canary("I9", "a lockout is ignored", _PUMP, _lockout_ignored),
    Canary("I11", "the alarm relay stays up", _HIGH_ALARM, _relay_kept),
    Canary("I12", "reset makes nothing believed again", _BELIEF, _reset_deaf),
    Canary("I13", "a blind run never ends", _BLIND, _blind_for_ever),
    Canary("I13", "a blind run never ends, seen in the whole pair", _SMALL_PAIR, _blind_for_ever, _high_only),
    Canary("L1", "chatter never ends", _ONE, _chatter_for_ever),
    Canary("L2", "high is not believed again when it moves", _BELIEF, _high_not_released),
)


def hunt(canary):
    """Search with the rule broken.  Returns the Result; its `broken` must name the canary's invariant."""
    with contextlib.ExitStack() as stack:
        stack.enter_context(canary.search.open())
        for patch in canary.break_it():
            stack.enter_context(patch)
        part = canary.search.build(False)
        if canary.keep:
            part.moves = [move for move in part.moves if canary.keep(move)]
        starts = part.start()[:: canary.every]
        part.start = lambda: starts
        result, _graph = explorer.explore(part, canary.search.world, MOST_STATES)
        return result
