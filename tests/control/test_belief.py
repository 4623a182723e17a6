"""L2 and L7 against a plain reading of them: sets of contacts, all explanations tried, every turn kept."""

import random
from itertools import combinations

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.belief import Belief
from duplexsump.control.controller import Controller
from duplexsump.control.timers import Timers

from tests.rig import make_settings

OFF, LEAD, LAG, HIGH = range(4)
SEQUENCE_TIME_MS = 20_000
FITTED = {  # floats, and what a transmitter stands for
    "all four": (15, 0), "no off": (14, 0), "no lag": (11, 0), "lead and high": (10, 0), "transmitter": (8, 7),
    "off and high, transmitter": (9, 6), "lead and high, transmitter": (10, 5),
}  # fmt: skip


def word(places):
    return sum(1 << i for i in places)


def places(mask):
    return {i for i in range(4) if mask & (1 << i)}


def in_order(wet, dry):
    """No wet contact stands over a dry one."""
    return not any(w > d for w in wet for d in dry)


def fewest(known, wet, rise):
    """Return the smallest set of suspects that leaves the rest in order; of two, the one that missed its turn."""
    for size in range(5):
        found = [set(some) for some in combinations(sorted(known), size)
                 if in_order((known & wet) - set(some), known - wet - set(some))]  # fmt: skip
        if found:
            return min(found, key=lambda some: len(some & wet) if rise else len(some - wet))
    raise AssertionError("all of them suspect always do")


class PlainBelief:
    """What L2 and L7 say, worked out without regard to how the core does it."""

    def __init__(self, floats, virtual):
        self.floats, self.virtual = places(floats), places(virtual)
        self.fitted = self.floats | self.virtual
        self.wire_ms = 2000 if OFF in self.floats else 500
        self.failed, self.rise, self.since = False, True, None
        self.turns = {}  # contact -> when it last turned, as far as L7 has not used that up
        self.reset()

    def reset(self):
        self.by_order, self.proved, self.wired = set(), set(), set()
        self.over, self.missed, self.before = set(), set(), set()

    def suspects(self):
        return self.by_order | self.proved | self.wired | (self.virtual if self.failed else set())

    def believed(self, wet):
        left = self.fitted - self.suspects()
        return left & wet, left - wet

    def known(self):
        """Those that a fresh working-out may make suspect or believed."""
        return self.fitted - self.proved - self.wired - (self.virtual if self.failed else set())

    def step(self, now, wet, rose, fell, failed):
        self.failed = failed
        if rose | fell:
            wired = set(self.wired)
            self.release(wet, rose, fell)
            self.wires(now, wet, (rose | fell) - wired)
            self.proved_misses(wet, rose, fell)
        self.disagreement(now, wet, rose, fell)

    def release(self, wet, rose, fell):
        above = self.believed(wet)[0]
        for i in self.suspects() & (rose | fell):
            if i in rose or i == HIGH or not any(other > i for other in above):
                for kind in (self.by_order, self.proved, self.wired):
                    kind.discard(i)

    def wires(self, now, wet, turned):
        floats = self.floats - {HIGH}
        self.turns.update(dict.fromkeys(turned & floats, now))
        self.turns = {i: at for i, at in self.turns.items() if now - at < self.wire_ms}
        if floats & wet in (set(), floats) and len(self.turns) > 1:
            self.wired |= set(self.turns)
            self.turns = {}

    def proved_misses(self, wet, rose, fell):
        self.missed -= wet
        self.before -= wet
        up, down = self.believed(wet)  # when they turned: what a miss shows counts from the next edge on
        for i in sorted((rose & up) | (fell & self.over)):
            below = {d for d in down if d < i}
            if i in rose:
                self.rises_over(i, below)
            elif i in fell:
                self.over.discard(i)
                self.miss_proved(i, wet, {d for d in self.missed if d < i})

    def rises_over(self, i, below):
        if below <= self.before:
            self.by_order |= below  # the second time running
        elif below:
            self.over.add(i)
            self.missed |= below

    def miss_proved(self, i, wet, missed):
        if missed:
            self.by_order = fewest(self.known(), wet | {i}, True) - {i}
            self.before, self.missed = missed, set()

    def disagreement(self, now, wet, rose, fell):
        up, down = self.believed(wet)
        if in_order(up, down):
            self.since = None
            return
        if any(i > min(down) for i in rose & up):
            self.rise = True
        elif any(i < max(up) for i in fell & down):
            self.rise = False
        self.since = now if self.since is None else self.since
        if now - self.since >= SEQUENCE_TIME_MS:
            self.by_order = fewest(self.known(), wet, self.rise)
            self.missed, self.over, self.since = set(), set(), None


def made(floats, virtual, start=0):
    timers = Timers()
    timers.now = start
    values = make_settings(transmitter=int(bool(virtual)), normally_closed=8)
    values[s.FITTED] = floats  # belief stands by itself: no settings without off and current are accepted
    belief = Belief(values, timers, virtual)
    belief.begin(0)
    return belief, timers


def seen(belief):
    names = ("order", "evidence", "wiring", "suspect", "wet", "dry")
    return {name: getattr(belief, name) for name in names} | {
        "apart": belief.timers.running(tm.SEQUENCE), "rise": belief.rising & 1}  # fmt: skip


def wanted(plain, wet):
    up, down = plain.believed(wet)
    return {"order": word(plain.by_order), "evidence": word(plain.proved), "wiring": word(plain.wired),
            "suspect": word(plain.suspects()), "wet": word(up), "dry": word(down),
            "apart": plain.since is not None, "rise": int(plain.rise)}  # fmt: skip


class Water:
    """Contacts of a pit in which the water wanders and floats hang, now and then; or contacts that turn at will."""

    def __init__(self, rng, fitted, wild):
        self.rng, self.fitted, self.wild = rng, fitted, wild
        self.level, self.hung, self.wet = 0, {}, set()

    def move(self):
        rng = self.rng
        if self.wild:
            return self.wet ^ {i for i in self.fitted if rng.random() < 0.2}
        self.level = min(4, max(0, self.level + rng.choice((-1, -1, 0, 1, 1))))
        if rng.random() < 0.2:
            i = rng.choice(sorted(self.fitted))
            self.hung.pop(i, None) if i in self.hung else self.hung.update({i: rng.random() < 0.5})
        true = {i for i in self.fitted if self.level > i}
        return {i for i in self.fitted if self.hung.get(i, i in true)}


@pytest.mark.parametrize("wild", [False, True], ids=["floats that hang", "contacts at will"])
@pytest.mark.parametrize("name", FITTED)
def test_l2_l7_what_is_believed_at_every_step_of_a_long_wander(name, wild):
    rng = random.Random(f"{name} {wild}")
    floats, virtual = FITTED[name]
    belief, timers = made(floats, virtual)
    plain = PlainBelief(floats, virtual)
    water = Water(rng, plain.fitted, wild)
    now, failed, kinds, log = 0, False, set(), []
    for _ in range(2500):
        step_ms = rng.choice((100, 400, 500, 600, 1900, 2000, 2100, 5000, 20_000))
        for wait_ms in (step_ms, 20_000)[: rng.choice((1, 1, 2))]:
            now += wait_ms
            before, water.wet = water.wet, water.move() if wait_ms == step_ms else water.wet
            wet, rose, fell = water.wet, water.wet - before, before - water.wet
            failed ^= bool(virtual) and rng.random() < 0.1
            timers.expire(now % (1 << 30))
            belief.step(word(wet), word(rose), word(fell), failed)
            plain.step(now, wet, rose, fell, failed)
            log.append((now, word(wet), failed))
            assert seen(belief) == wanted(plain, wet), log[-12:]
            assert not belief.over & 1, "off stands over nothing"
            kinds.add((belief.order, bool(belief.wiring)))
        if rng.random() < 0.05:
            mask = rng.randrange(16)
            belief.make_suspect(mask, word(water.wet))
            plain.proved |= places(mask) & plain.fitted
            log.append(("made suspect", mask))
        if rng.random() < 0.02:
            belief.reset()
            plain.reset()
            log.append("reset")
    assert len({order for order, _wired in kinds}) >= len(plain.fitted), "a drive that no float can fail proves nothing"


@pytest.mark.parametrize("between_ms", [100, 1900, 2000])
@pytest.mark.parametrize("first_ms", [-2000, -1900, -100, 0, 5000])
@pytest.mark.parametrize(("one", "other"), [(1, 2), (2, 4), (4, 1)])
def test_l7_two_that_turn_within_two_seconds_wherever_the_clock_stands(one, other, first_ms, between_ms):
    belief, timers = made(15, 0)
    third = 7 & ~one & ~other
    belief.begin(one | other)  # the third has long been dry
    for at, wet, fell in ((first_ms, other, one), (first_ms + between_ms, 0, other)):
        timers.expire(at % (1 << 30))
        belief.step(wet, 0, fell, False)
    assert belief.wiring == (one | other if between_ms < 2000 else 0)
    assert not belief.wiring & third


def test_l2_a_miss_twice_running_adds_to_what_is_suspected_and_believes_nobody_again():
    belief, timers = made(10, 5)
    word_now = 0

    def go(*moves):
        nonlocal word_now
        for now, wet in moves:
            timers.expire(now)
            belief.step(wet, wet & ~word_now, word_now & ~wet, False)
            word_now = wet
        return belief.order, belief.before

    # off never turns wet: lag goes up and down over it, and that is the first miss.
    assert go((40_000, 2), (50_000, 6), (55_000, 2)) == (1, 1)
    # high hangs, lead comes down and proves nothing; the disagreement names high and believes off.
    assert go((66_000, 10), (70_000, 8), (90_000, 8)) == (8, 1)
    # Once more up and down over off, which has not been wet since: off is dead, and high no better for it.
    assert go((96_000, 10), (97_000, 8))[0] == 9


@pytest.mark.parametrize("rising", [0, 1])
def test_l2_the_fewest_suspects_of_every_reading_of_every_set_of_contacts(rising):
    for known in range(16):
        for wet in range(16):
            for read in {wet, wet | 15 & ~known}:  # what those read that are known false is nothing
                timers = Timers()
                belief = Belief(make_settings(), timers, 0)
                belief.begin(read)
                belief.make_suspect(15 & ~known, read)
                belief.rising = rising
                for now in (0, SEQUENCE_TIME_MS):
                    timers.expire(now)
                    belief.step(read, 0, 0, False)
                assert belief.order == word(fewest(places(known), places(wet), rising)), (known, read)


def test_a_life_begins_with_everything_believed_whatever_was_there_before():
    used, timers = made(15, 0)
    rng = random.Random(8)
    wet, dirty = 0, set()
    names = [name for name, *_ in Belief.FIELDS if name not in ("wet", "dry", "failed")]
    for now in range(500, 400_000, 500):
        timers.expire(now)
        before, wet = wet, wet ^ (1 << rng.randrange(4) if rng.random() < 0.15 else 0)
        used.step(wet, wet & ~before, before & ~wet, False)
        new = Belief(used.settings, Timers(), 0)
        dirty |= {name for name in names if getattr(used, name) != getattr(new, name)}
        if len(dirty) > 3 and now % 20_000 == 0:
            used.make_suspect(1, wet)
            used.begin(0)
            assert {name: getattr(used, name) for name in names} == {name: getattr(new, name) for name in names}
            wet = 0
    assert dirty == {"order", "wiring", "suspect", "rising", "over", "missed", "before"}


@pytest.mark.parametrize("together", [True, False], ids=["in one step", "one after the other"])
def test_l2_lead_hung_wet_is_named_when_the_level_falls_past_lag_and_off(together):
    belief, timers = made(10, 5)
    belief.begin(7)
    steps = [(0, 2, 5)] if together else [(0, 3, 4), (5000, 2, 1)]
    for now, wet, fell in steps:
        timers.expire(now)
        belief.step(wet, 0, fell, False)
    timers.expire(steps[-1][0] + SEQUENCE_TIME_MS)
    belief.step(2, 0, 0, False)
    assert belief.order == 2, "the higher contact that did not fall, not the off below it"


# The second miss -----------------------------------------------------------------------------------


def test_l2_three_dead_floats_are_all_named_at_the_second_miss():
    c = Controller(s.defaults())
    c.belief.begin(0)
    c.belief.step(r.HIGH, r.HIGH, 0, False)
    assert c.belief.order == 0
    c.belief.step(0, 0, r.HIGH, False)
    assert c.belief.order == 0, "once, and the fewest would be high itself, which has just moved"
    c.belief.step(r.HIGH, r.HIGH, 0, False)
    assert c.belief.order == r.OFF | r.LEAD | r.LAG
    assert c.belief.wet == r.HIGH


def test_l2_a_float_that_was_wet_in_between_has_not_missed_twice_running():
    c = Controller(s.defaults())
    c.belief.begin(0)
    high_up_and_down = ((r.HIGH, r.HIGH, 0), (0, 0, r.HIGH))
    for step in (*high_up_and_down, (r.LEAD, r.LEAD, 0), (0, 0, r.LEAD), *high_up_and_down):
        c.belief.step(*step, False)
    assert not c.belief.order & r.HIGH
    assert c.belief.order != r.OFF | r.LEAD | r.LAG


def test_l2_a_float_that_came_late_but_came_has_missed_nothing():
    c = Controller(s.defaults())
    c.belief.begin(r.OFF)
    steps = ((r.OFF | r.LAG, r.LAG, 0), (r.OFF | r.LEAD | r.LAG, r.LEAD, 0), (r.OFF | r.LEAD, 0, r.LAG))
    for k, step in enumerate(steps):  # far enough apart for L7 not to see a common wire
        c.timers.expire(5000 * k)
        c.belief.step(*step, False)
    assert c.belief.order == 0
    assert c.belief.suspect == 0


@pytest.mark.parametrize("mask", range(16))
def test_l2_a_contact_that_is_made_suspect_on_evidence_is_left_out_at_once(mask):
    for wet in range(16):
        belief, _timers = made(15, 0)
        belief.begin(wet)
        belief.make_suspect(mask, wet)
        assert (belief.suspect, belief.wet, belief.dry) == (mask, wet & ~mask, 15 & ~wet & ~mask)


@pytest.mark.parametrize(("floats", "virtual"), FITTED.values(), ids=FITTED)
def test_r1_each_believed_wet_contact_tells_of_water_and_a_transmitter_once(floats, virtual):
    belief = Belief(make_settings(fitted=floats, transmitter=int(bool(virtual)), sensing=2), Timers(), virtual)
    for wet in range(16):
        for suspects in range(16):
            belief.evidence = suspects
            belief.make_suspect(0, wet)
            believed = places(wet & (floats | virtual) & ~suspects)
            expected = len(believed - places(virtual)) + bool(believed & places(virtual))
            assert belief.vouchers() == expected


def test_l2_the_sequence_time_counts_from_the_end_of_the_power_up_hold():
    timers = Timers()
    belief = Belief(make_settings(), timers, 0)
    timers.expire(0)
    timers.arm(tm.BOOT, 10_000)
    belief.begin(word({HIGH}))
    at = []
    for now in range(0, 40_000, 100):
        timers.expire(now)
        belief.step(word({HIGH}), 0, 0, False)
        if belief.order:
            at.append(now)
    assert at[0] == 10_000 + SEQUENCE_TIME_MS


@pytest.mark.parametrize("turns", [0, 1])
@pytest.mark.parametrize("wet", [2, 4, 6, 8, 9, 12])
def test_l2_a_suspect_by_order_is_told_once_any_contact_has_turned(wet, turns):
    belief, timers = made(15, 0)
    belief.begin(wet)
    now, before = 0, wet
    for after in (100, 20_100, 40_000):
        now = after
        timers.expire(now)
        belief.step(wet, 0, 0, False)
    assert belief.order
    assert belief.told() == 0, "before any edge either side may be the one that hangs"
    if turns:  # one that is wet falls: it is the last edge, and in no order with those below
        wet &= wet - 1
        timers.expire(now + 100)
        belief.step(wet, 0, before & ~wet, False)
        assert belief.rising in (0, 1)
        for after in (20_200, 40_400):
            timers.expire(now + after)
            belief.step(wet, 0, 0, False)
        assert belief.told() == belief.order
    belief.begin(wet)
    assert belief.rising == 3
