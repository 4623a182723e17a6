"""What ran on the PC is what runs in the pit: the same tests, and the same random steps, in every place.

SUMPBENCH_FULL=1 makes the differential run a million steps long.
"""

import os

import pytest

from tests.micropython import places
from tests.micropython.translate import translate_tree

FULL = bool(os.environ.get("SUMPBENCH_FULL"))
STEPS = 1_000_000 if FULL else 12_000
CLAUSES = (
    "test_clause_l1_l2", "test_clause_l3_l4", "test_clause_l5_l7", "test_clause_d1_d7", "test_clause_s1_s4",
    "test_clause_s5_s8", "test_clause_r1_r2", "test_clause_r3_r4", "test_clause_a1_a3", "test_clause_a4_a5",
    "test_clause_m1_m4", "test_gate",
)  # fmt: skip


@pytest.fixture(scope="module")
def translated(tmp_path_factory):
    """Give a folder with the clause tests in MicroPython's Python."""
    folder = tmp_path_factory.mktemp("translated")
    translate_tree(places.ROOT, folder, CLAUSES)
    return folder


@pytest.fixture(scope="module")
def clauses_here(translated):
    """Give the clause tests' results under CPython, through the same stand-in for pytest."""
    return results(places.cpython("clause_suite.py", translated, *CLAUSES))


def results(said):
    """Return {test: passed, failed or skipped}."""
    lines = [line.split(" ") for line in said.splitlines()]
    return {words[1]: words[0] for words in lines if words[0] in ("passed", "failed", "skipped")}


# On 32 bits the translation to WebAssembly is slow: every third file by default, the others with the long tests.
SHARES = {
    "MicroPython 64-bit": CLAUSES,
    "MicroPython 32-bit, a third": CLAUSES[::3],
    "MicroPython 32-bit, the rest": [name for place, name in enumerate(CLAUSES) if place % 3],
}


@pytest.mark.parametrize("share", [*list(SHARES)[:2], pytest.param(list(SHARES)[2], marks=pytest.mark.long)])
def test_the_clause_tests_end_the_same(share, translated, clauses_here):
    files = SHARES[share]
    here = {name: how for name, how in clauses_here.items() if name.split(".")[0] in files}
    there = results(places.PLACES[share.split(",")[0]]("clause_suite.py", translated, *files))
    assert len(clauses_here) > 200
    assert len(here) > 40
    assert there == here


def test_the_stand_in_tells_a_failing_test(tmp_path):
    folder = tmp_path / "tests" / "control"
    folder.mkdir(parents=True)
    (tmp_path / "tests" / "control" / "test_planted.py").write_text(
        "import pytest\n\nARGUMENTS_OF = {'test_planted': ['n']}\n\n\n"
        "@pytest.mark.parametrize('n', [1, 2])\ndef test_planted(n):\n    assert n == 1\n"
    )
    said = results(places.mp64("clause_suite.py", tmp_path, "test_planted"))
    assert said == {"test_planted.test_planted[0]": "passed", "test_planted.test_planted[1]": "failed"}


def run(place, seed):
    """Return what the random steps gave in a place, without the time they took."""
    said = places.PLACES[place]("differential.py", STEPS, seed, patience_s=3600).splitlines()
    lines = [line for line in said if line]
    seconds = next(float(line.split()[1]) for line in lines if line.startswith("seconds"))
    print(f"{place}: {STEPS / seconds:.0f} steps a second")
    return [line for line in lines if not line.startswith("seconds")]


@pytest.fixture(scope="module")
def here():
    return run("CPython", 11)


@pytest.mark.parametrize(
    "place", ["MicroPython 64-bit", pytest.param("MicroPython 32-bit", marks=pytest.mark.long)]
)
def test_random_steps_give_the_same_outputs_and_snapshot(place, here):
    assert sum(line.startswith("block") for line in here) == STEPS // 500
    assert run(place, 11) == here


def test_the_random_steps_go_where_it_matters(here):
    # A run in which nothing happens compares nothing: half the alarms must have been raised, both pumps have run.
    raised = next(line for line in here if line.startswith("alarms")).split()[1:]
    assert sum(count != "0" for count in raised) >= 0.5 * len(raised)
    ran = next(line for line in here if line.startswith("ran")).split()[1:]
    assert all(int(count) > STEPS // 200 for count in ran), "none, pump 1, pump 2, both"


@pytest.mark.long
def test_another_seed_gives_another_run(here):
    assert run("CPython", 12) != here
