"""A1: what the PC says of each alarm is whole, speaks of its own pump, and warns of water and of generators."""

import dataclasses
import io
import json

import pytest
from duplexsump.control.alarm_table import TABLE
from rich.console import Console

from host_sim import alarm_words
from host_sim.cli import tables
from host_sim.errors import InputError

NAMES = [row[0] for row in TABLE]
# Where water may stand on the floor or over the pit when somebody comes to look.
WET = ("high_water", "no_pump", "level_lost", "float_wiring", "not_keeping_up", "floats_out_of_sequence",
       "transmitter_failed", "chattering")  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_a1_every_alarm_says_what_is_wrong_its_causes_what_to_do_what_not_and_why(name):
    words = dataclasses.asdict(alarm_words.of(name))
    assert set(words) == {"wrong", "causes", "do", "never", "reason"}
    for part, text in words.items():
        assert len(text) > 3 and text == text.strip(), part
        assert "{" not in text, part
        assert part == "causes" or text.endswith("."), part


@pytest.mark.parametrize("name", [name for name in NAMES if name.startswith("pump_")])
def test_a1_the_words_of_a_pump_s_alarm_name_that_pump_and_no_other(name):
    number = name.split("_")[1]
    text = " ".join(dataclasses.astuple(alarm_words.of(name)))
    assert f"ump {number}" in text
    assert f"ump {3 - int(number)}" not in text


def test_there_are_no_words_without_an_alarm():
    kinds = {name.removeprefix("pump_1_") for name in NAMES if name.startswith("pump_1_")}
    assert set(alarm_words._PUMP) == kinds
    assert set(alarm_words._HOUSE) == {name for name in NAMES if not name.startswith("pump_")}
    with pytest.raises(KeyError):
        alarm_words.of("cup_of_tea")


@pytest.mark.parametrize("name", WET)
def test_where_water_may_stand_nobody_is_sent_into_it(name):
    assert "Do not step into standing water; cut the power from a dry place" in alarm_words.of(name).never


def test_wherever_a_generator_is_spoken_of_it_runs_outdoors():
    spoken = [name for name in NAMES if "generator" in " ".join(dataclasses.astuple(alarm_words.of(name))).lower()]
    assert {"battery_low", "mains_lost"} <= set(spoken)
    for name in spoken:
        assert "outdoors only" in alarm_words.of(name).never


def test_a3_high_calls_for_a_flood_medium_for_service_and_low_calls_nobody():
    assert [alarm_words.call(row) for row in TABLE] == [("flood", "service", "none")[row[1]] for row in TABLE]


def test_the_command_prints_them_all(capsys):
    tables.list_alarms(False)
    said = " ".join(capsys.readouterr().out.split())
    for row in TABLE:
        words = alarm_words.of(row[0])
        for text in (row[3], words.wrong, words.causes, words.do, words.never, words.reason):
            assert " ".join(text.split()) in said
    tables.list_alarms(True)
    rows = json.loads(capsys.readouterr().out)
    assert [row["name"] for row in rows] == NAMES
    assert rows[0]["call"] == "flood"


@pytest.mark.parametrize("width", [80, 120])
def test_on_a_terminal_no_word_is_cut_and_the_headings_stay_apart_from_the_text(width, monkeypatch):
    screen = io.StringIO()
    monkeypatch.setattr(tables, "console", lambda: Console(file=screen, width=width, force_terminal=False))
    tables.list_alarms(False)
    lines = screen.getvalue().splitlines()
    assert max(map(len, lines)) <= width
    said = " ".join(screen.getvalue().split())
    assert alarm_words.of("battery_low").do.split(". ")[0] in said
    # What does not fit on its line goes on under the text, not under the headings.
    for line, following in zip(lines, lines[1:], strict=False):
        if line.startswith("caution ") and following and not following.startswith("why "):
            assert following.startswith(" " * 11)


def test_the_command_shows_the_alarms_asked_for(capsys):
    tables.list_alarms(True, ("standby", "battery"))
    assert [row["name"] for row in json.loads(capsys.readouterr().out)] == ["battery_failed", "battery_old"]
    with pytest.raises(InputError, match='no alarm has "cup of tea"'):
        tables.list_alarms(False, ("cup", "of", "tea"))
