"""Invariants looked at after every step of a simulated night, against the firmware's own state."""

from duplexsump.control import pump as pm
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.controller import Controller
from duplexsump.control.pump import Pump
from duplexsump.control.records import (
    CURRENT_NORMAL,
    HIGH,
    IN_CURRENT_1,
    IN_GENERATOR,
    IN_SELECTOR_1,
    IN_THERMAL_1,
    LEAD,
    OUT_PUMP_1,
    OUT_RELAY,
    SELECT_AUTO,
    SELECT_OFF,
)
from duplexsump.control.timers import Timers

from host_sim.proof.search import abstract_pump, contract
from host_sim.run.controllers import Duplex

SLACK_MS = 200  # an output follows its reason by a tick, and is seen at the next
_I5, _I6 = ("I5", None), ("I6", None)
_KEYS = (("I13", 0), ("I13", 1))
_ALONE = ("pump 1 on suspects alone", "pump 2 on suspects alone")
RETRIES_MS = (10000, 30000, 60000)  # R3, with high wet; then every `flood_retry`


class Watched(Duplex):
    """The real controller with a list of what broke: (invariant, ms, text); `steps` counts what was looked at."""

    broken: list
    steps: int
    was: list
    views: list
    seam: tuple
    by_hand: int
    last_start_ms: object
    since: dict
    tries: int

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
        self.since = {}  # by (invariant, pump or None): when the stretch began, its limit, what stands
        self.tries = 0  # I6: starts since high is believed wet

    def power_up(self, now_ms: int):
        """A new life: nothing of the one before is held against it."""
        super().power_up(now_ms)
        self._new_life()

    def step(self, now_ms: int, raw: list):
        """Step the firmware, then look."""
        c: Controller = self.controller
        out_before = c.gate.out
        super().step(now_ms, raw)
        self.steps += 1
        out = [self.out[OUT_PUMP_1], self.out[OUT_PUMP_1 + 1]]
        for n in range(2):
            self._pump(n, now_ms, out, c)
        self._views(now_ms, c)
        self._contract(now_ms, out_before, c)
        self._alarms(now_ms, c)
        self._waiting(now_ms, out, c)
        self._flood(now_ms, out, c)
        self.was = out

    def _say(self, invariant, now_ms, text):
        if len(self.broken) < 20:
            self.broken.append((invariant, now_ms, text))

    def _pump(self, n: int, now_ms: int, out: list, c: Controller):
        pump: Pump = c.pumps[n]
        if bool(out[n]) != pump.on():
            self._say("table", now_ms, f"pump {n + 1}: output {out[n]}, state {pump.state}")
        if out[n] and (self.inputs[IN_SELECTOR_1 + n] == SELECT_OFF or self.inputs[IN_THERMAL_1 + n]):
            self._say("I2", now_ms, f"pump {n + 1} on with its selector at OFF or its thermal contact open")
        if out[n] and not self.was[n]:
            spacing = self.settings[s.START_SPACING_MS]
            if self.last_start_ms is not None and now_ms - self.last_start_ms < spacing:
                self._say("I7", now_ms, f"starts {now_ms - self.last_start_ms} ms apart")
            self.last_start_ms = now_ms
        self._on_suspects(n, now_ms, out, c)

    def _views(self, now_ms: int, c: Controller):
        views = [contract.view(c.pumps[0]), contract.view(c.pumps[1])]
        if views == self.views:
            return  # to stay as it is is always allowed
        for n, (before, view) in enumerate(zip(self.views or views, views, strict=True)):
            if (before, view) not in abstract_pump.allowed():
                self._say("table", now_ms, f"pump {n + 1}: {before} to {view} is not allowed by the abstract pump")
        self.views = views

    def _contract(self, now_ms: int, out_before: int, c: Controller):
        # The seam along which the explorer searches level and duty apart.
        seam = (c.demand.demand, contract.asks(c.blind))
        wrong = contract.level_breach(self.seam, seam, c.belief.wet, out_before)
        # What people and the exercise run is none of the duty's, in this step and the one in which it ends.
        timers: Timers = c.timers
        who, hands = c.exercise.who, c.selectors
        by_hand = (1 if hands.hand(0) or who == 0 else 0) | (2 if hands.hand(1) or who == 1 else 0)
        held = (1 if timers.running(tm.MIN_RUN) else 0) | (2 if timers.running(tm.MIN_RUN + 1) else 0)
        duty = ~(by_hand | self.by_hand)
        wrong = wrong or contract.duty_breach(seam, out_before & duty, c.gate.out & duty, held)
        if not wrong and timers.running(tm.FLOOD_TRY):  # it says something while a try is counted down to
            waits = contract.keeps_waiting(c.pumps, c.gate.out)
            wrong = contract.flood_breach(waits, [pump.trial for pump in c.pumps], True)
        if wrong:
            self._say("contract", now_ms, wrong)
        self.seam, self.by_hand = seam, by_hand

    def _stretch(self, key: tuple, now_ms: int, holds, limit_ms: int, text):
        """Judge a stretch of time by what it is called, (invariant, pump or None): it may last `limit_ms`, no longer.

        The limit is that of the look before.  A stretch that ends in this very step
        is judged too: between two steps the controller slept, and it went on.
        """
        begun = self.since.get(key)
        if begun is None and not holds:
            return
        if begun is not None and now_ms - begun[0] > begun[1]:
            self._say(key[0], now_ms, f"{begun[2]} since {begun[0]} ms, for longer than {begun[1]} ms")
            begun = None
        if not holds:
            self.since.pop(key, None)
        else:
            self.since[key] = (now_ms if begun is None else begun[0], limit_ms, text)

    def _on_suspects(self, n: int, now_ms: int, out: list, c: Controller):
        key: tuple = _KEYS[n]
        alone = out[n] and not c.belief.wet and not c.selectors.hand(n) and c.exercise.who != n
        if not alone and key not in self.since:
            return
        loaded = self.inputs[IN_CURRENT_1 + n] == CURRENT_NORMAL and self.settings[s.SENSING] == s.SENSE_CURRENT
        limit_ms = self.settings[s.BLIND_RUN_MS] + SLACK_MS
        self._stretch(key, now_ms, alone and not loaded, limit_ms, _ALONE[n])

    def _alarms(self, now_ms: int, c: Controller):
        state = c.alarms.state
        active = state[0] in (1, 2)
        if bool(c.contacts.wet & HIGH) != active:
            wet = c.contacts.wet & HIGH
            self._say("I4", now_ms, f"high reads {wet}, high-water alarm in state {c.alarms.state[0]}")
        if self.out[OUT_RELAY] and (1 in state[:9] or 2 in state[:9]):
            self._say("I11", now_ms, "alarm relay energised with a high alarm active")

    def _waiting(self, now_ms: int, out: list, c: Controller):
        st = self.settings
        one: Pump = c.pumps[0]
        two: Pump = c.pumps[1]
        running = out[0] or out[1] or one.welded or two.welded  # S6: a welded pump counts as running
        waits = c.belief.wet & LEAD and c.pair.available and not running and not c.timers.running(tm.BOOT)
        if not waits and _I5 not in self.since:
            return
        limit_ms = st[s.LAG_MIN_OFF_MS] + st[s.START_SPACING_MS] + SLACK_MS
        self._stretch(_I5, now_ms, waits, limit_ms, "lead believed wet, a pump available, none runs")

    def _able(self, n: int, c: Controller):
        # I6: supplied, not OFF, not thermally open; an overload is tried three times an hour and is left out here.
        supplied = (c.supply.fed | c.supply.unseen) & (1 << n)
        auto = self.inputs[IN_SELECTOR_1 + n] == SELECT_AUTO and not self.inputs[IN_THERMAL_1 + n]
        pump: Pump = c.pumps[n]
        return supplied and auto and not (pump.state >= pm.RETRY and pump.cause == pm.OVERLOAD)

    def _flood(self, now_ms: int, out: list, c: Controller):
        # I6 by R3's own times: the first try 10 s after nothing runs any more, then 30 s, 60 s, `flood_retry`.
        st = self.settings
        wet = c.belief.wet & HIGH
        if not wet or c.pair.ready:
            self.tries = 0
        if (out[0] or out[1]) and not (self.was[0] or self.was[1]):
            self.tries += 1
        idle = not (out[0] or out[1] or c.timers.running(tm.BOOT))
        untried = wet and idle and (self._able(0, c) or self._able(1, c))
        if not untried and _I6 not in self.since:
            return
        delay_ms = RETRIES_MS[self.tries] if self.tries < len(RETRIES_MS) else st[s.FLOOD_RETRY_MS]
        spacing_ms = st[s.GENERATOR_SPACING_MS if self.inputs[IN_GENERATOR] else s.START_SPACING_MS]
        limit_ms = max(delay_ms, st[s.FLOOD_MIN_OFF_MS]) + spacing_ms + SLACK_MS
        self._stretch(_I6, now_ms, untried, limit_ms, "high believed wet, nothing runs and no pump is tried")
