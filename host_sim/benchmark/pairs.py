"""Pure Python, the compiled core and EPA SWMM measured in turn, so that what disturbs the machine disturbs all."""

import json
import statistics
from dataclasses import dataclass
from importlib.util import find_spec

from host_sim.benchmark import child
from host_sim.benchmark.measure import SWMM, WHAT
from host_sim.compiled import cache, select

ROUNDS = 3


@dataclass
class Pair:
    """One thing measured: CPU seconds for one unit in each core, medians over the rounds.

    `compiled_s` is None where no core is compiled.  `ratio` is the median of the
    rounds' own ratios.  `pure_yards`, `compiled_yards`: in units of the fixed loop of `measure`.
    `swmm_pure`, `swmm_compiled`: SWMM's time for as much simulated time over ours, None where there is none.
    """

    name: str
    unit: str
    pure_s: float
    compiled_s: float | None
    ratio: float | None
    pure_yards: float
    compiled_yards: float | None
    swmm_pure: float | None = None
    swmm_compiled: float | None = None


def there_is_a_compiled_core():
    """Tell whether a core is compiled from the sources that this process would run."""
    place = select.sources()
    return place is not None and cache.library(cache.key(place)).exists()


def compare(progress=None, rounds=ROUNDS, names=tuple(WHAT)):
    """Return a list of Pairs.  Raises RuntimeError where a measurement fails."""
    cores = ("pure", "compiled") if there_is_a_compiled_core() else ("pure",)
    found = []
    for name in names:
        if progress:
            progress(f"{name}, {' and '.join(cores)}")
        beside = name in SWMM and find_spec("pyswmm") is not None
        lines, judged = [], []
        for _ in range(rounds):
            lines.append([_measured(name, core) for core in cores])
            judged += [_measured(name, "pure", "swmm")] if beside else []
        found.append(_pair(name, lines, judged))
    return found


def _pair(name, lines, judged=()):
    def beside(place):
        # SWMM's time over ours, round by round.
        ratios = [swmm["cpu_s"] / line[place]["cpu_s"] for swmm, line in zip(judged, lines, strict=bool(judged))]
        return statistics.median(ratios) if ratios else None

    def median(of):
        return statistics.median(of(line) for line in lines)

    def each(place):
        return median(lambda line: line[place]["cpu_s"] / line[place]["count"])

    def yards(place):
        return median(lambda line: line[place]["cpu_s"] / line[place]["count"] / line[place]["yard_s"])

    unit = WHAT[name][1]
    if len(lines[0]) == 1:
        return Pair(name, unit, each(0), None, None, yards(0), None, beside(0))
    if any(line[0]["count"] != line[1]["count"] for line in lines):
        raise RuntimeError(f"{name}: the two cores did not do the same: {lines}")
    ratio = median(lambda line: line[0]["cpu_s"] / line[1]["cpu_s"])
    return Pair(name, unit, each(0), each(1), ratio, yards(0), yards(1), beside(0), beside(1))


def _measured(name, core, *more):
    what = f"{name} with the {core} core"
    line = json.loads(child.run(["-m", "host_sim.benchmark.measure", name, *more], what, SUMPBENCH_CORE=core))
    if line["core"] != core:
        raise RuntimeError(f"measuring {name}: asked for the {core} core, the {line['core']} one ran")
    return line
