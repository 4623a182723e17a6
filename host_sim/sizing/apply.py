"""`size --apply-all`: cures applied together, cheapest first, until the pit fits; each step confirmed by a night.

Only serious remarks are worked on.  A cure counts when its remark is gone and
fewer serious ones are left than before; where there is none, one that leaves
others than ever before, as few as can be (a larger pump asks for a thicker
cable).  A measurement is never made up: what
only a measurement could settle stays.
"""

from dataclasses import dataclass, replace

from host_sim.errors import InputError
from host_sim.run import closed_loop
from host_sim.site.load import read_site
from host_sim.sizing import site_out
from host_sim.sizing.model import size
from host_sim.sizing.remarks.raised import by_cost, raised, works
from host_sim.sizing.remarks.remark import COSTS

MOST_STEPS = 20


@dataclass(frozen=True)
class Step:
    """One cure that was applied: for which remarks, what, what it costs; serious remarks left; what its night showed;
    the keys of the site file that it sets."""

    title: str
    text: str
    cost: str
    left: int
    night: str
    dry: bool
    keys: frozenset = frozenset()


@dataclass(frozen=True)
class Applied:
    """The outcome: the document with every cure in it, the Steps, whether it fits now, and what is left if not."""

    data: dict
    steps: tuple
    fits: bool
    left: tuple


def apply_all(data, say, source="site"):
    """Return the Applied of a site document.  Raises InputError where it cannot be sized at all."""
    result, steps = size(data, source), []
    serious = _serious(result, say)
    seen = {_names(serious)}
    while serious and len(steps) < MOST_STEPS:
        found = _first(result, serious, say, seen)
        if found is None:
            break
        item, cure, result, serious = found
        seen.add(_names(serious))
        dry, night = night_of(result)
        step = Step(item.title, cure.text, COSTS[cure.cost], len(serious), night, dry, frozenset(cure.edits))
        steps = _followed(steps, step)
    fits = not serious and all(step.dry for step in steps[-1:])
    return Applied(result.inputs.data, tuple(steps), fits, tuple(f"{i.title}: {i.reason}" for i in serious))


def _followed(steps, step):
    # What a later step sets anew nobody does first: a pit of 18 in and then one of 40 in is one pit of 40 in.
    done = [old for old in steps if old.keys and old.keys <= step.keys]
    titles = dict.fromkeys([*(old.title for old in done), step.title])
    return [*(old for old in steps if old not in done), replace(step, title="; ".join(titles))]


def _serious(result, say):
    return [item for item in raised(result, say, with_cures=False) if item.serious]


def _names(serious):
    return frozenset(item.remark.name for item in serious)


def _first(result, serious, say, seen):
    # The cheapest cure of the first remark that has one; a remark without one may be cured by another's.
    sideways = None
    for item in serious:
        for family in by_cost(item.remark.cures(result, say)):
            for cure in family:
                after = None if cure.measures else works(result, item.remark, cure, say)
                if after is None:
                    continue
                left = _serious(after, say)
                if len(left) < len(serious):
                    return item, cure, after, left
                if _names(left) not in seen and (sideways is None or len(left) < len(sideways[3])):
                    sideways = item, cure, after, left
                break
    return sideways


def night_of(result):
    """Return (whether the floor stays dry, what happened) in the design night of a sized site under the firmware."""
    try:
        trace = closed_loop.run(read_site(site_out.text(result)))
    except InputError as error:
        return False, f"its night cannot be run: {error}"
    starts = " and ".join(str(count) for count in trace.totals.starts)
    if trace.totals.floor_first_s is None:
        return True, f"simulated design night: floor dry, {starts} starts"
    minutes = trace.totals.floor_wet_s / 60.0
    return False, f"simulated design night: floor wet for {minutes:.0f} min, {starts} starts"
