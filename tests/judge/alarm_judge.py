"""An independent judge of alarm sequences: IEC 62682 / ISA-18.2 built by hand with `transitions`.

Transitions of the standard: normal -> unacknowledged (alarm); -> acknowledged
(acknowledge); unacknowledged -> returned unacknowledged (clears); acknowledged
-> normal (clears); returned unacknowledged -> normal (acknowledge), ->
unacknowledged (alarm again).  The latched pair is the standard's option for
alarms that wait for a reset; its names here are the firmware's own.
An acknowledged alarm may be announced again after a while (re-alarm).
"""

from duplexsump.control import records as r
from duplexsump.control import settings as s
from transitions import Machine, MachineError

STATES = ("normal", "unacknowledged", "acknowledged", "returned", "latched", "latched_acknowledged")
PLAIN = (
    ("alarm", "normal", "unacknowledged"),
    ("acknowledge", "unacknowledged", "acknowledged"),
    ("clear", "unacknowledged", "returned"),
    ("clear", "acknowledged", "normal"),
    ("acknowledge", "returned", "normal"),
    ("alarm", "returned", "unacknowledged"),
    ("remind", "acknowledged", "unacknowledged"),
)
LATCHED = (
    ("alarm", "normal", "unacknowledged"),
    ("acknowledge", "unacknowledged", "acknowledged"),
    ("clear", "unacknowledged", "latched"),
    ("clear", "acknowledged", "latched_acknowledged"),
    ("acknowledge", "latched", "latched_acknowledged"),
    ("alarm", "latched", "unacknowledged"),
    ("alarm", "latched_acknowledged", "unacknowledged"),
    ("reset", "latched", "normal"),
    ("reset", "latched_acknowledged", "normal"),
    ("remind", "acknowledged", "unacknowledged"),
)
STANDING = ("unacknowledged", "acknowledged")
OPEN = ("unacknowledged", "returned", "latched")
# A2: how long the horn sounds at first, and where the alarm came back before anybody acknowledged it.
FIRST_MS = {"high": (300_000, 60_000), "medium": (120_000, 20_000)}
LONGEST_MS = 7 * 3_600_000
OVER_MS = 3_610_000


class Alarm:
    """One alarm as the standard knows it."""

    def __init__(self, name, priority, latches, state="normal"):
        self.name, self.priority, self.latches = name, priority, latches
        self.rows = LATCHED if latches else PLAIN
        self.machine = Machine(self, states=list(STATES), initial=state, auto_transitions=False)
        for trigger, source, target in self.rows:
            self.machine.add_transition(trigger, source, target)
        self.acknowledged_ms = None
        self.turned_ms = None  # when it came into its state, None: before this life
        self.again = False  # it came back before anybody acknowledged it

    def must_sound(self, now_ms):
        """Tell whether A2 has the horn sound for it: high water as long as it is wet, others at the beginning."""
        if self.state != "unacknowledged" or self.priority == "low" or self.turned_ms is None:
            return False
        age_ms = now_ms - self.turned_ms
        return self.name == "high_water" or age_ms < FIRST_MS[self.priority][self.again]

    def may_sound(self, now_ms):
        """Tell whether A2 lets the horn sound for it now."""
        if self.state not in OPEN or self.priority == "low":
            return False
        if self.turned_ms is None or self.must_sound(now_ms):
            return True
        age_s = (now_ms - self.turned_ms) / 1000
        if self.state != "unacknowledged":
            return any(at <= age_s <= at + 10 for at in (600, 1800, 3600))
        if self.priority == "high":
            return age_s > 6 * 3600 or age_s % 3600 <= 60 or self.again
        return age_s > 3620 or any(at <= age_s <= at + 20 for at in (600, 1800, 3600)) or self.again

    def calls(self, now_ms, late=False):
        """Tell whether A3 has it call: one that is over for an hour and its last chirp of 10 s no more.

        `late`: also where that is a matter of the very step, or of a life before this one.
        """
        if self.state not in OPEN + STANDING or self.state != "returned":
            return self.state in OPEN + STANDING
        if self.turned_ms is None:
            return late
        return now_ms - self.turned_ms < OVER_MS or (late and now_ms - self.turned_ms == OVER_MS)

    def path(self, target, may):
        """Return the shortest list of triggers out of `may` that leads to `target`, or None."""
        frontier, seen = [(self.state, [])], {self.state}
        while frontier:
            state, path = frontier.pop(0)
            if state == target:
                return path
            for trigger, source, end in self.rows:
                if source == state and end not in seen and trigger in may:
                    seen.add(end)
                    frontier.append((end, path + [trigger]))
        return None


class AlarmJudge:
    """Watches a rig; `wrong` collects alarm sequences that the standard or A2, A3 and I11 do not allow."""

    def __init__(self, rig, rows):
        """`rows` are (name, priority, latches) with priority "high", "medium" or "low"."""
        self.settings = rig.settings
        self.rows = rows
        self.wrong = []
        self.changes = 0
        self.power_up(rig)
        rig.watchers.append(self)

    def power_up(self, rig):
        """A new life: latched alarms may already be there (J4)."""
        self.alarms = [Alarm(*row) for row in self.rows]
        self.first = True
        self.before = None
        self.silenced_ms = None
        self.test_from_ms = None

    def __call__(self, rig):
        self.now = rig.elapsed_ms
        inputs = rig.held
        states = rig.alarm_states
        if self.first:
            for alarm, state in zip(self.alarms, states, strict=True):
                if state != "normal":
                    alarm.machine.set_state(state)
            self.first = False
        acknowledge, reset = self._pressed(inputs, r.IN_SILENCE, r.CMD_SILENCE), self._pressed(
            inputs, r.IN_RESET, r.CMD_RESET)
        if acknowledge:
            self.silenced_ms = self.now
        self._note_test(inputs)
        for alarm, state in zip(self.alarms, states, strict=True):
            self._follow(alarm, state, acknowledge, reset)
        self._outputs(rig)
        self.before = list(inputs)

    def _pressed(self, inputs, place, command):
        before = self.before or [0] * r.N_INPUTS
        button = inputs[place] and not before[place]
        return bool(button or inputs[r.IN_COMMAND] & ~before[r.IN_COMMAND] & command)

    def _note_test(self, inputs):
        if self._pressed(inputs, r.IN_SILENCE, r.CMD_TEST):
            self.test_from_ms = self.now
        self.may_test = self.test_from_ms is not None and self.now - self.test_from_ms < 60_000

    def _say(self, clause, text):
        self.wrong.append(f"{self.now / 1000:.1f} s: {clause}: {text}")

    def _follow(self, alarm, state, acknowledge, reset):
        if state == alarm.state:
            return
        self.changes += 1
        alarm.turned_ms, alarm.again = self.now, alarm.state in ("returned", "latched")
        may = {"alarm", "clear"}
        if acknowledge:
            may.add("acknowledge")
        if reset:
            may.add("reset")
        if self._may_remind(alarm):
            may.add("remind")
        path = alarm.path(state, may)
        if path is None:
            self._say("A1", f"{alarm.name}: {alarm.state} -> {state} with {sorted(may)}")
            alarm.machine.set_state(state)
            return
        for trigger in path:
            try:
                alarm.trigger(trigger)
            except MachineError as error:
                self._say("A1", str(error))
        if state == "acknowledged":
            alarm.acknowledged_ms = self.now

    def _may_remind(self, alarm):
        place = s.REMIND_HIGH_MS if alarm.name == "high_water" else s.REMIND_OTHER_MS
        since = alarm.acknowledged_ms
        return since is None or self.now - since >= min(self.settings[place], self.settings[s.QUIET_MS])

    def _outputs(self, rig):
        high = [a.name for a in self.alarms if a.priority == "high" and a.state in STANDING]
        unseen = [a.name for a in self.alarms if a.priority == "high" and a.state in OPEN and a.calls(self.now)]
        if rig.output("relay") and high:
            self._say("I11", f"the alarm relay is energised with {high} active")
        if rig.output("relay") and unseen:
            self._say("A3", f"the alarm relay is energised with {unseen} unacknowledged")
        medium = [a.name for a in self.alarms if a.priority == "medium" and a.calls(self.now)]
        may = {p: [a for a in self.alarms if a.priority == p and a.calls(self.now, True)] for p in FIRST_MS}
        calling = [a.name for a in may["medium"] if a.state in OPEN]
        if rig.output("service") and medium:
            self._say("A3", f"the service relay is energised with {medium}")
        if not rig.output("service") and not may["medium"] and not self.may_test:
            self._say("A3", "the service relay has dropped with no medium alarm")
        shared = calling and not self.settings[s.CALLS]
        if not rig.output("relay") and not may["high"] and not shared and not self.may_test:
            self._say("A3", "the alarm relay has dropped with no high alarm")
        loud = [a.name for a in self.alarms if a.priority != "low" and a.state in OPEN]
        standing = [a.name for a in self.alarms if a.priority != "low" and a.state in STANDING]
        if rig.output("horn") and not loud and not standing and not self.may_test:
            self._say("A2", "the horn sounds with no high or medium alarm")
        quiet = self.settings[s.QUIET_MS] if self.silenced_ms is not None else 0
        since = self.now - self.silenced_ms if quiet else None
        hushed = quiet and since <= quiet
        fresh = [a.name for a in self.alarms if a.must_sound(self.now)]
        if fresh and not hushed and not rig.output("horn"):
            self._say("A2", f"the horn is silent with {fresh} unacknowledged")
        # For a while after `quiet` an alarm that came back within it sounds from its beginning.
        settled = not quiet or since > quiet + LONGEST_MS
        heard = rig.output("horn") and loud and settled and not self.may_test
        if heard and not any(a.may_sound(self.now) for a in self.alarms):
            self._say("A2", f"the horn sounds out of its times with {loud} unacknowledged")

    def check(self):
        """Raise AssertionError with everything that was wrong."""
        assert not self.wrong, "\n".join(self.wrong[:20])
