"""What `sumpbench explore` prints: the table of searches, the waits, counter-examples and their replays."""

import json
import multiprocessing
import sys
import time

from rich.text import Text

from host_sim.errors import InputError
from host_sim.proof.search import coarse, search_plan
from host_sim.report.console import console, table_of

MOST_TRACES = 3  # counter-examples told in full; the rest by their replay


def explore(part, world, quick, states, workers, replay, as_json):
    """Search the parts and print what was found.  Returns 0, or 1 at a counter-example.

    `states` limits every search; None leaves the plan's own limit, which only the whole pair has.
    Raises InputError for a part, world or replay that does not exist.
    """
    if part is not None and part not in search_plan.PARTS:
        raise InputError(f'part "{part}": there are {", ".join(search_plan.PARTS)}')
    if world is not None and world not in coarse.NAMES:
        raise InputError(f'coarse world "{world}": there are {", ".join(coarse.NAMES)}')
    if replay is not None:
        print(_replayed(replay))
        return 0
    searches = search_plan.planned(quick, part, world)
    began = time.perf_counter()
    found = _run_all(searches, not quick, states, workers)
    _show(found, time.perf_counter() - began, not quick, states, as_json)
    return 1 if any(result.broken for _search, result, _trace in found) else 0


def _replayed(text):
    try:
        name, start, moves = text.rsplit("/", 2)
        every = not name.startswith("quick/")
        return search_plan.replay(name.removeprefix("quick/"), int(start), [int(m) for m in moves.split(".")], every)
    except (ValueError, KeyError, IndexError):
        raise InputError(f'replay "{text}": give what explore printed, NAME/START/MOVE.MOVE.MOVE') from None


def _work(task):
    search, every, states = task
    began = time.process_time()
    result, trace = search_plan.run(search, every, states)
    result.cpu_s = time.process_time() - began
    return search, result, trace


def _run_all(searches, every, states, workers):
    tasks = [(search, every, states) for search in search_plan.longest_first(searches)]
    found, bar = [], sys.stderr.isatty()
    if workers == 1:
        results = map(_work, tasks)
    else:
        pool = multiprocessing.get_context("spawn").Pool(workers, maxtasksperchild=1)
        results = pool.imap_unordered(_work, tasks)
    for done in results:
        found.append(done)
        if bar:
            sys.stderr.write(f"\r{len(found)} of {len(tasks)} searches\x1b[K")
    if bar:
        sys.stderr.write("\n")
    if workers != 1:
        pool.terminate()
    order = {search.name: place for place, search in enumerate(searches)}
    return sorted(found, key=lambda item: order[item[0].name])


def _show(found, seconds, every, limit, as_json):
    if as_json:
        print(json.dumps([_record(search, result, every) for search, result, _trace in found], indent=1))
        return
    columns = (("search", "left", 22), ("world", "left", 6), ("states", "right", 9), ("transitions", "right", 11),
               ("depth", "right", 5), ("CPU time", "right", 8), ("", "left", 12))  # fmt: skip
    table = table_of("Exhaustive exploration by parts, in coarse worlds", columns)
    for _search, result, _trace in found:
        said = "exhausted" if result.exhausted else "stopped"
        if result.broken:
            said = f"BROKEN {result.broken.invariant}"
        table.add_row(result.part, result.coarse, f"{result.states:,}", f"{result.transitions:,}", str(result.depth),
                      f"{result.cpu_s:.1f} s", said)  # fmt: skip
    screen = console()
    screen.print(table)
    for _search, result, _trace in found:
        for claim, ticks in result.longest.items():
            tail = "" if ticks == 0 else f" within {ticks} ticks" if ticks > 0 else ": NOT, it can wait for ever"
            screen.print(Text(f"  {result.part}, {result.coarse}: {claim}{tail}"))
    states = sum(result.states for _search, result, _trace in found)
    moves = sum(result.transitions for _search, result, _trace in found)
    ended = sum(result.exhausted for _search, result, _trace in found)
    busy = sum(result.cpu_s for _search, result, _trace in found)
    screen.print(f"{states:,} states, {moves:,} moves, {ended} of {len(found)} searches exhausted, "
                 f"{busy:.0f} s of processor time, {seconds:.0f} s on the clock")  # fmt: skip
    screen.print("Exhausted: no state is left unvisited in that coarse world.  Other settings rest on the campaign.")
    for line in _limits(found, limit):
        screen.print(line)
    if any(search.part == "pair" for search, _result, _trace in found):
        screen.print("pair: the whole pair puts to the test the contract by which demand, blind, duty, flood and turns")
        screen.print("      are searched apart.")
    _show_worlds(screen)
    for number, (search, result, trace) in enumerate(item for item in found if item[1].broken):
        told = trace if number < MOST_TRACES else trace.splitlines()[0]
        screen.print(Text(f"\n{told}\nreplay: {reference(search, result, every)}"))


def _limits(found, limit):
    # A line for each limit of states at which searches stopped.
    stopped = {}
    for search, result, _trace in found:
        if not result.exhausted and not result.broken:
            stopped.setdefault(limit or search.most_states, []).append(search)
    for most, searches in sorted(stopped.items()):
        yield f"Stopped at {most:,} states: {', '.join(search.name for search in searches)}."


def _show_worlds(screen):
    columns = (("timer", "left", 18), ("default", "right", 8), *((name, "right", 6) for name in coarse.NAMES))
    table = table_of("The coarse worlds: how many ticks each timer takes, in the order of the defaults", columns)
    for name, seconds, *ticks in coarse.table():
        table.add_row(name, f"{seconds:g} s", *(str(count) for count in ticks))
    screen.print(table)


def reference(search, result, every):
    """Return the one line that replays a counter-example."""
    moves = ".".join(str(m) for m in result.broken.moves)
    return f"{'' if every else 'quick/'}{search.name}/{result.broken.start}/{moves}"


def _record(search, result, every):
    record = {"search": search.name, "states": result.states, "transitions": result.transitions, "depth": result.depth,
              "cpu_s": round(result.cpu_s, 2), "exhausted": result.exhausted, "waits": result.longest}  # fmt: skip
    if result.broken:
        record["broken"] = {"invariant": result.broken.invariant, "text": result.broken.text,
                            "replay": reference(search, result, every)}  # fmt: skip
    return record
