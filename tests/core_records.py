"""The compiled core beside the pure one: the same nights, searches and journals in both, held against each other.

    python -m tests.core_records --nights 2000 --seed 1

runs the compiled core with the compiled plant, and the sources, each in a process of its own, and compares them
line by line; it leaves with 1 at the first difference.  Lines are (what, digest): of a night of the
campaign the journal, both traces and the record, of a search its states, moves, depth and
waits, of a site its journal, its trace and the replay of it.
"""

import argparse
import hashlib
import json
import os
import subprocess
import sys
import time
from pathlib import Path

CORES = ("compiled core and plant", "pure Python core (asked for)")  # what each process must say of itself
ROOT = Path(__file__).parent.parent
# Searches that end within a second or stop at so many states.
STATES = 1500
BEGUN = {"flood": 62_000, "turns": 9_000}  # these begin in so many that no move would be tried else
SEARCHES = ("contacts", "belief", "demand", "blind", "gate", "pump", "duty", "flood", "turns", "pair", "alarms")


def digest(*things):
    """Return a short digest of texts."""
    return hashlib.sha256("\n".join(things).encode()).hexdigest()[:24]


def journal_text(records):
    """Return the records of a journal as they are written to a file."""
    from host_sim.run.journal import _line

    return "\n".join(json.dumps(_line(record)) for record in records)


def trace_text(trace):
    """Return everything that a run recorded but its time on the clock, to the last digit of every number."""
    trace.totals.wall_s = 0.0
    journal, trace.journal = trace.journal, None
    text = repr(trace)
    trace.journal = journal
    return text


def nights(seed, first, count):
    """Yield (name, digest, steps) of nights of the campaign."""
    from host_sim.proof.campaign import night_run
    from host_sim.proof.campaign import nights as drawn

    for number in range(first, first + count):
        night = drawn.draw(seed, number)
        work, trace, single = night_run.played(night)
        record = night_run.judge(night, work, trace, single)
        record.pop("wall_s")
        said = (journal_text(work.control.records), trace_text(trace), trace_text(single), json.dumps(record))
        yield f"night {seed}/{number}", digest(*said), record["steps"]


def searches(states=STATES):
    """Yield (name, digest, states) of the quick searches of the explorer."""
    from host_sim.proof.search import search_plan

    for part in SEARCHES:
        search = next(s for s in search_plan.planned(False, part, "narrow" if part == "contacts" else "quick"))
        result, trace = search_plan.run(search, False, max(states, BEGUN.get(part, 0)))
        told = (result.states, result.transitions, result.depth, result.exhausted, result.longest, trace)
        yield f"search {search.name}", digest(json.dumps(told)), result.states


def sites(names):
    """Yield (name, digest, records compared) of packaged sites: the journal, and its replay."""
    from host_sim.replay import exact
    from host_sim.run import closed_loop
    from host_sim.site.load import load_site, packaged

    for name in names:
        trace = closed_loop.run(load_site(packaged(name)))
        journal = trace.journal
        again = exact.replay(journal)
        said = (again.compared, again.steps, repr(again.difference))
        yield f"site {name}", digest(journal_text(journal.records), trace_text(trace), json.dumps(said)), again.compared


def child(core, *arguments):
    """Return the lines of a process that runs with one core.  Raises RuntimeError where it fails."""
    paths = os.pathsep.join(str(path) for path in (ROOT / "firmware/lib", ROOT))
    env = {**os.environ, "SUMPBENCH_CORE": core, "PYTHONPATH": paths}
    command = [sys.executable, "-m", "tests.core_records", "--here", *arguments]
    done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{' '.join(command)}: {done.stderr}")
    return [json.loads(line) for line in done.stdout.splitlines()]


def _here(arguments):
    from host_sim.compiled import select

    print(json.dumps(["core", select.told(), 0]))
    sources = (
        nights(arguments.seed, arguments.first, arguments.nights),
        searches() if arguments.searches else (),
        sites(arguments.site),
    )
    for source in sources:
        for line in source:
            print(json.dumps(line), flush=True)


def _both(arguments, given):
    found, took = {}, {}
    for core in ("compiled", "pure"):
        began = time.perf_counter()
        found[core] = child(core, *given)
        took[core] = time.perf_counter() - began
    if [lines[0][1] for lines in found.values()] != list(CORES):
        return f"these are not two cores: {[lines[0] for lines in found.values()]}"
    for a, b in zip(*found.values(), strict=True):
        if a != b and a[0] != "core":
            return f"{a[0]} differs: compiled {a[1:]}, pure {b[1:]}"
    count = len(found["pure"]) - 1
    units = sum(line[2] for line in found["pure"])
    print(f"{count} the same in both cores ({units:,} steps, states and records): "
          f"compiled {took['compiled']:.0f} s, pure {took['pure']:.0f} s on the clock")  # fmt: skip
    return None if count else "nothing was compared"


def main():
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--nights", type=int, default=0)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--searches", action="store_true")
    parser.add_argument("--site", action="append", default=[])
    parser.add_argument("--here", action="store_true", help="in this process, with the core that it has")
    given = sys.argv[1:]
    arguments = parser.parse_args(given)
    sys.exit(_here(arguments) if arguments.here else _both(arguments, given))


if __name__ == "__main__":
    main()
