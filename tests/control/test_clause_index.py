"""Every numbered clause of the narrative is cited by a test, and no test cites a clause that is not there."""

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
NARRATIVE = ROOT / "firmware" / "NARRATIVE.md"

# Clauses that the board keeps, not the control core; their tests lie with the station and the boards.
ON_THE_BOARD = {"M3", "M5", "M6", "J1", "J2"}


def clauses():
    """Return the clause ids of the narrative: bold at the beginning of a paragraph or a list item."""
    return set(re.findall(r"^(?:- )?\*\*([LDSRAMJI]\d+)\b", NARRATIVE.read_text(encoding="utf-8"), re.MULTILINE))


def cited():
    """Return the clause ids that names and docstrings of tests cite."""
    found = set()
    for path in (ROOT / "tests").rglob("test_*.py"):
        text = path.read_text(encoding="utf-8")
        for name in re.findall(r"def test_([a-z0-9_]+)", text):
            found |= {match.upper() for match in re.findall(r"(?:^|_)([ldsramji]\d+)(?=_|$)", name)}
        for first, last in re.findall(r"\b([LDSRAMJI]\d+)(?: to ([LDSRAMJI]\d+))?\b", text.split('"""')[1]):
            found.add(first)
            if last and first[0] == last[0]:
                found |= {f"{first[0]}{i}" for i in range(int(first[1:]), int(last[1:]) + 1)}
    return found


def test_the_narrative_has_all_its_clauses():
    last = {"L": 7, "D": 7, "S": 8, "R": 4, "A": 5, "M": 6, "J": 4, "I": 14}
    assert {f"{letter}{i}" for letter, end in last.items() for i in range(1, end + 1)} <= clauses()


def test_every_clause_is_cited_by_a_test():
    assert clauses() - cited() - ON_THE_BOARD == set()


def test_no_test_cites_a_clause_that_is_not_there():
    assert cited() - clauses() == set()
