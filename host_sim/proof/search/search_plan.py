"""What is searched: every part in every coarse world, and up to how many states on a laptop and in CI."""

import contextlib
from dataclasses import dataclass, field

from duplexsump.control import settings as s

from host_sim.proof.search import coarse, explorer
from host_sim.proof.search.part_alarms import AlarmsPart
from host_sim.proof.search.part_belief import BeliefPart
from host_sim.proof.search.part_contacts import ContactsPart, window
from host_sim.proof.search.part_duty import DutyPart
from host_sim.proof.search.part_flood import FloodPart
from host_sim.proof.search.part_gate import GatePart
from host_sim.proof.search.part_level import BlindPart, DemandPart
from host_sim.proof.search.part_pair import PairPart
from host_sim.proof.search.part_pump import PumpPart
from host_sim.proof.search.part_turns import TurnsPart

# Alarms of each kind by number: high water, another high, medium, low, low and latched.
_ALARM_KINDS = (0, 4, 12, 22, 24)
PARTS = ("contacts", "belief", "demand", "blind", "gate", "pump", "duty", "flood", "turns", "pair", "alarms")
# The whole pair, which no search ends, stops at so many states.
PAIR_STATES = {"narrow": 50_000, "quick": 15_000, "wide": 50_000}
_LONGEST_FIRST = ("flood", "pump", "belief", "duty", "pair")


# Parts whose options are their constructor's, and that have no smaller set of moves.
_PLAIN = {"demand": DemandPart, "blind": BlindPart, "duty": DutyPart, "flood": FloodPart, "turns": TurnsPart}


@dataclass(frozen=True)
class PlannedSearch:
    """One entry of the plan: a part in a coarse world; `options` go to the part's constructor."""

    part: str
    world: str
    options: tuple = ()
    chatter_ticks: int = 10
    quick: bool = False  # it belongs to the CI part
    most_states: int | None = None  # where a search is not meant to end
    key: str = field(default="", compare=False)

    @property
    def name(self):
        """A name that `replay` takes."""
        words = [str(value) for _key, value in self.options]
        return ":".join([self.part, self.world, *words]).replace(" ", "")

    def build(self, every):
        """Return the part; the world must be open."""
        options = dict(self.options)
        if self.part == "contacts":
            return ContactsPart(options["which"], options["debounce"], self.chatter_ticks, options["chatter"])
        if self.part == "belief":
            return BeliefPart(self.world, options["fitted"], every)
        if self.part == "gate":
            return GatePart(self.world, every)
        if self.part == "pump":
            return PumpPart(self.world, every)
        if self.part in _PLAIN:
            return _PLAIN[self.part](self.world, **options)
        if self.part == "pair":
            return PairPart(self.world, options["fitted"], every)
        return AlarmsPart(self.world, options["which"], options["floats"])

    @contextlib.contextmanager
    def open(self):
        """Open the coarse world and the chatter window of this search."""
        with coarse.world(self.world), window(self.chatter_ticks):
            yield


def _contacts():
    for i in range(4):
        yield PlannedSearch("contacts", "narrow", (("which", (i,)), ("debounce", 3), ("chatter", True)), quick=True)
    all_four = (("which", (0, 1, 2, 3)), ("debounce", 2), ("chatter", False))
    yield PlannedSearch("contacts", "narrow", all_four, quick=True)
    yield PlannedSearch("contacts", "narrow", (("which", (0, 3)), ("debounce", 1), ("chatter", True)), 7)


def _by_world(world):
    small = world == "quick"
    yield PlannedSearch("gate", world, quick=True)
    for fitted in (10, 11, 14, 15):
        yield PlannedSearch("belief", world, (("fitted", fitted),), quick=small and fitted < 15)
    for i in _ALARM_KINDS:
        yield PlannedSearch("alarms", world, (("which", (i,)), ("floats", False)), quick=True)
    yield PlannedSearch("alarms", world, (("which", (0,)), ("floats", True)), quick=True)
    yield PlannedSearch("alarms", world, (("which", (0, 12)), ("floats", False)), quick=small)
    yield PlannedSearch("alarms", world, (("which", (0, 4, 12)), ("floats", False)))
    yield PlannedSearch("pump", world, quick=small)
    for sensing in (s.SENSE_CURRENT, s.SENSE_NOTHING):
        yield PlannedSearch("demand", world, (("sensing", sensing),), quick=small)
        yield PlannedSearch("blind", world, (("sensing", sensing),), quick=True)
    yield PlannedSearch("duty", world, quick=small)
    yield PlannedSearch("turns", world, quick=True)
    for who in (0, 1) if small else (0,):  # the code is the same for both; the other one is looked at in one world
        yield PlannedSearch("flood", world, (("who", who),))
    # The whole pair is no search that ends: it puts the contract between its parts to the test.
    yield PlannedSearch("pair", world, (("fitted", 11),), quick=small, most_states=PAIR_STATES[world])


def planned(quick, part=None, world=None):
    """Return the searches of the CI part (`quick`) or all of them, those of one part or world if named."""
    found = list(_contacts())
    for name in coarse.NAMES:
        found += _by_world(name)
    return [
        search for search in found
        if (search.quick or not quick) and part in (None, search.part) and world in (None, search.world)
    ]  # fmt: skip


def longest_first(searches):
    """Return the searches in an order that keeps every process busy to the end."""
    rank = {part: place for place, part in enumerate(_LONGEST_FIRST)}
    return sorted(searches, key=lambda one: (rank.get(one.part, len(rank)), one.world != "wide", one.world != "narrow"))


def named(name):
    """Return the search of that name, or None."""
    return next((search for search in planned(False) if search.name == name), None)


def run(search, every=True, most_states=None):
    """Make one search, with liveness and recovery where the part knows them.  Returns (Result, trace or "").

    It stops at `most_states`, or at the plan's own limit where none is given.
    """
    with search.open():
        part = search.build(every)
        result, graph = explorer.explore(part, search.world, most_states or search.most_states)
        if result.broken is None and hasattr(part, "liveness"):
            _liveness(part, graph, result)
        if result.broken is None and hasattr(part, "recovers"):
            _recovery(part, graph, result)
        return result, explorer.trace_text(part, result.broken) if result.broken else ""


def _liveness(part, graph, result):
    for claim, moves, waiting in part.liveness():
        ticks, looked = explorer.longest_wait(part, graph, moves, waiting)
        result.longest[f"{claim} ({looked} waiting states)"] = -1 if ticks is None else ticks


def _recovery(part, graph, result, most=400):
    # I12 from states spread evenly over everything found.
    whole = len(graph.states[0])  # a state within a tick is longer
    looked = [place for place, state in enumerate(graph.states) if len(state) == whole]
    looked = looked[:: max(1, len(looked) // most)]
    for place in looked:
        wrong = part.recovers(graph.states[place])
        if wrong:
            start, moves = graph.path(place)
            result.broken = explorer.Broken("I12", f"after reset and a healthy cycle: {wrong}", start, moves)
            result.exhausted = False
            return
    result.longest[f"I12: back to normal duty from each of {len(looked)} states"] = 0


def replay(name, start, moves, every=True):
    """Return the text of a trace by the search's name, start state and move numbers.

    Raises KeyError for another name.
    """
    search = named(name)
    if search is None:
        raise KeyError(name)
    with search.open():
        part = search.build(every)
        return explorer.trace_text(part, explorer.Broken("replay", name, start, moves))
