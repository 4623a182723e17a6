"""The benchmark's history: one JSON line a run, and what has become slower since the runs before.

Runs are compared in units of a fixed loop of plain Python that is measured beside
them (`measure.yard_s`), and only with runs of the same processor and Python.
"""

import json
import os
import platform
import statistics
import time
from pathlib import Path

from host_sim.compiled import cache
from host_sim.errors import InputError

NAME = "benchmark.jsonl"
LAST = 5  # runs before, whose median is the measure
SLOWER = 1.25  # from this factor on a figure is named; two runs of the same code differ by some 10 % on a busy machine


def place():
    """Return the path of the history where none is given: beside the compiled cores."""
    return cache.folder() / NAME


def machine():
    """Return in a word what runs are comparable."""
    return f"{platform.machine()} {os.cpu_count()} cores, Python {platform.python_version()}"


def load():
    """Return the machine's load, 0 where it tells none."""
    return os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0


def record(pairs, rows, checksum, goals=(), at_start=0.0, now_s=None):
    """Return one run as a dictionary of plain values.

    `checksum` is the control firmware's, `at_start` the load before anything was measured.
    """
    stamp = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(now_s))
    figures = {}
    for pair in pairs:
        figures[f"{pair.name}, pure"] = pair.pure_yards
        if pair.compiled_yards is not None:
            figures[f"{pair.name}, compiled"] = pair.compiled_yards
    return {
        "at": stamp, "machine": machine(), "firmware": f"{checksum:08x}", "yards": figures,
        "ratios": {pair.name: pair.ratio for pair in pairs if pair.ratio is not None},
        "rows": {row.name: row.cpu_s for row in rows},
        "goals": {goal.name: [goal.figure, goal.met] for goal in goals},
        "load": at_start,
    }  # fmt: skip


def read(path):
    """Return the runs kept in a file, oldest first; none where there is no file.  Raises InputError for a bad line."""
    path = Path(path)
    if not path.exists():
        return []
    found = []
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        try:
            found.append(json.loads(line))
            found[-1]["yards"].items()
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise InputError(f"line {number} is no run of the benchmark: move the file away", str(path)) from error
    return found


def keep(path, run):
    """Add a run to the file.  Raises InputError where it cannot be written."""
    try:
        Path(path).parent.mkdir(parents=True, exist_ok=True)
        with Path(path).open("a", encoding="utf-8") as file:
            file.write(json.dumps(run) + "\n")
    except OSError as error:
        raise InputError(f"the history cannot be written: {error}", str(path)) from error


def _missed(run, last):
    # Goals that the run before met and this one does not.
    met = {name for name, (_figure, met) in last.get("goals", {}).items() if met}
    return [f"MISSED: {name}: {figure}, which the run before reached." for name, (figure, now) in run["goals"].items()
            if now is False and name in met]  # fmt: skip


def compared(run, before):
    """Return sentences on what is slower than the median of the last runs on the same machine, or that nothing is."""
    alike = [one for one in before if one["machine"] == run["machine"]][-LAST:]
    if not alike:
        return ["No run before this one on this machine to compare with."]
    words = []
    for name, value in run["yards"].items():
        known = [one["yards"][name] for one in alike if name in one["yards"]]
        if known and value > SLOWER * statistics.median(known):
            share = value / statistics.median(known)
            words.append(f"SLOWER: {name} takes {share:.2f} times the median of the last {len(known)} runs.")
    words += _missed(run, alike[-1])
    return words or [f"Nothing is slower by {SLOWER:g} times than the median of the last {len(alike)} runs."]
