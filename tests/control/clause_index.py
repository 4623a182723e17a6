"""One place for each clause: its file is found by its number, its tests by `python -m tests.control.clause_index L4`.

A file named `test_clause_s5_s8.py` owns S5 to S8: what the whole controller
does about them, input by input, lies there and nowhere else.  Beside it lie the
tests of single parts (`test_<part>.py`), the timelines (`test_timeline_*.py`) and,
for clauses that the board keeps, the tests of the station.
"""

import ast
import re
import sys
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HERE = ROOT / "tests" / "control"
NARRATIVE = ROOT / "firmware" / "NARRATIVE.md"
LETTERS = "LDSRAMJI"

# Clauses that no step of the controller alone can show, and where their tests lie.
ELSEWHERE = {
    **{f"I{i}": "tests/property/test_control_invariants.py" for i in range(1, 15)},
    **dict.fromkeys(("I8", "I12"), "tests/property/test_control_nights.py"),
    **{f"I{i}": "tests/property/test_station_invariants.py" for i in range(15, 21)},
    "I10": "tests/property/test_control_skipping.py",
    "I14": "tests/control/test_timeline_floats.py",
    **dict.fromkeys(("M5", "M6"), "tests/unit/test_station_run.py"),  # kept by the board, not by the core
    "M7": "tests/unit/test_link_line.py",
    "M8": "tests/unit/test_board_hardware.py",
    "J1": "tests/unit/test_station_store.py",
    "J2": "tests/unit/test_replay_exact.py",
}


def clauses():
    """Return the clause ids of the narrative: bold at the beginning of a paragraph or a list item."""
    return set(re.findall(rf"^(?:- )?\*\*([{LETTERS}]\d+)\b", NARRATIVE.read_text(encoding="utf-8"), re.MULTILINE))


def span(first, last):
    """Return the clauses from one to another of the same letter, both told as `S5`."""
    return [f"{first[0]}{i}" for i in range(int(first[1:]), int(last[1:]) + 1)]


def owners(folder=HERE):
    """Return {clause: files that own it by their names}."""
    found = {}
    for path in sorted(folder.glob("test_clause_*.py")):
        named = re.fullmatch(r"test_clause_([a-z]\d+)_([a-z]\d+)", path.stem)
        for clause in span(named[1].upper(), named[2].upper()) if named else ():
            found.setdefault(clause, []).append(path)
    return found


def owner(clause):
    """Return the file that owns a clause."""
    return ROOT / ELSEWHERE[clause] if clause in ELSEWHERE else owners()[clause][0]


def of_name(name):
    """Return the clauses that a test's name cites, in order."""
    return [match.upper() for match in re.findall(r"(?:^|_)([ldsramji]\d+)(?=b?(?:_|$))", name.removeprefix("test_"))]


@cache
def claims_of(path):
    """Return (name, line, clauses cited by the name) of each test of a file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    return [(node.name, node.lineno, of_name(node.name)) for node in functions if node.name.startswith("test_")]


def of_docstring(path):
    """Return the clauses that the docstring of a test file cites, ranges spelt out."""
    text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    found = []
    for first, last in re.findall(rf"\b([{LETTERS}]\d+)(?: to ([{LETTERS}]\d+))?\b", text):
        found += span(first, last) if last and first[0] == last[0] else [first]
    return found


def cited():
    """Return the clause ids that names and docstrings of tests cite."""
    found = set()
    for path in (ROOT / "tests").rglob("test_*.py"):
        found.update(of_docstring(path))
        for _name, _line, clauses_of_test in claims_of(path):
            found.update(clauses_of_test)
    return found


def misplaced(folder=HERE):
    """Return (file, test) of each test in a clause's file that begins with a clause of another file, or with none."""
    own = owners(folder)
    found = []
    for path in sorted({path for paths in own.values() for path in paths}):
        for name, _line, named in claims_of(path):
            if not named or own.get(named[0]) != [path]:
                found.append((path.name, name))
    return found


def index(clause):
    """Return (place, test) of every test in the tree whose name cites a clause, its owner's first."""
    own, found = owner(clause), []
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        for name, line, named in claims_of(path):
            if clause in named:
                found.append((path != own, f"{path.relative_to(ROOT)}:{line}", name))
    return [(place, name) for _other, place, name in sorted(found, key=lambda entry: entry[0])]


def told(asked=()):
    """Return the lines of the index: every test of the clauses asked for, or the owner of each clause there is."""
    lines = []
    for clause in asked or sorted(clauses(), key=lambda clause: (LETTERS.index(clause[0]), int(clause[1:]))):
        found = index(clause)
        lines.append(f"{clause}  {owner(clause).relative_to(ROOT)}; tests that name it: {len(found)}")
        lines += [f"    {place} {name}" for place, name in found] if asked else []
    return lines


if __name__ == "__main__":
    print("\n".join(told(sys.argv[1:])))
