"""What `sumpbench mutants` prints: killed, equivalent, surviving, by module, and each survivor in one line."""

import json
import sys
from pathlib import Path

from rich.text import Text

from host_sim.cli_tables import console, table_of
from host_sim.errors import InputError
from host_sim.proof import mutant_runner, mutations, selection


def checkout():
    """Return the root of the checkout that the core lies in.  Raises InputError where there are no tests beside it."""
    root = Path(mutations.Source("gate").module.__file__).resolve().parents[4]
    if not (root / "tests" / "unit").is_dir():
        raise InputError(f"{root}: no tests/unit there; mutants are run from a checkout of the project")
    return root


def mutants(modules, changed, since, slow, seconds, as_json, again=None):
    """Run the mutants of `modules` (None: all).  Returns 0, or 1 where one survives that is not listed.

    `changed`: only those on lines that differ from the commit `since`; `slow`:
    survivors meet the timelines as well; `again`: only those that survived
    in this file, which `--json` wrote.  Raises InputError.
    """
    root = checkout()
    wanted = modules or list(mutations.MODULES)
    for name in wanted:
        if name not in mutations.MODULES:
            raise InputError(f'module "{name}": there are {", ".join(mutations.MODULES)}')
    lines = mutant_runner.changed_lines(root, since) if changed else None
    before = _survived_before(again) if again else None
    reports = {}
    for name in wanted:
        found = list(mutations.Source(name).mutants(lines.get(name, set()) if lines is not None else None))
        if before is not None:
            found = [mutant for mutant in found if _told(str(mutant)) in before]
        if found:
            reports[name] = judge(name, found, root, slow, seconds)
    if as_json:
        print(json.dumps({name: _record(report) for name, report in reports.items()}, indent=1))
    else:
        _show(reports, changed)
    return 1 if any(report.survivors() for report in reports.values()) else 0


def _told(text):
    # A mutant without its line number, which moves when something above it is edited.
    place, rest = text.split(" ", 1)
    return place.split(".py:")[0], rest


def _survived_before(path):
    """Return the survivors, as _told tells them, of a file that `--json` wrote.  Raises InputError."""
    try:
        record = json.loads(Path(path).read_text(encoding="utf-8"))
        return {_told(text) for report in record.values() for text in report["survived"]}
    except OSError as error:
        raise InputError(f"--again {path}: {error.strerror}; give a file that `mutants --json` has written") from error
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise InputError(f"--again {path}: not what `mutants --json` writes; run that first, into a file") from error


def judge(name, found, root, slow=False, seconds=None):
    """Return the Report of the mutants `found` of one module, survivors put to stage after stage of its tests."""
    first, *further = selection.stages(name, root / "tests", slow)
    report = mutant_runner.run(found, first, _progress(name), seconds)
    for tests in further:
        left = [v.mutant for v in report.verdicts if not v.killed]
        if left:
            report.join(mutant_runner.run(left, tests, _progress(name), seconds))
    return report


def _progress(name):
    if not sys.stderr.isatty():
        return None

    def show(done, total, report):
        end = "\n" if done == total else ""
        sys.stderr.write(f"\r{name}: {done} of {total}, {report.killed()} killed\x1b[K{end}")

    return show


def _show(reports, changed):
    columns = (("module", "left", 12), ("mutants", "right", 7), ("killed", "right", 6), ("equivalent", "right", 6),
               ("survived", "right", 6), ("tests", "right", 5), ("time", "right", 7))  # fmt: skip
    table = table_of("Mutants of the control core" + (", changed lines" if changed else ""), columns)
    for name, r in reports.items():
        table.add_row(name, str(len(r.verdicts)), str(r.killed()), str(len(r.equivalents())), str(len(r.survivors())),
                      str(r.tests), f"{r.seconds:.0f} s")  # fmt: skip
    screen = console()
    screen.print(table)
    for report in reports.values():
        for verdict in report.survivors():
            screen.print(Text(f"  survived: {verdict.mutant}" + (f" ({verdict.by})" if verdict.by else "")))
        for key in report.unused:
            screen.print(Text(f"  listed as equivalent, but killed: {' | '.join(key)}"))
    total = sum(len(r.verdicts) for r in reports.values())
    killed = sum(r.killed() for r in reports.values())
    equal = sum(len(r.equivalents()) for r in reports.values())
    screen.print(f"{total} mutants, {killed} killed, {equal} equivalent, {total - killed - equal} survived")


def _record(report):
    return {"mutants": len(report.verdicts), "killed": report.killed(), "equivalent": len(report.equivalents()),
            "survived": [str(v.mutant) for v in report.survivors()], "seconds": round(report.seconds, 1)}  # fmt: skip
