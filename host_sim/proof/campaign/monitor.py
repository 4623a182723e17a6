"""Invariants looked at after every step of a simulated night, against the firmware's own state."""

from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.records import (
    CURRENT_NORMAL,
    HIGH,
    IN_CURRENT_1,
    IN_SELECTOR_1,
    IN_THERMAL_1,
    LEAD,
    OUT_PUMP_1,
    OUT_RELAY,
    SELECT_OFF,
)

from host_sim.proof.search import abstract_pump, contract
from host_sim.run.controllers import Duplex

SLACK_MS = 200  # an output follows its reason by a tick, and is seen at the next


class Watched(Duplex):
    """The real controller with a list of what broke: (invariant, ms, text); `steps` counts what was looked at."""

    def __init__(self, site, offset_ms=0):
        super().__init__(site, offset_ms)
        self.broken = []
        self.steps = 0
        self._new_life()

    def _new_life(self):
        self.was = [0, 0]
        self.views = None
        self.seam = (0, 0)
        self.by_hand = 0
        self.last_start_ms = None
        self.blind_from = [None, None]
        self.waits_from = None

    def power_up(self, now_ms):
        """A new life: nothing of the one before is held against it."""
        super().power_up(now_ms)
        self._new_life()

    def step(self, now_ms, raw):
        """Step the firmware, then look."""
        out_before = self.controller.gate.out
        super().step(now_ms, raw)
        self.steps += 1
        c = self.controller
        out = [self.out[OUT_PUMP_1], self.out[OUT_PUMP_1 + 1]]
        for n in range(2):
            self._pump(n, now_ms, out, c)
        self._contract(now_ms, out_before, c)
        self._alarms(now_ms, c)
        self._waiting(now_ms, out, c)
        self.was = out

    def _say(self, invariant, now_ms, text):
        if len(self.broken) < 20:
            self.broken.append((invariant, now_ms, text))

    def _pump(self, n, now_ms, out, c):
        pump = c.pumps[n]
        view = abstract_pump.view(pump)
        before = self.views[n] if self.views else view
        if bool(out[n]) != pump.on():
            self._say("table", now_ms, f"pump {n + 1}: output {out[n]}, state {pump.state}")
        if self.views and (before, view) not in abstract_pump.allowed():
            self._say("table", now_ms, f"pump {n + 1}: {before} to {view} is not allowed by the abstract pump")
        if out[n] and (self.inputs[IN_SELECTOR_1 + n] == SELECT_OFF or self.inputs[IN_THERMAL_1 + n]):
            self._say("I2", now_ms, f"pump {n + 1} on with its selector at OFF or its thermal contact open")
        if out[n] and not self.was[n]:
            spacing = self.settings[s.START_SPACING_MS]
            if self.last_start_ms is not None and now_ms - self.last_start_ms < spacing:
                self._say("I7", now_ms, f"starts {now_ms - self.last_start_ms} ms apart")
            self.last_start_ms = now_ms
        self._on_suspects(n, now_ms, out, c)
        if n == 1:
            self.views = [abstract_pump.view(each) for each in c.pumps]

    def _contract(self, now_ms, out_before, c):
        # The seam along which the explorer searches level and duty apart.
        seam = (c.demand.demand, contract.asks(c.blind))
        wrong = contract.level_breach(self.seam, seam, c.belief.wet, out_before)
        # What people and the exercise run is none of the duty's, in this step and the one in which it ends.
        by_hand = sum(1 << n for n in range(2) if c.selectors.hand(n) or c.exercise.who == n)
        held = sum(1 << n for n in range(2) if c.timers.at[tm.MIN_RUN + n] >= 0)
        duty = ~(by_hand | self.by_hand)
        wrong = wrong or contract.duty_breach(seam, out_before & duty, c.gate.out & duty, held)
        counting = c.timers.at[tm.FLOOD_TRY] >= 0
        waits = contract.keeps_waiting(c.pumps, c.gate.out)
        wrong = wrong or contract.flood_breach(waits, [pump.trial for pump in c.pumps], counting)
        if wrong:
            self._say("contract", now_ms, wrong)
        self.seam, self.by_hand = seam, by_hand

    def _on_suspects(self, n, now_ms, out, c):
        alone = out[n] and not c.belief.wet and not c.selectors.hand(n) and c.exercise.who != n
        loaded = self.inputs[IN_CURRENT_1 + n] == CURRENT_NORMAL and self.settings[s.SENSING] == s.SENSE_CURRENT
        if not alone or loaded:
            self.blind_from[n] = None
        elif self.blind_from[n] is None:
            self.blind_from[n] = now_ms
        elif now_ms - self.blind_from[n] > self.settings[s.BLIND_RUN_MS] + SLACK_MS:
            self._say("I13", now_ms, f"pump {n + 1} on suspects alone since {self.blind_from[n]} ms")
            self.blind_from[n] = now_ms

    def _alarms(self, now_ms, c):
        active = c.alarms.state[0] in (1, 2)
        if bool(c.contacts.wet & HIGH) != active:
            wet = c.contacts.wet & HIGH
            self._say("I4", now_ms, f"high reads {wet}, high-water alarm in state {c.alarms.state[0]}")
        if self.out[OUT_RELAY] and any(c.alarms.state[i] in (1, 2) for i in range(9)):
            self._say("I11", now_ms, "alarm relay energised with a high alarm active")

    def _waiting(self, now_ms, out, c):
        st = self.settings
        running = out[0] or out[1] or c.pumps[0].welded or c.pumps[1].welded  # S6: a welded pump counts as running
        waits = c.belief.wet & LEAD and c.pair.available and not running
        if not waits or c.gate._held():
            self.waits_from = None
            return
        if self.waits_from is None:
            self.waits_from = now_ms
        limit = st[s.LAG_MIN_OFF_MS] + st[s.START_SPACING_MS] + SLACK_MS
        if now_ms - self.waits_from > limit:
            self._say("I5", now_ms, f"lead believed wet since {self.waits_from} ms, a pump available, none runs")
            self.waits_from = now_ms
