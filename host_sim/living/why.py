"""Why: the clause of the narrative that decided last, in words.

It is read off the controller after each of its steps: what has changed since
the step before, and what the controller itself gives as the cause.
"""

from collections import deque

from duplexsump.control import alarm_table, alarms
from duplexsump.control import pump as pm
from duplexsump.control.records import CONTACT_NAMES

KEPT = 8
STARTED = {
    "lead": ("the lead contact is wet, and this pump has the turn", "D1"),
    "lag": ("lag or high is wet: both pumps are called", "D1"),
    "blind pumping": ("no contact can be believed: pumping by time", "L6"),
    "flood retry": ("high is believed wet: a pump that is out is tried all the same", "R3"),
    "exercise": ("the regular exercise of a pump that has not run", "D7"),
    "hand": ("its selector is at HAND", "M1"),
    "float switch": ("the float switch is up", ""),
}
TRIPPED = {
    pm.FAILED_START: ("it drew no current when started", "S5"),
    pm.RUN_LOST: ("its current was lost while it ran", "S5"),
    pm.NOT_PUMPING: ("it runs light although there is water: not pumping", "R1"),
    pm.OVERLOAD: ("its current is too high: overload or locked rotor", "S7"),
    pm.MOISTURE: ("moisture in its seal chamber", "S7"),
    pm.THERMAL_OPEN: ("its thermal contact opened: the motor is too hot", "S7"),
}
# The clause that raises an alarm; those not named follow from the table in A1.
RAISED = {
    "level_lost": "L6", "float_wiring": "L7", "not_keeping_up": "D5", "pump_1_will_not_stop": "S6",
    "pump_2_will_not_stop": "S6", "battery_low": "A4", "inputs_forced": "M2", "inputs_forced_long": "M2",
    "expander_silent": "M8", "storage_failed": "M3",
    "mains_lost": "A4", "mains_unsteady": "A4", "charger_failed": "A4", "battery_failed": "A4",
    "floats_out_of_sequence": "L2", "transmitter_failed": "L5", "pump_1_exercise_failed": "D7",
    "pump_2_exercise_failed": "D7", "pour_and_test": "D7", "pump_1_suspect": "D6", "pump_2_suspect": "D6",
    "selector_away": "M1", "not_in_auto": "M1", "chattering": "L1", "pump_1_short_cycling": "S8",
    "pump_2_short_cycling": "S8", "pump_1_moisture": "S7", "pump_2_moisture": "S7", "inspection_due": "A5",
}  # fmt: skip


def started(why):
    """Return (words, clause) of a reason to run, as `Recorder.why` gives it."""
    return STARTED[why]


def stopped(c, n, mains):
    """Return (words, clause): why the controller `c` has just stopped pump n; `mains`: whether it is present."""
    pump = c.pumps[n]
    if c.selectors.off(n):
        return "its selector is at OFF", "M1"
    if pump.state in (pm.RETRY, pm.LOCKED) and pump.cause:
        return TRIPPED[pump.cause]
    if not mains and not c.pair.available >> n & 1:
        return "the mains is gone, and it has no other supply", "A4"
    if c.pumps[1 - n].state in (pm.STARTING, pm.RUNNING) or c.demand.demand:
        return "another pump takes over", "D4" if pump.state == pm.IDLE and not c.pumps[1 - n].cause else "D3"
    if c.demand.by_level:
        return "off is dry: the pit is drawn down", "D1"
    return "the time for the pump-down is over, since off cannot tell", "L3"


class Decisions:
    """The latest decisions of one controller: `latest` holds (ms, words, clause), the newest last."""

    def __init__(self):
        self.latest = deque(maxlen=KEPT)
        self.running, self.suspect, self.states, self.alarms, self.powered = [0, 0], 0, [pm.IDLE] * 2, None, False

    def look(self, now_ms, night):
        """Note what the controller of a `Night` has decided in its last step."""
        control = night.control
        if control.powered != self.powered:
            self.powered = control.powered
            up, down = ("powered up: outputs stay off at first", "S4"), ("the controller has no power", "")
            self.latest.append((now_ms, *(up if self.powered else down)))
            self.running, self.suspect, self.alarms = [0, 0], 0, None
        if not control.powered:
            return
        c = control.controller
        if c.belief.suspect != self.suspect:
            self._suspects(now_ms, c.belief)
        if self.alarms is None:
            self.alarms = list(c.alarms.state)
        elif c.alarms.state != self.alarms:
            self._alarms(now_ms, c.alarms.state)
        for n in (0, 1):
            self._pump(now_ms, night, c, n)

    def _pump(self, now_ms, night, c, n):
        on, state = night.control.out[n], c.pumps[n].state
        if on != self.running[n]:
            self.running[n] = on
            words, clause = started(night.recorder.why(n)) if on else stopped(c, n, night.plant.mains)
            self.latest.append((now_ms, f"pump {n + 1} {'started' if on else 'stopped'}: {words}", clause))
        if state == pm.LOCKED != self.states[n]:
            self.latest.append((now_ms, f"pump {n + 1} is locked out: it failed too often in a row", "S5"))
        elif self.states[n] == pm.LOCKED != state:
            self.latest.append((now_ms, f"the lockout of pump {n + 1} has ended", "R4"))
        self.states[n] = state

    def _suspects(self, now_ms, belief):
        for i, name in enumerate(CONTACT_NAMES):
            bit = 1 << i
            if (belief.suspect ^ self.suspect) & bit:
                clause = "L7" if belief.wiring & bit else "L4" if belief.evidence & bit else "L2"
                if belief.suspect & bit:
                    self.latest.append((now_ms, f"the {name} contact is suspect and is left out", clause))
                else:
                    self.latest.append((now_ms, f"the {name} contact is believed again", "L2"))
        self.suspect = belief.suspect

    def _alarms(self, now_ms, states):
        for i, state in enumerate(states):
            if state == alarms.UNACKNOWLEDGED and self.alarms[i] != state:
                row = alarm_table.TABLE[i]
                clause = RAISED.get(row[alarm_table.NAME], "A1")
                self.latest.append((now_ms, f"alarm, {alarm_table.PRIORITIES[row[alarm_table.PRIORITY]]} priority: "
                                    f"{row[alarm_table.TEXT]}", clause))  # fmt: skip
        self.alarms = list(states)
