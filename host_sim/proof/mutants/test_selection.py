"""Which test files are put to the mutants of which module: those of the clauses that the module serves.

The proof's own tests come first: they build the one part and kill most mutants in
no time.  The clauses are put to what survives these, and the searches and the
timelines, which take seconds each, only to what survives the clauses.
"""

from pathlib import Path

_LEVEL = ("test_clause_level",)
_PUMPS = ("test_clause_starting", "test_clause_dry_run")
_POWER = ("test_clause_hand",)
_DUTY = ("test_clause_demand", "test_clause_blind")
BY_MODULE = {
    "ticks": ("test_clause_gate", *_PUMPS),
    "timers": ("test_clause_gate", *_PUMPS, *_LEVEL),
    "contacts": _LEVEL,
    "belief": (*_LEVEL, "test_clause_blind", "test_clause_dry_run"),
    "demand": ("test_clause_demand", *_LEVEL, "test_clause_blind", "test_clause_dry_run"),
    "blind": ("test_clause_blind", *_LEVEL),
    "flood": ("test_clause_dry_run", "test_clause_starting"),
    "pump": (*_PUMPS, "test_clause_hand", "test_clause_demand"),
    "pair": ("test_clause_demand", *_PUMPS, *_POWER, "test_clause_blind"),
    "gate": ("test_clause_gate", "test_clause_starting", "test_clause_hand"),
    "supply": ("test_clause_hand", "test_clause_starting", "test_clause_alarms"),
    "selector": ("test_clause_hand", "test_clause_dry_run"),
    "exercise": ("test_clause_demand",),
    "transmitter": ("test_clause_level", "test_clause_dry_run", "test_clause_blind"),
    "buttons": ("test_clause_alarms", "test_clause_hand"),
    "forces": ("test_clause_hand",),
    "alarms": ("test_clause_alarms", "test_clause_hand"),
    "watch": ("test_clause_alarms", *_DUTY, *_POWER, "test_clause_starting"),
    "bands": ("test_clause_hand", "test_clause_alarms", "test_clause_level"),
    "history": ("test_clause_alarms", "test_clause_demand"),
    "controller": (*_DUTY, *_PUMPS, *_POWER, *_LEVEL, "test_clause_alarms"),
    "settings": ("test_clause_hand", "test_clause_starting"),
}


SLOW = ("../proof/test_explore", "test_timeline_floats", "test_timeline_pumps", "test_timeline_power")


def stages(module, root="tests", slow=False):
    """Return the lists of test files for a module, each list for what survives the one before; no empty list."""
    folder = Path(root) / "control"
    own = [folder / f"test_{module}.py", *sorted(folder.glob(f"test_{module}_*.py"))]
    own += sorted(folder.glob("test_cover_*.py"))
    clauses = [folder / f"{name}.py" for name in BY_MODULE[module]]
    late = [folder / f"{name}.py" for name in SLOW] if slow else []
    return [there for stage in (own, clauses, late) if (there := [path for path in stage if path.exists()])]
