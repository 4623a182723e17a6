"""Procedures: one short file each in `hil/procedures/`, discovered by name.

A file names its PURPOSE (one sentence), the CLAUSES of the narrative that it
proves, what it NEEDS (wires and abilities of a kit), whether it belongs to the
short set that runs in REAL_TIME, and has `run(bench)`.
"""

import importlib
import pkgutil
import re
from dataclasses import dataclass
from types import ModuleType

from hil import procedures
from hil.kits import base, wires
from host_sim.errors import InputError

_CLAUSE = re.compile(r"[A-Z]\d{1,2}b?")


@dataclass(frozen=True)
class Procedure:
    """One procedure, as its file declares it."""

    name: str
    purpose: str
    clauses: tuple
    needs: tuple
    real_time: bool
    order: int
    caution: str
    module: ModuleType

    def run(self, bench):
        """Run it on a bench; raises `verdict.Failed` where the board does not do what is required."""
        self.module.run(bench)


def describe(module):
    """Return the Procedure that a module declares.  Raises InputError naming what is missing or wrong."""
    name = module.__name__.rpartition(".")[2]
    purpose = getattr(module, "PURPOSE", "")
    clauses = tuple(getattr(module, "CLAUSES", ()))
    needs = tuple(getattr(module, "NEEDS", ()))
    if not isinstance(purpose, str) or not purpose.strip():
        raise InputError("PURPOSE is missing: give one sentence", f"procedure {name}")
    if not clauses or not all(_CLAUSE.fullmatch(clause) for clause in clauses):
        raise InputError(f"CLAUSES = {clauses!r}: give clauses of the narrative", f"procedure {name}")
    known = {*wires.WIRES, *base.ABILITIES, "current"}
    for need in needs:
        if need not in known:
            raise InputError(f'NEEDS has "{need}", which is none of: {", ".join(sorted(known))}', f"procedure {name}")
    if not callable(getattr(module, "run", None)):
        raise InputError("run(bench) is missing", f"procedure {name}")
    real_time, order = bool(getattr(module, "REAL_TIME", False)), int(getattr(module, "ORDER", 1000))
    caution = str(getattr(module, "CAUTION", ""))
    return Procedure(name, purpose.strip(), clauses, needs, real_time, order, caution, module)


def load(only=()):
    """Return all procedures by their ORDER, then by name; with `only`, those named.  Raises InputError for others."""
    names = [entry.name for entry in pkgutil.iter_modules(procedures.__path__) if not entry.name.startswith("_")]
    found = [describe(importlib.import_module(f"{procedures.__name__}.{name}")) for name in names]
    found.sort(key=lambda one: (one.order, one.name))
    known = [one.name for one in found]
    unknown = [name for name in only if name not in known]
    if unknown:
        words = [f'there is no procedure "{name}"; the procedures are: {", ".join(known)}' for name in unknown]
        raise InputError(words, "procedures")
    return [one for one in found if not only or one.name in only]
