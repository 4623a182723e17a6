"""The pure core and the compiled one measured in turn, so that what disturbs the machine disturbs both."""

import json
import os
import statistics
import subprocess
import sys
from dataclasses import dataclass

from host_sim.benchmark.measure import WHAT
from host_sim.compiled import cache, select

ROUNDS = 3


@dataclass
class Pair:
    """One thing measured: CPU seconds for one unit in each core, medians over the rounds.

    `compiled_s` is None where no core is compiled.  `ratio` is the median of the
    rounds' own ratios.  `pure_yards`, `compiled_yards`: in units of the fixed loop of `measure`.
    """

    name: str
    unit: str
    pure_s: float
    compiled_s: float | None
    ratio: float | None
    pure_yards: float
    compiled_yards: float | None


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
        lines = [[_measured(name, core) for core in cores] for _ in range(rounds)]
        found.append(_pair(name, lines))
    return found


def _pair(name, lines):
    def median(of):
        return statistics.median(of(line) for line in lines)

    def each(place):
        return median(lambda line: line[place]["cpu_s"] / line[place]["count"])

    def yards(place):
        return median(lambda line: line[place]["cpu_s"] / line[place]["count"] / line[place]["yard_s"])

    unit = WHAT[name][1]
    if len(lines[0]) == 1:
        return Pair(name, unit, each(0), None, None, yards(0), None)
    if any(line[0]["count"] != line[1]["count"] for line in lines):
        raise RuntimeError(f"{name}: the two cores did not do the same: {lines}")
    ratio = median(lambda line: line[0]["cpu_s"] / line[1]["cpu_s"])
    return Pair(name, unit, each(0), each(1), ratio, yards(0), yards(1))


def _measured(name, core):
    paths = os.pathsep.join(filter(None, sys.path))
    command = [sys.executable, "-m", "host_sim.benchmark.measure", name]
    done = subprocess.run(command, env={**os.environ, "SUMPBENCH_CORE": core, "PYTHONPATH": paths}, capture_output=True,
                          text=True, check=False)  # fmt: skip
    if done.returncode:
        raise RuntimeError(f"measuring {name} with the {core} core failed: {done.stderr.strip()[-400:]}")
    line = json.loads(done.stdout)
    if line["core"] != core:
        raise RuntimeError(f"measuring {name}: asked for the {core} core, the {line['core']} one ran")
    return line
