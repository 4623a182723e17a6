"""Part (d), flood: the real flood retries over abstract pumps, the water high and believed so.  I6.

I6 is about a stretch of time in which `high` is believed wet: anything else ends
the stretch, and the claim begins anew.  So it is enough to begin in every state in
which such a stretch may begin, and to keep `high` wet from there on; the start set
holds every combination of fields, whether the controller ever makes it or not.
The one thing taken for granted of it, that a try is counted down to only while no
pump is on and none holds a try, is checked here, in the search of the whole pair
and in the campaign (`contract.flood_breach`).

Beside what `part_duty` leaves out: the rests that `high` cuts short; who leads is
a free choice in every tick.  That an overloaded pump is tried at most three times an
hour (R3) is no part of it: that rests on the clause tests and the campaign.
"""

from itertools import product

from duplexsump.control import flood as fl
from duplexsump.control import pump as pm
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.controller import Controller
from duplexsump.control.gate import Gate
from duplexsump.control.records import HIGH

from host_sim.proof.search import coarse, contract
from host_sim.proof.search.abstract_pump import AbstractPump
from host_sim.proof.search.part_duty import FLOODED, LEVEL, DutyPart
from host_sim.proof.search.stand_ins import Counted

_RESTS = (tm.REST_FLOOD, tm.REST_FLOOD + 1)
_MIN_RUN = (tm.MIN_RUN, tm.MIN_RUN + 1)


class FloodPart(DutyPart):
    """Observer: ticks for which pump `who` (0 or 1) has not been tried while none ran.

    A pump that is ready in the usual way begins R3's ladder anew, and so the count.
    """

    title = "flood retries over abstract pumps"
    invariants = ("I6", "I3", "table")
    observers = ("untried",)
    silent = (tm.SPACING, *_RESTS, *_MIN_RUN)
    loud = (tm.FLOOD_TRY,)
    pump_kept = ("state", "held", "trial", "loaded", "dry", "prior")
    pair_kept = ("not_pumping",)
    who: int
    i6: int

    def __init__(self, world, who=0):
        self.name = f"flood, pump {who + 1}"
        self.who = who
        super().__init__(world)

    def _stand_ins(self):
        super()._stand_ins()
        c = self.controller
        self.flood = c.flood = Counted(self.settings, c.timers, c.pumps)

    def _more_owners(self):
        return [(self.flood, lambda name, i: name in ("rung", "turn", "second", "aside"))]

    def _bounds(self, tick):
        st = self.settings
        # R3 in turn: two waits of the longest step, and one more where the other pump's try of S4 comes in
        # between, which takes no turn; the rest, and a tick for each.
        self.i6 = (3 * st[s.FLOOD_RETRY_MS] + st[s.FLOOD_MIN_OFF_MS] + st[s.START_SPACING_MS]) // tick + 2
        self.ticks = {key: st[i] // tick for key, i in (("rest", s.FLOOD_MIN_OFF_MS), ("run", s.MIN_RUN_MS))}

    def start(self):
        """Every state in which `high` may begin to be believed wet."""
        states = set()
        off, on = self._pumps_off(), self._pumps_on()
        waits = range(1, max(max(fl.STEPS_MS), self.settings[s.FLOOD_RETRY_MS]) // coarse.TICK_MS + 1)
        for pumps in product(off + on, repeat=2):
            ladders = list(product(range(4), (0, 1), (0, 1), (0, 1) if self._aside(pumps) else (0,)))
            counts = (-1, *waits) if all(p in off and p[2] != pm.FLOOD_TRIAL for p in pumps) else (-1,)
            for not_pumping, ladder, count in product((0, 1, 2), ladders, counts):
                states.add(self._state(pumps, not_pumping, ladder, count))
        return sorted(states)

    def _aside(self, pumps):
        # Whether a ladder may be climbed beside a run: at the end of a step the mark is taken back everywhere else.
        held = [pump[1] for pump in pumps if pump[0] in (pm.STARTING, pm.RUNNING)]
        return len(held) == 2 or held == [0]

    def _pumps_off(self):
        # (state, held, trial, loaded, prior, rest left, shortest run left)
        rests = (-1, *range(1, self.ticks["rest"] + 1))
        well = [(pm.IDLE, 0, trial, 0, 0, rest, -1) for trial, rest in product((0, pm.FLOOD_TRIAL), rests)]
        return well + [
            (state, 0, trial, 0, prior, rest, -1)
            for state, trial, prior, rest in product(
                (pm.RETRY, pm.LOCKED), (0, pm.BOOT_TRIAL, pm.FLOOD_TRIAL), (0, pm.LOCKED), rests)
            if state == pm.LOCKED or trial != pm.BOOT_TRIAL
        ]  # fmt: skip

    def _pumps_on(self):
        runs = (-1, *range(1, self.ticks["run"] + 1))
        return [
            (state, held, 0, loaded, 0, -1, run)
            for state, held, loaded, run in product(
                (pm.STARTING, pm.RUNNING), (0, pm.RETRY, pm.LOCKED), (0, 1), runs)
            if state == pm.RUNNING or not loaded
        ]  # fmt: skip

    def _state(self, pumps, not_pumping: int, ladder, count: int):
        c: Controller = self.controller
        pump: AbstractPump
        self.form.rest()
        self.timers.expire(self.form.base_ms)
        c.gate.out = 0
        for n, (state, held, trial, loaded, prior, rest, run) in enumerate(pumps):
            pump = c.pumps[n]
            pump.state, pump.held, pump.trial, pump.loaded, pump.prior, pump.dry = state, held, trial, loaded, prior, 0
            c.gate.out |= pump.on() << n
            for timer, ticks in ((tm.REST_FLOOD, rest), (tm.MIN_RUN, run)):
                if ticks > 0:
                    self.timers.arm(timer + n, ticks * coarse.TICK_MS)
        if count > 0:
            self.timers.arm(tm.FLOOD_TRY, count * coarse.TICK_MS)
        c.pair.not_pumping = not_pumping
        self.flood.rung, self.flood.turn, self.flood.second, self.flood.aside = ladder
        self.demand.demand, self.blind.asks = 2, 0
        return self._save(0)

    def _level_moves(self, pumps, demand, _asks, out, _resting, lead):
        dry = any(dry for _state, dry, _barred in pumps)
        for keep in range(3) if demand and dry else (0,):
            for first in (0, 1):
                yield LEVEL, FLOODED, keep, 0, first, 0, 0

    def _grant(self, tries: int):
        flood: Counted = self.flood
        flood.granted = tries

    def _judged(self, asked: tuple, was: int):
        c: Controller = self.controller
        one: AbstractPump = c.pumps[0]
        two: AbstractPump = c.pumps[1]
        if self.timers.running(tm.FLOOD_TRY):
            waits = contract.keeps_waiting(c.pumps, c.gate.out)
            wrong = contract.flood_breach(waits, [one.trial, two.trial], 1)
            if wrong:
                return "I6", wrong
        return super()._judged(asked, was)

    def _open(self) -> int:
        pump: AbstractPump = self.controller.pumps[self.who]
        return pump.open

    def _watch(self, seen: int, was: int, away: int):
        gate: Gate = self.controller.gate
        bit: int = 1 << self.who
        barred = away & bit or self._open()
        untried: int = seen
        if gate.out & bit or barred or not self.views.wet & HIGH or self.controller.pair.ready:
            untried = 0
        elif not gate.out and not was:
            untried = min(untried + 1, self.i6 + 1)
        self.watched = untried
        if untried > self.i6:
            return "I6", f"high believed wet, none running, pump {self.who + 1} not tried for {untried} ticks"
        return None
