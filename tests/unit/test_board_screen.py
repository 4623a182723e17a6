"""The screen of `sumpbench watch`: every register in the words of the trade, flows in the units asked for."""

import contextlib
import io

import pytest
from duplexsump.control import alarm_table, alarms
from duplexsump.control import settings as s
from rich.console import Console
from typer.testing import CliRunner

from host_sim.board import screen
from host_sim.cli import board
from host_sim.cli.app import app

VALUES = {
    "reset_cause": 1, "uptime": 90, "firmware": 0x1234ABCD, "demand": 1, "blind": 0, "battery": 12600,
    "inflow": 9464, "journal_first": 3, "journal_last": 7, "storage_faults": 0,
    "pump_1_state": 2, "pump_2_state": 4, "selector_1": 0, "selector_2": 1, "current_1": 8100, "current_2": 0,
    "current_band_1": 2, "current_band_2": 0, "starts_1": 41, "starts_2": 40, "run_1": 5400, "run_2": 3600,
    "wear_1": 4, "wear_2": 0,
    "rate_1": 130978, "rate_2": 0, "pump_1_cause": 0, "pump_2_cause": 3,
}  # fmt: skip
STATES = {"wet": 0b0011, "suspect": 0b0010, "outputs": 0b010101, "mains": 1}


def shown(system="us", sensing=s.SENSE_CURRENT, standing=(), **changed):
    """Return the screen as a list of lines with single white space; `standing` are (alarm, state) pairs."""
    states = [alarms.NORMAL] * alarm_table.COUNT
    for place, state in standing:
        states[place] = state
    console = Console(width=200, record=True, file=io.StringIO())
    console.print(screen.build({**VALUES, **changed}, STATES, states, sensing, "/dev/ttyACM0", system))
    return [" ".join(line.split()) for line in console.export_text().splitlines()]


def test_flows_speak_the_units_asked_for():
    # The US gallon is 3.785 L by definition: 9.464 L/min are 2.5 gpm and 0.16 L/s, 130.978 L/min 34.6 gpm and 2.18 L/s.
    us, si = "\n".join(shown("us")), "\n".join(shown("si"))
    assert "inflow 2.5 gpm at the last fill" in us and "34.6 gpm" in us
    assert "inflow 0.16 L/s at the last fill" in si and "2.18 L/s" in si
    assert "L/" not in us and "gpm" not in si


def test_a_suspect_float_is_marked_and_the_highest_comes_first():
    assert "floats high dry, lag dry, lead WET (suspect), off WET" in shown()


def test_pumps_called_outputs_and_supply_are_said_in_trade_words():
    lines = shown()
    assert "pumps called 1" in lines
    assert "outputs on HORN, alarm relay energized" in lines
    assert "supply mains on, battery 12.6 V" in lines
    assert "board /dev/ttyACM0, up 90 min since watchdog reset, firmware 1234abcd" in lines
    assert "1 ON running AUTO 8.1 A, normal 41 1.50 h 34.6 gpm 4 % none" in lines


@pytest.mark.parametrize(
    ("sensing", "words"),
    [(s.SENSE_NOTHING, "not sensed"), (s.SENSE_FEEDBACK, "run feedback off"), (s.SENSE_CURRENT, "0.0 A, no current")],
)
def test_the_current_is_shown_as_far_as_it_is_sensed(sensing, words):
    assert f"2 off locked OFF {words} 40" in "\n".join(shown(sensing=sensing))


def test_alarms_come_most_urgent_first_with_state_and_action():
    standing = [(alarm_table.MAINS_LOST, alarms.RETURNED), (alarm_table.HIGH_WATER, alarms.UNACKNOWLEDGED)]
    lines = shown(standing=standing)
    high = next(i for i, line in enumerate(lines) if line.startswith("high high water unacknowledged "))
    heads = [line for line in lines[high + 1 :] if line.startswith(("high ", "medium ", "low "))]  # the others go on
    assert [line.startswith("medium mains lost cleared, unacknowledged ") for line in heads] == [True]
    assert "No alarms." not in lines
    assert "No alarms." in shown()


@pytest.mark.parametrize(("units", "words"), [("us", "2.5 gpm"), ("si", "0.16 L/s")])
def test_watch_takes_the_units_as_an_option(monkeypatch, units, words):
    quiet = [alarms.NORMAL] * alarm_table.COUNT
    monkeypatch.setattr(screen, "read", lambda client: (VALUES, STATES, quiet, s.SENSE_CURRENT))
    monkeypatch.setattr(board, "_client", lambda *options: contextlib.nullcontext())
    said = CliRunner().invoke(app, ["watch", "--port", "none", "--once", "--units", units])
    assert said.exit_code == 0
    assert words in said.output
