"""Every clause of the narrative has one file that owns it, is cited by a test, and no test cites what is not there."""

import pytest

from tests.control.clause_index import (
    ELSEWHERE,
    ROOT,
    cited,
    claims_of,
    clauses,
    index,
    misplaced,
    of_docstring,
    owners,
    told,
)


def test_the_narrative_has_all_its_clauses():
    last = {"L": 7, "D": 7, "S": 8, "R": 4, "A": 5, "M": 6, "J": 4, "I": 14}
    assert {f"{letter}{i}" for letter, end in last.items() for i in range(1, end + 1)} <= clauses()


def test_every_clause_is_cited_by_a_test():
    assert clauses() - cited() == set()


def test_no_test_cites_a_clause_that_is_not_there():
    assert cited() - clauses() == set()


@pytest.mark.parametrize("clause", sorted(clauses()))
def test_each_clause_has_one_file_that_owns_it_and_a_test_in_it(clause):
    if clause in ELSEWHERE:
        path = ROOT / ELSEWHERE[clause]
        assert clause not in owners()
        assert clause in of_docstring(path) or any(clause in named for _name, _line, named in claims_of(path))
        return
    (path,) = owners()[clause]
    assert any(clause in named for _name, _line, named in claims_of(path)), f"{path.name} does not test {clause}"
    assert index(clause)[0][0].startswith(f"tests/control/{path.name}:"), "the owner's come first"


def test_a_file_of_clauses_holds_claims_of_its_own_clauses_alone():
    assert misplaced() == []


def test_canary_a_test_in_the_file_of_another_clause_is_found(tmp_path):
    both = "def test_l3_astray():\n    pass\n\n\ndef test_l2_at_home():\n    pass\n"
    (tmp_path / "test_clause_l1_l2.py").write_text(both)
    (tmp_path / "test_clause_l3_l4.py").write_text("def test_nothing():\n    pass\n")
    assert misplaced(tmp_path) == [("test_clause_l1_l2.py", "test_l3_astray"), ("test_clause_l3_l4.py", "test_nothing")]


def test_the_index_tells_the_owner_of_every_clause_and_all_claims_of_one():
    assert [line.split()[0] for line in told()].count("L4") == 1
    assert len(told()) == len(clauses())
    first, *tests = told(["L4"])
    assert first == f"L4  tests/control/test_clause_l3_l4.py; tests that name it: {len(tests)}"
    assert len(tests) > 5
    assert all("l4" in line for line in tests)
