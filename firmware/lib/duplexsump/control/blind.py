"""L6: blind pumping, the one answer to a level that cannot be believed.

One pump at a time, alternating, runs `blind_run` and rests; the rests grow
while it finds the pit empty.
"""

from . import settings as s
from . import timers as tm
from .records import AGAIN, HIGH, LEAD, OFF, RETAIN, STATE
from .ticks import const

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Belief

STATES = ("watching", "asking", "running", "resting")
WATCHING = const(0)
ASKING = const(1)  # a pump is asked for and not yet on
RUNNING = const(2)
RESTING = const(3)

EVENTS = ("lost", "found", "on", "full", "empty", "taken", "rested")
LOST = const(0)  # the level cannot be believed and nothing else asks for a pump
FOUND = const(1)  # it can again, before the pump was on
ON = const(2)
FULL = const(3)  # the run is over and stayed loaded
EMPTY = const(4)  # the run is over and found the pit empty
TAKEN = const(5)  # normal demand takes the pump over
RESTED = const(6)

NO = const(255)
TABLE = (
    # lost found on full empty taken rested
    1, NO, NO, NO, NO, NO, NO,  # watching
    NO, 0, 2, NO, NO, 3, NO,  # asking
    NO, NO, NO, 3, 3, 3, NO,  # running
    NO, NO, NO, NO, NO, NO, 0,  # resting
)  # fmt: skip

# The rests, in order; the first only while high reads wet, or off has answered the run.
RESTS_MS = (10000, 60000, 300000, 600000, 1800000)


class Blind:
    """`wants` is true while a blind run asks for a pump; `reason` while the level cannot be believed."""

    FIELDS = (
        ("state", STATE, 0, AGAIN),
        ("reason", STATE, 0, 0),
        ("rung", STATE, 0, RETAIN),  # which rest comes next
        ("turn", STATE, 0, RETAIN),  # the pump (0 or 1) whose blind turn it is
        ("stayed", STATE, 0, 0),  # this run stayed loaded for blind_run
        ("was", STATE, 0, 0),  # it was loaded at the step before
        ("broken", STATE, 0, 0),  # it was not loaded at some instant after its start
        ("untried", STATE, 0, 0),  # high has turned wet, and no blind run has been made since
        ("both", STATE, 0, 0),  # this run takes both pumps
        ("spent", STATE, 0, 0),  # those of them that have underloaded
        ("covered", STATE, 0, 0),  # off was believed wet when it began, or high read wet
        ("tried", STATE, 0, 0),  # high, when it has stayed wet through a blind run
        ("live", STATE, 0, 0),  # a contact below high has moved since high turned wet: not all of them are dead
    )

    def __init__(self, settings: list[int], timers: "tm.Timers", belief: "Belief") -> None:
        self.settings = settings
        self.timers = timers
        self.belief = belief
        self.state = WATCHING
        self.reason = False
        self.rung = 0
        self.turn = 0
        self.stayed = 0
        self.was = 0
        self.broken = 0
        self.untried = 0
        self.both = 0
        self.spent = 0
        self.covered = 0
        self.tried = 0
        self.live = 0
        self.loaded = False
        self.dry = 0
        self.moved = 0

    def event(self, event: int) -> None:
        """Go to the next state of TABLE.  Raises ValueError where the event cannot happen."""
        state = TABLE[self.state * 7 + event]
        if state == NO:
            raise ValueError("blind pumping: event %s in state %s" % (EVENTS[event], STATES[self.state]))
        self.state = state

    def reset(self) -> None:
        """A reset starts the rests from the shortest."""
        self.rung = 0
        self.timers.stop(tm.BLIND_REST)
        if self.state == RESTING:
            self.state = WATCHING

    def wants(self) -> bool:
        """Tell whether a blind run asks for a pump."""
        return self.state == ASKING or self.state == RUNNING

    def takes(self) -> int:
        """Return the mask of the pumps that a run of both may take; 0: it is a run of one."""
        return 3 & ~self.spent if self.both else 0

    def _lost(self, wet: int) -> int:
        b = self.belief
        if b.wiring:
            return True
        if b.failed and b.virtual & LEAD:
            return True
        if b.wet == OFF:  # it starts nothing by itself, and nothing above it is believed
            return b.fitted & ~b.suspect == OFF
        return wet & HIGH and not b.wet  # then high itself is a suspect, and no other believed one is wet

    def step(self, wet: int, demand: int, running: int) -> None:
        """Work out the blind run; `demand`: pumps that the level asks for, `running`: a mask of those on.

        Before it the controller sets `loaded` (a running pump's current is normal, as far as it is measured),
        `dry` (a mask of those that have underloaded for dry_run) and `moved` (contacts that turn in this step).
        """
        self.reason = bool(self._lost(wet))
        if not wet & HIGH:
            self.untried = HIGH
            self.live = 0
            if self.state != RUNNING:
                self.tried = 0
        elif self.moved and self.moved < HIGH:
            self.live = 1
        if self.timers.rang[tm.BLIND_REST]:
            self.event(RESTED)
        if self.wants() and demand:
            self.event(TAKEN)
            self.timers.stop(tm.BLIND_RUN)
            self.timers.arm(tm.BLIND_REST, RESTS_MS[self.rung or 1])
        elif self.state == WATCHING and self.reason and not demand and not running:
            self.event(LOST)
            self.stayed = 0
            self.covered = (self.belief.wet & OFF) | (wet & HIGH)
            self.both = 1 if self.covered & OFF or wet & self.untried else 0
            self.spent = 0
        elif self.state == ASKING and not self.reason:
            self.event(FOUND)
        elif self.state == RUNNING:
            self._run(wet, running)
        elif self.state == RESTING and self.belief.wet == OFF and self.reason:
            self._shorten()

    def started(self) -> None:
        """The gate has switched a pump on: a run that was asked for begins."""
        if self.state == ASKING:
            self.event(ON)
            self.was = 0
            self.broken = 0
            self.timers.arm(tm.BLIND_RUN, self.settings[s.BLIND_RUN_MS])

    def _run(self, wet: int, running: int) -> None:
        loaded = self._stays(1 if self.loaded else 0)
        if self.timers.rang[tm.BLIND_RUN] and loaded:
            self._full()
            if wet & HIGH and not self.live:
                self.belief.prove_high(wet)
        over = not self.timers.running(tm.BLIND_RUN) and not loaded
        if self.covered & OFF and self.belief.dry & OFF:
            self._full()
            over = True
        if self._high_answers(wet):
            self._full()
            if not self.tried:  # it had stayed wet through a run: a float that comes free says nothing of the others
                self.belief.prove_high(wet)
        self.spent |= self.dry
        if over or not running & ~self.spent:
            self._rest(wet)

    def _high_answers(self, wet: int) -> bool:
        # A high that was wet and falls in the run follows the water, unless it comes and goes by itself.
        return bool(self.covered & HIGH and not (wet | self.belief.fickle) & HIGH and not self.stayed)

    def _full(self) -> None:
        # The run has moved water: there was some.
        self.stayed = 1
        self.rung = 0

    def _shorten(self) -> None:
        # Off is believed wet: there is water, whatever the runs before have found.
        if self.timers.left_ms(tm.BLIND_REST) > RESTS_MS[0]:
            self.timers.arm(tm.BLIND_REST, RESTS_MS[0])

    def _stays(self, loaded: int) -> bool:
        # Loaded throughout: at this step, the one before and all others from the start's proof on.
        t = self.timers
        early = self.settings[s.BLIND_RUN_MS] - self.settings[s.START_PROOF_MS]
        if not (t.running(tm.BLIND_RUN) and t.left_ms(tm.BLIND_RUN) > early) and not (loaded and self.was):
            self.broken = 1
        self.was = loaded
        return not self.broken

    def _rest(self, wet: int) -> None:
        self.event(FULL if self.stayed else EMPTY)
        if self.spent or not self.timers.running(tm.BLIND_RUN):  # not cut short by a pump that is gone
            self.tried = HIGH
        self.tried &= wet
        self.timers.stop(tm.BLIND_RUN)
        rung = self.rung
        if not self.stayed:
            self.belief.make_suspect(self.covered & (OFF | self.tried), wet)  # no run so long leaves either wet
        if wet & HIGH:
            self.untried = 0
        elif not rung and not (self.covered & OFF and self.stayed):
            rung = 1
        if not self.stayed:
            self.rung = min(rung + 1, 4)
        self.timers.arm(tm.BLIND_REST, RESTS_MS[rung])
        self.turn ^= 1
