"""Part (c): one pump under arbitrary demand, with the real pair and gate.  I3, I9, I2.

Pump 2 stands at OFF, so pump 1 answers every demand.  Demand and what the
contacts read come from the search; belief, blind pumping and S8's ring of
starts, which decides nothing but an alarm, are left out.  Every transition must
be one that the abstract pump allows.

Left out of the state, or put to rest in it where nobody reads it any more:

    lead, led, turn                with pump 2 at OFF there is no choice to make: whatever they say, pump 1 is taken
    available, ready               judged afresh in every step before their use
    not_pumping                    asks only whether the *other* pump was tripped for R1 before
    the demand of the step before  only a run that may be dry looks at it (R1): kept while the pump is on
    contacts of the step before    tell what has risen, which counts for a pump that is out or on trial only
    flood retries                  a try may come in any step in which lag or high is wet, or falls: more than R3
                                   ever gives (`contract.flood_breach`; the ladder itself is searched in `part_flood`)
    cause                          only of a pump that is out or on trial, and of the causes only "not pumping" (R4)
                                   is told apart
    prior                          read by a pardon only, which comes while `recent` runs
    failures                       once locked out it is the lockout that counts: kept at `retries`, unless a pardon
                                   may still come
    timers due by the next step    silent ones, see `canonical`
    observers                      a trip is only looked back on by a pump that rests or tries out of a rest,
                                   the try of S4 only by one that is locked out

Moves left out do the same as one that is made: what a motor that is off draws
(S6 is searched nowhere here), and `off` below a pump that cannot be found dry.
tests/proof/test_reductions.py tries them.
"""

from itertools import product

from duplexsump.control import pump as pm
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.belief import Belief
from duplexsump.control.blind import Blind
from duplexsump.control.contacts import Contacts
from duplexsump.control.controller import Controller
from duplexsump.control.demand import Demand
from duplexsump.control.flood import FloodRetries
from duplexsump.control.pump import Pump
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
from duplexsump.control.timers import Timers

from host_sim.proof.search import abstract_pump, coarse, contract
from host_sim.proof.search.canonical import Form, look_at

CALM, THERMAL, RESET, TURNED_OFF, MAINS_GONE, POWER_UP = range(6)
EVENTS = ("", "thermal open", "reset", "selector OFF", "mains gone", "power up")
BANDS = (CURRENT_NONE, CURRENT_UNDER, CURRENT_NORMAL, CURRENT_OVER, CURRENT_LOCKED)
# What may end a run, or its try, in the step in which it is due.
_TRIPS = (tm.PROOF, tm.LOST, tm.OVER, tm.ROTOR, tm.STEADY)
LEVELS = (0, OFF, OFF | LEAD, OFF | LEAD | LAG, OFF | LEAD | LAG | HIGH)
_FIRST = (tm.SPACING, tm.BOOT)
_LAST = (tm.REST, tm.REST_LAG, tm.REST_FLOOD, tm.PROOF, tm.LOST, tm.OVER, tm.INRUSH, tm.ROTOR, tm.DRY, tm.LOAD,
         tm.STEADY, tm.MIN_RUN, tm.RETRY, tm.RECENT)  # fmt: skip
_SILENT = (tm.SPACING, tm.BOOT, tm.REST, tm.REST_LAG, tm.REST_FLOOD, tm.MIN_RUN,
           tm.RECENT, tm.INRUSH)  # fmt: skip


class PumpViews(Belief):
    """Stands in for belief: every contact is believed; a verdict against one is taken note of and ends the demand."""

    def __init__(self, controller):
        super().__init__(controller.settings, controller.timers, 0)
        self.fitted = 15

    def make_suspect(self, mask, wet):
        """The search moves the contacts itself."""

    def found_dry(self, called, wet):
        """The same."""


class Wish(Demand):
    """Stands in for the demand: `wish` pumps, from the search."""

    FIELDS = (("demand", STATE, 0, 0), ("by_level", STATE, 0, 0))
    wish: int = 0

    def step(self, _wet, _rose, _fell, _pumps, _inputs):
        """Take the wish of this tick."""
        self.by_level = 1
        self.demand = self.wish

    def end(self, by_level):
        """R1 has found the pit empty."""
        self.demand = self.wish = 0
        self.by_level = by_level


class Nothing(Blind):
    """Stands in for blind pumping: the level is never lost."""

    def wants(self):
        """Never."""
        return False

    def takes(self):
        """None."""
        return 0

    def step(self, _wet, _demand, _running):
        """Nothing to do."""

    def started(self):
        """Nothing to do."""


class Tries(FloodRetries):
    """Stands in for the flood retries: gives pump 1 its try when the move says so."""

    granted: bool = False

    def step(self, _high, barred):
        """Give or take back a try of R3; that of S4 is the pump's own."""
        pump: Pump = self.pumps[0]
        if self.granted and not barred & 1 and pump.state >= pm.RETRY:
            pump.trial = pm.FLOOD_TRIAL
        elif pump.trial == pm.FLOOD_TRIAL:
            pump.trial = 0

    def count(self, _high, _out, _ready):
        """Nothing to count."""


class PumpPart:
    """A move is (demand, current band, contacts wet, event, a flood try).

    Observers: ticks since the trip, ticks on without demand, the first try since
    power-up not yet used, ticks without current, in underload.
    """

    name = "pump"
    title = "one pump under arbitrary demand"
    invariants = ("I3", "I9", "I2", "S5", "R1", "table")
    observers = ("since_trip", "on_unasked", "boot_try", "none_for", "under_for")
    controller: Controller
    timers: Timers
    work: Form
    views: "PumpViews"
    wish: "Wish"
    pump: Pump
    flood: "Tries"
    inputs: list
    retry: int
    proof: int
    dry: int
    min_run: int

    def __init__(self, world, every=True):
        self.settings = coarse.values(world, sensing=s.SENSE_CURRENT)
        self.controller = c = Controller(self.settings)
        self.timers = c.timers
        self.views = PumpViews(c)
        self.wish = Wish(self.settings, c.timers, self.views)
        c.belief = c.pair.belief = self.views
        c.demand, c.blind = self.wish, Nothing(self.settings, c.timers, self.views)
        self.pump = c.pumps[0]
        c.flood = self.flood = Tries(self.settings, c.timers, c.pumps)
        ring = ("ring_first", "count", "ring", "short", "moist", "welded")
        owners = [
            (self.pump, lambda name, i: name.split("[")[0] not in ring),
            (c.pair, lambda name, i: False),
            (c.gate, lambda name, i: name == "out"),
            (c.contacts, lambda name, i: name == "wet"),
            (self.wish, lambda name, i: name == "demand"),
            (c.timers, lambda name, i: i in _FIRST or i in _LAST),
        ]
        look_at(self.timers, (*_FIRST, *_LAST))
        self.form = Form(owners, coarse.TICK_MS, extra=5, silent=_SILENT)
        self.work = self.form.work
        events = range(6)
        levels, bands = (LEVELS, BANDS) if every else ((0, OFF, LEVELS[4]), (CURRENT_NONE, CURRENT_UNDER, 2, 4))
        self.moves = list(product((0, 1), bands, levels, (CALM,), (0,)))
        self.moves += product((0, 1), (CURRENT_NONE,), levels, (CALM, RESET), (1,))
        if every:
            self.moves += list(product((0, 1), bands, levels, events[1:], (0,)))
        else:
            self.moves += list(product((0, 1), (CURRENT_NORMAL,), (OFF, LEVELS[4]), (THERMAL, RESET, TURNED_OFF), (0,)))
            self.moves += [(0, 0, 0, MAINS_GONE, 0), (0, 0, 0, POWER_UP, 0), (1, 0, LEVELS[4], MAINS_GONE, 0)]
        self._at = {}
        self.allowed = abstract_pump.allowed()
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
            self.form.rest()
            self.timers.expire(self.work.now_ms)
            self.pump.state = state
            self.pump.cause = pm.RUN_LOST if state else 0
            self._power_up()
            states.append(self._save((self.retry, 0, 1, 0, 0)))
        return states

    def moves_at(self, state):
        """Return the numbers of the moves that differ from `state`."""
        self.work.load(state)
        pump: Pump = self.pump
        left = self.timers.at
        soon = self.work.now_ms  # due in the next step
        sharp = soon in [left[i] for i in _TRIPS]
        fell = self.controller.contacts.wet & HIGH > 0
        key = pump.state, pump.held, sharp, bool(pump.dry) or left[tm.DRY] == soon, pump.failures > 0, fell
        found = self._at.get(key)
        if found is None:
            alike = {}
            for number, move in enumerate(self.moves):
                alike.setdefault(_alike(move, *key), number)
            found = self._at[key] = tuple(alike.values())
        return found

    def _power_up(self):
        c = self.controller
        self.pump._end_run()
        self.pump.begin()
        c.gate.begin()
        c.pair.lead = c.pair.led = -1
        c.pair.not_pumping = c.pair.available = c.pair.ready = 0
        self.pump.open = 0

    def step(self, state: bytes, move: tuple):
        """One tick through the controller's own duty and protection code."""
        seen = self.work.load(state)
        demand: int = move[0]
        band: int = move[1]
        level: int = move[2]
        event: int = move[3]
        tried: int = move[4]
        c: Controller = self.controller
        pump: Pump = self.pump
        before: tuple = contract.view(pump)
        was: int = c.gate.out
        self.timers.expire(self.work.now_ms)
        if event == POWER_UP:
            self._power_up()
            c.contacts.wet = level
            return self._save((self.retry, 0, 1, 0, 0)), None
        self._inputs(demand, band, level, event)
        self.flood.granted = tried and (level | c.contacts.fell) & HIGH
        if event == RESET:
            self._reset()
        c._protect(0, self.inputs)
        c._level(self.inputs)
        c._duty(self.inputs)
        self.pump.ring_first = self.pump.count = 0
        self.pump.ring[0] = -1
        return self._judged(seen, was, before, band, level, event)

    def _inputs(self, demand: int, band: int, level: int, event: int):
        c: Controller = self.controller
        wet: int = c.contacts.wet
        c.contacts.rose = level & ~wet
        c.contacts.fell = wet & ~level
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

    def _judged(self, seen, was: int, before, band: int, level: int, event: int):
        since_trip: int = seen[0]
        unasked: int = seen[1]
        boot_try: int = seen[2]
        none_for: int = seen[3]
        under_for: int = seen[4]
        pump: Pump = self.pump
        out: int = self.controller.gate.out
        started: int = out & ~was
        since_trip = min(since_trip + 1, self.retry)
        unasked = unasked + 1 if out and not self.wish.demand else 0
        # R3: with high believed wet a missing current ends no try.
        excused = pump.silent or (pump.held and level & HIGH)
        none_for = min(none_for + 1, 20) if was and out and band == CURRENT_NONE and not excused else 0
        under_for = min(under_for + 1, 20) if was and out and band == CURRENT_UNDER else 0
        after: tuple = contract.view(pump)
        breach = None
        if (before, after) not in self.allowed:
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
        return self._save((since_trip, unasked, boot_try, none_for, under_for)), breach

    def _save(self, seen):
        # What nobody reads any more is put to rest; see the head of this file.
        since_trip, unasked, boot_try, none_for, under_for = seen
        pump: Pump = self.pump
        contacts: Contacts = self.controller.contacts
        out, locked = pump.state >= pm.RETRY, pm.LOCKED in (pump.state, pump.held)
        if not out and not pump.held:
            pump.cause = 0
            contacts.wet = 0
        elif pump.cause != pm.NOT_PUMPING:
            pump.cause = pm.RUN_LOST
        contacts.wet &= ~OFF
        if pump.trial == pm.FLOOD_TRIAL:
            pump.trial = 0
        if not self.timers.running(tm.RECENT) or self.timers.left_ms(tm.RECENT) <= coarse.TICK_MS:
            pump.prior = 0
            if locked:
                pump.failures = self.settings[s.RETRIES]
        if not pump.on():
            self.wish.demand = 0
        if pm.RETRY not in (pump.state, pump.held):
            since_trip = self.retry
        return self.work.save((since_trip, unasked, boot_try if locked else 0, none_for, under_for))

    def _judge_try(self, state: int, since_trip: int, boot_try: int, level: int, event: int):
        # I9: what may start a pump that rests or is locked out.
        c: Contacts = self.controller.contacts
        # A try granted a tick ago and held up by the gate may still be taken in the tick in which the water falls.
        if event in (RESET, TURNED_OFF) or c.rose & (LEAD | LAG | HIGH) or (level | c.fell) & HIGH:
            return None
        if (state == pm.LOCKED and boot_try) or (state == pm.RETRY and since_trip >= self.retry):
            return None
        return "I9", f"started from {pm.STATES[state]} {since_trip} ticks after the trip, contacts {level}"

    def show(self, move):
        """Say a move in words."""
        demand, band, level, event, tried = move
        return f"demand={demand} current={band} contacts={level} {EVENTS[event]}{' flood try' * tried}".rstrip()

    def describe(self, state):
        """Return what is not at rest in a state."""
        return self.form.describe(state, self.observers)


def _alike(move, state, held, sharp, dry, failed, fell):
    # The move with all that nobody reads in such a state made the same.  `sharp`: something is due that may end the
    # run or its try; `dry`: the run is or may be found dry in this step; `fell`: high was wet before.
    demand, band, level, event, tried = move
    tried = tried and state >= pm.RETRY and (level & HIGH or fell) > 0
    return (*_seen(demand, band, level, event, state, held, sharp, dry, failed), tried)


def _seen(demand, band, level, event, state, held, sharp, dry, failed):
    if event == RESET and state < pm.RETRY and not held and not failed:
        event = CALM
    if event == POWER_UP:
        return 0, 0, level | OFF if state == pm.LOCKED else 0, event
    if event == THERMAL:
        return 0, 0, level | OFF, event
    if state not in (pm.STARTING, pm.RUNNING):
        # It draws nothing, and `off` is asked for in a dry run only; barred, it does not start whoever asks.
        return 0 if event in (TURNED_OFF, MAINS_GONE) else demand, 0, level | OFF, event
    if dry:
        return demand, band, level, event
    level |= OFF
    if not sharp and event in (TURNED_OFF, MAINS_GONE):
        band = 0  # the run ends here whatever it draws
    if not sharp and not held and event in (CALM, RESET):
        level = OFF  # it goes on, or is stopped and ready: nobody asks how high the water is
    return demand, band, level, event
