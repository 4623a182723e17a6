"""Part (d): the pair over abstract pumps and arbitrary debounced contacts.  I3, I5, I6, I8, I13, and I12 by script.

Belief, demand, blind pumping, flood retries, pair and gate are the firmware's
own; the two pumps are abstract (`abstract_pump`).  L3's factor, which rests on
two clocks, is fixed in each coarse world (none, one, the most).
"""

from itertools import product

from duplexsump.control import pump as pm
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.contacts import Contacts
from duplexsump.control.controller import Controller
from duplexsump.control.records import (
    CONTACT_NAMES,
    CURRENT_NONE,
    CURRENT_NORMAL,
    CURRENT_UNDER,
    HIGH,
    IN_CURRENT_1,
    IN_MAINS,
    LEAD,
    N_INPUTS,
)
from duplexsump.control.timers import Timers

from host_sim.proof.search import abstract_pump, coarse, contract
from host_sim.proof.search.abstract_pump import BAD, DRY, GOOD, LOCK, OPEN, OVER, AbstractPump
from host_sim.proof.search.canonical import Form, look_at

_TIMERS = {
    tm.SEQUENCE, tm.DRAW, tm.OVERDRAW, tm.STOPPED, tm.ALONE, tm.BLIND_RUN, tm.BLIND_REST, tm.LONG_RUN, tm.FLOOD_TRY,
    tm.BOOT, tm.SPACING, tm.TURNED, tm.TURNED + 1, tm.TURNED + 2,
    *range(tm.REST, tm.REST_FLOOD + 2), tm.MIN_RUN, tm.MIN_RUN + 1,
}  # fmt: skip
# Fields that decide nothing but an alarm or a record, or that the search does not move.
_LEFT_OUT = {"turn_", "both_long", "lag_leads[0]", "lag_leads[1]", "suspects", "boost", "lowest",
             "overloads[0]", "overloads[1]", "failed", "lagged", "handed", "seen"}  # fmt: skip
_CURRENT = {GOOD: CURRENT_NORMAL, BAD: CURRENT_NONE, LOCK: CURRENT_NONE, DRY: CURRENT_UNDER, OVER: CURRENT_NORMAL,
            OPEN: CURRENT_NONE}  # fmt: skip


class PairPart:
    """A move is (debounced word, choice of pump 1, choice of pump 2, reset).

    `fitted` says which contacts there are; fewer make the search smaller.
    Observers: ticks running with everything dry (I3), ticks that a lead has
    waited (I5), ticks that each pump has waited with high wet and none running
    (I6), who led last (I8), ticks of each pump on suspects alone (I13).
    """

    title = "the pair over abstract pumps"
    invariants = ("I3", "I5", "I6", "I8", "I13", "table")
    observers = ("dry_running", "lead_waits", "tried_1", "tried_2", "led_last", "blind_1", "blind_2")
    controller: Controller
    timers: Timers
    work: Form
    inputs: list
    i3: int
    i5: int
    i6: int
    i13: int
    fitted: int

    def __init__(self, world, fitted=15, every=True, sensing=s.SENSE_CURRENT):
        self.name = "pair " + "+".join(n for i, n in enumerate(CONTACT_NAMES) if fitted >> i & 1)
        self.settings = coarse.values(world, fitted=fitted, normally_closed=0, sensing=sensing)
        self.fitted = fitted
        self.controller = c = Controller(self.settings)
        self.timers = c.timers
        for n in range(2):
            c.pumps[n] = AbstractPump(n, self.settings, c.timers)
        c.supply.mains, c.supply.fed = 1, 3
        c.demand.last_run_ds, c.demand.last_refill_ds = 10 * coarse.LAST_RUN_S[world], 100
        kept = lambda name, i: name not in _LEFT_OUT  # noqa: E731
        owners = [(part, kept) for part in (c.belief, c.demand, c.blind, c.flood, c.pair, c.gate)]
        owners += [(pump, None) for pump in c.pumps]
        owners += [(c.contacts, kept), (c.timers, lambda name, i: i in _TIMERS)]
        look_at(self.timers, _TIMERS)
        self.form = Form(owners, coarse.TICK_MS, coarse.TICK_MS // 2, extra=7, scaled=("draw_left",))
        self.work = self.form.work
        self.allowed = abstract_pump.allowed()
        self._moves(every)
        self._bounds(coarse.TICK_MS)
        self.inputs = [0] * N_INPUTS
        self.inputs[IN_MAINS] = 1

    def _moves(self, every):
        words = [w for w in range(16) if not w & ~self.fitted]
        choices = (GOOD, BAD, LOCK, DRY, OVER, OPEN) if every else (GOOD, BAD, DRY, OVER)
        self.moves = list(product(words, choices, choices, (0,)))
        self.moves += [(word, GOOD, GOOD, 1) for word in words]

    def _bounds(self, tick):
        st = self.settings
        def ticks(i):
            return st[i] // tick
        self.i3 = ticks(s.MIN_RUN_MS) + ticks(s.BLIND_RUN_MS) + 1
        self.i5 = max(ticks(s.LAG_MIN_OFF_MS), ticks(s.BOOT_HOLD_MS)) + ticks(s.START_SPACING_MS) + 1
        # As in `part_flood`: two waits in turn, one more for the other pump's try of S4.
        self.i6 = 3 * ticks(s.FLOOD_RETRY_MS) + ticks(s.FLOOD_MIN_OFF_MS) + ticks(s.START_SPACING_MS) + 2
        self.i13 = ticks(s.BLIND_RUN_MS)

    def start(self):
        """Two states: powered up, and locked out from the life before."""
        states = []
        for state in (pm.IDLE, pm.LOCKED):
            c: Controller = self.controller
            self.form.rest()
            self.timers.expire(self.work.now_ms)
            for pump in c.pumps:
                pump.state = state
                pump.begin()
            c.gate.begin()
            c.contacts.wet = 0
            c.belief.begin(0)
            states.append(self.work.save((0, 0, 0, 0, 0, 0, 0)))
        return states

    def step(self, state: bytes, move: tuple):
        """One tick through the controller's own belief, level and duty code."""
        seen = self.work.load(state)
        word: int = move[0]
        choice_1: int = move[1]
        choice_2: int = move[2]
        n: int
        c: Controller = self.controller
        pump: AbstractPump
        before: list = [contract.view(pump) for pump in c.pumps]
        was: int = c.gate.out
        cycles: int = c.pair.cycles
        led: int = c.pair.led
        lead: int = c.pair.lead
        seam: tuple = self._view()
        high_before: int = c.belief.wet & HIGH
        self.timers.expire(self.work.now_ms)
        contacts: Contacts = c.contacts
        contacts.rose, contacts.fell = word & ~contacts.wet, contacts.wet & ~word
        contacts.wet = word
        c.belief.step(word, contacts.rose, contacts.fell, False)
        if move[3]:
            c._reset()
        inputs: list = self.inputs
        for n in range(2):
            choice: int = choice_2 if n else choice_1
            pump = c.pumps[n]
            pump.choice = choice
            inputs[IN_CURRENT_1 + n] = _CURRENT[choice] if was & (1 << n) else CURRENT_NONE
            c._protect(n, inputs)
        c._level(inputs)
        c._duty(inputs)
        self.fair = self._fair(was, lead)
        after, breach = self._judged(seen, move, was, before, high_before, led if c.pair.cycles > cycles else -1)
        return self.work.save(after), breach or self._seam(seam, was)

    def _view(self):
        c: Controller = self.controller
        return c.demand.demand, contract.asks(c.blind)

    def _seam(self, seam: tuple, was: int):
        # What the parts that are searched apart count on from each other.
        c: Controller = self.controller
        held: int = 0
        n: int
        for n in range(2):
            if self.timers.running(tm.MIN_RUN + n):
                held |= 1 << n
        counting = self.timers.running(tm.FLOOD_TRY)
        view: tuple = self._view()
        wrong = contract.level_breach(seam, view, c.belief.wet, was)
        wrong = wrong or contract.duty_breach(view, was, c.gate.out, held)
        waits = contract.keeps_waiting(c.pumps, c.gate.out)
        wrong = wrong or contract.flood_breach(waits, [pump.trial for pump in c.pumps], counting)
        return ("contract", wrong) if wrong else None

    def _fair(self, was: int, lead: int):
        # I8: both rested and off when somebody was chosen to lead, and no hand-over since.
        c: Controller = self.controller
        if not c.demand.demand:
            return True
        if lead >= 0:
            return c.pair.lead == lead
        out, c.gate.out = c.gate.out, 0
        rested = c.gate.rested(0) and c.gate.rested(1)
        c.gate.out = out
        return rested and not was

    def _judged(self, seen: tuple, move: tuple, was: int, before: list, high_before: int, led: int):
        c: Controller = self.controller
        out: int = c.gate.out
        wet: int = c.belief.wet
        dry_running: int = seen[0]
        waits: int = seen[1]
        tried: list = [seen[2], seen[3]]
        blind: list = [seen[5], seen[6]]
        dry_running = min(dry_running + 1, self.i3 + 1) if out and not wet and not c.blind.wants() else 0
        waits = min(waits + 1, self.i5 + 1) if wet & LEAD and c.pair.available and not out else 0
        breach = None
        n: int
        pump: AbstractPump
        for n in range(2):
            bit: int = 1 << n
            pump = c.pumps[n]
            if out & bit or not wet & high_before & HIGH or pump.open or c.pair.ready:
                tried[n] = 0
            elif not out and not was:
                tried[n] = min(tried[n] + 1, self.i6 + 1)
            unloaded = out & was & bit and not wet and self.inputs[IN_CURRENT_1 + n] != CURRENT_NORMAL
            blind[n] = min(blind[n] + 1, self.i13 + 1) if unloaded else 0
            breach = self._pump(n, out, before[n], blind[n], tried[n]) or breach
        if dry_running > self.i3:
            breach = "I3", f"running for {dry_running} ticks with every believed contact dry and no blind pumping"
        elif waits > self.i5:
            breach = "I5", f"lead believed wet for {waits} ticks, pumps {c.pair.available} available, none runs"
        led_last, fair = self._led(seen[4], led, move)
        return (dry_running, waits, tried[0], tried[1], led_last, blind[0], blind[1]), breach or fair

    def _pump(self, n: int, out: int, before: tuple, blind: int, tried: int):
        pump: AbstractPump = self.controller.pumps[n]
        after: tuple = contract.view(pump)
        on: int = out >> n & 1
        if on != pump.on():
            return "table", f"pump {n + 1}: output {on > 0}, its own state {pm.STATES[pump.state]}"
        if (before, after) not in self.allowed:
            return "table", f"pump {n + 1}: {before} to {after} is not allowed by the abstract pump"
        if blind > self.i13:
            return "I13", f"pump {n + 1} on for {blind} ticks on suspects alone, not loaded"
        if tried > self.i6:
            return "I6", f"high believed wet, none running, pump {n + 1} not tried for {tried} ticks"
        return None

    def _led(self, last: int, led: int, move: tuple):
        # I8: 0 nobody led last, 1 or 2 the pump; 0 again whenever anything but fair weather comes between.
        c: Controller = self.controller
        pump: AbstractPump
        for pump in c.pumps:
            if pump.state >= pm.RETRY or pump.held:
                return 0, None
        clean = move[1] == move[2] == GOOD and not c.belief.suspect
        if not clean or c.blind.reason or not self.fair:
            return 0, None
        if led < 0:
            return last, None
        if last == led + 1:
            return last, ("I8", f"pump {led + 1} has led two cycles running")
        return led + 1, None

    def recovers(self, state):
        """I12: from `state`, reset given and healthy contacts: return None, or what is not back to normal duty.

        The script empties the pit, rests, fills it to lead and draws it down again.
        """
        st = self.settings
        rest = (st[s.MIN_OFF_MS] + st[s.BLIND_RUN_MS] + 3 * st[s.MIN_RUN_MS]) // coarse.TICK_MS + 6
        low, lead = self.fitted & 1, self.fitted & (1 | LEAD)
        c: Controller = self.controller
        for word, ticks, reset in ((0, 1, 0), (0, 1, 1), (0, rest, 0), (low, 2, 0), (lead, 1, 0)):
            for _ in range(ticks):
                state, _breach = self.step(state, (word, GOOD, GOOD, reset))
        for _ in range(self.i5 + 2):
            if c.gate.out:
                break
            state, _breach = self.step(state, (lead, GOOD, GOOD, 0))
        if c.gate.out not in (1, 2):
            return f"outputs {c.gate.out} with lead wet"
        if c.belief.suspect or c.blind.reason or c.pair.ready != 3:
            return f"suspects {c.belief.suspect}, blind {c.blind.reason}, pumps ready {c.pair.ready}"
        for word, ticks in ((low, 3), (0, rest)):
            for _ in range(ticks):
                state, _breach = self.step(state, (word, GOOD, GOOD, 0))
        return f"outputs {c.gate.out} with the pit drawn down" if c.gate.out or c.demand.demand else None

    def show(self, move):
        """Say a move in words."""
        word, one, two, reset = move
        wet = "+".join(n for i, n in enumerate(CONTACT_NAMES) if word >> i & 1) or "all dry"
        choices = abstract_pump.CHOICES
        return f"{wet}; pump 1 {choices[one]}, pump 2 {choices[two]}" + ("; reset" if reset else "")

    def describe(self, state):
        """Return what is not at rest in a state."""
        return self.form.describe(state, self.observers)
