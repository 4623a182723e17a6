"""Part (d), turns: who leads in fair weather.  I8.

I8 is about cycles with both pumps well and rested, no hand-over and every contact
believed: anything else ends its stretch.  So, as in `part_flood`, the search begins in every
state in which such a stretch may begin, whether the controller ever makes it or not,
and keeps the weather fair from there on.  Turn, lead and max_run are the real ones.
Taken for granted of the start set: D4 counts only for one pump asked for and a
lead (`Timers.on_delay` disarms it at once otherwise).
"""

from itertools import product

from duplexsump.control import pump as pm
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.controller import Controller
from duplexsump.control.gate import Gate

from host_sim.proof.search import coarse
from host_sim.proof.search.abstract_pump import GOOD
from host_sim.proof.search.part_duty import FROM_LEAD, LEVEL, SILENT, VIEWS, DutyPart

_SILENT = tuple(i for i in SILENT if i != tm.BOOT)


class TurnsPart(DutyPart):
    """Observer: who led the cycle before (0 nobody, or 1 + the pump)."""

    name = "turns"
    title = "lead turns in fair weather"
    invariants = ("I8", "I3", "table")
    observers = ("led_last",)
    silent = _SILENT
    loud = (tm.LONG_RUN,)
    pump_kept = ("state",)
    pair_kept = ("turn", "lead", "led", "overdue")
    lead: int
    led: int
    cycles: int

    def _stand_ins(self):
        real = self.controller.pair
        super()._stand_ins()
        self.controller.pair = real

    def _bounds(self, tick):
        st = self.settings
        self.rests = [st[i] // tick for i in (s.MIN_OFF_MS, s.LAG_MIN_OFF_MS, s.FLOOD_MIN_OFF_MS)]
        self.run, self.long_run = st[s.MIN_RUN_MS] // tick, st[s.MAX_RUN_MS] // tick

    def start(self):
        """Every state in which fair weather may begin."""
        states = set()
        pumps = [(pm.IDLE, since) for since in range(self.rests[0] + 1)]
        pumps += list(product((pm.STARTING, pm.RUNNING), range(self.run + 1)))
        for pair in product(pumps, repeat=2):
            for demand, turn, lead, led in product(range(3), (0, 1), (-1, 0, 1), (-1, 0, 1)):
                counts = [(0, -1)]
                if demand == 1 and lead >= 0:
                    counts += [(1, -1), *((0, left) for left in range(1, self.long_run + 1))]
                for overdue, left in counts:
                    states.add(self._state(pair, demand, (turn, lead, led, overdue), left))
        return sorted(states)

    def _state(self, pumps, demand, pair, long_run):
        c = self.controller
        self.form.rest()
        self.timers.expire(self.form.base_ms)
        c.gate.out = 0
        for n, (state, since) in enumerate(pumps):
            c.pumps[n].state = state
            c.gate.out |= c.pumps[n].on() << n
            timers = ((tm.MIN_RUN, self.run),) if state else zip(
                (tm.REST, tm.REST_LAG, tm.REST_FLOOD), self.rests, strict=True)  # fmt: skip
            for timer, whole in timers:
                if whole > since:
                    self.timers.arm(timer + n, (whole - since) * coarse.TICK_MS)
        if long_run > 0:
            self.timers.arm(tm.LONG_RUN, long_run * coarse.TICK_MS)
        c.pair.turn, c.pair.lead, c.pair.led, c.pair.overdue = pair
        c.pair.not_pumping = 0
        self.demand.demand, self.blind.asks = demand, 0
        return self._save(0)

    def _pump_moves(self, phase, _state, _held):
        return [(phase, GOOD)]

    def _level_moves(self, _pumps, demand, _asks, _out, _resting, _lead):
        for view in FROM_LEAD:
            if not VIEWS[view][1]:
                yield LEVEL, view, 0, 0, 0, 0, 0
        for keep in (0, 1) if demand else (0,):
            yield LEVEL, 0, keep, 0, 0, 0, 0

    def _take_turn(self, first: int, late: int):
        # The turn is the pair's own here, not the move's: this only looks at what it was before.
        c: Controller = self.controller
        self.cycles, self.led, self.lead = c.pair.cycles, c.pair.led, c.pair.lead

    def _watch(self, seen: int, was: int, _away: int):
        c: Controller = self.controller
        led: int = self.led if c.pair.cycles > self.cycles else -1
        self.watched = seen
        if self.demand.demand and self.lead < 0 and (was or not self._rested()):
            # A pump that rests is skipped (D2); one that still runs out its shortest run (S3) goes on with it.
            self.watched = 0
        elif self.lead >= 0 and self.demand.demand and c.pair.lead != self.lead:
            self.watched = 0  # handed over (D4)
        elif led >= 0:
            if seen == led + 1:
                return "I8", f"pump {led + 1} has led two cycles running"
            self.watched = led + 1
        return None

    def _rested(self):
        # As the pair saw it when it chose who leads: before anybody was on.
        gate: Gate = self.controller.gate
        out, gate.out = gate.out, 0
        rested = gate.rested(0) and gate.rested(1)
        gate.out = out
        return rested
