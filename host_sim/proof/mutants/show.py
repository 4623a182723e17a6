"""What `sumpbench mutants` prints: killed, equivalent, surviving, by module, and each survivor in one line."""

import json
import sys
from pathlib import Path

from rich.text import Text

from host_sim.errors import InputError
from host_sim.proof.mutants import mutations, runner, test_selection
from host_sim.report.console import console, table_of


def checkout():
    """Return the root of the checkout that the core lies in.  Raises InputError where there are no tests beside it."""
    root = Path(mutations.Source("gate").module.__file__).resolve().parents[4]
    if not (root / "tests" / "control").is_dir():
        raise InputError(f"{root}: no tests/control there; mutants are run from a checkout of the project")
    return root


def mutants(found, root, slow, as_json, title="Mutants"):
    """Put `found` ({module: Mutants}) to the tests.  Returns 0, or 1 where one survives that is not listed.

    `slow`: survivors are put to the searches and timelines as well.  Returns 1 too where a test
    fails with no mutant at all, which means that the core itself is broken.
    """
    try:
        reports = {name: judge(name, mutants, root, slow) for name, mutants in found.items()}
    except RuntimeError as error:
        sys.stderr.write(f"{error}\nnothing was mutated: mend these first\n")
        return 1
    if as_json:
        print(json.dumps({name: _record(report) for name, report in reports.items()}, indent=1))
    else:
        _show(reports, title)
    return 1 if any(report.survivors() for report in reports.values()) else 0


def judge(name, found, root, slow=False):
    """Return the Report of the mutants `found` of one module, survivors put to stage after stage of its tests."""
    first, *further = test_selection.stages(name, root / "tests", slow)
    report = runner.run(found, first, _progress(name))
    for tests in further:
        left = [v.mutant for v in report.verdicts if not v.killed]
        if left:
            report.join(runner.run(left, tests, _progress(name)))
    return report


def _progress(name):
    if not sys.stderr.isatty():
        return None

    def show(done, total, report):
        end = "\n" if done == total else ""
        sys.stderr.write(f"\r{name}: {done} of {total}, {report.killed()} killed\x1b[K{end}")

    return show


def _show(reports, title):
    columns = (("module", "left", 12), ("mutants", "right", 7), ("killed", "right", 6), ("equivalent", "right", 6),
               ("survived", "right", 6), ("tests", "right", 5), ("time", "right", 7))  # fmt: skip
    table = table_of(title, columns)
    for name, r in reports.items():
        table.add_row(name, str(len(r.verdicts)), str(r.killed()), str(len(r.equivalents())), str(len(r.survivors())),
                      str(r.tests), f"{r.seconds:.0f} s")  # fmt: skip
    screen = console()
    screen.print(table)
    for report in reports.values():
        for verdict in report.verdicts:
            if verdict.killed and hasattr(verdict.mutant, "becomes"):  # a hand mutant: say which test found it
                screen.print(Text(f"  caught: {verdict.mutant.what}, by {verdict.by}"))
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
