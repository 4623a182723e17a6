"""Part (d), duty: pair and gate over abstract pumps, an abstract level and any lead turn.  I3, I5.

The whole pair multiplies every state of belief, demand, blind pumping and flood
retries with every state of the duty, and a search of it does not end.  Here
each of these is replaced by all that it may do: the level by the views of
`contract`, the flood retries by tries given at any time, the pump by
`abstract_pump`, and the turn, with who led and how long, by a free choice in
every tick, which makes it a search of every duty mode at once.  That is more than
they ever do, so what holds here holds for them.

A tick is taken in three moves: pump 1 is protected, pump 2 is protected, the
level asks and the pair answers.  The code does just this one after the other; in
between, different beginnings meet in the same state, which is followed only once.

Left out of the state, and why nothing is lost:

    available, ready, barred    judged afresh in every step before their use
    trial, turn, led, overdue   chosen afresh in every step
    open, dry, locks            the abstract pump sets them before they are read (kept within the tick); dry of a
                                pump whose retry rest may end in mid-run is kept from tick to tick
    steady, cause               nobody here reads `steady`; `cause` tells only which releases apply, and here any
                                pump that is out may be released in any step, before its protections (reset) or
                                after (water, selector).  A pardon at the end of a cycle (R1) is one that comes a
                                step later: nothing in between looks
    prior                       only a pardon reads it, of a pump among `not_pumping`; there it is kept
    timers due by the next step silent ones, see `canonical`

Moves left out do the same as one that is made: what a resting pump would have
done on load, contacts that nobody reads in this state.  `moves_at` says which;
tests/proof/test_reductions.py tries the others.  D6, which needs a pump
without any sensing, HAND, the exercise, A4's fixed duty and the transmitter rest on
the campaign.
"""

from itertools import product

from duplexsump.control import pump as pm
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.controller import Controller
from duplexsump.control.records import HIGH, IN_MAINS, LAG, LEAD, N_INPUTS, OFF
from duplexsump.control.timers import Timers

from host_sim.proof.search import coarse, contract
from host_sim.proof.search.abstract_pump import BAD, CHOICES, DRY, GOOD, LOCK, OPEN, OVER, AbstractPump
from host_sim.proof.search.canonical import Form, look_at
from host_sim.proof.search.stand_ins import AnyBlind, AnyDemand, AnyViews, FreePair, Trials

# What the contacts may show: (believed wet, read wet though suspect).  OFF tells only below lead, HIGH among
# the suspects shortens the rest (S1).
_UP = OFF | LEAD
VIEWS = (
    (0, 0), (OFF, 0), (0, HIGH), (OFF, HIGH),
    (_UP, 0), (_UP, HIGH), (_UP | LAG, 0), (_UP | LAG, HIGH), (_UP | LAG | HIGH, 0),
)  # fmt: skip
BELOW_LEAD, FROM_LEAD, FLOODED = (0, 1, 2, 3), (4, 5, 6, 7, 8), 8

# What may happen to a pump in a tick: (released before its protections, choice, a dry run locks it out, released
# after them, supplied).
PUMP_MOVES = tuple(
    [(before, choice, 0, 0, 1) for before in (0, 1) for choice in (GOOD, BAD, LOCK, DRY, OPEN)]
    + [(before, DRY, 1, 0, 1) for before in (0, 1)]
    + [(before, OVER, 0, 0, 1) for before in (0, 1)]
    + [(0, BAD, 0, 1, 1), (0, OPEN, 0, 1, 1), (0, GOOD, 0, 0, 0)]
)
# Places in it: GOOD, BAD, LOCK and DRY stand at their own numbers.
_OPEN = 4
_FREED = 5  # the first five again, but released before
_DRY_LOCKS, _FREED_DRY_LOCKS, _STAYS, _FREED_STAYS, _BAD_FREED, _OPEN_FREED, _AWAY = range(10, 17)
LEVEL = 2  # the phase in which the level asks; 0 and 1 are the pumps'

_RESTS = tuple(range(tm.REST, tm.REST_FLOOD + 2))
_BOOT = (tm.BOOT,)
SILENT = (*_BOOT, tm.SPACING, *_RESTS, tm.MIN_RUN, tm.MIN_RUN + 1)


class DutyPart:
    """A move is (phase, move of the pump), or (2, view, keep, blind wish, first, overdue, tries).

    Observer: ticks that a lead has waited for a pump (I5).
    """

    name = "duty"
    title = "the duty over abstract pumps, an abstract level and any turn"
    invariants = ("I3", "I5", "table")
    observers = ("lead_waits",)
    phases = 3
    silent = SILENT
    loud = ()  # timers whose ringing is looked at
    pump_kept = ("state", "held", "loaded", "dry", "prior")
    pair_kept = ("lead", "not_pumping")
    controller: Controller
    timers: Timers
    views: "AnyViews"
    demand: "AnyDemand"
    blind: "AnyBlind"
    inputs: list
    i5: int
    form: object
    within: object
    work: Form
    inside: Form
    size: int
    rings: int  # of how many timers it is kept whether they rang
    watched: int  # what the observer says after this tick
    taken: object  # the state that stands in the parts as it was taken, and its phase
    phase: int

    def __init__(self, world):
        self.settings = coarse.values(world, sensing=s.SENSE_CURRENT)
        self.controller = c = Controller(self.settings)
        self.timers = c.timers
        for n in range(2):
            c.pumps[n] = AbstractPump(n, self.settings, c.timers)
        c.supply.mains, c.supply.fed = 1, 3
        self.views = AnyViews(c)
        self.demand, self.blind = AnyDemand(c, self.views), AnyBlind(c)
        self._stand_ins()
        c.belief = c.pair.belief = self.views
        c.demand, c.blind = self.demand, self.blind
        self.inputs = [0] * N_INPUTS
        self.inputs[IN_MAINS] = 1
        look_at(self.timers, (*self.silent, *self.loud))
        self.form = self._form(self.pump_kept, len(self.observers), self.silent)
        # Within a tick: the phase, pumps without supply and what rang are added.
        self.within = self._form((*self.pump_kept, "open", "locks"), len(self.observers) + 3, self.silent)
        self.work, self.inside = self.form.work, self.within.work
        self.size, self.rings = self.form.packer.size, len(self.loud)
        pumps = list(product((0, 1), range(len(PUMP_MOVES))))
        self.moves = pumps + list(product((LEVEL,), range(len(VIEWS)), range(3), range(5), (0, 1), (0, 1), range(4)))
        self._numbers = {move: i for i, move in enumerate(self.moves)}
        self._at = {}
        self.taken = None
        self._bounds(coarse.TICK_MS)

    def _stand_ins(self):
        c = self.controller
        c.flood = self.flood = Trials(c)
        c.pair = FreePair(c)

    def _form(self, pump_kept, extra, silent):
        c = self.controller
        timers = (*silent, *self.loud)
        owners = [(pump, lambda name, i: name in pump_kept) for pump in c.pumps]
        owners += [
            (c.pair, lambda name, i: name in self.pair_kept),
            (c.gate, lambda name, i: name == "out"),
            (self.demand, None),
            (self.blind, None),
            (c.timers, lambda name, i: i in timers),
            *self._more_owners(),
        ]
        return Form(owners, coarse.TICK_MS, extra=extra, silent=silent)

    def _more_owners(self):
        return []

    def _bounds(self, tick):
        st = self.settings
        self.i5 = (max(st[s.LAG_MIN_OFF_MS], st[s.BOOT_HOLD_MS]) + st[s.START_SPACING_MS]) // tick + 1

    def start(self):
        """Power-ups: each pump well, or locked out from the life before."""
        states = []
        for first in product((pm.IDLE, pm.LOCKED), repeat=2):
            c = self.controller
            self.form.rest()
            self.timers.expire(self.form.now_ms)
            for pump, state in zip(c.pumps, first, strict=True):
                pump.state = state
                pump.begin()
            c.gate.begin()
            states.append(self.form.save((0,)))
        return states

    # -- moves ---------------------------------------------------------------------------------

    def moves_at(self, state):
        """Return the numbers of the moves that differ from `state`."""
        phase: int = self._load(state)
        self.taken, self.phase = state, phase
        away: int = self.inside.told(2) if phase else 0
        key: int = self._key(phase, away)
        found = self._at.get(key)
        if found is None:
            found = self._at[key] = self._differing(phase, away)
        return found

    def _key(self, phase: int, away: int) -> int:
        # In one number all that `_differing` looks at.
        c: Controller = self.controller
        pump: AbstractPump
        if phase < LEVEL:
            pump = c.pumps[phase]
            return phase << 8 | pump.state << 4 | pump.held
        key: int = phase
        for pump in c.pumps:
            dry: int = 1 + pump.loaded if pump.dry else 0
            barred: int = 1 if away >> pump.n & 1 or pump.open else 0
            key = key << 8 | pump.state << 4 | dry << 1 | barred
        resting: int = 1 if self._rests(0) or self._rests(1) else 0
        key = key << 8 | self.demand.demand << 4 | self.blind.asks
        return key << 8 | c.gate.out << 4 | resting << 2 | 1 + c.pair.lead

    def _differing(self, phase, away):
        c = self.controller
        if phase < LEVEL:
            moves = self._pump_moves(phase, c.pumps[phase].state, c.pumps[phase].held)
        else:
            pumps = [(p.state, p.dry and 1 + p.loaded, away >> p.n & 1 or p.open) for p in c.pumps]
            resting = self._rests(0) or self._rests(1)
            moves = self._level_moves(pumps, self.demand.demand, self.blind.asks, c.gate.out, resting, c.pair.lead)
        return tuple([self._numbers[move] for move in moves])

    def _rests(self, n: int):
        t: Timers = self.timers
        return t.running(tm.REST + n) or t.running(tm.REST_LAG + n) or t.running(tm.REST_FLOOD + n)

    def _pump_moves(self, phase, state, held):
        return [(phase, choice) for choice in _choices(state, held)]

    def _level_moves(self, pumps, demand, asks, out, resting, lead):
        for view, keep, wish in self._levels(pumps, demand, asks, out, resting):
            wants = view in FROM_LEAD or keep or wish
            tries = [(0, 1 << n) if wants and state >= pm.RETRY and not barred else (0,)
                     for n, (state, _dry, barred) in enumerate(pumps)]  # fmt: skip
            for a, b in product(*tries):
                for first, late in self._turns(pumps, a | b, lead, out, wants, view < 6 and demand < 2 and not wish):
                    yield LEVEL, view, keep, wish, first, late, a | b

    def _turns(self, pumps, tries, lead, out, wants, one):
        # Who goes first tells where both may run and nobody leads; max_run where one runs alone and the other may.
        may = [not barred and (state < pm.RETRY or tries >> n & 1) for n, (state, _dry, barred) in enumerate(pumps)]
        dry = any(dry for _state, dry, _barred in pumps)
        firsts = (0, 1) if wants and (dry or (all(may) and lead < 0)) else (0,)
        lates = (0, 1) if wants and one and out in (1, 2) and (dry or all(may)) else (0,)
        return product(firsts, lates)

    def _levels(self, pumps, demand, asks, out, resting):
        dry = any(dry for _state, dry, _barred in pumps)
        for view in FROM_LEAD:
            if resting or VIEWS[view][1] != HIGH:
                # R1 may make suspects of these contacts in this step; then the demand may hold or end.
                for keep in range(3 if demand and dry else len(contract.demands(demand, VIEWS[view][0]))):
                    yield view, keep, 0
        # OFF tells only where a run that was never loaded has turned out dry.
        off_tells = demand and any(dry == 1 for _state, dry, _barred in pumps)
        wishes = (0, asks) if asks else (0,) if out else range(5)
        for keep, view in product(range(len(contract.demands(demand, 0))), BELOW_LEAD):
            believed, suspect = VIEWS[view]
            for wish in (0,) if keep else wishes:
                if (not believed or off_tells) and (not suspect or (resting and (keep or wish))):
                    yield view, keep, wish

    # -- one tick, in three moves ----------------------------------------------------------------

    def _load(self, state: bytes) -> int:
        # Returns the phase.  Within a tick: the observer, the phase, pumps without supply, what rang.
        if len(state) == self.size:
            self.work.take(state)
            return 0
        self.inside.take(state)
        return self.inside.told(1)

    def step(self, state: bytes, move: tuple):
        """Protect one pump, or let the level ask and the pair answer, with the controller's own code."""
        phase: int = self.phase if state is self.taken else self._load(state)
        self.taken = None
        inside: Form = self.inside
        timers: Timers = self.timers
        if phase == 0:
            timers.expire(self.work.now_ms)
            inside.tell(0, self.work.told(0))
            inside.tell(1, 1)
            inside.tell(2, self._protect(0, move[1], 0))
            inside.tell(3, self._rung() if self.rings else 0)
            return inside.save_begun(), None
        if timers.any:
            timers._forget()
        timers.now = self.work.base_ms
        if self.rings:
            self._ring(inside.told(3))
        if phase == 1:
            inside.tell(1, LEVEL)
            inside.tell(2, self._protect(1, move[1], inside.told(2)))
            return inside.save_within(None, False), None
        return self._answer(inside.told(0), inside.told(2), move)

    def _rung(self) -> int:
        # What rang in this tick, of those that are looked at.
        rang: int = 0
        if not self.timers.any:
            return 0
        for k, i in enumerate(self.loud):
            if self.timers.rang[i]:
                rang |= 1 << k
        return rang

    def _ring(self, rang: int):
        # Nothing has rung before.
        if rang:
            self.timers.any = True
            for k, i in enumerate(self.loud):
                self.timers.rang[i] = bool(rang >> k & 1)

    def _protect(self, n: int, number: int, away: int) -> int:
        happens: tuple = PUMP_MOVES[number]
        pump: AbstractPump = self.controller.pumps[n]
        if happens[0] and (pump.state >= pm.RETRY or pump.held):
            pump.release()
        pump.choice = happens[1]
        self.controller._protect(n, self.inputs)
        pump.locks = pump.dry and happens[2]
        if happens[3] and pump.state >= pm.RETRY:
            pump.release()
        return away if happens[4] else away | 1 << n

    def _answer(self, seen: int, away: int, move: tuple):
        c: Controller = self.controller
        was: int = c.gate.out
        seam: tuple = (self.demand.demand, self.blind.asks)
        shown: tuple = VIEWS[move[1]]
        believed: int = shown[0]
        suspect: int = shown[1]
        self.views.believe(believed, suspect)
        c.contacts.wet = believed | suspect
        c.contacts.rose = 0
        self.demand.keep = move[2]
        self.blind.wish = move[3]
        self._take_turn(move[4], move[5])
        self._grant(move[6])
        c.supply.fed = 3 & ~away
        c._level(self.inputs)
        c._duty(self.inputs)
        asked: tuple = (self.demand.demand, self.blind.asks)
        wrong = contract.level_breach(seam, asked, self.views.wet, was)
        if wrong:
            raise AssertionError(f"the abstract level breaks its own contract: {wrong}")
        late = self._watch(seen, was, away)
        return self._save(self.watched), self._judged(asked, was) or late

    def _grant(self, tries: int):
        flood: Trials = self.flood
        flood.granted = tries

    def _take_turn(self, first: int, late: int):
        # Who leads where nobody does, who goes first where both start, and max_run: all the move's.
        pair: FreePair = self.controller.pair
        pair.first = pair.turn = first
        pair.late = late

    def _save(self, seen: int):
        # What nobody reads is put to rest first; see the head of this file.
        not_pumping: int = self.controller.pair.not_pumping
        pump: AbstractPump
        for pump in self.controller.pumps:
            pardoned = pump.state >= pm.RETRY and not_pumping >> pump.n & 1
            pump.prior = pm.LOCKED if pardoned and pump.prior == pm.LOCKED else 0
            if pump.held != pm.RETRY:
                pump.dry = 0
        self.work.tell(0, seen)
        return self.work.save_within()

    def _judged(self, asked: tuple, was: int):
        c: Controller = self.controller
        held: int = 0
        n: int
        pump: AbstractPump
        for n in range(2):
            pump = c.pumps[n]
            on: int = c.gate.out >> n & 1
            if on != pump.on():
                return "table", f"pump {n + 1}: output {on > 0}, its own state {pm.STATES[pump.state]}"
            if self.timers.running(tm.MIN_RUN + n):
                held |= 1 << n
        wrong = contract.duty_breach(asked, was, c.gate.out, held)
        return ("I3", wrong) if wrong else None

    def _watch(self, seen: int, _was: int, _away: int):
        # Sets what the observer says from here on; returns a breach or None.
        c: Controller = self.controller
        stands = self.views.wet & LEAD and c.pair.available and not c.gate.out
        waits: int = min(seen + 1, self.i5 + 1) if stands else 0
        self.watched = waits
        if waits > self.i5:
            return "I5", f"lead believed wet for {waits} ticks, pumps {c.pair.available} available, none runs"
        return None

    def show(self, move):
        """Say a move in words."""
        if move[0] < LEVEL:
            before, choice, dry_locks, after, fed = PUMP_MOVES[move[1]]
            return (f"pump {move[0] + 1} {'released, ' * before}{CHOICES[choice]}{', the last one' * dry_locks}"
                    f"{', then released' * after}{', no supply' * (not fed)}")  # fmt: skip
        _phase, view, keep, wish, first, late, tries = move
        believed, suspect = VIEWS[view]
        words = f"believed wet {believed}, suspect {suspect}{', past max_run' * late}"
        words += f", demand choice {keep}" * (keep > 0)
        words += f", blind run of pump {wish}" if wish else ""
        return f"{words}, pump {first + 1} first, tries {tries}"

    def describe(self, state):
        """Return what is not at rest in a state."""
        if len(state) == self.form.packer.size:
            return self.form.describe(state, self.observers)
        return self.within.describe(state, (*self.observers, "phase", "away", "rang"))


def _choices(state, held):
    # What may happen to a pump, and differs: that of a run, of a rest, and the thermal contact and supply.  On OVER
    # a rest ends, of a pump that runs as well, which otherwise stays as it is: not yet proved, loaded or dry.
    if state == pm.IDLE:
        return GOOD, _OPEN, _OPEN_FREED, _AWAY
    if state == pm.RETRY:
        return GOOD, _OPEN, _STAYS, _FREED + GOOD, _FREED + _OPEN, _OPEN_FREED, _AWAY
    if state == pm.LOCKED:
        return GOOD, _OPEN, _FREED + GOOD, _FREED + _OPEN, _OPEN_FREED, _AWAY
    run = (GOOD, BAD, LOCK, _OPEN) if state == pm.STARTING else (GOOD, BAD, LOCK, DRY, _OPEN)
    more = (_STAYS, _BAD_FREED, _OPEN_FREED, _AWAY)
    if state == pm.RUNNING:
        more += (_DRY_LOCKS, _FREED_DRY_LOCKS) if held else (_DRY_LOCKS,)
    if held:
        more += (*(_FREED + choice for choice in run), _FREED_STAYS)
    return run + more
