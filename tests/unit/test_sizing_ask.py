"""The dialogue: asked in order, explained, "don't know" taken, interrupted, resumed, written."""

import json
import tomllib

import pytest

from host_sim.errors import InputError
from host_sim.site.load import packaged
from host_sim.sizing.interview import ask
from host_sim.sizing.interview.questions import QUESTIONS, read_curve
from host_sim.sizing.model import size

GOOD = {
    "name": "Basement", "shape": "round", "width": "24 in", "depth": "30 in", "floor": "600 ft2",
    "evidence": "rise test", "rise": "6 in", "rise_time": "4 min", "rise_from": "4 in", "weather": "wettest",
    "curve": "0 gpm 24 ft, 32 gpm 16 ft, 62 gpm 0 ft", "outlet": "1.5 in", "intake": "3", "body": "8 in",
    "current": "9.5 A", "starts_hour": "15", "lift": "10.5 ft", "pipe": "2 in", "riser_length": "9 ft",
    "lines": "shared", "run": "20 ft", "elbows": "3", "check": "yes", "valve": "y", "weep": "yes",
    "material": "PVC schedule 40", "to": "daylight", "away": "25 ft", "relief": "yes", "cover": "bolted", "held": "yes",
    "backup": "none", "circuits": "yes", "sensing": "yes", "floats": "vertical",
}  # fmt: skip


class Person:
    """Answers by question; `extra` are lines said before the answer of a question, once."""

    def __init__(self, answers, extra=None, leaves_at=None):
        self.answers, self.extra, self.leaves_at = answers, dict(extra or {}), leaves_at
        self.heard, self.asked, self.question = [], [], None

    def say(self, text):
        self.heard.append(text)
        for question in QUESTIONS:
            if text.endswith(f".  {question.ask}"):
                self.question = question.key
                self.asked.append(question.key)

    def read(self, prompt):
        self.heard.append(prompt)
        if self.question == self.leaves_at:
            raise KeyboardInterrupt
        if self.extra.get(self.question):
            return self.extra[self.question].pop(0)
        return self.answers.get(self.question, "")


def talk(path, person):
    return ask.ask_site(path, read=person.read, say=person.say)


def test_tape_bucket_and_data_plate_lead_to_a_site_that_is_sized(tmp_path):
    path, person = tmp_path / "basement.toml", Person(GOOD)
    assert talk(path, person) == str(path)
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert data["pit"] == {"shape": "cylinder", "diameter": "24 in", "depth": "30 in", "floor_area": "600 ft2"}
    assert data["pump"]["intake"] == "3 in"  # a plain number takes the unit of the example
    assert data["discharge"]["header"]["fittings"] == {"exit": 1, "elbow_90": 3}
    result = size(data)
    assert result.inputs.piping.check == (True, True)
    assert result.reserve.carried > 1.0
    assert not ask.answers_path(path).exists()
    order = [question.key for question in QUESTIONS]
    assert person.asked == sorted(person.asked, key=order.index)


def test_questions_that_do_not_apply_are_not_asked(tmp_path):
    person = Person(GOOD)
    talk(tmp_path / "a.toml", person)
    assert "capacity" not in person.asked and "falls" not in person.asked and "top" not in person.asked
    other = Person({**GOOD, "backup": "battery pump", "shape": "bucket", "evidence": "recovery"})
    talk(tmp_path / "b.toml", other)
    assert {"capacity", "battery_amps", "top", "table", "low"} <= set(other.asked)
    assert "surge" not in other.asked and "rise" not in other.asked


@pytest.mark.parametrize("word", ["", "don't know", "?", "skip"])
def test_a_person_who_knows_nothing_gets_cautious_defaults_that_are_said(tmp_path, word):
    path = tmp_path / "basement.toml"
    person = Person(dict.fromkeys([q.key for q in QUESTIONS], word))
    assert talk(path, person) == str(path)
    result = size(tomllib.loads(path.read_text(encoding="utf-8")))
    assert result.design.governing.kind == "rule of thumb"
    assert not result.inputs.piping.made_for_pressure and result.inputs.piping.check == (False, False)
    told = " ".join(person.heard)
    for question in QUESTIONS:
        if question.key in person.asked:
            assert question.default in told and question.because in told
    assert "Not known, default taken" in path.read_text(encoding="utf-8")


@pytest.mark.parametrize("kind", ["rise test", "pump-down test", "log", "drained area", "recovery", "rule of thumb"])
@pytest.mark.parametrize("backup", ["none", "battery pump", "inverter", "generator"])
def test_every_branch_of_the_dialogue_ends_in_a_site_that_can_be_sized(tmp_path, kind, backup):
    path = tmp_path / "basement.toml"
    talk(path, Person({"evidence": kind, "backup": backup, "lines": "separate", "shape": "square"}))
    result = size(tomllib.loads(path.read_text(encoding="utf-8")))
    assert result.design.governing.kind == kind
    assert (result.stored is not None) == (backup in ("battery pump", "inverter"))


def test_interrupted_it_keeps_the_answers_and_goes_on_where_it_stopped(tmp_path):
    path = tmp_path / "basement.toml"
    first = Person(GOOD, leaves_at="curve")
    assert talk(path, first) is None
    assert not path.exists()
    kept = json.loads(ask.answers_path(path).read_text(encoding="utf-8"))
    assert kept["width"] == {"value": "24 in", "known": True}
    second = Person(GOOD)
    assert talk(path, second) == str(path)
    assert second.asked[0] == "curve" and "width" not in second.asked
    whole = tmp_path / "whole.toml"
    talk(whole, Person(GOOD))
    assert path.read_text(encoding="utf-8") == whole.read_text(encoding="utf-8")


def test_stop_why_and_back(tmp_path):
    person = Person(GOOD, {"width": ["why", "back"], "depth": ["stop"]})
    assert talk(tmp_path / "basement.toml", person) is None
    assert person.asked[:4] == ["name", "shape", "width", "shape"]
    assert any("near the bottom" in text for text in person.heard)


@pytest.mark.parametrize(("key", "bad", "told"), [
    ("width", "two feet", "begin with a number"),
    ("width", "20 ft", "at most 10 ft"),
    ("depth", "30 gal", "a length is wanted"),
    ("curve", "0 gpm 20 ft, 30 gpm 25 ft", "must fall"),
    ("curve", "30 gpm 15 ft, 60 gpm 0 ft", "shut-off head"),
    ("curve", "0 gpm 18 ft, 35,5 gpm 10 ft", '"0 gpm 18 ft, 35.5 gpm 10 ft"'),
    ("depth", "30,5", '"30.5"'),
    ("lift", "3,2 m", '"3.2 m"'),
    ("curve", "lots", "not a flow and a head"),
    ("check", "perhaps", "yes or no"),
    ("pipe", "7 in", "one of"),
    ("elbows", "many", "whole number"),
    ("starts_hour", "600", "at most 60"),
])  # fmt: skip
def test_a_wrong_answer_is_told_and_asked_again(tmp_path, key, bad, told):
    person = Person(GOOD, {key: [bad]})
    assert talk(tmp_path / "basement.toml", person)
    assert any(told in text for text in person.heard)


def test_nothing_of_somebody_elses_is_overwritten(tmp_path):
    path = tmp_path / "basement.toml"
    path.write_text('name = "mine"\n', encoding="utf-8")
    with pytest.raises(InputError, match="exists"):
        talk(path, Person(GOOD))
    with pytest.raises(InputError, match="does not exist"):
        talk(tmp_path / "nowhere" / "basement.toml", Person(GOOD))
    spoiled = tmp_path / "new.toml"
    ask.answers_path(spoiled).write_text('{"other": 1}', encoding="utf-8")
    with pytest.raises(InputError, match="other questions"):
        talk(spoiled, Person(GOOD))


def test_our_own_curve_is_written_once():
    question = next(q for q in QUESTIONS if q.key == "curve")
    own = read_curve(question.default)
    assert own == [["0 gpm", "18 ft"], ["20 gpm", "15 ft"], ["35 gpm", "10 ft"], ["45 gpm", "5 ft"], ["52 gpm", "0 ft"]]
    texts = [packaged(name).read_text(encoding="utf-8") for name in ("demo", "water_table")]
    for text in texts:
        assert tomllib.loads(text)["pump"]["curve"] == own


def test_a_curve_is_read_in_any_order():
    assert read_curve("52 gpm 0 ft; 0 gpm at 18 ft") == [["0 gpm", "18 ft"], ["52 gpm", "0 ft"]]
    assert read_curve("0 L/s 7 m, 2 L/s 3 m") == [["0 L/s", "7 m"], ["2 L/s", "3 m"]]
