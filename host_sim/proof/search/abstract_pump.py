"""The abstract pump: what one pump may do, seen from the pair, without its timers.

A tick's choice stands for every cause there may be:

    GOOD   a start is proved, a run is loaded and stays so; a rest goes on
    BAD    a start fails, a run trips; a rest goes on
    DRY    a start is proved, a run underloads for dry_run
    OVER   a retry rest ends now
    OPEN   the thermal contact is open in this tick

Whether a trip rests or locks out is the choice's too (LOCK).  The real pump's
transitions, seen through `view`, must all be among this one's: `allowed` holds
the pairs, and the search of one pump and the campaign check every step.
"""

import functools

from duplexsump.control import pump as pm
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.pump import Pump
from duplexsump.control.records import STATE
from duplexsump.control.timers import Timers

from host_sim.proof.search.contract import view

GOOD, BAD, LOCK, DRY, OVER, OPEN = range(6)
CHOICES = ("good", "bad", "bad, locks out", "dry", "rested", "thermal open")


_FIELDS = tuple(
    row for row in Pump.FIELDS
    if row[0] in ("state", "cause", "held", "trial", "loaded", "steady", "open", "dry", "prior")
) + (("locks", STATE, 0, 0),)  # fmt: skip


class AbstractPump(Pump):
    """A pump whose protections are a choice.  It keeps the real state table, releases and pardons."""

    FIELDS = _FIELDS
    choice: int = 0  # GOOD
    locks: bool = False

    def trip(self, cause):
        """A counted fault; the choice tells whether it locks out."""
        if self.state == pm.LOCKED:
            return
        self.cause = cause
        self.prior = self.held
        self.event(pm.LOCK_OUT if self.locks or self.held == pm.LOCKED else pm.TRIP)
        self._end_run()
        self._forget()

    def _forget(self):
        # No timer but the shortest run, which the pair looks at.
        timers: Timers = self.timers
        timers.stop(tm.RETRY + self.n)
        timers.stop(tm.RECENT + self.n)
        timers.stop(tm.HOUR + self.n)
        timers.stop(tm.PROOF + self.n)
        timers.stop(tm.INRUSH + self.n)

    def withdraw(self):
        """Take the last trip back, without a count of trips."""
        if self.state in (pm.RETRY, pm.LOCKED) and self.prior != pm.LOCKED:
            self.cause = 0
            self.event(pm.WITHDRAWN)

    def started(self):
        """The output was switched on."""
        super().started()
        self.ring_first = self.count = 0
        self._forget()

    def stopped(self, by_level, alone=1):
        """The output was switched off without a trip; a try out of a retry rest rests on, unless that rest is over."""
        if self.held == pm.LOCKED:
            self.event(pm.LOCK_AGAIN)
        elif self.held == pm.RETRY:
            self.event(pm.REST_AGAIN)
        else:
            self.event(pm.STOP)
        self._end_run()

    def step(self, n, inputs):
        """Do what the choice says."""
        choice: int = self.choice
        self.locks = choice == LOCK
        self.open = int(choice == OPEN)
        if choice == OPEN:
            if self.state < pm.RETRY:
                self.event(pm.THERMAL)
                self.cause = pm.THERMAL_OPEN
                self._end_run()
        elif choice == OVER:
            self._rest_over()
        elif self.on():
            self._run(choice)

    def _rest_over(self):
        if self.held == pm.RETRY:
            self.held = 0
            self.cause = 0
        if self.state == pm.RETRY:
            self.cause = 0
            self.event(pm.RESTED)

    def _run(self, choice: int):
        if choice in (BAD, LOCK):
            self.trip(pm.FAILED_START if self.state == pm.STARTING else pm.RUN_LOST)
            return
        self.dry = int(choice == DRY and self.state == pm.RUNNING)
        if self.state == pm.STARTING:
            self.event(pm.PROVED)
        elif choice == GOOD:
            self.steady = self.loaded
            self.loaded = 1
            if self.steady and self.held:
                self.release()
        else:
            self.steady = False


@functools.cache
def allowed():
    """Return every (view before, view after) that one tick of the abstract pump can make, whatever asks for it.

    A step may switch the output, grant a try, and take a fault back; any order
    that the controller can bring about within one step is included.
    """
    pump = AbstractPump(0, s.defaults(), Timers())
    names = [row[0] for row in AbstractPump.FIELDS]
    fresh = tuple(int(getattr(pump, name)) for name in names)
    pump.state = pm.LOCKED
    pump.begin()  # S4: locked out in the life before, with one try
    locked = tuple(int(getattr(pump, name)) for name in names)
    pairs, seen, todo = set(), {fresh, locked}, [fresh, locked]
    while todo:
        before = todo.pop()
        for choice in range(6):
            for then in _COMMANDS:
                for name, value in zip(names, before, strict=True):
                    setattr(pump, name, value)
                from_view = view(pump)
                pump.choice = choice
                if not _try(pump, then):
                    continue
                pairs.add((from_view, view(pump)))
                after = tuple(int(getattr(pump, name)) for name in names)
                if after not in seen:
                    seen.add(after)
                    todo.append(after)
    return frozenset(pairs)


# What the controller may do to a pump in one step beside its own protections: each letter once, in this order.
_COMMANDS = tuple(
    reset + trip + back + water + grant + switch
    for reset in ("", "R") for trip in ("", "T") for back in ("", "W") for water in ("", "r")
    for grant in ("", "G", "g") for switch in ("", "+", "-")
)  # fmt: skip


def _try(pump, commands):
    # Returns False where the controller could not have done this.
    if commands.startswith("R") and (pump.state >= pm.RETRY or pump.held):
        pump.release()
    pump.step(0, None)
    for letter in commands:
        if letter == "T":
            if not pump.on():
                return False
            pump.trip(pm.NOT_PUMPING)
        elif letter == "W":
            pump.withdraw()
        elif letter == "r":
            if pump.state < pm.RETRY:
                return False
            pump.release()
        elif letter == "G":
            if pump.state < pm.RETRY:
                return False
            pump.trial = pm.FLOOD_TRIAL
        elif letter == "g":
            pump.trial = 0
        elif letter == "+":
            if pump.on() or pump.open or not (pump.state < pm.RETRY or pump.trial):
                return False
            pump.started()
        elif letter == "-":
            if not pump.on():
                return False
            pump.stopped(True)
    return True
