"""The goals of speed and size in one table: what is wanted, what this machine does now, and whether that is enough.

CPU seconds wherever a busy machine would spoil seconds on the clock; only two workers side by side need the
clock, and where the machine is busy a miss there is no verdict.  What is compared is measured in turn, in this run.
"""

import functools
import importlib.metadata
import json
import os
import re
import statistics
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from host_sim.benchmark import child

BUSY = 0.5  # a load from which on other work takes enough to spoil seconds on the clock
MB = 1e6
WHOLE_SEARCH_S = 120.0  # processor time of the whole exploration, which takes 12 minutes in pure Python
DISTRIBUTION = "sumpbench"
OURS = ("duplexsump", "host_sim", "hil")
# What each package of the default install gives; those that only another one asks for are named by that one.
GIVES = {
    "jinja2": "the pages to print: sizing, record, guide",
    "matplotlib": "the pictures of a night, a replay, a sizing",
    "numpy": "arrays: logs, replay, pictures",
    "pint": "units in site files that are not in our own table",
    DISTRIBUTION: "firmware, simulator, bench",
    "rich": "tables and colors on the screen",
    "schemdraw": "the schematics of the building guide",
    "tomli-w": "site files that are written",
    "typer": "the command line",
}
PLOTTING = "matplotlib"
# How often a loop of plain Python turns in two seconds.
LOOP = """
from time import perf_counter
turns, end = 0, perf_counter() + 2.0
while perf_counter() < end:
    for i in range(20000):
        pass
    turns += 1
print(turns)
"""
# What `sumpbench night` does before it simulates, in a process of its own.
READY = """
from pathlib import Path
from host_sim.cli import app, night
night.files.check(Path("sumpbench-night-that-is-not-there"))
night.read(None, [], None)
from host_sim.run import closed_loop
"""


@dataclass
class Goal:
    """One line of the table: `met` is True, False, or None where this run cannot tell; `note` says how it was found."""

    name: str
    figure: str
    goal: str
    met: bool | None
    note: str = ""


@dataclass
class Package:
    """A package of the default install: bytes on the disk, what it gives, and which package asks for it."""

    name: str
    size: int
    gives: str
    plotting: bool  # it comes with the pictures alone


def measured(pairs, load, quick=False, progress=None):
    """Return the list of Goals; `pairs` is what `pairs.compare()` gave in the same run, `load` the machine's before it.

    `quick` takes a month of log instead of a year, few nights, and leaves out the whole exploration.
    Raises RuntimeError where a measurement fails.
    """
    say = progress or (lambda name: None)
    found = _of_pairs({pair.name: pair for pair in pairs})
    say("one worker and two")
    found.append(_two_workers(64 if quick else 480, load))
    if not quick:
        say("the whole exploration")
        found.append(_whole_search())
    say("a long log")
    found += _long_log(28 if quick else 365)
    say("start-up")
    found += _start_up(1 if quick else 5)
    found += _install()
    return found


def _ratio(name, ratio, least, note):
    if ratio is None:
        return Goal(name, "no compiled core", f"{least:g} times", None, "sumpbench compile")
    return Goal(name, f"{ratio:.1f} times", f"{least:g} times", ratio >= least, note)


def _of_pairs(pairs):
    # What both cores did in turn.
    found = []
    for key, name, least in (("core", "controller's step, pure / compiled", 10.0),
                             ("night", "step of the demo night, pure / compiled", 5.0)):  # fmt: skip
        if key in pairs:
            found.append(_ratio(name, pairs[key].ratio, least, _each(pairs[key])))
    if "campaign" in pairs:
        pair = pairs["campaign"]
        seconds = pair.compiled_s or pair.pure_s
        found.append(Goal("campaign, nights per second and core", f"{1.0 / seconds:.1f}", "25", 1.0 / seconds >= 25.0,
                          f"pure Python {1.0 / pair.pure_s:.1f}"))  # fmt: skip
    if "searches" in pairs:
        pair = pairs["searches"]
        rate = f"{1.0 / (pair.compiled_s or pair.pure_s):,.0f} moves a second, pure Python {1.0 / pair.pure_s:,.0f}"
        found.append(_ratio("exploration, pure / compiled", pair.ratio, 6.0, rate))
    return found


def _each(pair):
    return f"{pair.pure_s * 1e6:.1f} us against {pair.compiled_s * 1e6:.1f} us" if pair.compiled_s else ""


# Two workers.


def _two_workers(nights, load):
    # The same nights by one worker and by two.
    name = "campaign, second worker's efficiency"
    if (os.cpu_count() or 1) < 2:
        return Goal(name, "one core", "0.9", None)
    one, two = (_child("workers", str(workers), str(nights)) for workers in (1, 2))
    clock = one["wall_s"] / two["wall_s"] / 2.0
    cpu = one["cpu_s"] / two["cpu_s"]
    got = two["cpu_s"] / two["wall_s"]
    ceiling = _ceiling()
    note = f"on the clock, {nights} nights; a night's processor time alone / beside another: {cpu:.2f}; "
    note += f"two plain loops side by side: {ceiling:.2f}"
    if clock < 0.9 and load > BUSY:
        note += f"; the machine was busy (load {load:.1f}): two workers got {got:.2f} cores"
        return Goal(name, f"{clock:.2f}", "0.9", None, note)
    if clock < 0.9 and ceiling < 0.9:
        return Goal(name, f"{clock:.2f}", "0.9", None, note + "; no program reaches 0.9 here now")
    return Goal(name, f"{clock:.2f}", "0.9", clock >= 0.9, note)


def _ceiling():
    # What a second core gives to a loop that shares nothing: turns in a stretch of time, side by side over alone.
    alone = _turns(1)
    return _turns(2) / 2.0 / alone


def _turns(count):
    # Turns of so many loops in processes of their own, at once.
    with ThreadPoolExecutor(count) as pool:
        return sum(int(text) for text in pool.map(lambda _n: _run(["-c", LOOP]), range(count)))


def _whole_search():
    found = _child("whole")
    note = f"{found['states']:,} states, {found['transitions']:,} moves"
    if found["broken"]:
        note += f"; BROKEN: {found['broken']}"
    seconds = found["cpu_s"]
    return Goal("whole exploration, processor time", f"{seconds:.0f} s", f"{WHOLE_SEARCH_S:.0f} s",
                seconds <= WHOLE_SEARCH_S, note)  # fmt: skip


# A long log.


def _long_log(days):
    if find_spec("pyarrow") is None:
        return [Goal("long log, replaying / reading", "no pyarrow", "5 times", None, 'pip install "sumpbench[logs]"')]
    from host_sim.replay import benchmark

    with tempfile.TemporaryDirectory() as folder:
        read, replayed = benchmark.compare(folder, days * benchmark.DAY_S, "parquet")
    cpu, clock = replayed["cpu_s"] / read["cpu_s"], replayed["seconds"] / read["seconds"]
    peak = replayed["peak_bytes"] / MB
    what = f"{days} days at 1 Hz, Parquet"
    note = f"{replayed['cpu_s']:.1f} s of processor time against {read['cpu_s']:.1f} s; on the clock {clock:.1f} times"
    return [
        Goal(f"long log, replaying / reading ({what})", f"{cpu:.1f} times", "5 times", cpu <= 5.0, note),
        Goal("long log, peak memory", f"{peak:.0f} MB", "2000 MB", peak < 2000.0),
    ]


# Start-up.


def _start_up(rounds):
    found = []
    for name, arguments, most in (
        ("sumpbench --help, processor time", ["-m", "host_sim", "--help"], 0.3),
        ("sumpbench night, ready to simulate, processor time", ["-c", READY], 1.0),
    ):
        seconds = statistics.median(_cpu_of(arguments) for _ in range(rounds))
        found.append(Goal(name, f"{seconds:.2f} s", f"{most:g} s", seconds <= most))
    return found


def _cpu_of(arguments):
    # User and system time of a child process, from its start to its end.
    import resource

    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    _run(arguments)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


# The default install.


@functools.cache
def packages():
    """Return the Packages of the default install, largest first; none where sumpbench is not installed."""
    direct = _required(DISTRIBUTION)
    if not direct:
        return []
    asked = {}
    for root in direct:
        for name in {root} | _below(root):
            asked.setdefault(name, set()).add(root)
    found = {name: _size(name) for name in asked} | {DISTRIBUTION: _of_ours()}
    return sorted(
        (
            Package(name, size, GIVES.get(name) or f"required by {', '.join(sorted(asked[name]))}",
                    asked.get(name) == {PLOTTING})
            for name, size in found.items() if size is not None
        ),
        key=lambda one: -one.size,
    )  # fmt: skip


def _below(name):
    found, todo = set(), _required(name)
    while todo:
        one = todo.pop()
        if one not in found:
            found.add(one)
            todo += _required(one)
    return found


def _required(name):
    # Names of what a distribution requires here, without its extras.
    try:
        lines = importlib.metadata.requires(name) or []
    except importlib.metadata.PackageNotFoundError:
        return []
    return [_plain(line) for line in lines if _holds(line.partition(";")[2])]


def _holds(marker):
    # Whether a marker holds for this Python, asked for without extras.
    if not marker.strip():
        return True
    from packaging.markers import Marker

    return Marker(marker).evaluate({"extra": ""})


def _plain(requirement):
    return re.match(r"[A-Za-z0-9._-]+", requirement).group().lower().replace("_", "-").replace(".", "-")


def _size(name):
    # Bytes of its files with their bytecode; None where it is not installed.
    try:
        files = importlib.metadata.files(name) or []
    except importlib.metadata.PackageNotFoundError:
        return None
    paths = {Path(file.locate()) for file in files}
    folders = {path.parent / "__pycache__" for path in paths if path.suffix == ".py"}
    stems = {(path.parent, path.stem) for path in paths if path.suffix == ".py"}
    for folder in folders:
        if folder.is_dir():
            paths |= {one for one in folder.iterdir() if (folder.parent, one.name.split(".")[0]) in stems}
    return sum(path.stat().st_size for path in paths if path.is_file())


def _of_ours():
    # An editable install keeps our own files elsewhere, so they are looked for where they are imported from.
    places = [place for name in OURS if (spec := find_spec(name)) for place in spec.submodule_search_locations or ()]
    return sum(path.stat().st_size for place in places for path in Path(place).rglob("*") if path.is_file())


def _install():
    found = packages()
    if not found:
        return [Goal("default install", "not installed", "150 MB", None, "pip install .")]
    whole = sum(one.size for one in found) / MB
    rest = sum(one.size for one in found if not one.plotting) / MB
    note = f"the pictures alone need {whole - rest:.0f} MB of it; they stay, for the first command draws one"
    return [
        Goal("default install, its packages", f"{whole:.0f} MB", "150 MB", whole <= 150.0, note),
        Goal("default install, without plotting", f"{rest:.0f} MB", "150 MB", rest <= 150.0),
    ]


# Children.


def _child(*arguments):
    return json.loads(_run(["-m", "host_sim.benchmark.goals", *arguments]))


def _run(arguments):
    return child.run(arguments, " ".join(arguments))


def workers(count, nights):
    """Run nights of the campaign with so many workers; return seconds on the clock and of processor time."""
    import resource

    from host_sim.proof.campaign import campaign

    with tempfile.TemporaryDirectory() as folder:
        shelf = campaign.Shelf(folder, 1)
        began, before = time.perf_counter(), time.process_time()
        campaign.run(shelf, nights, count)
        wall_s = time.perf_counter() - began
        cpu_s = time.process_time() - before
        kept = len(shelf.wanted(nights))
        shelf.close()
    if kept != nights:
        raise RuntimeError(f"{kept} of {nights} nights came back")
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return {"wall_s": wall_s, "cpu_s": cpu_s + children.ru_utime + children.ru_stime}


def whole():
    """Search the whole plan in this process; return processor time, states, moves and the first breach."""
    from host_sim.proof.search import search_plan

    found = {"states": 0, "transitions": 0, "broken": ""}
    for search in search_plan.planned(False):
        result, _trace = search_plan.run(search)
        found["states"] += result.states
        found["transitions"] += result.transitions
        found["broken"] = found["broken"] or (f"{search.name}: {result.broken.invariant}" if result.broken else "")
    return {**found, "cpu_s": time.process_time()}


if __name__ == "__main__":
    print(json.dumps(workers(*map(int, sys.argv[2:])) if sys.argv[1] == "workers" else whole()))
