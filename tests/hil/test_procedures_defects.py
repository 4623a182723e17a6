"""Each procedure fails on a firmware with its rule broken: a procedure that cannot fail proves nothing."""

import pytest

from hil.acceptance import defects, procedure
from hil.bench.verdict import FAIL, PASS
from host_sim.errors import InputError
from tests.micropython.places import micropython
from tests.sampled import sampled

NAMES = {one.name for one in procedure.load()}
CASES = sampled(defects.DEFECTS)
IDS = [f"{one.procedure}-{place}" for place, one in enumerate(defects.DEFECTS)]


def test_every_procedure_has_a_defect():
    assert {one.procedure for one in defects.DEFECTS} == NAMES
    assert len({(one.file, one.good, one.bad) for one in defects.DEFECTS}) == len(defects.DEFECTS)


@pytest.mark.long
@pytest.mark.parametrize("defect", CASES, ids=IDS)
def test_the_procedure_fails_on_the_broken_rule(defect):
    micropython()
    outcome = defects.plant(defect)
    assert outcome.stopped == "", "a crash is no broken rule"
    assert outcome.entry["verdict"] == FAIL, outcome.entry
    assert outcome.failed()
    assert outcome.caught()


def test_a_defect_that_changes_nothing_is_not_called_caught():
    micropython()
    harmless = defects.Defect("alarm_test", "nothing", "control/buttons.py", "const(3000)", "const(3000 + 0)")
    outcome = defects.plant(harmless)
    assert (outcome.entry["verdict"], outcome.caught(), outcome.failed()) == (PASS, False, [])


@pytest.mark.long
def test_a_crash_is_not_called_a_broken_rule():
    micropython()
    crash = defects.Defect("alarm_test", "it stops", "control/buttons.py", "        self._down(", "        self._fall(")
    outcome = defects.plant(crash)
    assert not outcome.caught()
    assert outcome.stopped


def test_a_text_that_is_not_there_once_is_an_error(tmp_path):
    for text in ("no such text", "self"):
        odd = defects.Defect("alarm_test", "x", "control/buttons.py", text, "y")
        with pytest.raises(InputError, match="not once"):
            defects.spoil(odd, tmp_path / text.replace(" ", "-"))


def test_the_command_tells_what_was_caught(capsys):
    micropython()
    assert defects.main(["generator"]) == 0
    said = capsys.readouterr().out
    assert "generator            caught: starts on a generator" in said
    assert "1 of 1 seeded defects caught" in said
