"""What `sumpbench told` prints: the table as it came out, fault by fault, and each month that broke it in one line."""

import json
import multiprocessing
import sys

from rich.text import Text

from host_sim.errors import InputError
from host_sim.proof.told import judge, months
from host_sim.report.clock import lasting
from host_sim.report.console import console, table_of


def one(task):
    """Return the record of one month; `task` is (seed, number, house, season, fault)."""
    return judge.run(*task)


def chosen(only, healthy):
    """Return [(number, house, season, fault)] of the plan, those of `only` where it is given.  Raises InputError."""
    plan = [(number, *row) for number, row in enumerate(months.plan(healthy))]
    if not only:
        return plan
    names = {name for _number, *row in plan for name in row} | {"healthy"}
    unknown = [name for name in only if name not in names]
    if unknown:
        houses = ", ".join(months.HOUSES)
        raise InputError(f'--only "{unknown[0]}": give a fault of `sumpbench faults`, a house ({houses}), a season '
                         "(wet, dry) or healthy")  # fmt: skip
    kinds = [set(only) & set(group) for group in (months.HOUSES, months.SEASONS)]
    faults = {"" if name == "healthy" else name for name in only} - kinds[0] - kinds[1]
    return [row for row in plan if (not kinds[0] or row[1] in kinds[0]) and (not kinds[1] or row[2] in kinds[1])
            and (not faults or row[3] in faults)]  # fmt: skip


def run(seed, healthy, only, workers, as_json):
    """Hold the firmware to the table.  Returns 0, or 1 where a month broke it.  Raises InputError."""
    if workers < 1 or healthy < 0:
        raise InputError(f"--workers {workers}, --healthy {healthy}: at least 1 and at least 0 are wanted")
    tasks = [(seed, *row) for row in chosen(only, healthy)]
    if not tasks:
        raise InputError("--only leaves no month: such a house cannot have that fault")
    records = []
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        for record in pool.imap(one, tasks):
            records.append(record)
            if sys.stderr.isatty():
                sys.stderr.write(f"\r{len(records)} of {len(tasks)} months\x1b[K")
    if sys.stderr.isatty():
        sys.stderr.write("\n")
    if as_json:
        print(json.dumps(records, indent=1))
    else:
        _tell(records, seed)
    return 1 if any(record["broken"] for record in records) else 0


def _tell(records, seed):
    columns = (("fault", "left", 24), ("house", "left", 11), ("month", "left", 5), ("told by", "left", 22),
               ("after", "right", 8), ("call", "left", 8), ("horn min a week", "right", 6), ("floor", "left", 4),
               ("held", "left", 6))  # fmt: skip
    table = table_of(f"What is told, seed {seed}", columns)
    for record in records:
        table.add_row(*_cells(record))
    screen = console()
    screen.print(table)
    broken = [record for record in records if record["broken"]]
    for record in broken:
        which = (record["fault"] or "healthy", record["house"], record["season"])
        words = f"--seed {seed} " + " ".join(f"--only {word}" for word in which)
        screen.print(Text(f"sumpbench told {words}: {record['broken']}"))
    screen.print(f"\n{len(records)} months, {len(broken)} that broke the table")


def _cells(record):
    names = record["alarms"]
    row = judge.row_of(record["fault"], record["house"], record["season"]) if record["fault"] else None
    told = [name for name in names if row and name in row.alarms]
    first = min(told, key=lambda name: names[name][0]) if told else ""
    may = "(may be silent)" if row and row.silent else ""
    after = lasting(names[first][0]) if first else ""
    calls = [word for word in ("flood", "service") if record[f"{word}_call_s"] is not None]
    by = judge.TEXTS[first] if first else may
    return (record["fault"] or "(healthy)", record["house"], record["season"], by, after,
            "+".join(calls), f"{record['horn_min_a_week']:.0f}", "wet" if record["floor_wet_s"] else "dry",
            "NO" if record["broken"] else "yes")  # fmt: skip
