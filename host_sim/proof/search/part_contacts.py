"""Part (a): contacts alone.  L1: debounce and the chatter limit, against a plain reading of the clause.

The two parts of the core are taken together: what the chatter limit lets
through is debounced.  One contact is searched with the firmware's own window of
10 s at a tick of 1 s; two contacts together with a window of 7 ticks, which the
sixth change still fits; and the debounce of all four.
"""

import contextlib
from itertools import product

from duplexsump.control import contacts as core
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.contacts import Chatter, Contacts
from duplexsump.control.ticks import MASK
from duplexsump.control.timers import Timers

from host_sim.proof.search.canonical import Form

TICK_MS = 1000
_SEVEN = 127  # a byte of the observers holds seven bits


@contextlib.contextmanager
def window(ticks):
    """Let the chatter window last `ticks` ticks while it is open."""
    before = core.WINDOW_MS
    core.WINDOW_MS = ticks * TICK_MS
    try:
        yield
    finally:
        core.WINDOW_MS = before


class ContactsPart:
    """`which`: the contacts (0 .. 3) that move; `window_ticks` must be the window then in force."""

    title = "contacts: chatter and debounce"
    invariants = ("L1",)
    timers: Timers
    chatter: Chatter
    contacts: Contacts
    work: Form

    def __init__(self, which, debounce_ticks, window_ticks, chatter=True):
        self.name = "contacts " + "+".join(str(i) for i in which) + ("" if chatter else " (debounce)")
        self.which, self.window, self.limited = which, window_ticks, chatter
        self.debounce = debounce_ticks
        record = s.defaults()
        record[s.DEBOUNCE_MS] = debounce_ticks * TICK_MS
        self.timers = Timers()
        self.chatter = Chatter(self.timers)
        self.contacts = Contacts(record, self.timers)
        rings = {tm.DEBOUNCE + i for i in which} | ({tm.CHATTER} if chatter else set())
        changes = {5 * i + k for i in which for k in range(5)}
        keep = {"changes": changes, "steady": set(which)}
        owners = [(self.contacts, None), (self.timers, lambda name, i: i in rings)]
        if chatter:
            owners.append((self.chatter, lambda name, i: "[" not in name or i in keep[name.split("[")[0]]))
        # Per contact: 2 x 7 bits of changes in the last ticks, ticks held, chattering, steady.
        self.form = Form(owners, TICK_MS, extra=5 * len(which))
        self.work = self.form.work
        self.moves = [sum(bit << i for bit, i in zip(bits, which, strict=True))
                      for bits in product((0, 1), repeat=len(which))]  # fmt: skip

    def start(self):
        """Two states: all that move read dry, or wet, from the first reading on."""
        states = []
        for word in (0, self.moves[-1]):
            self.timers.at[:] = [-1] * tm.N_TIMERS
            self.timers.expire(self.work.now_ms)
            self.chatter.begin(word)
            self.contacts.begin(word)
            states.append(self.work.save((0, 0, self.debounce, 0, 0) * len(self.which)))
        return states

    def step(self, state, word):
        """One tick with the contacts as in `word`; the clause's own account is kept beside it."""
        seen: tuple = self.work.load(state)
        before, wet = self.contacts.seen, self.contacts.wet
        raw_before = self.chatter.seen if self.limited else before
        self.timers.expire(self.work.now_ms)
        limited = self.chatter.step(word) if self.limited else word
        self.contacts.step(limited)
        after, breach = [], None
        for k, i in enumerate(self.which):
            low, high, held, chattering, steady = self._account(seen[5 * k : 5 * k + 5], i, word, raw_before, before)
            reads, settled = chattering or word >> i & 1, wet >> i & 1
            if held >= self.debounce:
                settled = reads
            if reads == settled:
                held = self.debounce  # how long no longer matters
            if reads != limited >> i & 1:
                breach = "L1", f"contact {i} is let through as {limited >> i & 1}, the clause says {reads}"
            elif settled != self.contacts.wet >> i & 1:
                breach = "L1", f"contact {i} reads {self.contacts.wet >> i & 1} through debounce, should be {settled}"
            after += [low, high, held, chattering, steady]
            if self.limited:
                self._sort(i)
        turned = self.contacts.wet ^ wet
        if breach is None and (self.contacts.rose | self.contacts.fell) != turned:
            breach = "L1", f"turned {turned}, told rose {self.contacts.rose} fell {self.contacts.fell}"
        return self.work.save(after), breach

    def _sort(self, i: int):
        # The five instants of a contact are a set; their places carry no meaning.
        changes: list = self.chatter.changes
        k: int
        for k in range(5 * i + 1, 5 * i + 5):
            instant: int = changes[k]
            left: int = self._left(instant)
            free: int = k
            while free > 5 * i and self._left(changes[free - 1]) > left:
                changes[free] = changes[free - 1]
                free -= 1
            if free < k:
                changes[free] = instant

    def _left(self, instant: int) -> int:
        # Until an instant that is to come; one that is not armed comes before all.
        return -1 if instant < 0 else (instant - self.work.now_ms) & MASK

    def _account(self, seen, i, word, raw_before, read_before):
        # The clause, from the changes of the last window alone.
        low, high, held, chattering, steady = seen
        turned = (word ^ raw_before) >> i & 1
        history = ((high << 7 | low) << 1 | turned) & ((1 << self.window) - 1)
        steady = min(steady + 1, self.window)
        if steady >= self.window:  # steady for the whole window, though it may turn at the end of it
            chattering = 0
        if self.limited and history.bit_count() > 5:
            chattering = 1
        steady = 0 if turned or not chattering else steady
        reads = chattering or word >> i & 1
        held = 0 if reads != read_before >> i & 1 else min(held + 1, self.debounce)
        if not self.limited:
            history = 0
        return history & _SEVEN, history >> 7, held, chattering, steady

    def show(self, move):
        """Say a move in words."""
        return f"contacts={move}"

    def describe(self, state):
        """Return what is not at rest in a state."""
        names = [f"{name}_{i}" for i in self.which for name in ("changes", "changes'", "held", "chatters", "steady")]
        return self.form.describe(state, names)
