"""Part (c): one pump under arbitrary demand, with the real pair, gate and flood retries.  I3, I9, I2.

Pump 2 stands at OFF, so pump 1 answers every demand.  Demand and what the
contacts read come from the search; belief, blind pumping and S8's ring of
starts, which decides nothing but an alarm, are left out.  Every transition must
be one that the abstract pump allows.
"""

from itertools import product

from duplexsump.control import pump as pm
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.controller import Controller
from duplexsump.control.records import (
    CURRENT_LOCKED,
    CURRENT_NONE,
    CURRENT_NORMAL,
    CURRENT_OVER,
    CURRENT_UNDER,
    HIGH,
    IN_CURRENT_1,
    IN_MAINS,
    IN_THERMAL_1,
    LAG,
    LEAD,
    N_INPUTS,
    OFF,
    SELECT_AUTO,
    SELECT_OFF,
    STATE,
)

from host_sim.proof import abstract_pump, coarse
from host_sim.proof.canonical import Form

CALM, THERMAL, RESET, TURNED_OFF, MAINS_GONE, POWER_UP = range(6)
EVENTS = ("", "thermal open", "reset", "selector OFF", "mains gone", "power up")
BANDS = (CURRENT_NONE, CURRENT_UNDER, CURRENT_NORMAL, CURRENT_OVER, CURRENT_LOCKED)
LEVELS = (0, OFF, OFF | LEAD, OFF | LEAD | LAG, OFF | LEAD | LAG | HIGH)
_FIRST = (tm.SPACING, tm.BOOT, tm.BOOT_SHORT, tm.FLOOD_TRY)
_LAST = (tm.REST, tm.REST_LAG, tm.REST_FLOOD, tm.PROOF, tm.LOST, tm.OVER, tm.INRUSH, tm.ROTOR, tm.DRY, tm.LOAD,
         tm.STEADY, tm.MIN_RUN, tm.RETRY, tm.RECENT, tm.OVER_HOUR)  # fmt: skip


class Views:
    """Stands in for belief: every contact is believed; a verdict against one is taken note of and ends the demand."""

    wiring = suspect = order = proof = 0
    failed = False
    virtual = 0
    fitted = 15

    def __init__(self):
        self.wet = 0
        self.dry = 0

    def condemn(self, mask, wet):
        """The search moves the contacts itself."""


class Wish:
    """Stands in for the demand: `wish` pumps, from the search."""

    FIELDS = (("demand", STATE, 0, False), ("by_level", STATE, 0, False))
    boost = stopped = 0

    def __init__(self):
        self.wish = self.demand = self.by_level = 0

    def step(self, *_):
        """Take the wish of this tick."""
        self.by_level = 1
        self.demand = self.wish

    def end(self, by_level):
        """R1 has found the pit empty."""
        self.demand = self.wish = 0
        self.by_level = by_level


class Nothing:
    """Stands in for blind pumping: the level is never lost."""

    reason = False
    state = turn = dry = 0
    loaded = False

    def wants(self):
        """Never."""
        return False

    def step(self, *_):
        """Nothing to do."""

    def started(self):
        """Nothing to do."""


class PumpPart:
    """A move is (demand, current band, contacts wet, event).

    Observers: ticks since the trip, ticks on without demand, the first try since
    power-up not yet used, ticks without current, in underload.
    """

    name = "pump"
    title = "one pump under arbitrary demand"
    invariants = ("I3", "I9", "I2", "S5", "R1", "table")
    observers = ("since_trip", "on_unasked", "boot_try", "none_for", "under_for")

    def __init__(self, world, every=True):
        self.settings = coarse.values(world, sensing=s.SENSE_CURRENT)
        self.controller = c = Controller(self.settings)
        self.timers = c.timers
        self.views, self.wish = Views(), Wish()
        c.belief = c.pair.belief = self.views
        c.demand, c.blind = self.wish, Nothing()
        self.pump = c.pumps[0]
        ring = ("head", "count", "ring", "short", "moist", "welded")
        pair = ("lead", "led", "not_pumping", "turn", "available", "ready")
        owners = [
            (self.pump, lambda name, i: name.split("[")[0] not in ring),
            (c.pair, lambda name, i: name in pair),
            (c.gate, lambda name, i: name == "out"),
            (c.flood, lambda name, i: name != "overloads[1]"),
            (c.contacts, lambda name, i: name == "wet"),
            (self.wish, None),
            (c.timers, lambda name, i: i in _FIRST or i in _LAST),
        ]
        self.form = Form(owners, coarse.TICK_MS, extra=5)
        events = range(6)
        levels, bands = (LEVELS, BANDS) if every else ((0, OFF, LEVELS[4]), (CURRENT_NONE, CURRENT_UNDER, 2, 4))
        self.moves = list(product((0, 1), bands, levels, (CALM,)))
        if every:
            self.moves += list(product((0, 1), bands, levels, events[1:]))
        else:
            self.moves += list(product((0, 1), (CURRENT_NORMAL,), (OFF, LEVELS[4]), (THERMAL, RESET, TURNED_OFF)))
            self.moves += [(0, 0, 0, MAINS_GONE), (0, 0, 0, POWER_UP), (1, 0, LEVELS[4], MAINS_GONE)]
        tick = coarse.TICK_MS
        self.retry = self.settings[s.RETRY_MS] // tick
        self.proof = self.settings[s.START_PROOF_MS] // tick
        self.dry = self.settings[s.DRY_RUN_MS] // tick
        self.min_run = self.settings[s.MIN_RUN_MS] // tick
        self.inputs = [0] * N_INPUTS

    def start(self):
        """Two states: a fresh power-up, and one with the pump locked out from the life before."""
        states = []
        for state in (pm.IDLE, pm.LOCKED):
            self.timers.at = [-1] * tm.N_TIMERS
            self.timers.expire(self.form.now_ms)
            self.pump.state = state
            self.pump.cause = pm.RUN_LOST if state else 0
            self._power_up()
            states.append(self.form.save((self.retry, 0, 1, 0, 0)))
        return states

    def _power_up(self):
        c = self.controller
        self.pump._end_run()
        self.pump.begin()
        c.gate.boots = 0
        c.gate.begin()
        c.pair.lead = c.pair.led = -1
        c.pair.not_pumping = c.pair.available = c.pair.ready = 0
        c.flood.mode = c.flood.rung = 0
        self.pump.open = 0

    def step(self, state, move):
        """One tick through the controller's own duty and protection code."""
        seen = self.form.load(state)
        demand, band, level, event = move
        c, pump = self.controller, self.pump
        before, was = abstract_pump.view(pump), c.gate.out
        self.timers.expire(self.form.now_ms)
        if event == POWER_UP:
            self._power_up()
            c.contacts.wet = level
            return self.form.save((self.retry, 0, 1, 0, 0)), None
        self._inputs(demand, band, level, event)
        if event == RESET:
            self._reset()
        c._protect(0, self.inputs)
        c._level(self.inputs)
        c._duty(self.inputs)
        self.pump.head = self.pump.count = 0
        self.pump.ring[0] = -1
        return self._judged(seen, move, was, before)

    def _inputs(self, demand, band, level, event):
        c = self.controller
        c.contacts.rose, c.contacts.fell = level & ~c.contacts.wet, c.contacts.wet & ~level
        c.contacts.wet = self.views.wet = level
        self.views.dry = 15 & ~level
        self.wish.wish = demand
        self.inputs[IN_CURRENT_1] = band
        self.inputs[IN_THERMAL_1] = int(event == THERMAL)
        self.inputs[IN_MAINS] = int(event != MAINS_GONE)
        c.selectors.at[0] = SELECT_OFF if event == TURNED_OFF else SELECT_AUTO
        c.selectors.at[1] = SELECT_OFF
        # A selector that leaves OFF is told in the step of its edge.
        c.selectors.returned = 1 if event == TURNED_OFF else 0
        c.supply.fed = 0 if event == MAINS_GONE else 3
        c.supply.mains = int(event != MAINS_GONE)
        c.supply.went = event == MAINS_GONE

    def _reset(self):
        if self.pump.state >= pm.RETRY or self.pump.held:
            self.pump.release()
        self.pump.failures = 0

    def _judged(self, seen, move, was, before):
        since_trip, unasked, boot_try, none_for, under_for = seen
        _demand, band, level, event = move
        pump, out = self.pump, self.controller.gate.out
        started = out & ~was
        since_trip = min(since_trip + 1, self.retry)
        unasked = unasked + 1 if out and not self.wish.demand else 0
        none_for = min(none_for + 1, 20) if was and out and band == CURRENT_NONE else 0
        under_for = min(under_for + 1, 20) if was and out and band == CURRENT_UNDER else 0
        after = abstract_pump.view(pump)
        breach = None
        if (before, after) not in abstract_pump.allowed():
            breach = "table", f"{before} to {after} is not allowed by the abstract pump"
        elif bool(out) != pump.on():
            breach = "table", f"output {out}, the pump's own state {pm.STATES[pump.state]}"
        elif out and event in (THERMAL, TURNED_OFF, MAINS_GONE):
            breach = "I2", f"on with {EVENTS[event]}"
        elif unasked > self.min_run + 1:
            breach = "I3", f"on for {unasked} ticks with no demand, min_run = {self.min_run}"
        elif none_for > self.proof + 1:
            breach = "S5", f"on for {none_for} ticks without current"
        elif under_for > self.dry + 1 and self.wish.demand:
            breach = "R1", f"on for {under_for} ticks in underload"
        elif started and before[0] in (pm.RETRY, pm.LOCKED):
            breach = self._judge_try(before[0], since_trip, boot_try, level, event)
        if started:
            boot_try = 0
        if pump.trips or event == THERMAL:  # trips count from 0 in every step of the search
            since_trip = 0
        return self.form.save((since_trip, unasked, boot_try, none_for, under_for)), breach

    def _judge_try(self, state, since_trip, boot_try, level, event):
        # I9: what may start a pump that rests or is locked out.
        c = self.controller.contacts
        # A try granted a tick ago and held up by the gate may still be taken in the tick in which the water falls.
        if event in (RESET, TURNED_OFF) or c.rose & (LEAD | LAG | HIGH) or (level | c.fell) & (LAG | HIGH):
            return None
        if (state == pm.LOCKED and boot_try) or (state == pm.RETRY and since_trip >= self.retry):
            return None
        return "I9", f"started from {pm.STATES[state]} {since_trip} ticks after the trip, contacts {level}"

    def show(self, move):
        """Say a move in words."""
        demand, band, level, event = move
        return f"demand={demand} current={band} contacts={level} {EVENTS[event]}".rstrip()

    def describe(self, state):
        """Return what is not at rest in a state."""
        return self.form.describe(state, self.observers)
