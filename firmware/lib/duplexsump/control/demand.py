"""Demand: how many pumps the level asks for (D1), and stopping without `off` (L3, L4, R1, R2)."""

from . import settings as s
from . import timers as tm
from .records import (
    AGAIN,
    CLOCK,
    COUNTER,
    HIGH,
    IN_LEVEL,
    IN_TRANSMITTER,
    LAG,
    LEAD,
    OFF,
    STATE,
    TRANSMITTER_OK,
)
from .ticks import const

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Belief

LONGEST_DRAW_MS = const(600000)
_LONGEST_DS = const(36000)  # runs and refills are remembered up to an hour
_UPPER = const(14)  # lead, lag, high
_NO_LEVEL = const(1048576)  # a level step above any


class Demand:
    """`demand` is 0, 1 or 2 pumps; `by_level` tells whether the pit was drawn down when it ended."""

    FIELDS = (
        ("demand", STATE, 0, AGAIN),
        ("by_level", STATE, 0, 0),
        ("draw_pumps", STATE, 0, 0),  # L3: pumps that use up the time now
        ("draw_left", COUNTER, 0, 0),  # L3: time left while no pump runs
        ("stopped", STATE, 0, AGAIN),  # L4: in a provisional stop
        ("stops", COUNTER, 0, 0),  # L4: stops in a row that lasted
        ("limit_ms", COUNTER, 0, 0),  # L4: the draw-down now allowed
        ("slack", STATE, 0, 0),  # L4: at some instant of this draw-down no pump was loaded
        ("patience_ms", COUNTER, 0, 0),  # L4: what the last draw-downs have shown to be honest
        ("ran", STATE, 0, AGAIN),  # L3: pumps that ran at the step before, for D4 hands over between two
        ("boost", STATE, 0, AGAIN),  # R2: both pumps, the level does not fall
        ("lowest", STATE, 0, 0),  # R2: lowest level step of this demand
        ("covered", STATE, 0, 0),  # D1: off was believed wet in this demand
        ("run_ms", CLOCK, 0, 0),  # L3: pump time of this demand
        ("refill_ms", CLOCK, 0, 0),  # L3: time since the last demand
        ("last_run_ds", CLOCK, 0, 0),
        ("last_refill_ds", CLOCK, 0, 0),
    )

    def __init__(self, settings: list[int], timers: "tm.Timers", belief: "Belief") -> None:
        self.settings = settings
        self.timers = timers
        self.belief = belief
        self.demand = 0
        self.by_level = 0
        self.draw_pumps = 0
        self.draw_left = 0
        self.stopped = 0
        self.stops = 0
        self.limit_ms = 0
        self.slack = 0
        self.patience_ms = 0
        self.ran = 0
        self.boost = 0
        self.lowest = 0
        self.covered = 0
        self.run_ms = 0
        self.refill_ms = 0
        self.last_run_ds = 0
        self.last_refill_ds = 0
        self.loaded = False  # L4: a running pump's current is normal, as told before each step

    def reset(self) -> None:
        """Forget the evidence against `off`."""
        self.stops = 0

    def elapsed(self, dt_ms: int, pumps: int) -> None:
        """Count `dt_ms` in which `pumps` pumps ran (L3 needs the last run and refill)."""
        if self.demand:
            self.run_ms = min(100 * _LONGEST_DS, self.run_ms + dt_ms * pumps)
        else:
            self.refill_ms = min(100 * _LONGEST_DS, self.refill_ms + dt_ms)

    def _pump_down_ms(self, contact: int) -> int:
        # The time for one pump and no inflow from a contact down to off.
        known = self.settings[s.PUMP_DOWN_LEAD_MS + (0 if contact == LEAD else 1 if contact == LAG else 2)]
        return known or self.settings[s.BLIND_RUN_MS]

    def _lowest(self) -> int:
        # The lowest believed contact above off; with none, the pump-down is high's.
        believed = self.belief.fitted & ~self.belief.suspect & _UPPER
        return believed & -believed

    def end(self, by_level: int) -> None:
        """Demand is over: nothing runs for the level's sake until a contact turns wet."""
        if self.demand:
            self.last_run_ds = self.run_ms // 100
            self.run_ms = 0
            self.belief.drawn()
        self.demand = 0
        self.by_level = by_level
        self.boost = 0
        self.covered = 0
        self.timers.stop(tm.NO_DRAW)

    def _begin(self, demand: int) -> None:
        if not self.demand:
            self.last_refill_ds = self.refill_ms // 100
            self.refill_ms = 0
            self.lowest = _NO_LEVEL
        self.demand = demand
        if self.stopped:  # L4: the provisional stop did not last
            self.stopped = 0
            self.stops = 0
            self.timers.stop(tm.STOPPED)
            self._learn(100 * self._honest_ds(self.limit_ms // 100, self.last_refill_ds or 1))

    def step(self, wet: int, rose: int, fell: int, pumps: int, inputs: list[int]) -> None:
        """Work out the demand.

        `wet`: debounced contacts, `rose`, `fell`: those that turned now; `pumps`: pumps running.
        """
        if (rose | fell) & OFF:  # any move of off ends the test of L4
            self.stops = 0
            self.stopped = 0
            self.timers.stop(tm.STOPPED)
        if self.timers.rang[tm.STOPPED]:
            self._stop_lasted(wet)
        if self.belief.wet & (LAG | HIGH):
            self._begin(2)
        elif self.belief.wet & LEAD:
            self._begin(self._lead_asks())
        elif self.demand:
            self._falling(pumps, wet & _UPPER)
        if self.demand:
            self.covered |= self.belief.wet & OFF
        if self.belief.wet & _UPPER or not self.demand:
            self._no_draw()
        self._stands_alone(wet, rose | fell, pumps)
        self._stands_long(wet, pumps)
        self._not_falling(inputs, pumps)

    def _lead_asks(self) -> int:
        # Lead asks for one pump, and for two where no contact above it is believed, which could call the second.
        return self.demand or 1 if self._others() else 2

    def _others(self) -> int:
        return self.belief.fitted & ~self.belief.suspect & (LAG | HIGH)

    def _no_draw(self) -> None:
        self._no_timed_draw()
        self.timers.stop(tm.OVERDRAW)

    def _no_timed_draw(self) -> None:
        self.timers.stop(tm.DRAW)
        self.draw_left = 0
        self.draw_pumps = 0

    def _falling(self, pumps: int, hung: int) -> None:
        # No believed contact from lead up is wet; `hung`: those that read wet all the same.
        if self.belief.dry & OFF and (self.covered or hung or self.belief.bobs > 1):
            self._drawn()
            self.end(1)
        elif self.belief.wet & OFF:
            self._no_timed_draw()
            if self._overdrawn(pumps > 0):
                self._cut()
        else:
            self._draw(pumps)

    def _cut(self) -> None:
        # L4: too long a draw-down over a wet `off`; whether that float hangs, the time after tells.
        self.end(0)
        self.stopped = 1
        self.timers.arm(tm.STOPPED, 2 * self._pump_down_ms(self._lowest()))

    def _overdrawn(self, running: int) -> bool:
        # L4: three pump-downs, or what has been learnt of an honest draw-down.
        if not self.timers.running(tm.OVERDRAW) and not self.timers.rang[tm.OVERDRAW]:
            self.limit_ms = max(3 * self._pump_down_ms(self._lowest()), self.patience_ms)
            self.slack = 0
        if not self.loaded:
            self.slack = 1
        return self.timers.on_delay(tm.OVERDRAW, False, running, self.limit_ms)

    def _drawn(self) -> None:
        # An honest draw-down, off dry at its end: it tells how long one takes at this inflow.
        if self.timers.running(tm.OVERDRAW):
            self._learn(self.limit_ms - self.timers.left_ms(tm.OVERDRAW))

    def _learn(self, draw_ms: int) -> None:
        # An honest draw-down may take this long: if off hangs, a pump runs dry for blind_run at the most.
        self.patience_ms = min(LONGEST_DRAW_MS, draw_ms + self.settings[s.BLIND_RUN_MS])

    def _honest_ds(self, run_ds: int, refill_ds: int) -> int:
        # How long a draw-down takes, after a stop that cut one short.  It is
        # pump_down x P / (P - Q) with a pump rate P and an inflow Q.  Above off
        # run and refill moved the same water, so P / (P - Q) = 1 + run / refill.
        # A run that went dry says too much of that; then the refill alone tells,
        # with Q = volume / refill: P / (P - Q) = refill / (refill - pump_down).
        down_ds = self._pump_down_ms(self._lowest()) // 100
        draw_ds = down_ds + down_ds * min(10000, 10 * run_ds // refill_ds) // 10
        if refill_ds > down_ds:
            draw_ds = min(draw_ds, down_ds * refill_ds // (refill_ds - down_ds))
        return min(draw_ds, LONGEST_DRAW_MS // 100)

    def _stop_lasted(self, wet: int) -> None:
        # L4: off stood still through a long draw-down and a long rest: it hangs, unless a pump moved water throughout.
        self.stopped = 0
        self.patience_ms = 0
        self.stops += self.slack
        if self.stops >= 2:
            self.stops = 0
            self.belief.make_suspect(OFF, wet)

    def _draw(self, pumps: int) -> None:
        # L3: stop by time; two running pumps use it up twice as fast.
        t = self.timers
        if t.rang[tm.DRAW]:
            if self.loaded and self.belief.goes_on():  # what is loaded moves water: is `off` good, it turns now
                t.arm(tm.DRAW, self.settings[s.BLIND_RUN_MS])
            else:
                self.end(1)
            return
        if t.running(tm.DRAW):
            left_ms = t.left_ms(tm.DRAW)
        elif self.draw_left:
            left_ms = self.draw_left
        else:
            left_ms = 100 * min(self._draw_ds(), self._blind_left_ms() // 100)
        if self.draw_pumps == 2:
            left_ms *= 2
        if pumps:
            t.arm(tm.DRAW, max(100, left_ms // pumps // 100 * 100))
            self.draw_left = 0
            self.draw_pumps = pumps
        else:
            t.stop(tm.DRAW)
            self.draw_left = left_ms
            self.draw_pumps = 1

    def _blind_left_ms(self) -> int:
        # What is left of a blind run: where nothing is sensed, a contact that stood
        # alone over a dry off may have been a hung float, and the run dry all the while.
        if self.timers.running(tm.ALONE):
            return self.timers.left_ms(tm.ALONE)
        return self.settings[s.BLIND_RUN_MS]

    def _draw_ds(self) -> int:
        # pump_down x (1 + last run / last refill), in steps of 100 ms: with an
        # inflow Q and a pump rate P that is pump_down x P / (P - Q).
        down_ds = self._pump_down_ms(self._lowest()) // 100
        return down_ds + down_ds * self.last_run_ds // (self.last_refill_ds or 1)

    def _stands_alone(self, wet: int, turned: int, pumps: int) -> None:
        # L3 without current sensing and without off wet: a contact that stands wet
        # through a whole blind run with nothing moving hangs.
        upper = self.belief.wet & _UPPER
        if self.settings[s.SENSING] == s.SENSE_CURRENT or self.belief.wet & OFF:
            pumps = False
        elif upper & LAG:
            pumps = pumps > 0 and not wet & HIGH
        else:
            pumps = pumps > 0 and upper == LEAD
        if turned:
            self.timers.stop(tm.ALONE)
        if self._alone(pumps):
            self.belief.make_suspect(LAG if upper & LAG else LEAD, wet)
            if not self.belief.wet & _UPPER:
                self.end(0)

    def _stands_long(self, wet: int, pumps: int) -> None:
        # L3 over a wet off, which may hang itself: pumps stop for a look.  Water that is there rises to the next.
        stands = self.belief.wet & ~self.belief.virtual == OFF | LEAD and self._others()
        if not stands or self.settings[s.SENSING] == s.SENSE_CURRENT:
            pumps = self.ran = 0
        looks = pumps or self.ran
        self.ran = pumps
        if self._long(looks):
            self.belief.look_at_lead(wet)
            self.end(0)

    def _long(self, alone: object) -> bool:
        return self.timers.on_delay(tm.ALONE_LONG, False, alone, 2 * self.settings[s.NOT_KEEPING_UP_MS])

    def _alone(self, alone: object) -> bool:
        return self.timers.on_delay(tm.ALONE, False, alone, self.settings[s.BLIND_RUN_MS])

    def _not_falling(self, inputs: list[int], pumps: int) -> None:
        # R2: with a transmitter the level must fall within no_draw_down.
        if not self.settings[s.TRANSMITTER] or not self.demand:
            return
        judged = pumps > 0 and inputs[IN_TRANSMITTER] == TRANSMITTER_OK
        if not judged or inputs[IN_LEVEL] < self.lowest:
            self.lowest = inputs[IN_LEVEL]
            self.timers.stop(tm.NO_DRAW)
            self.boost = 0
        if self._stands(judged):
            self.boost = 1
            self.demand = 2

    def _stands(self, judged: int) -> bool:
        return self.timers.on_delay(tm.NO_DRAW, self.boost, judged, self.settings[s.NO_DRAW_DOWN_MS])
