"""Hand mutants: whole lines of the core rewritten by hand, put to the tests like mutants.

They are bigger than a mutant's one operator, and were written down (hand_mutants.toml)
before anybody looked which test would find them.
"""

import tomllib
from dataclasses import dataclass
from importlib import resources

from host_sim.errors import InputError
from host_sim.proof.mutants.mutations import MODULES, STATION, Mutant, Source


@dataclass(frozen=True)
class HandMutant(Mutant):
    """A mutant that is a rewritten line; `becomes` is the new line, stripped, `text` the old one."""

    becomes: str = ""

    def __str__(self):
        return f"{self.module.replace('.', '/')}.py:{self.line} {self.function}: {self.what}: {self.becomes}"


def read(text, source="hand_mutants.toml", table="hand_mutant"):
    """Return the HandMutants of a TOML text, one for each row of its `table`.

    Raises InputError for a row that names no module, no function, or a line
    that does not stand in that function exactly once.
    """
    found = []
    for row in tomllib.loads(text).get(table, []):
        missing = {"module", "function", "line", "becomes", "what"} - set(row)
        if missing:
            raise InputError(f"a hand mutant lacks {', '.join(sorted(missing))}", source)
        if row["module"] not in MODULES + STATION:
            raise InputError(f'module "{row["module"]}": there are {", ".join(MODULES + STATION)}', source)
        found.append(_hand_mutant(row, Source(row["module"]), source))
    return found


def _hand_mutant(row, core, source):
    node = core.functions.get(row["function"])
    if node is None:
        raise InputError(f"{row['module']} has no function {row['function']}", source)
    places = range(node.lineno, node.end_lineno + 1)
    there = [line for line in places if core.lines[line - 1].strip() == row["line"]]
    if len(there) != 1:
        line, times = row["line"], len(there)
        raise InputError(f"{row['function']}: the line {line!r} stands there {times} times, not once", source)
    return HandMutant(row["module"], row["function"], there[0], row["line"], row["what"], -1, row["becomes"])


def packaged():
    """Return the HandMutants kept beside this file."""
    return read((resources.files("host_sim.proof.mutants") / "hand_mutants.toml").read_text(encoding="utf-8"))
