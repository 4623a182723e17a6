"""What is searched: every part in every coarse world, and how far on a laptop and in CI."""

import contextlib
import time
from dataclasses import dataclass, field

from duplexsump.control import settings as s

from host_sim.proof.search import coarse, explorer
from host_sim.proof.search.explorer import Result
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
_LONGEST_FIRST = ("flood", "pump", "belief", "duty", "pair")


# Parts whose options are their constructor's, and that have no smaller set of moves.
_PLAIN = {"demand": DemandPart, "blind": BlindPart, "duty": DutyPart, "flood": FloodPart, "turns": TurnsPart}


@dataclass(frozen=True)
class Job:
    """One search: a part in a coarse world; `options` go to the part's constructor."""

    part: str
    world: str
    options: tuple = ()
    chatter_ticks: int = 10
    quick: bool = False  # it belongs to the CI part
    seconds: float | None = None  # at most, where a search is not meant to end
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
        """Open the coarse world and the chatter window of this job."""
        with coarse.world(self.world), window(self.chatter_ticks):
            yield


def _contacts():
    for i in range(4):
        yield Job("contacts", "narrow", (("which", (i,)), ("debounce", 3), ("chatter", True)), quick=True)
    all_four = (("which", (0, 1, 2, 3)), ("debounce", 2), ("chatter", False))
    yield Job("contacts", "narrow", all_four, quick=True)
    yield Job("contacts", "narrow", (("which", (0, 3)), ("debounce", 1), ("chatter", True)), 7)


def _by_world(world):
    small = world == "quick"
    yield Job("gate", world, quick=True)
    for fitted in (10, 11, 14, 15):
        yield Job("belief", world, (("fitted", fitted),), quick=small and fitted < 15)
    for i in _ALARM_KINDS:
        yield Job("alarms", world, (("which", (i,)), ("floats", False)), quick=True)
    yield Job("alarms", world, (("which", (0,)), ("floats", True)), quick=True)
    yield Job("alarms", world, (("which", (0, 12)), ("floats", False)), quick=small)
    yield Job("alarms", world, (("which", (0, 4, 12)), ("floats", False)))
    yield Job("pump", world, quick=small)
    for sensing in (s.SENSE_CURRENT, s.SENSE_NOTHING):
        yield Job("demand", world, (("sensing", sensing),), quick=small)
        yield Job("blind", world, (("sensing", sensing),), quick=True)
    yield Job("duty", world, quick=small)
    yield Job("turns", world, quick=True)
    for who in (0, 1) if small else (0,):  # the code is the same for both; the other one is looked at in one world
        yield Job("flood", world, (("who", who),))
    # The whole pair is no search that ends: it puts the contract between its parts to the test.
    yield Job("pair", world, (("fitted", 11),), quick=small, seconds=8.0 if small else 60.0)


def jobs(quick, part=None, world=None):
    """Return the jobs of the CI part (`quick`) or all of them, those of one part or world if named."""
    found = list(_contacts())
    for name in coarse.NAMES:
        found += _by_world(name)
    return [
        job for job in found
        if (job.quick or not quick) and part in (None, job.part) and world in (None, job.world)
    ]  # fmt: skip


def longest_first(chosen):
    """Return the jobs in an order that keeps every process busy to the end."""
    rank = {part: place for place, part in enumerate(_LONGEST_FIRST)}
    return sorted(chosen, key=lambda job: (rank.get(job.part, len(rank)), job.world != "wide", job.world != "narrow"))


def named(name):
    """Return the job of that name, or None."""
    return next((job for job in jobs(False) if job.name == name), None)


def run(job, every=True, most_seconds=None, most_states=None, progress=None):
    """Search one job, with liveness and recovery where the part knows them.  Returns (Result, trace or "")."""
    with job.open():
        part = job.build(every)
        result, graph = explorer.explore(part, job.world, most_states, most_seconds, progress=progress)
        began = time.perf_counter()
        if result.broken is None and hasattr(part, "liveness"):
            _liveness(part, graph, result)
        if result.broken is None and hasattr(part, "recovers"):
            _recovery(part, graph, result)
        result.seconds += time.perf_counter() - began
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
    """Return the text of a trace by job name, start state and move numbers.  Raises KeyError for another name."""
    job = named(name)
    if job is None:
        raise KeyError(name)
    with job.open():
        part = job.build(every)
        return explorer.trace_text(part, explorer.Broken("replay", name, start, moves))


__all__ = ["PARTS", "Job", "Result", "jobs", "named", "replay", "run"]
