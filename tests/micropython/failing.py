"""MemoryError at every statement in turn: an installation whose every statement counts, and fails at a given number.

Before each statement of the firmware stands a look at a counter, so that the statement after it fails as if what it
allocates found no room.  The number is told from outside, a virtual board by its environment, so that one
installation serves for all, a Pico by the counter itself; the last resort and `main.py` are counted as well.  What
allocates nothing fails too: that is more than a heap would do.
"""

import ast
import random
import shutil
from dataclasses import dataclass

import pytest

from host_sim.board.package import sealed
from host_sim.board.virtual import FIRMWARE
from tests.micropython import damage_rig as rig

COUNTER = """
_counts = [0, _AT, _MORE, _HERE]
def _allocate():
    c = _counts
    c[0] += 1
    if c[1] < c[0] <= c[1] + c[2] and c[1] >= 0 and c[3]:
        raise MemoryError("planted at statement %d" % c[0])
"""
TOLD = """
import os
_AT, _MORE = int(os.getenv("FAIL_AT") or "-1"), int(os.getenv("FAIL_MORE") or "1")
_HERE = os.getenv("FAIL_LIVES") == "all" or os.getenv("DUPLEXSUMP_CAUSE") == "0"
"""
ON_A_PICO = """
import machine
_AT, _MORE = {at}, {more}
_HERE = {all} or machine.reset_cause() == machine.PWRON_RESET
"""
WATCHED_MS = 120_000  # what fails late in the first minute must be over by then
HEAD = "from failing import _allocate\n"
# What evaluates nothing by itself.
LEFT_ALONE = (ast.FunctionDef, ast.ClassDef, ast.Global, ast.Pass, ast.Break, ast.Continue, ast.Try)
LOOP = 3  # statements of boot.py before its tries
STARTED = 2000  # statements: by then the watchdog runs, and a run of failures of any length ends in a reset


class Counting(ast.NodeTransformer):
    """Puts the look before each statement but the first of a module, its docstring and what cannot fail."""

    def generic_visit(self, node):
        """Visit all bodies."""
        super().generic_visit(node)
        if isinstance(node, ast.ClassDef):
            return node  # its body is its constants
        for part in ("body", "orelse", "finalbody"):
            rows = getattr(node, part, None)
            if isinstance(rows, list) and rows and isinstance(rows[0], ast.stmt):
                setattr(node, part, [one for row in rows for one in self._with(row)])
        return node

    def _with(self, row):
        docstring = isinstance(row, ast.Expr) and isinstance(row.value, ast.Constant)
        future = isinstance(row, ast.Assign) and isinstance(row.value, ast.Call)
        constant = future and isinstance(row.value.func, ast.Name) and row.value.func.id == "const"
        if docstring or constant or isinstance(row, LEFT_ALONE):
            return [row]
        return [ast.Expr(ast.Call(ast.Name("_allocate", ast.Load()), [], [])), row]


def counted(text):
    """Return a module's text with the look before each of its statements."""
    tree = Counting().visit(ast.parse(text))
    return HEAD + ast.unparse(ast.fix_missing_locations(tree)) + "\n"


def counted_source(folder, left_out):
    """Return the folder of a firmware whose every statement counts but those of the modules called `left_out`."""
    source = folder / "counted"
    shutil.copytree(FIRMWARE, source, ignore=shutil.ignore_patterns("__pycache__", "*.pyi", "*.md"))
    for path in sorted((source / "lib").rglob("*.py")):
        if path.stem not in left_out:
            path.write_text(counted(path.read_text(encoding="utf-8")), encoding="utf-8")
    for name in ("boot.py", "main.py"):
        path = source / name
        path.write_text(counted(path.read_text(encoding="utf-8")), encoding="utf-8")
    for path in (source / "main.py", source / "lib/duplexsump/station/minimal.py"):
        path.write_text(sealed(path.read_text(encoding="utf-8")), encoding="utf-8")
    return source


def installation(folder):
    """Return the path of a virtual board's flash image whose every statement counts."""
    source = counted_source(folder, ("pico", "esp32", "wired"))
    (source / "failing.py").write_text(TOLD + COUNTER, encoding="utf-8")
    return rig.installation(folder, source, ("failing.py",))


@dataclass
class Case:
    """Statement number `at` fails, and `more` after it; in the first life only, or in `all` lives."""

    at: int
    more: int = 1
    lives: str = "first"

    def flood(self, image, scratch):
        """Return what a board with that image does in a flood (`damage_rig.Flood`)."""
        with pytest.MonkeyPatch.context() as patch:
            for name, value in self.environment().items():
                patch.setenv(name, value)
            return rig.flood(image, scratch, lasts_ms=WATCHED_MS)

    def kept(self, found):
        """Tell whether the pit was kept in that flood; what fails in every life may fail at the last look at it."""
        return found.in_time and (self.lives == "all" or found.good)

    def plant(self, files):
        """Tell a Pico, by the counter among its files (`damage_rig.Files`)."""
        told = ON_A_PICO.format(at=self.at, more=self.more, all=self.lives == "all")
        files.put("/lib/failing.py", (told + COUNTER).encode())

    def environment(self):
        """Return what tells the virtual board."""
        return {"FAIL_AT": str(self.at), "FAIL_MORE": str(self.more), "FAIL_LIVES": self.lives}


def cases(most, count, seed):
    """Return `count` Cases drawn from the first `most` statements, of each kind a third; early ones more often."""
    draw = random.Random(seed)
    found = []
    for number in range(count):
        at = round(most ** draw.random()) if number % 2 else draw.randrange(most)
        kind = number % 3
        if kind < 2:
            found.append(Case(at, 1, "all" if kind else "first"))
        else:
            # Before the watchdog runs, the heap is all but empty: as many failures as boot.py has tries are more than
            # it would do, and the loop of these tries must be reached.
            runs = (3, 30, 300) if at > STARTED else (3, 30)
            found.append(Case(max(at, LOOP), draw.choice(runs)))
    return found
