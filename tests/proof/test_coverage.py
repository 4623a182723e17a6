"""Every branch of the control core is taken by the fast suite: the clauses' tests and what the proof adds to them.

The suite is run once more under coverage.py in a process of its own.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

coverage = pytest.importorskip("coverage", reason="the extra `test` brings coverage.py")
pytestmark = pytest.mark.long
ROOT = Path(__file__).resolve().parents[2]
CORE = ROOT / "firmware" / "lib" / "duplexsump" / "control"
# Branches that cannot be taken, by module and source line, each with the reason.
UNREACHABLE = {}


def fast_suite():
    """Return the test files of the fast suite that reach the core."""
    slow = ("mutants", "index", "long_time", "skipping")
    files = [*(ROOT / "tests" / "control").glob("test_*.py"), ROOT / "tests" / "proof" / "test_contacts_search.py"]
    fast = [path for path in files if not path.stem.endswith(slow) and not path.stem.startswith("test_timeline")]
    return sorted(str(path.relative_to(ROOT)) for path in fast)


def run(*words, **more):
    return subprocess.run([sys.executable, "-m", "coverage", *words], cwd=ROOT, capture_output=True, text=True,
                          check=False, **more)  # fmt: skip


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """The report of coverage.py as a dictionary."""
    folder = tmp_path_factory.mktemp("coverage")
    paths = os.pathsep.join([str(CORE.parents[1]), str(ROOT)])
    env = {**os.environ, "COVERAGE_FILE": str(folder / "data"), "PYTHONPATH": paths}
    pytest_words = ("pytest", "-q", "-x", "-m", "not campaign", "-p", "no:cacheprovider", "-p", "no:xdist")
    done = run("run", "--branch", "--source=duplexsump.control", "-m", *pytest_words, *fast_suite(), env=env)
    assert done.returncode == 0, done.stdout[-2000:]
    run("json", "-o", str(folder / "report.json"), env=env)
    return json.loads((folder / "report.json").read_text())


def missed(report):
    """Yield (module, source line) of each line or branch that was not taken."""
    for name, found in report["files"].items():
        lines = (ROOT / name).read_text().splitlines()
        starts = {*found["missing_lines"], *(start for start, _end in found["missing_branches"])}
        for number in sorted(starts):
            yield Path(name).name, lines[number - 1].strip()


def test_every_branch_of_the_core_is_taken_or_named_as_one_that_cannot_be(measured):
    left = set(missed(measured))
    assert left == set(UNREACHABLE), sorted(left ^ set(UNREACHABLE))


def test_the_report_covers_the_whole_core_and_is_no_empty_one(measured):
    there = {path.name for path in CORE.glob("*.py")} - {"__init__.py"}
    seen = {Path(name).name for name, found in measured["files"].items() if found["summary"]["num_statements"]}
    assert seen == there
    assert measured["totals"]["num_branches"] > 800
    # coverage.py's own count agrees with what is read out of its report.
    assert (measured["totals"]["percent_covered"] == 100) == (not set(missed(measured)))


def test_canary_a_branch_that_is_not_taken_is_found(measured):
    report = json.loads(json.dumps(measured))
    name = next(name for name in report["files"] if name.endswith("gate.py"))
    report["files"][name]["missing_branches"].append([next(iter(report["files"][name]["executed_lines"])), -1])
    assert len(list(missed(report))) == len(list(missed(measured))) + 1
