"""Part (d), level: demand and blind pumping, each over any belief and any duty.  I3, I13, I12.

What the contacts may be believed to show is chosen afresh in every tick, which is
more than `belief` (searched apart) ever gives; what the pumps do is anything that
`contract` lets the duty do.  One pump is followed, and another may run beside it; in
a blind run, as the contract says, only one runs, or both where it takes both.  A tick is taken in two moves: the
level looks, the duty answers.

Demand asks nothing of blind pumping, and blind pumping only whether there is a
demand, so each is searched without the other; the contract ties them: a blind run
begins with no pump on and no demand, and a demand begins with a contact believed wet.
A run on suspects alone is therefore one demand's or one blind run's, never both.

Left out of the state, and why nothing is lost:

    turn                    who runs is the duty's affair; here it is any pump
    lowest, boost           a transmitter's (R2), which rests on the campaign
    run and refill clocks   L3's factor (1 + last run / last refill) is fixed in each world: none, one, the most.
                            What L4 learns from a stop that did not last is then the most that it can learn
    the contacts            chosen afresh; of them only these tell: is lead, lag or above, or nothing from lead up
                            believed wet; is `off` believed wet, believed dry or not believed, and has it moved;
                            has any contact moved; does `high` read wet; is the level lost (L6; here whenever
                            nothing from lead up is believed wet, which is more than `high` or a wire can bring about)
    slack                   a load throughout leaves `off` believed (L4); here there is none, and what is believed is
                            chosen afresh in any case
    pump_down               of lead, lag and high take equally many ticks in every world: which contact is the
                            lowest believed makes no difference
"""

from itertools import product

from duplexsump.control import blind as bl
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.blind import Blind
from duplexsump.control.controller import Controller
from duplexsump.control.demand import Demand
from duplexsump.control.records import HIGH, LAG, LEAD, N_INPUTS, OFF, STATE
from duplexsump.control.timers import Timers

from host_sim.proof.search import coarse, contract, stand_ins
from host_sim.proof.search.canonical import Form, look_at
from host_sim.proof.search.stand_ins import AnyViews

STOOD, MOVED, OFF_MOVED = range(3)
OFF_DRY, OFF_WET, OFF_UNBELIEVED = range(3)
_BELIEVED = {0: 0, LEAD: LEAD, LAG: LEAD | LAG}


class Duty:
    """The pumps as the level sees them.

    `on`: the pump that is followed; `fresh`: steps for which its shortest run goes on; `other`: any other.
    """

    FIELDS = (("on", STATE, 0, 0), ("other", STATE, 0, 0), ("fresh", STATE, 0, 0))
    on: int = 0
    other: int = 0
    fresh: int = 0


class LevelPart:
    """What both halves share: the duty's answer, a move (1, on, other), and the two watches.

    Observers: ticks of a demand with nothing believed wet and a pump on (I3), ticks of
    the pump that is followed on suspects alone and not loaded (I13).
    """

    invariants = ("I3", "I13", "I12", "table")
    observers = ("draws", "blind_for")
    phases = 2
    controller: Controller
    timers: Timers
    work: Form
    inside: Form
    views: AnyViews
    duty: "Duty"
    demand: Demand
    blind: Blind
    inputs: list
    min_run: int
    i13: int

    def __init__(self, world, sensing):
        self.sensed = sensing == s.SENSE_CURRENT
        self.settings = coarse.values(world, sensing=sensing)
        self.controller = c = Controller(self.settings)
        self.timers = c.timers
        self.views, self.duty = stand_ins.AnyViews(c), Duty()
        self.demand, self.blind = c.demand, c.blind
        c.demand.belief = c.blind.belief = self.views
        look_at(self.timers, self.timers_kept)
        owners = [*self._half(world), (self.duty, None), (c.timers, lambda name, i: i in self.timers_kept)]
        unit = coarse.TICK_MS // 2
        self.form = Form(owners, coarse.TICK_MS, unit, extra=2, scaled=("draw_left",))
        self.work = self.form.work
        # Within a tick: whether a blind run asks, and what the observers must know of it.
        self.within = Form(owners, coarse.TICK_MS, unit, extra=5, scaled=("draw_left",))
        self.inside = self.within.work
        self.moves = [*self._looks(), *product((1,), (0, 1), (0, 1))]
        self._at = {}
        self.min_run = self.settings[s.MIN_RUN_MS] // coarse.TICK_MS
        self.i13 = self.settings[s.BLIND_RUN_MS] // coarse.TICK_MS
        self.inputs = [0] * N_INPUTS

    def start(self):
        """One state: powered up."""
        self.form.rest()
        self.timers.expire(self.work.now_ms)
        return [self.work.save((0, 0))]

    def moves_at(self, state):
        """Return the numbers of the moves that differ from `state` and that the contract allows."""
        duty: Duty = self.duty
        if len(state) == self.form.packer.size:
            self.work.load(state)
            key = 0, duty.on, duty.other, self.demand.demand, self.blind.state
        else:
            asks = self.inside.load(state)[2]
            key = 1, duty.on and duty.fresh > 0, duty.other, self.demand.demand, asks
        if key not in self._at:
            differs = self._may_answer if key[0] else self._differs
            numbers = (i for i, move in enumerate(self.moves) if move[0] == key[0] and differs(move, *key[1:]))
            self._at[key] = tuple(numbers)
        return self._at[key]

    def _may_answer(self, move, held, other, demand, asks):
        # What the contract lets the duty do.
        _phase, on, and_other = move
        if demand:
            return True
        if asks:
            return asks > 2 or not (on and and_other)
        return on <= held and and_other <= other

    def step(self, state: bytes, move: tuple):
        """One half of a tick: the level looks, or the duty answers."""
        if move[0]:
            return self._answer(state, move)
        seen = self.work.load(state)
        duty: Duty = self.duty
        seam, running = (self.demand.demand, self._asks()), duty.on + duty.other
        self.timers.expire(self.work.now_ms)
        loaded = self._look(move, running)
        asks = self._asks()
        wrong = contract.level_breach(seam, (self.demand.demand, asks), self.views.wet, running)
        dry = int(not self.views.wet)
        state = self.inside.save((*seen, asks, dry, int(duty.on and dry and not loaded & 1)))
        return state, ("table", wrong) if wrong else None

    def _asks(self):
        return self.blind.wants() and 1 + 2 * self.blind.both

    def _answer(self, state, move):
        draws, blind_for, _asks, dry, alone = self.inside.load(state)
        _phase, on, other = move
        duty: Duty = self.duty
        self.timers.now = self.work.base_ms
        duty.fresh = 0 if not on else self.min_run if not duty.on else max(0, duty.fresh - 1)
        duty.on, duty.other = on, other
        if on or other:
            self.blind.started()
        draws = min(draws + 1, self.i13 + 2) if self.demand.demand and dry and (on or other) else 0
        blind_for = min(blind_for + 1, self.i13 + 1) if on and alone and self._answers_for(on) else 0
        breach = None
        if draws > self.i13 + 1 and self._answers_for(on):
            breach = "I3", f"a demand for {draws} ticks with every believed contact dry"
        elif blind_for > self.i13:
            breach = "I13", f"on for {blind_for} ticks on suspects alone, not loaded"
        if not self._answers_for(on):
            draws = 0
        return self.work.save_within((draws, blind_for)), breach

    def describe(self, state):
        """Return what is not at rest in a state."""
        if len(state) == self.form.packer.size:
            return self.form.describe(state, self.observers)
        return self.within.describe(state, (*self.observers, "asks", "all_dry", "alone"))

    def show(self, move):
        """Say a move in words."""
        if move[0]:
            return f"the pump is {('off', 'on')[move[1]]}{', another on' * move[2]}"
        return self._words(move)

    def recovers(self, state):
        """I12: reset given and the contacts in order: None, or what is not back to normal."""
        self.work.load(state)
        self.timers.now = self.work.base_ms
        self.demand.reset()
        self.blind.reset()
        state = self.work.save_within((0, 0))
        rest = (self.settings[s.BLIND_RUN_MS] + self.settings[s.MIN_RUN_MS]) // coarse.TICK_MS + 2
        for upper, off, ticks, run in ((0, OFF_DRY, rest, 1), (0, OFF_WET, 1, 0), (LEAD, OFF_WET, 2, 1)):
            for _ in range(ticks):
                state = self._calm(state, upper, off, run)
        if self.blind.wants() or self.demand.demand != 1:
            return f"demand {self.demand.demand}, blind pumping {bl.STATES[self.blind.state]} with lead believed wet"
        for off in (OFF_WET, OFF_DRY):
            state = self._calm(state, 0, off, 1)
        if self.demand.demand or self.blind.wants():
            return f"demand {self.demand.demand} with the pit drawn down"
        return None

    def _calm(self, state, upper, off, run):
        # A tick with every contact in order and the followed pump loaded; on as the contract lets it.
        state, _breach = self.step(state, self._calm_look(upper, off))
        asked = self.demand.demand or self.blind.wants()
        on = int(bool(run and asked) or bool(self.duty.on and self.duty.fresh))
        return self.step(state, (1, on, 0))[0]


class DemandPart(LevelPart):
    """The real demand.  A move is (0, upper, off, moved, high, loaded, dry), or the duty's.

    `loaded`: the pump that is followed; `dry`: a pump has underloaded for dry_run, and it is the pit (R1).
    """

    title = "demand over any belief and any duty"
    timers_kept = (tm.DRAW, tm.OVERDRAW, tm.STOPPED, tm.ALONE)

    def __init__(self, world, sensing=s.SENSE_CURRENT):
        self.name = f"demand{', unsensed' * (sensing != s.SENSE_CURRENT)}"
        super().__init__(world, sensing)

    def _half(self, world):
        self.blind = stand_ins.AnyBlind(self.controller)
        self.demand.last_run_ds, self.demand.last_refill_ds = 10 * coarse.LAST_RUN_S[world], 100
        kept = ("demand", "draw_pumps", "draw_left", "stopped", "stops", "limit_ms", "patience_ms", "covered")
        return [(self.demand, lambda name, i: name in kept)]

    def _looks(self):
        return product((0,), (0, LEAD, LAG), range(3), range(3), (0, 1), (0, 1), (0, 1))

    def _answers_for(self, _on):
        return True

    def _differs(self, move, on, other, demand, _blind):
        _phase, upper, off, moved, high, loaded, dry = move
        if (loaded and not on) or (dry and (not (on or other) or not demand or (loaded and not other))):
            return False
        if not self.sensed and (loaded or dry):
            return False
        if moved == MOVED and self.sensed:
            return False  # L3's rule for where nothing is sensed asks for it
        if upper and self.sensed and off == OFF_UNBELIEVED:
            return False  # the same as dry: `off` only tells that it is wet in this demand
        hung = not upper and demand and off == OFF_DRY
        if high and not (hung or (upper == LAG and not self.sensed)):
            return False  # it tells a hung contact from one that fell; and whether lag stands alone, nothing sensed
        if not upper and not demand and off == OFF_DRY:
            return False  # no demand to end: the same as not believed
        return not loaded or (not upper and off != OFF_WET)  # I13, where nothing is believed wet

    def _look(self, move, running):
        _phase, upper, off, moved, high, loaded, dry = move
        v: AnyViews = self.views
        v.believe(_BELIEVED[upper] | (OFF if off == OFF_WET else 0), OFF if off == OFF_UNBELIEVED else 0)
        word = v.wet | (HIGH if high else 0)
        if dry:
            v.make_suspect(v.wet, word)
            self.demand.end(1)
        rose = OFF if moved == OFF_MOVED else LEAD if moved == MOVED else 0
        self.demand.step(word, rose, 0, running, self.inputs)
        return loaded

    def _calm_look(self, upper, off):
        return 0, upper, off, STOOD, 0, self.duty.on, 0

    def _words(self, move):
        _phase, upper, off, moved, high, loaded, dry = move
        words = [f"believed wet: {('nothing from lead up', '', 'lead', '', 'lag')[upper]}"]
        words.append(("off dry", "off wet", "off not believed")[off])
        words += [("", "a contact moved", "off moved")[moved], "high reads wet" * high]
        words += ["loaded" * loaded, "dry run" * dry]
        return "; ".join(word for word in words if word)


class BlindPart(LevelPart):
    """The real blind pumping.  A move is (0, upper, off, keep, high, lost, loaded, dry), or the duty's.

    `keep`: which of the demands that the contract allows; `loaded` is a mask: 1
    the pump that is followed, 2 the other; `dry`: a running pump has underloaded for dry_run.
    Left out: whether a contact below `high` has moved.  It decides only whether `high` is proved, which is belief's
    to answer, and belief is anything here.
    """

    title = "blind pumping over any demand and any duty"
    timers_kept = (tm.BLIND_RUN, tm.BLIND_REST)

    def __init__(self, world, sensing=s.SENSE_CURRENT):
        self.name = f"blind{', unsensed' * (sensing != s.SENSE_CURRENT)}"
        super().__init__(world, sensing)

    def _half(self, _world):
        self.demand = stand_ins.AnyDemand(self.controller, self.views)
        kept = ("state", "rung", "stayed", "untried", "both", "spent", "covered")
        return [(self.demand, None), (self.blind, lambda name, i: name in kept)]

    def _looks(self):
        return product((0,), (0, LEAD, LAG), range(3), range(3), (0, 1), (0, 1), range(4), (0, 1))

    def _answers_for(self, _on):
        return not self.demand.demand

    def _differs(self, move, on, other, demand, blind):
        _phase, upper, off, keep, high, lost, loaded, dry = move
        running = on | other << 1
        if loaded & ~running or (dry and loaded == running) or (not self.sensed and (loaded or dry)):
            return False
        if keep >= len(contract.demands(demand, _BELIEVED[upper])):
            return False
        if (upper or keep) and (lost or loaded or dry or (upper and off != OFF_WET)):
            return False  # there is a demand, which takes a blind run over
        if lost and blind not in (bl.WATCHING, bl.ASKING) and not (blind == bl.RESTING and off == OFF_WET):
            return False  # a run that has begun is completed, a rest likewise where off does not shorten it
        if (dry or off == OFF_DRY) and blind != bl.RUNNING:
            return False  # the end of a run asks for it
        if high and blind not in (bl.WATCHING, bl.RUNNING):
            return False  # its beginning and its end ask for it
        return blind == bl.RUNNING or not loaded or (loaded == 1 and off != OFF_WET)

    def _look(self, move, running):
        _phase, upper, off, keep, high, lost, loaded, dry = move
        v: AnyViews = self.views
        blind: Blind = self.blind
        v.believe(_BELIEVED[upper] | (OFF if off == OFF_WET else 0), OFF if off == OFF_UNBELIEVED else 0)
        v.wiring = LAG if lost else 0
        self.demand.keep = keep
        self.demand.step(0, 0, 0, 0, self.inputs)
        on = self.duty.on | self.duty.other << 1
        blind.loaded, blind.dry = loaded > 0, on & ~loaded if dry else 0
        blind.step(v.wet | (HIGH if high else 0), self.demand.demand, on)
        return loaded

    def _calm_look(self, upper, off):
        # Nothing from lead up wet and `off` dry ends a demand; with `off` wet it goes on.
        keep = int(bool(not upper and off == OFF_WET and self.demand.demand))
        return 0, upper, OFF_WET if upper or off == OFF_WET else OFF_UNBELIEVED, keep, 0, 0, self.duty.on, 0

    def _words(self, move):
        _phase, upper, off, keep, high, lost, loaded, dry = move
        words = [f"believed wet: {('nothing from lead up', '', 'lead', '', 'lag')[upper]}"]
        words += [("off dry", "off wet", "off not believed")[off], f"demand choice {keep}" * (keep > 0)]
        words += ["high reads wet" * high, "level lost" * lost]
        words += [f"loaded {loaded}" * (loaded > 0), "dry run" * dry]
        return "; ".join(word for word in words if word)
