"""What the interview says to an answer that it does not take, or takes for another word."""

import re
import tomllib

import pytest

from host_sim.sizing.interview.ask import parse
from host_sim.sizing.interview.curve import read_curve
from host_sim.sizing.interview.questions import QUESTIONS
from host_sim.sizing.interview.spelling import SAID
from host_sim.sizing.limits import FOOT, GPM
from host_sim.sizing.model import size
from host_sim.sizing.pipes import held_against
from tests.unit.test_sizing_ask import GOOD, UNEQUAL, Person, talk

BY_KEY = {question.key: question for question in QUESTIONS}
NO_SHUTOFF = "60 gpm at 5', 45 at 12, 22 at 20"


@pytest.mark.parametrize(("key", "bad", "told"), [
    ("bucket_1", '9 1/2"', '9 1/2" is in feet or inches: a volume is wanted, as in "5 gal"'),
    ("bucket_1", "9 1/2", None),
    ("capacity", "tethered", '"tethered" is not a capacity in amp-hours: begin with a number, as in "100 Ah"'),
    ("volts_1", "tethered", '"tethered" is not a voltage: begin with a number, as in "115 V"'),
    ("volts_2", "tethered", '"tethered" is not a voltage: begin with a number, as in "12 V"'),
    ("amps_2", "1/2 hp", 'a current is wanted, as in "18 A"'),
    ("to", "sewer", '"sewer" may be storm drain or sanitary sewer: which?'),
    ("to", "roof", '"roof" is none of these: daylight; storm drain; dry well; sanitary sewer; unknown'),
    ("material", "PVC", '"PVC" may be PVC schedule 40, PVC schedule 80 or cellular-core DWV: which?'),
    ("lines", "s", '"s" may be shared or separate: which?'),
    ("chemistry", "lead-acid", '"lead-acid" may be flooded or AGM: which?'),
])  # fmt: skip
def test_a_reply_names_what_was_said_and_what_is_allowed(key, bad, told):
    question = BY_KEY[key].seen({"backup": "battery pump"})
    if told is None:
        assert parse(question, bad) == "9.5 gal"
        return
    with pytest.raises(ValueError, match=re.escape(told)):
        parse(question, bad)


def test_every_word_that_is_known_means_a_choice_of_its_question():
    for key, words in SAID.items():
        questions = [q for q in QUESTIONS if q.key in (key, f"{key}_1")]
        assert len(questions) == 1, key
        for word, meant in words.items():
            choices = questions[0].choices
            assert word not in [choice.lower() for choice in choices], word
            assert set(meant if isinstance(meant, tuple) else (meant,)) <= set(choices), (key, word)


def test_a_word_taken_for_another_is_said_before_it_goes_on(tmp_path):
    person = Person({**UNEQUAL, "backup": "battery", "to": "yard", "fuse": "no", "lines": "own", "cover": "Bolted"})
    talk(tmp_path / "basement.toml", person)
    for said in ("battery pump", "daylight", "none", "separate"):
        assert f'   taken as {said}; "back" corrects it.' in person.heard
    assert not any("taken as bolted" in text for text in person.heard)


def test_two_pumps_alike_must_fit_the_narrower_of_two_lines(tmp_path):
    # Interview 3023/65: pump 2's own line of 1 1/4 in was told only after the last question.
    lines = {**GOOD, "lines": "separate", "pipe_2": "1 1/4", "run_2": "20 ft", "elbows_2": "3", "outlet_1": "1 1/4"}
    path, person = tmp_path / "basement.toml", Person(lines, {"outlet_1": ["1 1/2 in"]})
    talk(path, person)
    assert any("is more than the pipe of 1.25 in" in text for text in person.heard), person.heard[-30:]
    assert size(tomllib.loads(path.read_text(encoding="utf-8")))


def test_three_points_need_no_shut_off_head_and_the_page_says_what_was_assumed(tmp_path):
    path, person = tmp_path / "basement.toml", Person({**GOOD, "curve_1": NO_SHUTOFF})
    talk(path, person)
    assert any("At no flow 22.51 ft is assumed" in text for text in person.heard)
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert data["pump"]["curve"][0] == ["0 gpm", "22.51 ft"] and data["pump"]["curve"][2] == ["45 gpm", "12 ft"]
    (assumed,) = [one for one in data["sizing"]["assumed"] if one["what"] == "shut-off head of pump 1"]
    assert assumed["taken"] == "22.51 ft" and "pressure" in assumed["changes"]
    # With the shut-off head of the plate the pump moves the same, within the width of a pencil line.
    given = tomllib.loads(path.read_text(encoding="utf-8"))
    given["pump"]["curve"][0][1] = "24 ft"
    flows = [size(one).flow("pump 1 alone") for one in (data, given)]
    assert flows[0] == pytest.approx(flows[1], rel=0.01)


def test_what_is_assumed_at_no_flow_lies_between_the_least_point_and_the_straight_line_through_two():
    # A parabola about no flow, 24 ft - 0.005 ft/gpm2: three of its points give its top.
    points = [(20, 22.0), (40, 16.0), (60, 6.0)]
    rows = read_curve(", ".join(f"{q} gpm {h} ft" for q, h in points))
    assert rows[0] == ["0 gpm", "24.00 ft"]
    straight = 20.0 + (20.0 - 12.0) / (45.0 - 22.0) * 22.0
    assert 20.0 < float(read_curve(NO_SHUTOFF)[0][1].split()[0]) < straight


@pytest.mark.parametrize(("curve", "told"), [
    ("60 gpm at 5', 45 gpm at 12'", 'give 3 points, or two of which one is at "0 gpm"'),
    ("60 gpm at 2', 45 gpm at 6', 22 gpm at 10'", "the points end at 10.0 ft, and the water must go 10.2 ft up"),
    ("0 gpm 22 ft", "the shut-off head alone is no curve"),
    ("60 gpm at 5', 45 and 12", '"45 and 12": '),
    ("60 at 5', 45 gpm at 12', 22 gpm at 20'", '"60" has no unit'),
])  # fmt: skip
def test_too_little_of_a_curve_is_refused_with_what_to_add(tmp_path, curve, told):
    person = Person(GOOD, {"curve_1": [curve]})
    talk(tmp_path / "basement.toml", person)
    assert any(told in text for text in person.heard), person.heard


def test_a_unit_holds_for_the_points_after_it():
    plain = "60 gpm 5 ft, 45 gpm 12 ft, 0 gpm 25 ft"
    for text in ("60 gpm at 5 ft, 45 at 12, 0 at 25", "5 ft 60 gpm; 12 45; 25 0", "60 gpm @ 5', 45 @ 12', 0 @ 25'"):
        assert [(q.split()[0], h.split()[0]) for q, h in read_curve(text)] == [
            (q.split()[0], h.split()[0]) for q, h in read_curve(plain)
        ]


def test_a_surge_is_held_against_plastic_pipe_alone():
    # A metal pipe passes a surge on at 1250 m/s and more, and is rated a quarter of what bursts it or less.
    assert held_against("PVC schedule 40", 1e5, 7e5) == 8e5
    assert held_against("copper", 1e5, 2.3e6) == held_against("galvanized steel", 1e5, 2.5e6) == 1e5


@pytest.mark.parametrize(("material", "told", "source"), [
    ("copper", "copper, rated 299 psi (type M at 100 F; joints brazed or of 95-5 solder)", "table 3c"),
    ("galvanized steel", "galvanized steel, rated 230 psi (threaded to 2 in, welded above)", "A53"),
    ("PVC schedule 80", "PVC schedule 80, rated 400 psi (at 73 F)", "D1785"),
    ("polyethylene pressure", "polyethylene of SIDR 11.5 or less (125 psi)", "D2239"),
])  # fmt: skip
def test_the_parts_list_rates_the_pipe_that_there_is(tmp_path, material, told, source):
    from host_sim.sizing.report.parts import parts
    from host_sim.sizing.say import Say

    path = tmp_path / "basement.toml"
    talk(path, Person({**GOOD, "material": material}))
    result = size(tomllib.loads(path.read_text(encoding="utf-8")))
    pipes = [part for part in parts(result, Say("us")) if "pressure pipe" in part.what]
    assert len(pipes) == 3 and all(told in part.rating and source in part.source for part in pipes), pipes
    assert all(part.what.startswith("2 in pressure pipe") for part in pipes)
    assert result.flow("pump 1 alone") > 20 * GPM and result.inputs.discharge.outlet_m > 10 * FOOT
