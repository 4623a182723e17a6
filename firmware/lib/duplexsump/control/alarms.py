"""A1 to A3: the alarm table, the alarm states of IEC 62682, horn, beacon, alarm relay and service relay.

The control part never reads what is decided here.
"""

from . import settings as s
from . import timers as tm
from .alarm_table import COUNT, HIGH_WATER, LATCH, LATCHES, SOUNDING, TABLE, URGENT
from .records import AGAIN, DEADLINE, RETAIN, SHELVE_END, STATE, STATISTIC
from .ticks import DAY_MS, NEVER, const, diff

STATES = ("normal", "unacknowledged", "acknowledged", "returned", "latched", "latched_acknowledged")
NORMAL = const(0)
UNACKNOWLEDGED = const(1)
ACKNOWLEDGED = const(2)
RETURNED = const(3)  # returned to normal, unacknowledged
LATCHED = const(4)  # the same for an alarm that stays until reset
LATCHED_ACKNOWLEDGED = const(5)

EVENTS = ("raise", "clear", "clear_latching", "acknowledge", "remind", "reset")
RAISE = const(0)
CLEAR = const(1)
CLEAR_LATCHING = const(2)
ACKNOWLEDGE = const(3)
REMIND = const(4)  # still there long after it was acknowledged
RESET = const(5)

NO = const(255)
# Next state for each event, a row for each state.
NEXT = (
    # raise clear clear_latching acknowledge remind reset
    1, NO, NO, 0, NO, 0,  # normal
    NO, 3, 4, 2, NO, 1,  # unacknowledged
    NO, 0, 5, 2, 1, 2,  # acknowledged
    1, NO, NO, 0, NO, 3,  # returned
    1, NO, NO, 5, NO, 0,  # latched
    1, NO, NO, 5, NO, 0,  # latched acknowledged
)  # fmt: skip

# A2: what the horn does for one alarm, stage after stage; it sounds in the odd ones.
SILENT = const(0)
LASTING = const(1)  # high water, for as long as it is wet
MEDIUM_BELL = const(3)
HIGH_BELL = const(11)
RETURNED_BELL = const(26)
AGAIN_BELL = const(2)  # so many stages further for one that comes back before anybody acknowledged it
BELL_MS = (
    0, 0, 0,
    120000, 480000, 20000, 1180000, 20000, 1780000, 20000, 0,  # medium: 2 min, 20 s at 10, 30 and 60 min
    300000, 3300000, 60000, 3540000, 60000, 3540000, 60000, 3540000,  # high: 5 min, 1 min each hour for 6 h
    60000, 3540000, 60000, 3540000, 60000, 0, 0,
    600000, 10000, 1190000, 10000, 1790000, 10000, 0,  # returned: 10 s at 10, 30 and 60 min
)  # fmt: skip
BELL_ON_MS = const(60000)  # for all that nobody has acknowledged long after
BELL_OFF_MS = const(43140000)


class Alarms:
    """State of each alarm of the table, and what the household hears and sees."""

    FIELDS = (
        ("state", STATE, COUNT, RETAIN),
        ("active", STATE, COUNT, 0),  # the condition, as last told
        ("quiet", DEADLINE, SOUNDING, 0),  # until when a silenced alarm that returns makes no sound
        ("remind", DEADLINE, SOUNDING, 0),
        ("detail", STATE, COUNT, RETAIN),  # which contacts or which cause, at the last raise
        ("raised", STATISTIC, COUNT, RETAIN),
        ("horn", STATE, 0, 0),
        ("beacon", STATE, 0, 0),
        ("relay", STATE, 0, 0),
        ("service", STATE, 0, 0),
        ("calling", STATE, 0, 0),  # a call for service holds the one relay
        ("bell", STATE, SOUNDING, 0),  # the stage of BELL_MS
        ("bell_at", DEADLINE, SOUNDING, 0),  # when it ends
        ("shelved", STATE, 0, 0),  # 1 + the alarm that makes no sound and no call, 0: none
        ("late", STATE, 0, 0),  # sounding for what has long stood unacknowledged
        ("nothing", STATE, 0, AGAIN),  # no alarm of any kind
    )

    def __init__(self, settings: list[int], timers: "tm.Timers") -> None:
        self.settings = settings
        self.timers = timers
        self.state = [NORMAL] * COUNT
        self.active = [0] * COUNT
        self.detail = [0] * COUNT
        self.raised = [0] * COUNT
        self.quiet = [NEVER] * SOUNDING
        self.remind = [NEVER] * SOUNDING
        self.horn = 0
        self.beacon = 0
        self.relay = 0
        self.service = 0
        self.calling = 0
        self.bell = [SILENT] * SOUNDING
        self.bell_at = [NEVER] * SOUNDING
        self.shelved = 0
        self.late = 0
        self.nothing = 1
        self.loud = False
        self.left = False  # unacknowledged long after its own stages of the horn
        self.waiting = False  # somebody is needed, and nobody has acknowledged it
        self.fresh = False  # a new call for service in this very step
        self.moved = True  # a quiet time, a reminder or a stage of the horn was set or ended: the timer follows

    def begin(self) -> None:
        """After a power-up: what was latched stays; what nobody acknowledged goes on, if it still holds."""
        for i in range(COUNT):
            if self.state[i] == ACKNOWLEDGED:
                self._clear(i)
            elif self.state[i] == UNACKNOWLEDGED:
                self.active[i] = 1
                if i < SOUNDING:
                    self.turned(i, UNACKNOWLEDGED, True)

    def _event(self, i: int, event: int) -> None:
        state = NEXT[self.state[i] * 6 + event]
        if state == NO:
            raise ValueError("alarm %s: event %s in state %s" % (TABLE[i][0], EVENTS[event], STATES[self.state[i]]))
        if i < SOUNDING and state != self.state[i]:
            self.turned(i, state, self.state[i] == RETURNED or self.state[i] == LATCHED)
        self.state[i] = state

    def turned(self, i: int, state: int, again: bool) -> None:
        """Have the horn and the service call follow alarm `i` into a new `state`; `again`: it came back unseen."""
        if state == RETURNED or state == LATCHED:
            self._ring(i, RETURNED_BELL)
        elif state != UNACKNOWLEDGED:
            self._ring(i, SILENT)
        else:
            self._ring(i, self._first(i) + (AGAIN_BELL if again and i else 0))
            if i >= URGENT and not again and i + 1 != self.shelved:
                self.fresh = True

    def _first(self, i: int) -> int:
        if i == HIGH_WATER:
            return LASTING
        return HIGH_BELL if i < URGENT else MEDIUM_BELL

    def _ring(self, i: int, stage: int) -> None:
        lasts_ms = BELL_MS[stage]
        self.bell[i] = stage if lasts_ms or stage == LASTING else SILENT
        self.bell_at[i] = (self.timers.now - 0x3FFFFFFF - 1 + lasts_ms) & 0x3FFFFFFF if lasts_ms else NEVER
        self.moved = True

    def tell(self, i: int, condition: object, detail: int = 0) -> None:
        """Tell alarm `i` whether its condition holds; `detail` is kept when it is raised."""
        if condition:
            if not self.active[i]:
                self.active[i] = 1
                self.raised[i] += 1
                self.detail[i] = detail
                self._event(i, RAISE)
            elif LATCHES[i]:
                self.detail[i] |= detail
        elif self.active[i]:
            self.active[i] = 0
            if i < SOUNDING:
                self.remind[i] = NEVER  # the timer follows, as the bell of `i` turns with its state
            self._clear(i)

    def _clear(self, i: int) -> None:
        self._event(i, CLEAR_LATCHING if TABLE[i][LATCH] else CLEAR)

    def silence(self) -> None:
        """A2: acknowledge what there is and stop the horn, a reminder of this very step included."""
        now = self.timers.now
        self._lapse()
        for i in range(COUNT):
            before = self.state[i]
            self._event(i, ACKNOWLEDGE)
            if i < SOUNDING and before != self.state[i]:
                self.quiet[i] = (now - 0x3FFFFFFF - 1 + self.settings[s.QUIET_MS]) & 0x3FFFFFFF
                if self.state[i] == ACKNOWLEDGED:
                    delay_ms = self.settings[s.REMIND_HIGH_MS if i == 0 else s.REMIND_OTHER_MS]
                    self.remind[i] = (now - 0x3FFFFFFF - 1 + delay_ms) & 0x3FFFFFFF

    def shelve(self, number: int) -> None:
        """A2: shelve the alarm `number` - 1 for `shelve_time`, in place of any other; SHELVE_END: none.

        High water is never shelved, nor what is no alarm.
        """
        if number == SHELVE_END:
            self._unshelve()
        elif HIGH_WATER + 1 < number <= COUNT:
            self._unshelve()
            self.shelved = number
            self.timers.arm(tm.SHELVE, self.settings[s.SHELVE_TIME_MS])

    def _unshelve(self) -> None:
        # It sounds and calls like a new one, if it is still there and nobody has acknowledged it.
        i = self.shelved - 1
        self.shelved = 0
        self.timers.stop(tm.SHELVE)
        if 0 <= i < SOUNDING and self.state[i] == UNACKNOWLEDGED:
            self.turned(i, UNACKNOWLEDGED, False)

    def reset(self) -> None:
        """A reset ends what is latched and shelved; what is still there stays."""
        self._unshelve()
        for i in range(COUNT):
            self._event(i, RESET)

    def any(self) -> int:
        """Tell whether any alarm is other than normal."""
        for state in self.state:
            if state != NORMAL:
                return True
        return False

    def _lapse(self) -> None:
        # Quiet times, reminders and stages of the horn that are due.
        now = self.timers.now
        self.moved = True
        for i in range(SOUNDING):
            if self.quiet[i] >= 0 and diff(now, self.quiet[i]) >= 0:
                self.quiet[i] = NEVER
                if self.state[i] == UNACKNOWLEDGED:
                    self._ring(i, self._first(i))
            if self.remind[i] >= 0 and diff(now, self.remind[i]) >= 0:
                self.remind[i] = NEVER
                self.quiet[i] = NEVER
                self._event(i, REMIND)
            if self.bell_at[i] >= 0 and diff(now, self.bell_at[i]) >= 0:
                self._ring(i, self.bell[i] + 1)

    def _soonest(self, times: list[int], least: int) -> int:
        # The delay to the soonest of `times`, or `least` where that is sooner; 0: there is none.
        for t in times:
            if t >= 0 and (not least or diff(t, self.timers.now) < least):
                least = diff(t, self.timers.now)
        return least

    def _wake(self) -> None:
        self.moved = False
        least = self._soonest(self.remind, 0)
        least = self._soonest(self.quiet, least)
        least = self._soonest(self.bell_at, least)
        if least:
            self.timers.arm(tm.ALARM, least)
        else:
            self.timers.stop(tm.ALARM)

    def step(self, test: int) -> None:
        """Work out horn, beacon and relay; `test`: 1 while all three are being tried (A2)."""
        if self.timers.rang[tm.ALARM]:
            self._lapse()
        if self.timers.rang[tm.SHELVE]:
            self._unshelve()
        self.nothing = 1
        self.beacon = test
        self.relay = 1 - test
        self.service = 1 - test
        self.loud = False
        self.left = False
        self.waiting = False
        for i in range(COUNT):
            if self.state[i]:
                self._show(i, self.state[i])
        self._remind(self.left)
        self._call(self.waiting and not self.settings[s.CALLS])
        self.fresh = False
        self.horn = 1 if self.loud or self.late or test else 0
        if self.moved:
            self._wake()

    def _show(self, i: int, state: int) -> None:
        # What one alarm that is not normal adds to what is heard and seen.
        self.nothing = 0
        if i < SOUNDING:
            self.beacon = 1
            if i + 1 != self.shelved:
                self._heard(i, state)

    def _heard(self, i: int, state: int) -> None:
        if state == RETURNED and not self.bell[i]:
            return  # A3: an hour after it is over it calls no more; the beacon stays on
        if state != LATCHED_ACKNOWLEDGED:
            if i < URGENT:
                self.relay = 0
            else:
                self.service = 0
                if state != ACKNOWLEDGED:
                    self.waiting = True
        if self.quiet[i] < 0:
            if self.bell[i] & 1:
                self.loud = True
            elif state == UNACKNOWLEDGED and not self.bell[i]:
                self.left = True

    def _call(self, wanted: bool) -> None:
        # A3: a call for service lets the one relay go after a while, so that a flood can still be told.
        t = self.timers
        if not wanted:
            self.calling = 0
            t.stop(tm.CALL)
        elif not t.running(tm.CALL) or (self.fresh and not self.calling):
            self.calling = 0 if self.calling else 1
            call_ms = self.settings[s.SERVICE_CALL_MS]
            t.arm(tm.CALL, call_ms if self.calling else DAY_MS - call_ms)
        if self.calling:
            self.relay = 0

    def _remind(self, wanted: bool) -> None:
        # A2: one minute every 12 h for all that nobody has acknowledged long after, however many they are.
        t = self.timers
        if not wanted:
            self.late = 0
            t.stop(tm.BELL)
        elif t.rang[tm.BELL]:
            self.late ^= 1
            t.arm(tm.BELL, BELL_ON_MS if self.late else BELL_OFF_MS)
        elif not t.running(tm.BELL):
            t.arm(tm.BELL, BELL_OFF_MS)
