"""Part (a), second half: belief under arbitrary debounced contacts.  L2, L7 and what I12 asks of belief."""

from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.belief import Belief
from duplexsump.control.records import CONTACT_NAMES, HIGH, LAG, LEAD, OFF
from duplexsump.control.timers import Timers

from host_sim.proof.search import coarse
from host_sim.proof.search.canonical import Form, look_at

TURNED, RESET, SUSPECTED = range(3)
_TURNED = (tm.TURNED, tm.TURNED + 1, tm.TURNED + 2)
_TIMERS = {tm.SEQUENCE, *_TURNED}


class BeliefPart:
    """The real belief.  A move is (TURNED, debounced word), a tick; or (RESET, 0) or (SUSPECTED, contacts), an instant.

    A reset or a verdict comes right after some step; taken as a move of its own, it
    is tried after every one.  No contact chatters here: L1 decides between explanations that are equally small, and
    each of them comes up by its own last edge.
    Observers: the word before, and the ticks since it last changed.
    """

    title = "belief under arbitrary debounced contacts"
    invariants = ("L2", "I12")
    timers: Timers
    work: Form
    belief: Belief
    sequence: int
    observers = ("word", "unmoved")

    def __init__(self, world, fitted=15, every=True):
        self.name = "belief " + "+".join(n for i, n in enumerate(CONTACT_NAMES) if fitted >> i & 1)
        self.fitted = fitted
        sensing = s.SENSE_NOTHING if fitted & OFF else s.SENSE_CURRENT  # without off no other is accepted
        self.settings = coarse.values(world, fitted=fitted, normally_closed=0, sensing=sensing)
        self.timers = Timers()
        self.belief = Belief(self.settings, self.timers, 0)
        owners = [(self.belief, None), (self.timers, lambda name, i: i in _TIMERS)]
        look_at(self.timers, _TIMERS)
        self.form = Form(owners, coarse.TICK_MS, extra=2, silent=_TURNED)
        self.work = self.form.work
        self.sequence = coarse.ticks(world, "sequence_time")
        words = [w for w in range(16) if not w & ~fitted]
        # L3, L4 and R1 make suspect, by evidence, off, lead, lag, or all that is believed wet; L6 a wet high.
        evidence = (OFF, LEAD, LAG, HIGH, 15) if every else (OFF,)
        self.moves = [(TURNED, word) for word in words] + [(RESET, 0)] + [(SUSPECTED, mask) for mask in evidence]

    def start(self):
        """A power-up with every first reading."""
        states = []
        for word in range(16):
            if not word & ~self.fitted:
                self.form.rest()
                self.timers.expire(self.work.now_ms)
                self.belief.begin(word)
                states.append(self.work.save((word, 0)))
        return states

    def moves_at(self, state):
        """Return the numbers of the moves that differ from `state`: only what is believed wet or high is suspected."""
        seen: tuple = self.work.load(state)
        word: int = seen[0]
        wet: int = self.belief.wet | (word & HIGH)
        return [i for i, (kind, mask) in enumerate(self.moves) if kind != SUSPECTED or mask & wet]

    def step(self, state: bytes, move: tuple):
        """One tick: the contacts have turned to a word; or, at an instant, a reset or a verdict."""
        seen: tuple = self.work.load(state)
        before: int = seen[0]
        unmoved: int = seen[1]
        kind: int = move[0]
        word: int = move[1]
        if kind != TURNED:
            return self._at_once(kind, word, before)
        b: Belief = self.belief
        suspect_before: int = b.suspect
        self.timers.expire(self.work.now_ms)
        rose: int = word & ~before
        fell: int = before & ~word
        b.step(word, rose, fell, False)
        breach = self._judge(word, rose, fell, suspect_before)
        # A disagreement is counted from the moment the readings stand as they do.
        unmoved = 0 if word != before else min(unmoved + 1, self.sequence + 1)
        if breach is None and unmoved > self.sequence and self._out_of_order():
            breach = "L2", f"readings {word} have stood for over sequence_time, believed wet {b.wet} over dry {b.dry}"
        return self.work.save((word, unmoved)), breach

    def _at_once(self, kind: int, mask: int, word: int):
        b: Belief = self.belief
        breach = None
        self.timers.now = self.work.base_ms
        if kind == RESET:
            b.reset()
            b._sort(word)
            if b.suspect:
                breach = "I12", f"contacts {b.suspect} are still suspect after a reset"
        else:
            b.make_suspect(mask & (b.wet | (word & HIGH)), word)
        return self.work.save_within((word, 0)), breach

    def _out_of_order(self):
        lowest_dry = self.belief.dry & -self.belief.dry
        return lowest_dry and self.belief.wet > lowest_dry

    def _judge(self, word: int, rose: int, fell: int, suspect_before: int):
        b: Belief = self.belief
        if b.suspect & ~b.fitted or b.wet != word & b.fitted & ~b.suspect or b.dry != b.fitted & ~b.suspect & ~word:
            return "L2", f"suspects {b.suspect}, believed wet {b.wet} and dry {b.dry} of readings {word}"
        if (rose | fell) & suspect_before & HIGH & b.suspect:
            return "L2", "high was suspect, has moved, and is not believed"
        afresh = self.timers.rang[tm.SEQUENCE]  # the answer is worked out afresh, of whoever has just moved as well
        if rose & suspect_before & (b.order | b.evidence) and not afresh:
            return "L2", f"suspects {rose & suspect_before} have turned wet and are not believed at once"
        return None

    def show(self, move):
        """Say a move in words."""
        return (f"contacts {move[1]}", "reset", f"suspect by evidence: {move[1]}")[move[0]]

    def describe(self, state):
        """Return what is not at rest in a state."""
        return self.form.describe(state, self.observers)
