"""L1 against a plain reading of it: every change noted with its time, and counted afresh at each tick."""

import random

import pytest
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.contacts import Chatter, Contacts
from duplexsump.control.ticks import NEVER
from duplexsump.control.timers import Timers

RING = 1 << 30  # the clock's
WINDOW_MS = 10_000
STARTS = [0, RING // 2 - 20_000, RING - 20_000, 86_400_000]  # both halves of the ring, and across each seam


class PlainChatter:
    """More than 5 changes within 10 s: wet until steady for 10 s."""

    def __init__(self):
        self.turns = [[], [], [], []]
        self.chatters = [False] * 4

    def step(self, now, turned):
        for i in range(4):
            if turned & (1 << i):
                self.turns[i].append(now)
            recent = [t for t in self.turns[i] if now - t < WINDOW_MS]
            self.turns[i] = recent
            self.chatters[i] = len(recent) > 5 or (self.chatters[i] and bool(recent))
        return sum(self.chatters[i] << i for i in range(4))

    def quiet(self):
        return not any(self.turns)


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("often", [0.03, 0.06, 0.2], ids=["now and then", "at the limit", "fluttering"])
def test_l1_chatter_of_all_four_contacts_tick_by_tick(start, often):
    rng = random.Random(f"{often}")
    timers = Timers()
    chatter, plain = Chatter(timers), PlainChatter()
    word, seen = 0, set()
    for tick in range(1600):
        now = 100 * tick
        turned = sum(1 << i for i in range(4) if rng.random() < often) if tick % 800 < 600 else 0
        word ^= turned
        timers.expire((start + now) % RING)
        masked = plain.step(now, turned)
        assert chatter.step(word) == word | masked, now
        assert chatter.mask == masked, now
        assert timers.running(tm.CHATTER) == (not plain.quiet()), now
        if plain.quiet():
            assert set(chatter.changes) | set(chatter.steady) == {NEVER}, "nothing is remembered of what is over"
        seen.add(masked)
    assert len(seen) >= 5, "a drive that makes nothing chatter proves nothing"


@pytest.mark.parametrize("contact", range(4))
@pytest.mark.parametrize("at_seam", range(6))
def test_l1_a_change_that_leaves_the_window_at_the_very_seam_of_the_clock_counts_like_any(contact, at_seam):
    bit, spacing = 1 << contact, 1500
    first = RING - WINDOW_MS - spacing * at_seam
    timers = Timers()
    chatter = Chatter(timers)
    for k in range(6):
        timers.expire((first + spacing * k) % RING)
        word = bit * (k % 2 == 0)
        assert chatter.step(word) == (bit if k == 5 else word)
    last = first + 5 * spacing
    timers.expire((last + WINDOW_MS - 100) % RING)
    assert chatter.step(0) == bit
    timers.expire((last + WINDOW_MS) % RING)
    assert chatter.step(0) == 0
    assert not timers.running(tm.CHATTER)


@pytest.mark.parametrize("contact", range(4))
@pytest.mark.parametrize("late_ms", [-100, 0])
def test_l1_six_changes_chatter_only_while_the_first_is_still_in_the_window(contact, late_ms):
    bit = 1 << contact
    timers = Timers()
    chatter = Chatter(timers)
    for k, at in enumerate((0, 2000, 4000, 6000, 8000, WINDOW_MS + late_ms)):
        timers.expire(at)
        chatter.step(bit * (k % 2 == 0))
    assert chatter.mask == (bit if late_ms < 0 else 0)


# Debounce -------------------------------------------------------------------------------------------


class PlainDebounce:
    """A contact changes after its new value has stood for `debounce` without a break."""

    def __init__(self, debounce_ms):
        self.debounce_ms = debounce_ms
        self.since = [0] * 4
        self.wet = 0
        self.raw = 0

    def step(self, now, word):
        """Return (wet, rose, fell)."""
        before = self.wet
        for i in range(4):
            bit = 1 << i
            if (word ^ self.raw) & bit:
                self.since[i] = now
            elif (word ^ self.wet) & bit and now - self.since[i] >= self.debounce_ms:
                self.wet ^= bit
        self.raw = word
        return self.wet, self.wet & ~before, before & ~self.wet


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("debounce_ms", [100, 1000, 2500])
def test_l1_debounce_of_all_four_contacts_tick_by_tick(start, debounce_ms):
    rng = random.Random(debounce_ms)
    values = s.defaults()
    values[s.DEBOUNCE_MS] = debounce_ms
    timers = Timers()
    contacts, plain = Contacts(values, timers), PlainDebounce(debounce_ms)
    word, edges = 0, 0
    for tick in range(1200):
        now = 100 * tick
        word ^= sum(1 << i for i in range(4) if rng.random() < 60 / debounce_ms / (1 + i))
        timers.expire((start + now) % RING)
        contacts.step(word)
        assert (contacts.wet, contacts.rose, contacts.fell) == plain.step(now, word), now
        edges += bool(contacts.rose) + bool(contacts.fell)
    assert edges > 20


def test_l1_the_first_reading_is_taken_as_it_is_and_no_contact_has_turned():
    for word in range(16):
        contacts = Contacts(s.defaults(), Timers())
        contacts.begin(word)
        contacts.step(word)
        assert (contacts.wet, contacts.rose, contacts.fell) == (word, 0, 0)
        chatter = Chatter(Timers())
        chatter.begin(word)
        assert chatter.step(word) == word
        assert not chatter.timers.running(tm.CHATTER)


def test_l1_another_timer_that_rings_turns_no_contact():
    for other in set(range(tm.N_TIMERS)) - set(range(tm.DEBOUNCE, tm.DEBOUNCE + 4)):
        timers = Timers()
        contacts = Contacts(s.defaults(), timers)
        contacts.begin(5)
        timers.arm(other, 100)
        timers.expire(100)
        contacts.step(5)
        assert (contacts.wet, contacts.rose, contacts.fell) == (5, 0, 0), other


def test_s4_a_power_up_forgets_all_chatter_and_takes_the_word_as_it_is():
    timers = Timers()
    chatter = Chatter(timers)
    for k in range(12):
        timers.expire(100 * k)
        chatter.step(15 * (k % 2))
    assert chatter.mask == 15
    chatter.begin(5)
    assert chatter.mask == 0
    assert set(chatter.changes) | set(chatter.steady) == {NEVER}
    timers.expire(1300)
    assert chatter.step(5) == 5
    assert set(chatter.changes) == {NEVER}, "the same word again is no change"


@pytest.mark.parametrize("contact", range(4))
def test_s4_the_first_change_after_a_power_up_is_debounced_like_any(contact):
    timers = Timers()
    contacts = Contacts(s.defaults(), timers)
    contacts.begin(15)
    contacts.step(15 & ~(1 << contact))
    assert {i for i in range(4) if timers.running(tm.DEBOUNCE + i)} == {contact}
    timers.expire(1000)
    contacts.step(15 & ~(1 << contact))
    assert (contacts.wet, contacts.fell) == (15 & ~(1 << contact), 1 << contact)
