"""The judges themselves are judged: forged sequences must be found wrong, honest ones must pass.

A judge that accepts everything would make every run look good, so each rule is
shown a run that breaks it, and the smallest honest run beside it.
"""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s

from tests.judge.alarm_judge import AlarmJudge
from tests.judge.pump_judge import PumpJudge

OFF, LEAD, LAG, HIGH = r.CONTACTS
BELOW_HIGH = OFF | LEAD | LAG


class Forged:
    """A rig without a controller: the test writes the outputs itself."""

    def __init__(self, **overrides):
        self.settings = s.defaults()
        for name, value in overrides.items():
            self.settings[s.index(name)] = value
        self.elapsed_ms = 0
        self.held = [0] * r.N_INPUTS
        self.held[r.IN_MAINS] = 1
        self.outputs = [0] * r.N_OUTPUTS
        self.outputs[r.OUT_RELAY] = self.outputs[r.OUT_SERVICE] = 1
        self.alarm_states = ["normal"]
        self.watchers = []

    def output(self, name):
        return self.outputs[r.OUTPUT_NAMES.index(name)]

    def go(self, seconds, *, contacts=None, pump_1=None, pump_2=None, current_1=None, **inputs):
        """Change inputs and outputs now, then let `seconds` pass tick by tick."""
        for place, value in ((r.OUT_PUMP_1, pump_1), (r.OUT_PUMP_2, pump_2)):
            if value is not None:
                self.outputs[place] = value
        for place, value in ((r.IN_CONTACTS, contacts), (r.IN_CURRENT_1, current_1)):
            if value is not None:
                self.held[place] = value
        for name, value in inputs.items():
            self.held[r.INPUT_NAMES.index(name)] = value
        for _ in range(round(seconds * 10)):
            for watcher in self.watchers:
                watcher(self)
            self.elapsed_ms += 100
        return self


def judged(**overrides):
    rig = Forged(**overrides)
    return rig, PumpJudge(rig)


def clauses(judge):
    return {text.split(": ")[1] for text in judge.wrong}


def test_an_honest_cycle_passes():
    rig, judge = judged()
    rig.go(70).go(5, contacts=OFF).go(2, contacts=OFF | LEAD).go(20, pump_1=1).go(10, contacts=OFF)
    rig.go(1.5, contacts=0).go(5, pump_1=0)
    judge.check()
    assert judge.seen["starts"] == 1


@pytest.mark.parametrize(
    ("clause", "script"),
    [
        ("D1", lambda rig: rig.go(70).go(5, contacts=OFF).go(10, pump_1=1)),
        ("D1", lambda rig: rig.go(70).go(5, contacts=OFF | LEAD).go(10, pump_1=1).go(5, pump_2=1)),
        ("S1", lambda rig: rig.go(70, contacts=OFF | LEAD).go(9, pump_1=1).go(9, pump_1=0).go(9, pump_1=1)),
        ("S2", lambda rig: rig.go(70, contacts=BELOW_HIGH).go(2, pump_1=1).go(9, pump_2=1)),
        ("S3", lambda rig: rig.go(70, contacts=OFF | LEAD).go(2, pump_1=1).go(9, pump_1=0)),
        ("S4", lambda rig: rig.go(5, contacts=BELOW_HIGH | HIGH).go(9, pump_1=1)),
        ("M1", lambda rig: rig.go(70, contacts=OFF | LEAD).go(9, pump_1=1).go(1, selector_1=r.SELECT_OFF)),
        ("S7", lambda rig: rig.go(70, contacts=OFF | LEAD).go(9, pump_1=1).go(1, thermal_1=1)),
        ("A4", lambda rig: rig.go(70, contacts=OFF | LEAD).go(9, pump_1=1).go(1, mains=0)),
    ],
)
def test_a_sequence_that_a_clause_forbids_is_found(clause, script):
    rig, judge = judged()
    script(rig)
    assert clauses(judge) == {clause}, judge.wrong


@pytest.mark.parametrize(
    ("clause", "band", "seconds"),
    [
        ("S5", r.CURRENT_NONE, 4),
        ("S7", r.CURRENT_OVER, 6),
        ("S7", r.CURRENT_LOCKED, 3),
        ("R1", r.CURRENT_UNDER, 9),
    ],
)
def test_a_pump_left_on_past_its_limit_is_found(clause, band, seconds):
    rig, judge = judged(sensing=s.SENSE_CURRENT)
    rig.go(70, contacts=OFF | LEAD).go(seconds, pump_1=1, current_1=band)
    assert clauses(judge) == {clause}, judge.wrong


def test_a_tripped_pump_that_starts_within_its_retry_rest_is_found():
    rig, judge = judged(sensing=s.SENSE_CURRENT)
    rig.go(70, contacts=OFF | LEAD).go(3, pump_1=1).go(500, pump_1=0).go(5, pump_1=1)
    assert clauses(judge) == {"S5"}, judge.wrong
    assert judge.seen["trips"] == 1


def test_a_locked_out_pump_that_starts_without_cause_is_found():
    rig, judge = judged(sensing=s.SENSE_CURRENT, retries=1)
    rig.go(70, contacts=OFF | LEAD).go(3, pump_1=1).go(700, pump_1=0).go(1, pump_1=1)
    assert clauses(judge) == {"R4"}, judge.wrong


def test_a_locked_out_pump_may_start_after_a_reset():
    rig, judge = judged(sensing=s.SENSE_CURRENT, retries=1)
    rig.go(70, contacts=OFF | LEAD).go(3, pump_1=1).go(70, pump_1=0).go(1, reset=1).go(1, pump_1=1)
    judge.check()


def alarmed(latches=0, priority="medium", **overrides):
    rig = Forged(**overrides)
    return rig, AlarmJudge(rig, [("some", priority, latches)])


def put(rig, state, seconds=1, *, horn=0, relay=1, service=None, **inputs):
    rig.alarm_states = [state]
    rig.outputs[r.OUT_HORN], rig.outputs[r.OUT_RELAY] = horn, relay
    rig.outputs[r.OUT_SERVICE] = int(state in ("normal", "latched_acknowledged")) if service is None else service
    return rig.go(seconds, **inputs)


def test_the_standard_walk_passes():
    rig, judge = alarmed()
    put(rig, "normal")
    put(rig, "unacknowledged", horn=1)
    put(rig, "returned")
    put(rig, "unacknowledged", horn=1)
    put(rig, "acknowledged", silence=1)
    put(rig, "normal", silence=0)
    judge.check()
    assert judge.changes == 5


@pytest.mark.parametrize("state", ["acknowledged", "latched", "latched_acknowledged"])
def test_a_jump_over_a_state_is_found(state):
    rig, judge = alarmed()
    put(rig, "normal")
    put(rig, state)
    assert clauses(judge) == {"A1"}, judge.wrong


def test_an_acknowledgement_that_nobody_gave_is_found():
    rig, judge = alarmed()
    put(rig, "unacknowledged", horn=1)
    put(rig, "acknowledged")
    assert clauses(judge) == {"A1"}, judge.wrong


def test_a_latch_that_lets_go_without_a_reset_is_found():
    rig, judge = alarmed(latches=1)
    put(rig, "unacknowledged", horn=1)
    put(rig, "latched")
    put(rig, "normal")
    assert clauses(judge) == {"A1"}, judge.wrong


def test_a_latch_that_a_reset_ends_passes():
    rig, judge = alarmed(latches=1)
    put(rig, "unacknowledged", horn=1)
    put(rig, "latched")
    put(rig, "normal", reset=1)
    judge.check()


def test_a_relay_energised_with_a_high_alarm_is_found():
    rig, judge = alarmed(priority="high")
    put(rig, "normal")
    put(rig, "unacknowledged", horn=1, relay=1)
    assert clauses(judge) == {"I11", "A3"}, judge.wrong


def test_a_relay_dropped_for_nothing_is_found():
    rig, judge = alarmed(priority="high")
    put(rig, "normal", relay=0)
    assert clauses(judge) == {"A3"}, judge.wrong


@pytest.mark.parametrize("state", ["unacknowledged", "returned"])
def test_a_service_relay_energised_with_a_medium_alarm_is_found(state):
    rig, judge = alarmed()
    put(rig, "unacknowledged", horn=1)
    put(rig, state, horn=int(state == "unacknowledged"), service=1)
    assert clauses(judge) == {"A3"}, judge.wrong


def test_a_service_relay_dropped_for_nothing_is_found():
    rig, judge = alarmed()
    put(rig, "normal", service=0)
    assert clauses(judge) == {"A3"}, judge.wrong


def test_a_silent_horn_is_found():
    rig, judge = alarmed()
    put(rig, "normal")
    put(rig, "unacknowledged", horn=0)
    assert clauses(judge) == {"A2"}, judge.wrong


def test_a_horn_out_of_its_times_is_found():
    rig, judge = alarmed()
    put(rig, "normal")
    put(rig, "unacknowledged", horn=1, seconds=120)
    put(rig, "unacknowledged", horn=0, seconds=10)
    judge.check()
    put(rig, "unacknowledged", horn=1)
    assert clauses(judge) == {"A2"}, judge.wrong


def test_a_horn_without_an_alarm_is_found():
    rig, judge = alarmed()
    put(rig, "normal", horn=1)
    assert clauses(judge) == {"A2"}, judge.wrong
