"""Answers of the interview as people spell them: wire gauges, buckets, "I don't know", points after "don't know"."""

import tomllib

import pytest

from host_sim.sizing.interview.power import gauge
from host_sim.sizing.interview.pumps import buckets
from host_sim.sizing.interview.question import NOT_KNOWN
from tests.interviews.draw import draw
from tests.interviews.person import talk


@pytest.mark.parametrize("text", ["8", "#8", "8 ga", "8 gauge", "8 AWG", "AWG 8", "8 awg wire", "No. 8"])
def test_a_wire_gauge_is_read_as_people_write_it(text):
    assert gauge(text) == "8 AWG"


def test_what_is_no_gauge_is_left_as_it_is():
    assert gauge("thick") == "thick" and gauge("#8000") == "#8000"


def test_water_is_counted_in_buckets():
    assert buckets("6 buckets") == buckets("6 5-gallon pails") == "30 gal" and buckets("1 bucket") == "5 gal"
    assert buckets("15 gal") == "15 gal"


def test_i_do_not_know_is_an_answer():
    assert {"i don't know", "i dont know", "i do not know"} <= set(NOT_KNOWN)


def test_points_typed_after_dont_know_are_not_assumed():
    answers = {**draw(3031, 0), "backup": "none", "same": "no", "curve_how_1": "I don't know",
               "curve_1": "0 gpm 30 ft, 40 gpm 20 ft, 70 gpm 0 ft"}  # fmt: skip
    text, person = talk(answers)
    assert not any("none of these" in line for line in person.heard if "curve" in line)
    data = tomllib.loads(text)
    assert data["sizing"]["motor1"]["curve_from"] == "curve"
    told = {item["what"] for item in data["sizing"].get("assumed", [])}
    assert not told & {"source of the curve of pump 1", "curve of pump 1"}


def test_an_interview_with_a_pump_down_test_asks_which_pump_ran():
    answers = {**draw(3031, 1), "evidence": "pump-down test", "falls_pump": "the battery pump"}
    text, person = talk(answers)
    assert any("Which pump ran" in line for line in person.heard)
    assert tomllib.loads(text)["sizing"]["evidence"][0]["ran"] == "pump 2"
