"""The dialogue: asked in order, explained, "don't know" taken, interrupted, resumed, written."""

import json
import tomllib

import pytest
from duplexsump.control import settings

from host_sim.errors import InputError
from host_sim.site.load import packaged, read_site
from host_sim.sizing import site_out
from host_sim.sizing.command import run
from host_sim.sizing.interview import ask
from host_sim.sizing.interview.curve import read_curve
from host_sim.sizing.interview.questions import QUESTIONS
from host_sim.sizing.limits import GPM
from host_sim.sizing.model import size
from host_sim.sizing.remarks.raised import raised
from host_sim.sizing.say import Say
from tests.interviews.person import without_names

GOOD = {
    "name": "Basement", "installed": "nothing", "basin": "solid basin", "shape": "round", "width": "24\"",
    "depth": "2' 6\"", "inlet": "none", "floor": "20 x 30 ft", "cover": "bolted", "held": "yes",
    "evidence": "rise test", "rise": "6 in", "rise_time": "3 min 60 s", "rise_from": "4 in", "weather": "wettest",
    "lift": "10.5 ft", "pipe": "2 in", "riser_length": "9'", "riser_elbows": "1", "lines": "shared", "run": "20 ft",
    "elbows": "3", "bends": "0", "check": "yes", "valve": "y", "weep": "yes", "material": "PVC schedule 40",
    "to": "daylight", "away": "25 ft", "relief": "yes", "backup": "none", "same": "yes", "intake_1": "3",
    "covered_1": "5 in", "body_1": "8 in", "outlet_1": "1.5 in", "amps_1": "9.5 A", "volts_1": "115 V",
    "starts_hour_1": "15", "curve_how_1": "points of the curve", "curve_1": "0 gpm 24 ft, 32 gpm 16 ft, 62 gpm 0 ft",
    "circuits": "yes", "heard": "yes", "sensing": "yes", "float_kind": "vertical", "travel": "1 in",
}
# A mains pump and a smaller battery pump, each with its own plate.
UNEQUAL = {
    **GOOD, "backup": "battery pump", "intake_2": "2\"", "covered_2": "4", "body_2": "6 in", "outlet_2": "1.5",
    "amps_1": "8", "amps_2": "18 amps", "volts_2": "12 V", "starts_hour_2": "20",
    "curve_how_2": "shut-off and one point", "shutoff_2": "20 ft", "point_head_2": "10'", "point_flow_2": "1800 gph",
    "capacity": "100 Ah", "chemistry": "AGM", "room": "heated", "vented": "yes", "hours": "8 h", "charger": "10 A",
    "cable": "4 ft", "gauge": "6 AWG", "fuse": "50 A",
}  # fmt: skip


class Person:
    """Answers by question; `extra` are lines said before the answer of a question, once."""

    def __init__(self, answers, extra=None, leaves_at=None):
        self.answers, self.extra, self.leaves_at = answers, dict(extra or {}), leaves_at
        self.heard, self.asked, self.question = [], [], None

    def say(self, text):
        self.heard.append(text)
        for question in QUESTIONS:
            if without_names(text).endswith(f".  {question.ask}"):
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
    assert data["sizing"]["evidence"][0]["in"] == "4 min"
    assert data["pump"]["intake"] == "3 in"  # a plain number takes the unit of the example
    assert data["discharge"]["header"]["fittings"] == {"exit": 1, "elbow_90": 3}
    result = size(data)
    assert result.inputs.piping.check == (True, True)
    assert result.reserve.carried > 1.0
    order = [question.key for question in QUESTIONS]
    assert person.asked == sorted(person.asked, key=order.index)


def test_both_pumps_are_asked_for_together_and_before_the_pipe_that_they_are_on(tmp_path):
    person = Person(UNEQUAL)
    talk(tmp_path / "basement.toml", person)
    at = {key: place for place, key in enumerate(person.asked)}
    assert at["depth"] < at["lift"] < at["backup"] < at["amps_1"] < at["amps_2"] < at["pipe"] < at["outlet_1"]
    plates = [key for key in person.asked if at["backup"] <= at[key] < at["pipe"]]
    assert all(key[-2:] in ("_1", "_2") for key in plates[1:])


def test_no_two_questions_are_asked_in_the_same_words():
    for word in ("ask", "key"):
        assert len({getattr(question, word) for question in QUESTIONS}) == len(QUESTIONS)


def test_questions_that_do_not_apply_are_not_asked(tmp_path):
    person = Person(GOOD)
    talk(tmp_path / "a.toml", person)
    assert "capacity" not in person.asked and "falls" not in person.asked and "top" not in person.asked
    assert "amps_2" not in person.asked  # both pumps are alike
    other = Person({**GOOD, "backup": "battery pump", "shape": "bucket", "evidence": "recovery"})
    talk(tmp_path / "b.toml", other)
    assert {"capacity", "amps_2", "curve_2", "intake_2", "top", "table", "low"} <= set(other.asked)
    assert "same" not in other.asked
    assert "surge" not in other.asked and "rise" not in other.asked


@pytest.mark.parametrize("word", ["", "don't know", "dunno", "?", "skip"])
def test_a_person_who_knows_nothing_gets_cautious_defaults_that_are_said(tmp_path, word):
    path = tmp_path / "basement.toml"
    person = Person(dict.fromkeys([q.key for q in QUESTIONS], word))
    assert talk(path, person) == str(path)
    result = size(tomllib.loads(path.read_text(encoding="utf-8")))
    assert result.design.governing.kind == "rule of thumb"
    assert not result.inputs.piping.made_for_pressure and result.inputs.piping.check == (False, False)
    told = " ".join(person.heard)
    asked = [question for question in QUESTIONS if question.key in person.asked]
    for question in asked:
        assert question.because in told
    # Each stands on the page as assumed, with what another value would change.
    listed = {a.key: a for a in result.inputs.assumptions}
    for question in asked:
        if question.what:
            assert listed[question.what].changes == question.changes and listed[question.what].why == question.because


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
    first = Person(GOOD, leaves_at="curve_1")
    assert talk(path, first) is None
    assert not path.exists()
    kept = json.loads(ask.answers_path(path).read_text(encoding="utf-8"))
    assert kept["width"] == {"value": "24 in", "known": True}
    second = Person(GOOD)
    assert talk(path, second) == str(path)
    assert second.asked[0] == "curve_1" and "width" not in second.asked
    whole = tmp_path / "whole.toml"
    talk(whole, Person(GOOD))
    assert path.read_text(encoding="utf-8") == whole.read_text(encoding="utf-8")


def test_stop_why_and_back(tmp_path):
    person = Person(GOOD, {"width": ["why", "back"], "depth": ["stop"]})
    assert talk(tmp_path / "basement.toml", person) is None
    assert person.asked[:6] == ["name", "installed", "basin", "shape", "width", "shape"]
    assert any("near the bottom" in text for text in person.heard)


def test_every_word_is_good_at_every_question_the_last_included(tmp_path):
    plain, path = Person(UNEQUAL), tmp_path / "plain.toml"
    talk(path, plain)
    explained = Person(UNEQUAL, {key: ["why"] for key in plain.asked})
    talk(tmp_path / "why.toml", explained)
    told = " ".join(explained.heard)
    assert all(question.why in told for question in QUESTIONS if question.key in plain.asked)
    there_and_back = Person(UNEQUAL, {key: ["back"] for key in plain.asked[1:]})
    talk(tmp_path / "back.toml", there_and_back)
    assert len(there_and_back.asked) == 3 * len(plain.asked) - 2
    for name in ("why.toml", "back.toml"):
        assert (tmp_path / name).read_text(encoding="utf-8") == path.read_text(encoding="utf-8")
    last = plain.asked[-1]
    skipped = Person({**UNEQUAL, last: "skip"})
    talk(tmp_path / "skip.toml", skipped)
    assert "assumed: " in skipped.heard[-2]
    stopped = Person(UNEQUAL, {last: ["stop"]})
    assert talk(tmp_path / "stop.toml", stopped) is None
    assert talk(tmp_path / "stop.toml", Person(UNEQUAL))
    assert (tmp_path / "stop.toml").read_text(encoding="utf-8") == path.read_text(encoding="utf-8")


@pytest.mark.parametrize(("key", "bad", "told"), [
    ("width", "two feet", "begin with a number"),
    ("width", "20 ft", "at most 10 ft"),
    ("depth", "30 gal", "a length is wanted"),
    ("curve_1", "0 gpm 20 ft, 30 gpm 25 ft", "must fall"),
    ("curve_1", "30 gpm 15 ft, 60 gpm 0 ft", "shut-off head"),
    ("curve_1", "0 gpm 18 ft, 35,5 gpm 10 ft", '"0 gpm 18 ft, 35.5 gpm 10 ft"'),
    ("curve_1", "0 gpm 7 ft, 30 gpm 2 ft", "no water would move"),
    ("depth", "30,5", '"30.5"'),
    ("lift", "3,2 m", '"3.2 m"'),
    ("curve_1", "lots", "not a flow and a head"),
    ("rise_time", "4:30", '"4 min 30 s" or "4 h 30 min"'),
    ("inlet", "40 in", "not below the floor"),
    ("rise", "31 in", "more than the pit is deep, 30 in"),
    ("lift", "2 ft", "not above the floor"),
    ("run", "0.5 ft", "cannot reach"),
    ("outlet_1", "3 in", "no smaller than the pump's outlet"),
    ("covered_1", "2 in", "below the pump's inlet"),
    ("intake_1", "29 in", "no room"),
    ("check", "perhaps", "yes or no"),
    ("pipe", "7 in", "one of"),
    ("elbows", "many", "whole number"),
    ("starts_hour_1", "600", "at most 60"),
])  # fmt: skip
def test_a_wrong_answer_is_told_and_asked_again(tmp_path, key, bad, told):
    person = Person(GOOD, {key: [bad]})
    assert talk(tmp_path / "basement.toml", person)
    assert any(told in text for text in person.heard)


def test_where_a_rise_starts_is_asked_of_a_tapered_pit_alone(tmp_path):
    person = Person({**GOOD, "rise": "28 in", "rise_time": "30 min"})
    path = tmp_path / "straight.toml"
    talk(path, person)
    assert "rise_from" not in person.asked and size(tomllib.loads(path.read_text(encoding="utf-8")))
    person = Person({**GOOD, "shape": "bucket", "top": "30 in"}, {"rise_from": ["28 in"]})
    talk(tmp_path / "bucket.toml", person)
    assert "rise_from" in person.asked and any("the pit is 30 in deep" in text for text in person.heard)


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
    question = next(q for q in QUESTIONS if q.key == "curve_1")
    own = read_curve(question.taken({}))
    assert own == [["0 gpm", "18 ft"], ["20 gpm", "15 ft"], ["35 gpm", "10 ft"], ["45 gpm", "5 ft"], ["52 gpm", "0 ft"]]
    texts = [packaged(name).read_text(encoding="utf-8") for name in ("demo", "water_table")]
    for text in texts:
        assert tomllib.loads(text)["pump"]["curve"] == own


def test_each_pump_keeps_its_own_plate_and_so_do_the_settings(tmp_path):
    path = tmp_path / "basement.toml"
    talk(path, Person(UNEQUAL))
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert data["pump1"]["rated_current"] == "8 A" and data["pump2"]["rated_current"] == "18 amps"
    assert data["pump1"]["curve"] != data["pump2"]["curve"] and data["pump2"]["intake"] == "2 in"
    result = size(data)
    values = {row[0]: value for row, value in zip(settings.TABLE, result.settings, strict=True)}
    assert (values["rated_1"], values["rated_2"]) == (8000, 18000)
    assert (values["overload_1"], values["overload_2"]) == (9600, 21600)
    assert values["underload_1"] < 8000 < values["underload_2"] < 18000
    # A locked rotor is three times rated at least, and lies within the range of a sensor that can read the motor.
    assert [sensor.kind for sensor in result.sensors] == ["current transformer", "Hall sensor"]
    for n, sensor in enumerate(result.sensors):
        assert sensor.range_a * 1000 == values[f"sensor_range_{n + 1}"] >= 3 * values[f"rated_{n + 1}"]
    plates = result.inputs.nameplates
    assert [plate.direct for plate in plates] == [False, True]
    assert plates[1].curve_how == "shut-off and one point"
    night = read_site(site_out.text(result))
    assert night.settings == result.settings


def test_a_transformer_is_refused_on_direct_current(tmp_path):
    person = Person({**UNEQUAL, "sensor_2": "Hall sensor"}, {"sensor_2": ["current transformer"]})
    talk(tmp_path / "basement.toml", person)
    assert any("cannot read the direct current" in text for text in person.heard)


def test_a_shunt_is_refused_on_the_mains(tmp_path):
    person = Person({**UNEQUAL, "sensor_1": "Hall sensor", "sensor_2": "shunt"}, {"sensor_1": ["shunt"]})
    path = tmp_path / "basement.toml"
    talk(path, person)
    assert any("ties the line conductor" in text for text in person.heard)
    sizing = tomllib.loads(path.read_text(encoding="utf-8"))["sizing"]
    assert (sizing["motor1"]["sensor"], sizing["motor2"]["sensor"]) == ("Hall sensor", "shunt")


@pytest.mark.parametrize(("backup", "one", "two"), [
    ("battery pump", "pump 1, the mains pump", "pump 2, the battery pump"),
    ("inverter", "pump 1, the one on the mains alone", "pump 2, the one on the inverter"),
    ("none", "pump 1", "pump 2"),
])  # fmt: skip
def test_every_question_says_which_pump_it_means(tmp_path, backup, one, two):
    person = Person({**UNEQUAL, "backup": backup, "same": "no", "volts_2": "24 V" if "pump" in backup else "115 V"})
    talk(tmp_path / "basement.toml", person)
    questions = [text for text in person.heard if " of about " in text]
    plates = [text for text in questions if "plate of" in text or "body of" in text]
    assert len(plates) >= 6
    for text in plates:
        assert (f"{one}?" in text) != (f"{two}?" in text)


def test_a_voltage_that_does_not_go_with_the_pump_is_asked_again_at_once(tmp_path):
    person = Person(UNEQUAL, {"volts_1": ["12 V"], "volts_2": ["115 V"]})
    talk(tmp_path / "basement.toml", person)
    assert any("The battery pump is pump 2" in text for text in person.heard)
    assert any("115 V is a mains pump's voltage" in text for text in person.heard)
    assert person.asked.count("volts_1") == person.asked.count("volts_2") == 1  # the question stands, the answer not


def test_where_sizing_fails_the_answers_are_kept_and_the_same_command_goes_back_to_them(tmp_path, monkeypatch):
    # Pumps that need the water up to 17 in, in a narrow pit 20 in deep: four contacts find no place above.
    shallow = {**GOOD, "width": "10 in", "depth": "20 in", "intake_1": "3 in", "covered_1": "17 in"}
    path, person = tmp_path / "basement.toml", Person(shallow)
    monkeypatch.setattr("builtins.input", person.read)
    monkeypatch.setattr(ask.prompt, "show", person.say)
    monkeypatch.setattr(ask.ask_site, "__defaults__", ("us", person.read, person.say))

    def once():
        return run(str(path), True, [], "us", tmp_path / "out", False, False)

    with pytest.raises(InputError) as caught:
        once()
    told = caught.value.problems
    assert "the four contacts do not fit" in told[0] and str(ask.answers_path(path)) in told[-1]
    kept = json.loads(ask.answers_path(path).read_text(encoding="utf-8"))
    assert len(kept) == len(set(person.asked))
    # Again: the last question, then back to the cover, which is put right; Enter keeps every other answer.
    back = [q.key for q in QUESTIONS if q.key in person.asked]
    steps = len(back) - 1 - back.index("covered_1")
    again = Person({"covered_1": "6 in"}, {key: ["back"] for key in back[-steps:]})
    monkeypatch.setattr(ask.ask_site, "__defaults__", ("us", again.read, again.say))
    assert once() in (0, 1)
    assert again.asked[0] == back[-1] and "width" not in again.asked
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert data["sizing"]["motor"]["covered_to"] == "6 in" and data["pump"]["rated_current"] == "9.5 A"
    assert not ask.answers_path(path).exists() and (tmp_path / "out" / "sizing.html").exists()
    # With the page made, the file is the person's own.
    with pytest.raises(InputError, match="exists"):
        once()


def test_back_offers_the_answer_that_was_given_and_enter_keeps_it(tmp_path):
    person = Person({**GOOD, "depth": ""}, {"depth": ["31 in"], "inlet": ["back"]})
    path = tmp_path / "basement.toml"
    talk(path, person)
    assert any("[31 in: your answer, Enter keeps it] >" in " ".join(text.split()) for text in person.heard)
    assert tomllib.loads(path.read_text(encoding="utf-8"))["pit"]["depth"] == "31 in"


def test_back_at_the_first_question_says_so(tmp_path):
    person = Person(GOOD, {"name": ["back"]})
    talk(tmp_path / "basement.toml", person)
    assert any("This is the first question" in text for text in person.heard)


@pytest.mark.parametrize("text", ['1 1/2"', "1 1/2 in", "1 1/2", '1-1/2"', "1\u00bd\"", '1.5"', "1.5", "1.5 in"])
def test_a_pipe_size_is_read_as_a_plumber_writes_it(tmp_path, text):
    path, person = tmp_path / "basement.toml", Person({**GOOD, "pipe": text})
    talk(path, person)
    assert tomllib.loads(path.read_text(encoding="utf-8"))["discharge"]["riser"]["pipe"] == "1.5 in"
    told = any("taken as 1 1/2 in" in line for line in person.heard)
    assert told == (text not in ("1 1/2 in", "1.5 in"))


@pytest.mark.parametrize(("text", "material"), [
    ("PVC sch 40", "PVC schedule 40"), ("sch 40", "PVC schedule 40"), ("schedule 40", "PVC schedule 40"),
    ("Sch. 80", "PVC schedule 80"), ("galvanized", "galvanized steel"), ("abs", "ABS"), ("copper", "copper"),
    ("other", "other"),
])  # fmt: skip
def test_what_is_printed_on_a_pipe_is_read_as_it_stands(tmp_path, text, material):
    path = tmp_path / "basement.toml"
    talk(path, Person({**GOOD, "material": text}))
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert data["sizing"]["piping"]["material"] == material
    result = size(data)
    names = {item.remark.name for item in raised(result, Say("us"), False)}
    assert ("not_pressure_pipe" in names) == (material in ("ABS", "other"))
    # Steel is rougher than plastic, copper narrower: either moves less than PVC of the same name.
    if material in ("copper", "galvanized steel"):
        talk(tmp_path / "pvc.toml", Person(GOOD))
        plain = size(tomllib.loads((tmp_path / "pvc.toml").read_text(encoding="utf-8")))
        assert result.flow("pump 1 alone") < plain.flow("pump 1 alone")


@pytest.mark.parametrize("text", ["25x40 ft", "25x40", "25 x 40 ft", "25 by 40"])
def test_a_floor_is_read_as_its_two_sides(tmp_path, text):
    path = tmp_path / "basement.toml"
    talk(path, Person({**GOOD, "floor": text}))
    assert tomllib.loads(path.read_text(encoding="utf-8"))["pit"]["floor_area"] == "1000 ft2"


def test_a_bare_number_is_said_with_its_unit_before_it_goes_on(tmp_path):
    person = Person({**GOOD, "depth": "30", "floor": "25 x 40 ft", "run": "20' 6\""})
    talk(tmp_path / "basement.toml", person)
    told = " ".join(person.heard)
    for text in ("taken as 30 in", "taken as 1000 ft2", "taken as 20.5 ft", "taken as 3 in"):
        assert text in told


def test_a_bucket_and_a_watch_give_a_curve_through_the_measured_flow(tmp_path):
    path = tmp_path / "basement.toml"
    talk(path, Person({**GOOD, "curve_how_1": "bucket and watch", "bucket_1": "5 gal", "bucket_time_1": "10 s",
                       "plate_head_1": "24 ft"}))  # fmt: skip
    result = size(tomllib.loads(path.read_text(encoding="utf-8")))
    assert result.inputs.nameplates[0].curve_how == "bucket and watch"
    # 5 gal in 10 s is 30 gpm; the weep hole's share is not in the bucket, so a little less leaves by the outlet.
    assert 26.0 * GPM < result.flow("pump 1 alone", "high") < 31.0 * GPM


def test_a_bucket_that_does_not_go_with_the_plate_is_told(tmp_path):
    answers = {**GOOD, "curve_how_1": "bucket and watch", "bucket_1": "5 gal", "bucket_time_1": "2 s"}
    person = Person({**answers, "plate_head_1": "unknown"}, {"plate_head_1": ["18 ft"]})
    talk(tmp_path / "basement.toml", person)
    assert any("at the measured flow" in text for text in person.heard)


@pytest.mark.parametrize(("kind", "least"), [("vertical", 2.0), ("tethered", 4.0), ("transmitter", 1.0)])
def test_each_kind_of_float_has_its_own_least_spacing(tmp_path, kind, least):
    path = tmp_path / "basement.toml"
    talk(path, Person({**GOOD, "float_kind": kind, "travel": "4 in" if kind == "tethered" else "1 in"}))
    result = size(tomllib.loads(path.read_text(encoding="utf-8")))
    wets = [contact.wet_m / 0.0254 for contact in result.contacts]
    assert wets[2] - wets[1] >= least - 1e-6 and wets[3] - wets[2] >= least - 1e-6
    assert read_site(site_out.text(result)).settings == result.settings


def test_floats_that_hang_wrong_are_remarked_on(tmp_path):
    path = tmp_path / "basement.toml"
    hung = {"installed": "everything", "inlet": "10 in", "float_kind": "tethered", "travel": "4 in", "off_at": "4 in",
            "lead_at": "14 in", "lag_at": "16 in", "high_at": "28 in"}  # fmt: skip
    person = Person({**GOOD, **hung}, {"lag_at": ["12 in"]})
    talk(path, person)
    assert any("follow upward" in text for text in person.heard)
    result = size(tomllib.loads(path.read_text(encoding="utf-8")))
    names = {item.remark.name for item in raised(result, Say("us"), False)}
    assert {"off_too_low", "contacts_too_close", "high_too_near_floor", "drain_drowned"} <= names


def test_a_curve_is_read_in_any_order():
    assert read_curve("52 gpm 0 ft; 0 gpm at 18 ft") == [["0 gpm", "18 ft"], ["52 gpm", "0 ft"]]
    assert read_curve("0 gph at 20', 1800 GPH @ 10' 6\"") == [["0 gph", "20 ft"], ["1800 GPH", "10.5 ft"]]
    assert read_curve("0 L/s 7 m, 2 L/s 3 m") == [["0 L/s", "7 m"], ["2 L/s", "3 m"]]


def test_points_may_come_head_first_and_are_read_the_same():
    assert read_curve("24 ft 0 gpm, 5 ft 60 gpm, 12 ft at 45 gpm") == [["0 gpm", "24 ft"], ["45 gpm", "12 ft"],
                                                                      ["60 gpm", "5 ft"]]  # fmt: skip


@pytest.mark.parametrize(("said", "meant"), [
    ("three points", "curve"), ("3 points", "curve"), ("points", "curve"),
    ("a bucket", "bucket and watch"), ("bucket", "bucket and watch"),
])  # fmt: skip
def test_how_a_curve_is_known_is_taken_in_a_persons_own_words(tmp_path, said, meant):
    more = {"bucket_1": "5 gal", "bucket_time_1": "10 s", "plate_head_1": "24 ft"} if "bucket" in said else {}
    path = tmp_path / "basement.toml"
    person = Person({**GOOD, "curve_how_1": said, "curve_1": "24 ft 0 gpm, 16 ft 32 gpm, 5 ft 52 gpm", **more})
    talk(path, person)
    plates = size(tomllib.loads(path.read_text(encoding="utf-8"))).inputs.nameplates
    assert plates[0].curve_how == meant
    assert person.asked.count("curve_how_1") == 1 and not any(f'"{said}"' in text for text in person.heard)
