"""One pump: its state table and its protections (S3, S5 to S8, R1, R4)."""

from . import settings as s
from . import timers as tm
from .records import (
    AGAIN,
    COUNTER,
    CURRENT_LOCKED,
    CURRENT_NONE,
    CURRENT_NORMAL,
    CURRENT_OVER,
    CURRENT_UNDER,
    DEADLINE,
    IN_CURRENT_1,
    IN_MOISTURE_1,
    IN_THERMAL_1,
    RETAIN,
    STATE,
    STATISTIC,
)
from .ticks import DAY_MS, NEVER, const

STATES = ("idle", "starting", "running", "retry", "locked")
IDLE = const(0)
STARTING = const(1)  # switched on, not yet proved
RUNNING = const(2)
RETRY = const(3)  # tripped, resting
LOCKED = const(4)  # locked out

EVENTS = (
    "start",
    "proved",
    "stop",
    "rest_again",
    "lock_again",
    "trip",
    "lock_out",
    "thermal",
    "rested",
    "release",
    "withdrawn",
)
START = const(0)  # the output was switched on
PROVED = const(1)  # current or feedback seen, or the proof time over without sensing
STOP = const(2)  # the output was switched off, no fault
REST_AGAIN = const(3)  # the same, after a try that proved nothing, from retry
LOCK_AGAIN = const(4)  # the same, from locked
TRIP = const(5)
LOCK_OUT = const(6)  # a trip that is one too many
THERMAL = const(7)  # the thermal contact opened
RESTED = const(8)  # the retry rest is over
RELEASE = const(9)  # reset, selector, water, a try that stayed loaded
WITHDRAWN = const(10)  # the fault is taken back

NO = const(255)
# Next state for each event, a row for each state; NO: cannot happen.
TABLE = (
    # start   proved   stop  rest_again lock_again trip  lock_out thermal rested release withdrawn
    1, NO, NO, NO, NO, 3, 4, 3, NO, NO, NO,  # idle
    NO, 2, 0, 3, 4, 3, 4, 3, NO, 1, NO,  # starting
    NO, NO, 0, 3, 4, 3, 4, 3, NO, 2, NO,  # running
    1, NO, NO, NO, NO, NO, NO, NO, 0, 0, 0,  # retry
    1, NO, NO, NO, NO, NO, NO, NO, NO, 0, 0,  # locked
)  # fmt: skip

BOOT_TRIAL = const(1)  # S4: one try after a power-up
FLOOD_TRIAL = const(2)  # R3

CAUSES = ("none", "failed to start", "run lost", "not pumping", "overload", "moisture", "thermal contact open")
FAILED_START = const(1)
RUN_LOST = const(2)
NOT_PUMPING = const(3)
OVERLOAD = const(4)
MOISTURE = const(5)
THERMAL_OPEN = const(6)

# Timers of a run: they end with it.
_RUN_TIMERS = (tm.PROOF, tm.LOST, tm.OVER, tm.INRUSH, tm.ROTOR, tm.DRY, tm.LOAD, tm.STEADY, tm.MIN_RUN)
_SECOND_MS = const(1000)
_RECENT_MS = const(3000)
_HOUR_MS = const(3600000)
_RING = const(61)  # one more than the most starts an hour that a setting allows


class Pump:
    """Pump `n` (0 or 1)."""

    FIELDS = (
        ("state", STATE, 0, RETAIN | AGAIN),
        ("cause", STATE, 0, RETAIN | AGAIN),
        ("failures", COUNTER, 0, RETAIN | AGAIN),  # trips in a row
        ("held", STATE, 0, AGAIN),  # tried out of RETRY or LOCKED, not yet released
        ("trial", STATE, 0, AGAIN),  # may be tried once though retry or locked
        ("out", STATE, 0, RETAIN),  # tripped or too hot, and not yet proved under load
        ("was_out", STATE, 0, 0),  # the same before the last trip
        ("loaded", STATE, 0, AGAIN),  # this run has moved water for 1 s
        ("steady", STATE, 0, AGAIN),  # this run has been loaded for dry_run without a break
        ("welded", STATE, 0, AGAIN),
        ("moist", STATE, 0, 0),
        ("open", STATE, 0, AGAIN),  # thermal contact
        ("dry", STATE, 0, AGAIN),  # R1: underload has lasted for dry_run
        ("prior", STATE, 0, 0),  # RETRY or LOCKED if the last trip ended a try
        ("silent", STATE, 0, AGAIN),  # R3: a flood try that goes on whether a current is seen or not
        ("short", STATE, 0, 0),  # S8: too many starts, told once a day
        ("ring_first", COUNTER, 0, 0),
        ("count", COUNTER, 0, 0),
        ("ring", DEADLINE, _RING, 0),
        ("starts", STATISTIC, 0, RETAIN),
        ("trips", STATISTIC, 0, RETAIN),
    )

    def __init__(self, n: int, settings: list[int], timers: "tm.Timers") -> None:
        self.n = n
        self.settings = settings
        self.timers = timers
        self.sensing = settings[s.SENSING] != s.SENSE_NOTHING
        self.state = IDLE
        self.cause = 0
        self.failures = 0
        self.held = 0
        self.trial = 0
        self.out = 0
        self.was_out = 0
        self.loaded = 0
        self.steady = False
        self.welded = False
        self.moist = 0
        self.open = 0
        self.short = 0
        self.ring_first = 0
        self.count = 0
        self.ring = [NEVER] * _RING
        self.starts = 0
        self.trips = 0
        self.dry = False
        self.prior = 0
        self.silent = 0
        self.flooded = 0  # R3: high is believed wet
        self.unseen = 0  # A4: its supply is not seen, so a missing current says nothing

    def begin(self) -> None:
        """S4: after a power-up nothing runs; a resting pump is ready; a locked-out pump gets one try."""
        if self.state != LOCKED:
            self.state = IDLE
            self.cause = 0
        self.trial = BOOT_TRIAL if self.state == LOCKED else 0

    def on(self) -> bool:
        """Tell whether the output is on as far as this pump knows."""
        return self.state == STARTING or self.state == RUNNING

    def event(self, event: int) -> None:
        """Go to the next state of TABLE.  Raises ValueError where the event cannot happen."""
        state = TABLE[self.state * 11 + event]
        if state == NO:
            raise ValueError("pump %d: event %s in state %s" % (self.n + 1, EVENTS[event], STATES[self.state]))
        self.state = state

    def trip(self, cause: int) -> None:
        """S5: a counted fault; the third in a row (setting `retries`) locks the pump out."""
        if self.state == LOCKED:
            return
        self.cause = cause
        self.was_out = self.out
        self.out = 1
        self.prior = self.held
        self.failures += 1
        self.trips += 1
        if self.held == LOCKED or self.failures >= self.settings[s.RETRIES]:
            self.event(LOCK_OUT)
            self.timers.stop(tm.RETRY + self.n)
        else:
            self.event(TRIP)
            self.timers.arm(tm.RETRY + self.n, self.settings[s.RETRY_MS])
        self.timers.arm(tm.RECENT + self.n, _RECENT_MS)
        self._end_run()

    def withdraw(self) -> None:
        """Take the last trip back: it was not the pump's."""
        self.timers.stop(tm.RECENT + self.n)
        self.timers.stop(tm.RETRY + self.n)
        if self.state == RETRY or self.state == LOCKED:
            self.failures = max(0, self.failures - 1)
            self.trips -= 1
            self.out = self.was_out
            if self.prior != LOCKED:
                self.cause = 0
                self.event(WITHDRAWN)

    def release(self, failures: int = 0) -> None:
        """R4: end a lockout or a retry rest; `failures` are remembered."""
        self.failures = failures
        self.held = 0
        if self.silent and self.state == STARTING:
            self.timers.arm(tm.PROOF + self.n, self.settings[s.START_PROOF_MS])  # no try any more: a start like any
        self.silent = 0
        self.trial = 0
        self.cause = 0
        self.timers.stop(tm.RETRY + self.n)
        self.event(RELEASE)

    def _end_run(self) -> None:
        for i in range(9):
            self.timers.stop(_RUN_TIMERS[i] + self.n)
        self.held = 0
        self.silent = 0
        self.loaded = 0
        self.steady = False
        self.dry = False

    def started(self) -> None:
        """The gate has switched the output on."""
        t = self.timers
        n = self.n
        self.held = self.state  # RETRY or LOCKED: this is a try; IDLE, which is 0: it is none
        self.trial = 0
        self.event(START)
        self.starts += 1
        if not self.held:  # S8: a try of R3 says nothing of the motor's use
            self._count_start()
        t.arm(tm.PROOF + n, self.settings[s.START_PROOF_MS])
        t.arm(tm.INRUSH + n, _SECOND_MS)
        t.arm(tm.MIN_RUN + n, self.settings[s.MIN_RUN_MS])

    def stopped(self, by_level: int, alone: int = 1) -> None:
        """The gate has switched the output off, no trip; `by_level`: the pit is drawn down, by this pump `alone`."""
        if by_level and self.state == RUNNING and not self.held:
            self.failures = 0
            if self.loaded if self.settings[s.SENSING] == s.SENSE_CURRENT else alone:
                self.out = 0
        if self.held == LOCKED:
            self.event(LOCK_AGAIN)
        elif self.timers.running(tm.RETRY + self.n):
            self.event(REST_AGAIN)  # a try out of a rest that is not over
        else:
            self.event(STOP)
        self._end_run()

    def _count_start(self) -> None:
        # S8: a ring of the instants at which the starts of the last hour leave it.
        if self.count == _RING:
            self._drop()
        now = self.timers.now
        self.ring[(self.ring_first + self.count) % _RING] = (now - 0x3FFFFFFF - 1 + _HOUR_MS) & 0x3FFFFFFF
        self.count += 1
        if self.count == 1:
            self.timers.arm(tm.HOUR + self.n, _HOUR_MS)

    def _drop(self) -> None:
        self.ring[self.ring_first] = NEVER
        self.ring_first = (self.ring_first + 1) % _RING
        self.count -= 1
        if self.count:
            self.timers.arm(tm.HOUR + self.n, (self.ring[self.ring_first] - self.timers.now) & 0x3FFFFFFF)

    def step(self, n: int, inputs: list[int]) -> None:
        """Protect the motor of pump `n`, whose places in the input record are taken."""
        while self.count and (self.timers.now - self.ring[self.ring_first]) & 0x3FFFFFFF < 0x20000000:
            self._drop()
        self._short_cycling()
        if self.timers.rang[tm.RETRY + self.n]:
            self._rested()
        self._thermal(inputs[IN_THERMAL_1 + n])
        if inputs[IN_MOISTURE_1 + n] > self.moist and self.settings[s.MOISTURE_TRIPS] and self.state < RETRY:
            self.trip(MOISTURE)  # on the edge: moisture that stands must not end a flood retry
        self.moist = inputs[IN_MOISTURE_1 + n]
        if self.on():
            self._watch(inputs[IN_CURRENT_1 + n])
        self._weld(self.sensing and inputs[IN_CURRENT_1 + n] != CURRENT_NONE and not self.on())

    def _rested(self) -> None:
        # The rest may end in the middle of a try, which then goes on as a run like any other; with high wet it is
        # not ended by a missing current all the same (R3).
        if self.held and self.flooded:
            self.silent = 1
        self.held = 0
        self.cause = 0
        if self.state == RETRY:
            self.event(RESTED)

    def _weld(self, current: int) -> None:
        # S6: current while off.
        self.welded = self.timers.on_delay(tm.WELD + self.n, self.welded, current, self.settings[s.START_PROOF_MS])

    def _short_cycling(self) -> None:
        if self.count <= self.settings[s.STARTS_PER_HOUR]:
            self.short = 0
        elif not self.short and not self.timers.running(tm.SHORT_DAY + self.n):
            self.short = 1
            self.timers.arm(tm.SHORT_DAY + self.n, DAY_MS)

    def _thermal(self, thermal: int) -> None:
        # S7: withdrawn while open, a rest of `retry` after it closes; not counted.
        t = self.timers
        n = self.n
        if thermal:
            if self.held == LOCKED:
                self.event(LOCK_AGAIN)  # a try that proved nothing: still locked out
                self._end_run()
            elif self.state < RETRY:
                self.event(THERMAL)
                self.cause = THERMAL_OPEN
                self.out = 1
                self._end_run()
            t.stop(tm.RETRY + n)
        elif self.open and self.state == RETRY:
            t.arm(tm.RETRY + n, self.settings[s.RETRY_MS])
        self.open = thermal

    def _watch(self, current: int) -> None:
        if not self.sensing:
            if self.timers.rang[tm.PROOF + self.n]:
                self.event(PROVED)
            return
        if self.state == STARTING:
            self._prove(current)
        elif self._lost(current == CURRENT_NONE and not self.unseen and not self.silent):
            self._no_current(RUN_LOST)
        if self._rotor(current) or self._over(current >= CURRENT_OVER):
            self.trip(OVERLOAD)
        else:  # without any current, tripped for it or not, none of these holds
            self._under(current == CURRENT_UNDER)
            self._load(current >= CURRENT_NORMAL)
            self._stay(current == CURRENT_NORMAL)

    def _prove(self, current: int) -> None:
        # S5: the start is proved by current, or fails.
        if current != CURRENT_NONE:
            self.event(PROVED)
            self.timers.stop(tm.PROOF + self.n)
        elif self.timers.rang[tm.PROOF + self.n]:
            if self.unseen:
                self.timers.arm(tm.PROOF + self.n, self.settings[s.START_PROOF_MS])
            else:
                self._no_current(FAILED_START)

    def _no_current(self, cause: int) -> None:
        # R3: with high believed wet a missing current ends no try: the sensor may be what has failed.
        if self.held and self.flooded:
            self.silent = 1
        else:
            self.trip(cause)

    def _lost(self, gone: int) -> bool:
        return self.timers.on_delay(tm.LOST + self.n, False, gone, self.settings[s.START_PROOF_MS])

    def _rotor(self, current: int) -> bool:
        # S7: a locked rotor draws more than three times the rated current after the first second.
        locked = current == CURRENT_LOCKED and not self.timers.running(tm.INRUSH + self.n)
        return self.timers.on_delay(tm.ROTOR + self.n, False, locked, _SECOND_MS)

    def _over(self, over: int) -> bool:
        return self.timers.on_delay(tm.OVER + self.n, False, over, self.settings[s.OVERLOAD_MS])

    def _under(self, under: int) -> None:
        self.dry = self.timers.on_delay(tm.DRY + self.n, self.dry, under, self.settings[s.DRY_RUN_MS])

    def _load(self, load: int) -> None:
        if self.timers.on_delay(tm.LOAD + self.n, False, load and not self.loaded, _SECOND_MS):
            self.loaded = 1

    def _stay(self, load: int) -> None:
        # R4: a try that stays loaded, and no more than loaded, releases the pump.
        self.steady = self.timers.on_delay(tm.STEADY + self.n, self.steady, load, self.settings[s.DRY_RUN_MS])
        if self.steady:
            self.silent = 0
            if self.settings[s.SENSING] == s.SENSE_CURRENT:
                self.out = 0  # a feedback tells of a locked rotor what it tells of a load
            if self.held:
                self.release()
