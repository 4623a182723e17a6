"""Alarm states against IEC 62682, exhaustively over the alarm table.

Source: IEC 62682 / ISA-18.2, state transitions: normal -> unacknowledged
(alarm); -> acknowledged (acknowledge); unacknowledged -> returned
unacknowledged (clears); acknowledged -> normal (clears); returned
unacknowledged -> normal (acknowledge), -> unacknowledged (alarm again).
The latched pair (waits for a reset) is an option of the standard; that a reset
ends it whether or not it was acknowledged is our own choice, from no source.
"""

from itertools import product

import pytest
from duplexsump.control import alarms
from duplexsump.control import settings as s
from duplexsump.control.timers import Timers

from tests.judge.alarm_judge import LATCHED, PLAIN, Alarm

OPERATIONS = ("alarm", "clear", "acknowledge", "reset")
DEPTH = 5


class Bench:
    """One alarm of the firmware beside the standard's machine for it."""

    def __init__(self, place):
        self.place = place
        self.timers = Timers()
        self.firmware = alarms.Alarms(s.defaults(), self.timers)
        self.firmware.begin()
        row = alarms.TABLE[place]
        self.standard = Alarm(row[0], row[1], bool(row[2]))
        self.standing = False
        self.ms = 0

    def do(self, operation):
        """Do one operation on both; conditions are levels in the firmware and edges in the standard."""
        self.ms += 1000
        self.timers.expire(self.ms)
        if operation in ("alarm", "clear"):
            standing = operation == "alarm"
            self.firmware.tell(self.place, standing)
            happens = standing != self.standing
            self.standing = standing
        else:
            getattr(self.firmware, "silence" if operation == "acknowledge" else "reset")()
            happens = True
        self.firmware.step(0)
        rows = LATCHED if self.standard.latches else PLAIN
        if happens and any(t == operation and source == self.standard.state for t, source, _ in rows):
            self.standard.trigger(operation)

    @property
    def states(self):
        return alarms.STATES[self.firmware.state[self.place]], self.standard.state


# Source: IEC 62682 / ISA-18.2 transitions, as above.
@pytest.mark.parametrize("place", range(len(alarms.TABLE)), ids=[row[0] for row in alarms.TABLE])
def test_every_alarm_follows_the_standard_through_every_sequence(place):
    depth = DEPTH if place in (0, len(alarms.TABLE) - 1) or alarms.TABLE[place][2] else 3
    for sequence in product(OPERATIONS, repeat=depth):
        bench = Bench(place)
        for n, operation in enumerate(sequence):
            bench.do(operation)
            ours, standard = bench.states
            assert ours == standard, (sequence[: n + 1], ours, standard)


# Source: IEC 62682 / ISA-18.2 transitions, as above.
@pytest.mark.parametrize(("path", "state"), [
    ((), "normal"),
    (("alarm",), "unacknowledged"),
    (("alarm", "acknowledge"), "acknowledged"),
    (("alarm", "acknowledge", "clear"), "normal"),
    (("alarm", "clear"), "returned"),
    (("alarm", "clear", "acknowledge"), "normal"),
    (("alarm", "clear", "alarm"), "unacknowledged"),
])
def test_the_standards_own_walks(path, state):
    bench = Bench(alarms.STATES.index("normal"))
    for operation in path:
        bench.do(operation)
    assert bench.states == (state, state)


def test_the_table_has_latching_alarms_and_others():
    latching = {row[0] for row in alarms.TABLE if row[2]}
    assert {"pump_1_moisture", "pump_2_moisture"} <= latching  # S7
    assert "high_water" not in latching


# Source: IEC 62682 / ISA-18.2 transitions: an acknowledged alarm may be announced again (re-alarm).
def test_a_reminder_leads_from_acknowledged_to_unacknowledged_and_nowhere_else():
    width = len(alarms.EVENTS)
    remind = alarms.EVENTS.index("remind")
    following = {state: alarms.NEXT[i * width + remind] for i, state in enumerate(alarms.STATES)}
    assert {state for state, end in following.items() if end != alarms.NO} == {"acknowledged"}
    assert alarms.STATES[following["acknowledged"]] == "unacknowledged"
