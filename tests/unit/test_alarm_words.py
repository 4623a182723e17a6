"""A1: what the PC says of each alarm is whole, speaks of its own pump, and warns of water and of generators."""

import dataclasses
import io
import json
from pathlib import Path

import pytest
from duplexsump.control import settings as s
from duplexsump.control.alarm_table import TABLE
from duplexsump.station import registers
from rich.console import Console

from host_sim import alarm_words
from host_sim.cli import tables
from host_sim.errors import InputError

ROOT = Path(__file__).resolve().parents[2]
NAMES = [row[0] for row in TABLE]
# Where water may stand on the floor or over the pit when somebody comes to look.
WET = ("high_water", "no_pump", "level_lost", "float_wiring", "not_keeping_up", "floats_out_of_sequence",
       "transmitter_failed", "chattering", "pump_1_will_not_stop", "pump_2_will_not_stop")  # fmt: skip


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


def test_the_water_caution_says_what_cutting_the_power_does_and_who_cuts_it_where_nobody_can():
    assert "also stops the pumps" in alarm_words.WATER
    assert "utility or the fire department" in alarm_words.WATER


@pytest.mark.parametrize("name", ["no_pump", "pump_1_unavailable", "pump_2_unavailable"])
def test_nobody_reads_that_a_locked_out_pump_is_safe_to_touch(name):
    caution = alarm_words.of(name).never
    assert "still tries a locked-out pump when the water is high: it can start at any moment" in caution
    assert "Unplug it, or have its breaker switched off and tagged, before anybody touches it" in caution


def test_locked_out_is_said_of_an_alarm_s_pump_alone_never_as_a_safe_state():
    for name in NAMES:
        words = alarm_words.of(name)
        assert "locked out" not in f"{words.do} {words.never}", name
        assert "stays off until" not in f"{words.wrong} {words.reason}", name
    for place in ("README.md", "host_sim/cli/app.py", "host_sim/board/wiring_list.py", "host_sim/living/web/index.html",
                  "host_sim/sizing/report/page.py"):  # fmt: skip
        assert "unplugged or locked out" not in " ".join((ROOT / place).read_text(encoding="utf-8").split()), place


FROZEN = ("no_pump", "high_water", "not_keeping_up", *(f"pump_{n}_unavailable" for n in (1, 2)))


@pytest.mark.parametrize("name", FROZEN)
def test_where_no_water_gets_out_a_frozen_discharge_is_named_looked_for_and_thawed_without_a_flame(name):
    words = alarm_words.of(name)
    assert "frozen" in words.causes and "discharge" in words.causes
    assert "Check that water comes out of the discharge outdoors" in words.do
    assert "open flame" in words.never and "licensed plumber" in words.never


@pytest.mark.parametrize("n", [1, 2])
def test_a_pump_that_fails_tells_where_its_cause_stands_and_that_it_may_be_worn_or_locked_out(n):
    words = alarm_words.of(f"pump_{n}_unavailable")
    assert "locked out" in words.wrong and "press RESET" in words.do
    assert "worn or clogged" in words.causes
    register = f"pump_{n}_cause"
    assert register in words.wrong and register in [row[0] for row in registers.WORD_ROWS]
    assert "sumpbench watch" in words.wrong and "timeline" in words.wrong


@pytest.mark.parametrize("name", ["battery_low", "battery_failed", "battery_old", "charger_failed"])
def test_who_works_at_a_battery_is_warned_of_its_gas_and_its_acid(name):
    caution = alarm_words.of(name).never
    assert "explosive gas" in caution and "acid" in caution and "ventilate" in caution


def test_of_a_dead_standby_battery_one_reads_that_the_alarm_itself_may_die_with_it():
    assert "alarm itself" in alarm_words.of("battery_failed").wrong


@pytest.mark.parametrize(("name", "word", "plain"), [
    ("mains_lost", "grace time", "the wait before it is told"), ("expander_silent", "bus", "the wires that join it"),
    ("inputs_forced", "forced over the link", "made-up signals"), ("pump_1_worn", "draw-down", "start to its stop"),
    ("inputs_forced_long", "forced over the link", "made-up signals"),
    ("pump_1_exercise_failed", "exercise", "test run"),
    ("transmitter_failed", "loop supply", "the power on those wires"),
    ("pump_2_short_cycling", "short cycling", "starts more often than its motor should"),
])  # fmt: skip
def test_a_word_of_the_trade_has_a_plain_half_sentence_beside_it(name, word, plain):
    words = alarm_words.of(name)
    [text] = [text for text in (words.wrong, words.causes, words.do) if word in text]
    assert text.index(word) < text.index(plain)


def test_the_grace_of_a_lost_mains_is_the_setting_s():
    assert f"{s.TABLE[s.MAINS_GRACE_MS][s.DEFAULT] // 60000} min" in alarm_words.of("mains_lost").wrong


def test_wherever_a_generator_is_spoken_of_it_runs_outdoors():
    spoken = [name for name in NAMES if "generator" in " ".join(dataclasses.astuple(alarm_words.of(name))).lower()]
    assert {"battery_low", "mains_lost", "no_pump", "high_water"} <= set(spoken)
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
    names = [row["name"] for row in json.loads(capsys.readouterr().out)]
    assert {"battery_failed", "battery_old"} <= set(names) and "high_water" not in names
    for place, words in (("causes", ("frozen",)), ("do", ("discharge", "outdoors")), ("never", ("fire", "department"))):
        tables.list_alarms(True, words)
        rows = json.loads(capsys.readouterr().out)
        assert any(all(word in row[place] and word not in row["text"] for word in words) for row in rows)
    with pytest.raises(InputError, match='no alarm has "cup of tea"'):
        tables.list_alarms(False, ("cup", "of", "tea"))
