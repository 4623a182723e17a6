"""Who is told what: the table has a row for every fault wherever it can be, and months hold the firmware to it."""

import re

import pytest
from duplexsump.control import alarm_table as at
from typer.testing import CliRunner

from host_sim.cli import app
from host_sim.proof.told import judge, months
from host_sim.run.controllers import Duplex
from host_sim.site.faults import REGISTRY


def test_every_fault_has_a_row_in_every_house_and_season_that_can_have_it():
    plan = months.plan()
    assert {fault for _house, _season, fault in plan} == {*REGISTRY, *months.SEVERE}
    for house, season, fault in plan:
        row = judge.row_of(fault, house, season)
        assert row.silent or (row.alarms and row.within_s > 0.0), (house, season, fault)


def test_a_fault_that_may_be_silent_says_why():
    for row in judge.table():
        assert not row.silent or len(row.silent.split()) > 5, row


@pytest.mark.long
@pytest.mark.parametrize(("house", "fault"), [
    ("backup", "battery-dead"), ("backup", "charger-failed"), ("backup", "mains-lost"), ("pair", "pump1-jammed"),
    ("pair", "off-stuck-dry"), ("transmitter", "transmitter-below-range"), ("plain", "silence-stuck"), ("pair", ""),
    ("feedback", ""),
])  # fmt: skip
def test_a_dry_month_is_told_as_the_table_says(house, fault):
    record = judge.run(1, 0, house, "dry", fault)
    assert record["broken"] == ""


class Dumb(Duplex):
    """A controller that pumps and never says a word."""

    def step(self, now_ms, raw):
        super().step(now_ms, raw)
        self.controller.alarms.state[:] = [0] * len(self.controller.alarms.state)


class Crying(Duplex):
    """A controller that blames its floats whenever the mains is out, and says it again every hour."""

    def step(self, now_ms, raw):
        super().step(now_ms, raw)
        alarms = self.controller.alarms
        wrong = self.controller.supply.lost and now_ms % 7_200_000 < 7_000_000
        alarms.state[at.OUT_OF_SEQUENCE] = alarms.active[at.OUT_OF_SEQUENCE] = 1 if wrong else 0


@pytest.mark.long
def test_canary_an_alarm_that_blames_a_sound_part_and_one_that_comes_again_and_again_are_found():
    broken = judge.run(1, 0, "backup", "dry", "mains-lost", Crying)["broken"]
    assert "floats out of sequence: blames what is sound" in broken
    assert re.search(r"floats out of sequence: raised \d+ times", broken)


@pytest.mark.long
def test_a_worn_pump_gets_no_float_blamed():
    assert judge.run(1, 176, "backup", "wet", "pump1-worn")["broken"] == ""


@pytest.mark.long
def test_canary_a_controller_that_tells_nothing_is_found():
    assert "never told" in judge.run(1, 0, "backup", "dry", "battery-dead", Dumb)["broken"]


def test_horn_minutes_leave_out_the_time_of_high_water():
    class Span:
        def __init__(self, name, start_s, end_s):
            self.name, self.start_s, self.end_s = name, start_s, end_s

    class Alarm:
        name, raised_s, cleared_s = "high_water", 7800.0, 8400.0

    class Trace:
        alarms, duration_s = (Alarm,), 3e6
        outputs = (Span("horn", 0.0, 900.0), Span("horn", 9000.0, 9060.0), Span("horn", 13000.0, 13060.0),
                   Span("horn", 2e6, 2e6 + 60.0))  # fmt: skip

    assert judge.horn_minutes(Trace) == pytest.approx(10.0 + 1.0), "its own chirps within the hour belong to it"


def test_the_command_refuses_what_it_does_not_know():
    result = CliRunner().invoke(app.app, ["told", "--only", "no-such-fault"])
    assert "no-such-fault" in str(result.exception)


@pytest.mark.long
@pytest.mark.parametrize(("seed", "number", "house", "fault"), [
    (41, 652, "transmitter", ""),  # the first refill in a growing inflow: two sound check valves were told
    (4, 274, "backup", "pump1-check-leaking"),  # a small leak in a strong inflow: told after 15 days
    (4, 340, "plain", "pump2-worn"),  # learnt in a growing inflow: the sound check valve of the good pump was told
    (4, 420, "pair", "pump2-clogged"),  # a pump a fifth slower: its sound check valve was told
    (4, 150, "transmitter", "transmitter-drifting"),  # a good pump was unavailable for 94 min
])  # fmt: skip
def test_a_wet_month_that_once_told_the_wrong_thing_or_too_late(seed, number, house, fault):
    record = judge.run(seed, number, house, "wet", fault)
    assert record["broken"] == ""
    leaks = [name for name in record["alarms"] if name.endswith("check_leaks")]
    assert leaks == (["pump_1_check_leaks"] if fault == "pump1-check-leaking" else [])


@pytest.mark.long
@pytest.mark.parametrize(("seed", "number", "house", "season", "fault"), [
    (11, 477, "feedback", "dry", "discharge-frozen"),  # what L3 looked at, a good `lead`, was blamed for 26 days
    (11, 479, "plain", "dry", "discharge-frozen"),
    (11, 484, "transmitter", "wet", "discharge-burst"),  # a level that stood under two pumps alike was "failed"
    (5309, 484, "transmitter", "wet", "discharge-burst"),
    (11, 486, "feedback", "wet", "discharge-burst"),  # no rate is measured: both pumps are flagged
    (1201, 26, "backup", "wet", "off-wire-broken"),  # taken for the cable, and called as high
])  # fmt: skip
def test_a_month_that_once_blamed_what_is_sound_or_named_nothing(seed, number, house, season, fault):
    assert judge.run(seed, number, house, season, fault)["broken"] == ""


@pytest.mark.parametrize(("call", "priority", "flood_s", "service_s", "held"), [
    ("service", "medium", None, 10.0, True), ("service", "medium", 10.0, None, False),
    ("service", "medium", 10.0, 100.0, False), ("service", "high", 10.0, None, True),
    ("service", "high", None, 10.0, False), ("flood", "high", 10.0, None, True), ("flood", "high", None, 10.0, False),
    ("none", "low", None, None, True),
])  # fmt: skip
def test_the_call_is_that_of_the_priority_and_in_time(call, priority, flood_s, service_s, held):
    row = judge.Row(("lead-stuck-wet",), ("pair",), ("dry",), alarms=("chattering",), within_s=60.0, priority="low",
                    call=call)  # fmt: skip
    record = {"alarms": {"chattering": (5.0, priority)}, "flood_call_s": flood_s, "service_call_s": service_s}
    assert bool(list(judge.promised(record, row))) is not held
