"""A corpus of nights through two firmwares: the same firmware changes nothing, another one is told and ends in 1."""

import json
import shutil
from pathlib import Path

import duplexsump
import pytest
from typer.testing import CliRunner

from host_sim.cli.app import app
from host_sim.errors import InputError
from tests.replay_nights import demo, night

OURS = Path(duplexsump.__file__).parent


@pytest.fixture(scope="module")
def corpus(tmp_path_factory):
    """Give a folder of two journals, one of them deeper."""
    folder = tmp_path_factory.mktemp("nights")
    (folder / "spring").mkdir()
    night(demo(0.5)).journal.write(folder / "calm.jsonl")
    night(demo(0.8), "lead-stuck-dry@15min+20min").journal.write(folder / "spring" / "stuck.jsonl")
    (folder / "notes.jsonl").write_text('{"not": "a journal"}\n')
    return folder


def changed(folder, name, old, new):
    """Return a folder with our firmware, one text of one file replaced."""
    shutil.copytree(OURS, folder / "duplexsump", ignore=shutil.ignore_patterns("__pycache__"))
    path = folder / "duplexsump" / "control" / name
    text = path.read_text()
    assert text.count(old) == 1, (name, text.count(old))
    path.write_text(text.replace(old, new))
    return folder


def regress(*given):
    """Return what the command ends with."""
    return CliRunner().invoke(app, ["regress", *map(str, given)])


def test_the_same_firmware_twice_is_the_same_night_for_night(corpus, tmp_path):
    shutil.copytree(OURS, tmp_path / "duplexsump")
    for firmwares in (["--firmware", OURS.parent, "--firmware", tmp_path], ["--firmware", tmp_path]):
        done = regress(corpus, *firmwares)
        assert done.exit_code == 0, done.output
        assert "2 nights: 2 the same, 0 different" in done.output


def test_another_firmware_is_told_by_night_output_and_time_and_ends_in_1(corpus, tmp_path):
    other = changed(tmp_path, "contacts.py", "self.timers.arm(tm.DEBOUNCE + i, self.settings[s.DEBOUNCE_MS])",
                    "self.timers.arm(tm.DEBOUNCE + i, self.settings[s.DEBOUNCE_MS] + 3000)")  # fmt: skip
    done = regress(corpus, "--firmware", OURS.parent, "--firmware", other)
    assert done.exit_code == 1
    told = " ".join(done.output.split())
    assert "spring/stuck.jsonl" in told and "pump 1:" in told and "2 nights: 0 the same, 2 different" in told
    done = regress(corpus, "--firmware", OURS.parent, "--firmware", other, "--json")
    found = json.loads(done.output)
    assert done.exit_code == 1 and not found["same"] and found["a_pump_ran"]
    assert [one["name"] for one in found["nights"]] == ["calm.jsonl", "spring/stuck.jsonl"]
    first = found["nights"][0]
    assert first["first_ms"] > 0 and any(output["name"] == "pump_1" for output in first["outputs"])


def test_an_alarm_that_one_firmware_raises_later_is_told(corpus, tmp_path):
    other = changed(tmp_path, "contacts.py", "self.timers.arm(tm.DEBOUNCE + i, self.settings[s.DEBOUNCE_MS])",
                    "self.timers.arm(tm.DEBOUNCE + i, self.settings[s.DEBOUNCE_MS] + 3000)")  # fmt: skip
    found = json.loads(regress(corpus, "--firmware", OURS.parent, "--firmware", other, "--json").output)
    alarms = [alarm for one in found["nights"] for alarm in one["alarms"]]
    assert {alarm["what"] for alarm in alarms} == {"gone", "new"}
    assert {alarm["state"] for alarm in alarms} <= {"raised", "cleared"} and all(alarm["name"] for alarm in alarms)


def test_a_firmware_that_raises_is_a_difference_and_no_traceback(corpus, tmp_path):
    broken = "    def step(self, *given):\n        return 1 / 0\n\n    def _step(self, "
    other = changed(tmp_path, "controller.py", "    def step(self, ", broken)
    done = regress(corpus, "--firmware", OURS.parent, "--firmware", other)
    assert done.exit_code == 1 and "ZeroDivisionError" in done.output


@pytest.mark.parametrize("case", ["no journal", "no folder", "three firmwares", "no firmware there"])
def test_what_cannot_be_compared_is_refused(corpus, tmp_path, case):
    folder, firmwares = corpus, [OURS.parent] * 2
    if case == "no journal":
        folder = tmp_path
    elif case == "no folder":
        folder = corpus / "calm.jsonl"
    elif case == "three firmwares":
        firmwares = [OURS.parent] * 3
    else:
        firmwares = [tmp_path]
    done = regress(folder, *[part for path in firmwares for part in ("--firmware", path)])
    assert isinstance(done.exception, InputError)


def test_a_corpus_in_which_no_pump_ran_proves_nothing(tmp_path):
    site = demo(0.05)
    site.start_m = 0.05
    night(site).journal.write(tmp_path / "still.jsonl")
    done = regress(tmp_path, "--firmware", OURS.parent)
    assert done.exit_code == 1 and "proves nothing" in done.output
