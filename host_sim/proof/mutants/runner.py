"""The mutant runner: tests are collected once, every mutant runs them in a fork of this process until one fails.

Which tests a mutant meets is found by a first run of all of them, in which each
test's calls into the core are noted: only tests that call the mutated function
are run, first those that have killed other mutants of that function, then the
quickest.  A fork that hangs is stopped by its processor time and counts as killed.
"""

import contextlib
import cProfile
import gc
import inspect
import io
import os
import re
import signal
import subprocess
import time
import tomllib
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path

from host_sim.errors import InputError
from host_sim.proof.mutants.mutations import Source

KILLED, SURVIVED, LOADED_BADLY = 1, 0, 2
# The limit of a mutant that may hang is processor time, which a busy machine does not stretch: ten times what
# the test takes with no mutant, and never less than this.
LEAST_LIMIT_S = 1.0
# Folder of the firmware: what its modules' names begin with.
PLACES = {"control": "", "station": "station.", "boards": "boards."}


@dataclass
class Verdict:
    """What became of a mutant: `by` is the test that killed it, or how else it ended."""

    mutant: object
    killed: bool
    by: str = ""
    reason: str = ""  # why it is equivalent, for a survivor that is listed


@dataclass
class Report:
    """All verdicts of a run."""

    verdicts: list = field(default_factory=list)
    seconds: float = 0.0
    tests: int = 0
    unused: list = field(default_factory=list)  # entries of the list of equivalents that name nothing that survived

    def join(self, later):
        """Take over what a later Report, of the same module's survivors and other tests, has to say."""
        known = equivalents()
        better = {v.mutant: v for v in later.verdicts if v.killed}
        self.verdicts = [better.get(v.mutant, v) for v in self.verdicts]
        self.seconds += later.seconds
        self.tests += later.tests
        self.unused = sorted({*self.unused, *later.unused, *(m.key for m in better if m.key in known)})

    def killed(self):
        """Return how many mutants were killed."""
        return sum(v.killed for v in self.verdicts)

    def survivors(self):
        """Return the verdicts of mutants neither killed nor listed as equivalent."""
        return [v for v in self.verdicts if not v.killed and not v.reason]

    def equivalents(self):
        """Return the verdicts of survivors that are listed with a reason."""
        return [v for v in self.verdicts if not v.killed and v.reason]


def equivalents():
    """Return {(module, function, line text, what): reason} from the list kept beside this file."""
    text = (resources.files("host_sim.proof.mutants") / "equivalents.toml").read_text(encoding="utf-8")
    found = {}
    for row in tomllib.loads(text).get("equivalent", []):
        for what in row["what"] if isinstance(row["what"], list) else [row["what"]]:
            found[row["module"], row["function"], row["line"], what] = row["reason"]
    return found


class Plugin:
    """Takes pytest's place after the collection."""

    def __init__(self, mutants, progress=None):
        self.mutants = mutants
        self.progress = progress
        self.report = Report()
        self.covered = {}  # code name -> [(processor seconds of the test, its place)]
        self.kills = {}  # (module, function) -> {place of the test: mutants of it that this has killed}
        self.failed_before = []
        self.sources = {}

    def pytest_runtestloop(self, session):
        """Run every mutant instead of the tests."""
        self.session = session
        self.report.tests = len(session.items)
        began = time.perf_counter()
        self._map()
        gc.collect()
        gc.freeze()  # what is there by now is left alone by the forks' collectors, so its pages stay shared
        if not self.failed_before:
            for place, mutant in enumerate(self.mutants):
                self.report.verdicts.append(self._verdict(mutant))
                if self.progress:
                    self.progress(place + 1, len(self.mutants), self.report)
        self.report.seconds = time.perf_counter() - began
        return True

    # Which test calls what.

    def _map(self):
        for place, item in enumerate(self.session.items):
            began = time.process_time()
            profile = cProfile.Profile()
            with profile:
                ok = self._passes(place, place + 1)
            called = [entry.code for entry in profile.getstats() if inspect.iscode(entry.code)]
            calls = {(name, code.co_qualname) for code in called if (name := module_of(code.co_filename))}
            if not ok:
                self.failed_before.append(item.nodeid)
            cpu_s = time.process_time() - began
            for call in calls:
                self.covered.setdefault(call, []).append((cpu_s, place))

    def _passes(self, place, next_place):
        # Runs one test with its fixtures; True when every phase passed or was skipped.  Fixtures of a
        # module are torn down by what comes next, so that must be the truth.
        from _pytest.runner import runtestprotocol

        items = self.session.items
        following = items[next_place] if next_place < len(items) else None
        reports = runtestprotocol(items[place], nextitem=following, log=False)
        return not any(report.failed for report in reports)

    # One mutant.

    def _verdict(self, mutant):
        where = mutant.module, mutant.function
        kills = self.kills.setdefault(where, {})
        tests = sorted(self.covered.get(where, ()), key=lambda test: (-kills.get(test[1], 0), *test))
        if not tests:
            return Verdict(mutant, False, "no test calls the function")
        read, write = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(read)
            self._in_fork(mutant, tests, write)
        os.close(write)
        said = b""
        while chunk := os.read(read, 4096):
            said += chunk
        os.close(read)
        _pid, status = os.waitpid(child, 0)
        if os.WIFSIGNALED(status):
            return Verdict(mutant, True, "it hung and was stopped")
        by = said.decode(errors="replace")
        for _seconds, place in tests:
            if self.session.items[place].nodeid == by:
                kills[place] = kills.get(place, 0) + 1
        return Verdict(mutant, os.WEXITSTATUS(status) != SURVIVED, by)

    def _in_fork(self, mutant, tests, write):
        # Never returns.
        code = LOADED_BADLY
        try:
            signal.signal(signal.SIGPROF, signal.SIG_DFL)
            signal.signal(signal.SIGINT, signal.SIG_DFL)
            with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
                code, by = self._try(mutant, tests)
            os.write(write, by.encode()[:500])
        except BaseException as error:
            os.write(write, f"the runner: {error!r}".encode()[:500])
        finally:
            os._exit(code)

    def _try(self, mutant, tests):
        source = self.sources.setdefault(mutant.module, Source(mutant.module))
        source.switch_on(mutant)
        places = [place for _seconds, place in tests]
        for (seconds, place), following in zip(tests, [*places[1:], len(self.session.items)], strict=True):
            signal.setitimer(signal.ITIMER_PROF, max(LEAST_LIMIT_S, 10.0 * seconds))
            if not self._passes(place, following):
                return KILLED, self.session.items[place].nodeid
        return SURVIVED, ""


def module_of(path):
    """Return the name by which a file's module is put to the tests, "" for one of none of PLACES."""
    path = Path(path)
    if path.parent.parent.name != "duplexsump" or path.parent.name not in PLACES:
        return ""
    return PLACES[path.parent.name] + path.stem


def changed_lines(root, since="HEAD"):
    """Return {module: lines} of core, station and boards that differ from a commit, from `git diff`.

    Raises InputError without it.
    """
    folders = [f"firmware/lib/duplexsump/{name}" for name in PLACES]
    command = ["git", "-C", str(root), "diff", "-U0", since, "--", *folders]
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    except OSError as error:
        raise InputError(f"--changed needs git: {error}") from error
    if done.returncode:
        raise InputError(f'--since "{since}": {done.stderr.strip().splitlines()[0]}; give a commit of this checkout')
    found, module = {}, None
    for line in done.stdout.splitlines():
        if line.startswith("+++ b/"):
            module = module_of(line[6:])
        elif (hunk := re.match(r"@@ -\S+ \+(\d+)(?:,(\d+))? @@", line)) and module:
            first, count = int(hunk[1]), int(hunk[2] or 1)
            found.setdefault(module, set()).update(range(first, first + count))
    return found


def run(mutants, tests, progress=None):
    """Run `mutants` against the test files `tests`.  Returns a Report.

    Raises RuntimeError when a test fails before any mutant is switched on.
    """
    import pytest

    plugin = Plugin(list(mutants), progress)
    plugins = [word for name in ("cacheprovider", "xdist", "logging") for word in ("-p", f"no:{name}")]
    arguments = ["-q", *plugins, "-o", "addopts=", "--capture=no", "--tb=no", *map(str, tests)]
    with contextlib.redirect_stdout(io.StringIO()):
        pytest.main(arguments, plugins=[plugin])
    if plugin.failed_before:
        raise RuntimeError("these tests fail without any mutant: " + ", ".join(plugin.failed_before[:5]))
    known, used = equivalents(), set()
    for verdict in plugin.report.verdicts:
        if not verdict.killed and verdict.mutant.key in known:
            verdict.reason = known[verdict.mutant.key]
            used.add(verdict.mutant.key)
    judged = {verdict.mutant.key for verdict in plugin.report.verdicts}
    plugin.report.unused = sorted(key for key in known if key in judged and key not in used)
    return plugin.report
