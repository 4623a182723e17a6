"""D1, L3, L4 and R2 against a plain reading of them: pump time used up, and the moments since which things hold."""

import random
from collections import Counter

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.demand import Demand
from duplexsump.control.timers import Timers

OFF, LEAD, LAG, HIGH, UPPER = r.OFF, r.LEAD, r.LAG, r.HIGH, 14
HOUR_DS = 36_000
PUMP_DOWN_MS = {LEAD: 16_000, LAG: 20_000, HIGH: 23_000}


class Views:
    """Stands in for belief: the test says which contacts are suspects."""

    def __init__(self, fitted):
        self.fitted, self.suspect, self.word, self.bobs, self.virtual = fitted, 0, 0, 0, 0
        self.made_suspect = []

    def read(self, word):
        self.word = word
        believed = self.fitted & ~self.suspect
        self.wet, self.dry = word & believed, believed & ~word

    def drawn(self):
        """What R1 does with it is belief's own."""

    def goes_on(self):
        return False

    def make_suspect(self, mask, word):
        self.made_suspect.append(mask)
        self.suspect |= mask
        self.read(word)


class PlainDemand:
    """What the clauses say.  Times are moments of one endless clock; `since` keeps when a condition began to hold."""

    def __init__(self, values, views):
        self.values, self.views = values, views
        self.demand = self.by_level = self.boost = self.stopped = self.covered = 0
        self.stops = self.patience = self.limit = 0
        self.slack = False  # L4: at some moment of this draw-down no pump was loaded
        self.since = {}
        self.draw = None  # L3: None, or [pump time left in ms, moment it was worked out, pumps]
        self.run_ms = self.refill_ms = self.last_run = self.last_refill = 0
        self.lowest = None

    # L3 needs the last run and the last refill, in tenths of a second and up to an hour.

    def elapsed(self, dt_ms, pumps):
        if self.demand:
            self.run_ms = min(100 * HOUR_DS, self.run_ms + dt_ms * pumps)
        else:
            self.refill_ms = min(100 * HOUR_DS, self.refill_ms + dt_ms)

    def pump_down(self):
        believed = self.views.fitted & ~self.views.suspect
        lowest = next((contact for contact in (LEAD, LAG) if believed & contact), HIGH)
        place = {LEAD: s.PUMP_DOWN_LEAD_MS, LAG: s.PUMP_DOWN_LAG_MS, HIGH: s.PUMP_DOWN_HIGH_MS}[lowest]
        return self.values[place] or self.values[s.BLIND_RUN_MS]

    def held(self, name, condition, ms):
        """True at the moment at which `condition` has held for `ms`, which counts from where it began."""
        if not condition:
            self.since.pop(name, None)
        elif name not in self.over:
            self.since.setdefault(name, (self.now, ms))
        return condition and name in self.over

    def begin(self, pumps):
        if not self.demand:
            self.last_refill, self.refill_ms, self.lowest = self.refill_ms // 100, 0, None
        self.demand = pumps
        if self.stopped:
            self.stopped = self.stops = 0
            self.since.pop("stop", None)
            run, refill, down = self.limit // 100, self.last_refill or 1, self.pump_down() // 100
            tenths = min(10_000, 10 * run // refill)
            honest = down + down * tenths // 10
            if refill > down:
                honest = min(honest, down * refill // (refill - down))
            self.learn(100 * min(honest, 72_000))

    def learn(self, ms):
        self.patience = min(600_000, ms + self.values[s.BLIND_RUN_MS])

    def end(self, by_level):
        self.last_run, self.run_ms = self.run_ms // 100, 0
        self.demand, self.by_level, self.boost, self.covered = 0, by_level, 0, 0
        self.since.pop("no draw", None)

    def step(self, now, wet, turned, pumps, level, ok, loaded):
        self.now, self.loaded = now, loaded
        self.over = {name for name, (began, ms) in self.since.items() if now - began >= ms}
        for name in self.over:  # what is over counts in this moment, or not at all
            del self.since[name]
        views = self.views
        if turned & OFF:
            self.stops = self.stopped = 0
            self.since.pop("stop", None)
        if self.stopped and "stop" in self.over:
            self.stopped = self.patience = 0
            self.stops += self.slack
            if self.stops == 2:
                self.stops = 0
                views.make_suspect(OFF, wet)
        if views.wet & (LAG | HIGH):
            self.begin(2)
        elif views.wet & LEAD:
            above = views.fitted & ~views.suspect & (LAG | HIGH)
            self.begin(max(1 if above else 2, self.demand))
        elif self.demand:
            self.falling(pumps, wet & UPPER)
        if self.demand and views.wet & OFF:
            self.covered = 1
        if views.wet & UPPER or not self.demand:
            self.draw = None
            self.since.pop("overdraw", None)
        self.alone(wet, turned, pumps)
        if self.values[s.TRANSMITTER] and self.demand:
            self.no_draw_down(pumps, level, ok)

    def falling(self, pumps, reads_wet):
        views = self.views
        if views.dry & OFF and (self.covered or reads_wet or views.bobs == 2):
            if "overdraw" in self.since:
                self.learn(self.now - self.since["overdraw"][0])
            self.end(1)
        elif views.wet & OFF:
            self.draw = None
            if not {"overdraw"} & (self.since.keys() | self.over):
                self.limit = max(3 * self.pump_down(), self.patience)
                self.slack = False
            self.slack |= not self.loaded
            if self.held("overdraw", pumps > 0, self.limit):
                self.end(0)
                self.stopped = 1
                self.since["stop"] = (self.now, 2 * self.pump_down())
        else:
            self.by_time(pumps)

    def by_time(self, pumps):
        if self.draw is None:
            most = self.values[s.BLIND_RUN_MS]
            if "alone" in self.since:
                most -= self.now - self.since["alone"][0]
            down = self.pump_down() // 100
            self.draw = [100 * min(down + down * self.last_run // (self.last_refill or 1), most // 100), self.now, 0]
        left, then, were = self.draw
        if were:
            left -= were * (self.now - then)
        if were and left <= 0:
            self.end(1)
            return
        if pumps != were and pumps:
            left = pumps * max(100, left // pumps // 100 * 100)  # whole tenths for the pumps that run now
        self.draw = [left, self.now, pumps]

    def alone(self, wet, turned, pumps):
        upper = self.views.wet & UPPER
        if turned:
            self.since.pop("alone", None)
            self.over.discard("alone")
        hung = pumps > 0 and not wet & HIGH if upper & LAG else pumps > 0 and upper == LEAD
        hung = hung and self.values[s.SENSING] != s.SENSE_CURRENT and not self.views.wet & OFF
        if self.held("alone", hung, self.values[s.BLIND_RUN_MS]):
            self.views.make_suspect(LAG if upper & LAG else LEAD, wet)
            if not self.views.wet & UPPER:
                self.end(0)

    def no_draw_down(self, pumps, level, ok):
        judged = pumps > 0 and ok
        if not judged or self.lowest is None or level < self.lowest:
            self.lowest, self.boost = level, 0
            self.since.pop("no draw", None)
            self.over.discard("no draw")
        if self.boost or self.held("no draw", judged, self.values[s.NO_DRAW_DOWN_MS]):
            self.boost, self.demand = 1, 2


class Pit:
    """A made-up pit: water, suspects, pumps and level change one at a time, now and then; `calm` is between changes."""

    SUSPECTS = (0, 0, 0, OFF, OFF, OFF, LEAD, OFF | LEAD, LAG, HIGH, LEAD | LAG, UPPER, OFF | LAG | HIGH)

    def __init__(self, rng, fitted):
        self.rng, self.fitted = rng, fitted
        self.water, self.stuck, self.pumps, self.level, self.ok, self.suspect = 0, None, 0, 50, True, 0
        self.loaded, self.bobs = False, 0

    def change(self, demand):
        rng = self.rng
        what = rng.random()
        if what < 0.4:
            self.water = min(4, max(0, self.water + rng.choice((-1, -1, 1))))
        elif what < 0.45:
            self.stuck = rng.choice((None, 0, OFF))
        elif what < 0.5:
            self.suspect = rng.choice(self.SUSPECTS) & self.fitted
            self.loaded, self.bobs = rng.random() < 0.5, rng.choice((0, 0, 1, 2))
        elif what < 0.9:
            self.pumps = demand if rng.random() < 0.8 else rng.choice((0, 1, 2))
        elif what < 0.92:
            self.ok = not self.ok
        else:
            self.level += rng.choice((-1, 0, 1))

    def word(self):
        word = (1 << self.water) - 1
        if self.stuck is not None:
            word = word & ~OFF | self.stuck
        return word & self.fitted


CASES = {
    "all fitted": {}, "current": {s.SENSING: s.SENSE_CURRENT}, "transmitter": {s.TRANSMITTER: 1, s.FITTED: 15},
    "feedback, transmitter": {s.SENSING: s.SENSE_FEEDBACK, s.TRANSMITTER: 1}, "no off": {s.FITTED: 14},
    "no lag": {s.FITTED: 11}, "nothing known": {s.PUMP_DOWN_LEAD_MS: 0, s.PUMP_DOWN_LAG_MS: 0, s.PUMP_DOWN_HIGH_MS: 0},
    "a slow pit": {s.PUMP_DOWN_LEAD_MS: 1000, s.PUMP_DOWN_LAG_MS: 1500, s.PUMP_DOWN_HIGH_MS: 2500},
}  # fmt: skip


def made(changes):
    values = s.defaults()
    for place, value in changes.items():
        values[place] = value
    timers, views = Timers(), Views(values[s.FITTED])
    return Demand(values, timers, views), PlainDemand(values, Views(values[s.FITTED])), timers


def seen(d):
    running = {name: d.timers.running(place) for name, place in (
        ("stop", tm.STOPPED), ("overdraw", tm.OVERDRAW), ("alone", tm.ALONE), ("no draw", tm.NO_DRAW))}  # fmt: skip
    running["draw"] = d.timers.left_ms(tm.DRAW) if d.timers.running(tm.DRAW) else 0
    return {"demand": d.demand, "by_level": d.by_level, "boost": d.boost, "stopped": d.stopped, "stops": d.stops,
            "slack": d.slack, "last_run": d.last_run_ds, "last_refill": d.last_refill_ds, "patience": d.patience_ms,
            "made suspect": d.belief.made_suspect, "run": d.run_ms, "refill": d.refill_ms, "by time": d.draw_pumps > 0,
            **running}  # fmt: skip


def wanted(p):
    running = {name: name in p.since for name in ("stop", "overdraw", "alone", "no draw")}
    return {"demand": p.demand, "by_level": p.by_level, "boost": p.boost, "stopped": p.stopped, "stops": p.stops,
            "slack": p.slack, "last_run": p.last_run, "last_refill": p.last_refill, "patience": p.patience,
            "made suspect": p.views.made_suspect, "run": p.run_ms, "refill": p.refill_ms, "by time": p.draw is not None,
            "draw": p.draw[0] // p.draw[2] if p.draw and p.draw[2] else 0, **running}  # fmt: skip


def wander(name, steps):
    """Drive the core and the plain reading together; return what happened, counted."""
    rng = random.Random(name)
    d, plain, timers = made(CASES[name])
    pit = Pit(rng, d.belief.fitted)
    now, word, pumps, change_at, happened = 0, 0, 0, 0, Counter()
    for _ in range(steps):
        step_ms = min(timers.next_ms(86_400_000), max(0, change_at - now))
        now += step_ms
        timers.expire(now % (1 << 30))
        d.elapsed(step_ms, pumps)
        plain.elapsed(step_ms, pumps)
        if now == change_at:
            pit.change(plain.demand)
            change_at += rng.choice((100, 700, 3000, 8000, 20_000, 50_000)) if rng.random() < 0.97 else 400_000
        before, word, pumps = word, pit.word(), pit.pumps
        d.loaded = pit.loaded and pumps > 0
        if rng.random() < 0.01:
            d.reset()
            plain.stops = 0
        was = plain.demand, plain.boost, plain.stopped
        for views in (d.belief, plain.views):
            views.suspect, views.bobs = pit.suspect, pit.bobs
            views.read(word)
        inputs = [0] * r.N_INPUTS
        inputs[r.IN_LEVEL], inputs[r.IN_TRANSMITTER] = pit.level, r.TRANSMITTER_OK if pit.ok else r.TRANSMITTER_LOW
        d.step(word, word & ~before, before & ~word, pumps, inputs)
        plain.step(now, word, word ^ before, pumps, pit.level, pit.ok, d.loaded)
        assert seen(d) == wanted(plain), (now, word, pit.suspect, pumps)
        pit.suspect = plain.views.suspect
        happened["began"] += plain.demand > was[0] == 0
        happened["drawn down"] += was[0] > plain.demand == 0 == plain.stopped and plain.by_level
        happened["provisional"] += plain.stopped > was[2]
        happened["boost"] += plain.boost > was[1]
    happened.update(plain.views.made_suspect)
    return happened


@pytest.mark.parametrize("name", CASES)
def test_d1_l3_l4_r2_a_long_wander_is_what_the_clauses_say(name):
    happened = wander(name, 20_000)
    assert happened["began"] > 100 and happened["drawn down"] > 30, happened
    if CASES[name].get(s.FITTED, 15) & OFF:
        assert happened["provisional"] > 5, happened
        assert name == "nothing known" or happened[OFF] > 0, happened
    if s.TRANSMITTER in CASES[name]:
        assert happened["boost"] > 1, happened
    if s.SENSING not in CASES[name]:
        assert happened[LEAD] + happened[LAG] > 5, happened


def at(d, timers, now, wet, pumps=1, level=50):
    d.elapsed(now - timers.now, pumps)
    timers.expire(now)
    d.belief.read(wet)
    inputs = [0] * r.N_INPUTS
    inputs[r.IN_LEVEL] = level
    d.step(wet, 0, 0, pumps, inputs)
    return d.demand


def begin(d, wet):
    """A step in which a contact from lead up is wet: a demand begins."""
    d.belief.read(wet)
    d.step(wet, 0, 0, 0, [0] * r.N_INPUTS)
    assert d.demand


@pytest.mark.parametrize("covered", [0, 1])
@pytest.mark.parametrize("bobs", [0, 1, 2])
def test_d1_a_dry_off_ends_a_demand_that_it_joined_or_that_a_float_called_which_comes_and_goes(bobs, covered):
    d, _plain, timers = made({})
    begin(d, LEAD | OFF * covered)
    d.belief.bobs = bobs
    assert at(d, timers, 100, 0) == (0 if covered or bobs == 2 else 1)
    assert timers.running(tm.DRAW) is bool(d.demand), "what goes on is stopped by time"


def test_l3_runs_and_refills_are_remembered_up_to_an_hour_whatever_they_lasted():
    d, _plain, _timers = made({})
    for ms, tenths in ((100, 1), (3_599_900, 35_999), (3_600_000, 36_000), (3_660_000, 36_000), (80_000_000, 36_000)):
        d.elapsed(ms, 0)
        begin(d, LEAD)
        d.elapsed(ms, 1)
        d.end(1)
        assert (d.last_refill_ds, d.last_run_ds) == (tenths, tenths)
        assert (d.refill_ms, d.run_ms) == (0, 0)


@pytest.mark.parametrize(("run_ds", "refill_ds", "seconds"), [(1, 0, 32.0), (0, 0, 16.0), (60, 100, 25.6)])
def test_l3_a_refill_too_short_to_count_is_one_tenth_of_a_second(run_ds, refill_ds, seconds):
    d, _plain, timers = made({s.FITTED: 14})
    d.demand, d.last_run_ds, d.last_refill_ds = 1, run_ds, refill_ds
    assert at(d, timers, 0, 0) == 1
    assert timers.left_ms(tm.DRAW) == round(1000 * seconds)


def test_l4_lead_wet_again_in_the_very_moment_of_a_provisional_stop():
    d, _plain, timers = made({})
    at(d, timers, 0, OFF | LEAD)
    at(d, timers, 100, OFF)
    assert at(d, timers, 48_100, OFF) == 0
    assert (d.stopped, d.limit_ms) == (1, 48_000)
    assert at(d, timers, 48_100, OFF | LEAD) == 1
    # 16 s x (1 + 48 / 0.1) is more than ten minutes, which is the most that is believed.
    assert (d.stopped, d.patience_ms) == (0, 600_000)
    d.stopped, d.limit_ms, d.demand, d.refill_ms = 1, 2_000, 0, 0
    begin(d, OFF | LEAD)
    assert d.patience_ms == 16_000 + 16_000 * 20 + 35_000, "a refill of nothing is taken for 0.1 s"


# Run over refill counts in whole tenths, and a thousand at the most.
@pytest.mark.parametrize(("down_ms", "run_ds", "refill_ds", "tenths"), [
    (16_000, 480, 160, 160 + 480), (16_000, 480, 80, 160 + 960), (16_000, 480, 320, 320), (16_000, 100, 320, 160 + 48),
    (16_000, 160, 160, 320), (16_000, 160, 320, 240), (16_000, 480, 161, 160 + 464),
    (16_000, 480, 1600, 177), (1000, 36_000, 1, 10 + 10_000), (1000, 10_001, 1, 10_010),
    (1000, 999, 1, 10 + 9_990), (1_800_000, 36_000, 1, 72_000), (16_000, 480, 1, 72_000), (16_000, 0, 100, 160),
])  # fmt: skip
def test_l4_an_honest_draw_down_by_hand(down_ms, run_ds, refill_ds, tenths):
    d, _plain, _timers = made({s.PUMP_DOWN_LEAD_MS: down_ms})
    d.stopped, d.limit_ms, d.refill_ms = 1, 100 * run_ds, 100 * refill_ds
    begin(d, OFF | LEAD)
    blind_run_ms = 35_000
    assert d.patience_ms == min(600_000, 100 * tenths + blind_run_ms)


def test_r2_a_new_demand_is_judged_by_its_own_lowest_level():
    d, _plain, timers = made({s.TRANSMITTER: 1})
    at(d, timers, 0, OFF | LEAD, level=60)
    at(d, timers, 1000, OFF | LEAD, level=20)
    assert at(d, timers, 20_000, 0, level=20) == 0
    assert at(d, timers, 21_000, OFF | LEAD, level=60) == 1
    assert at(d, timers, 200_000, OFF | LEAD, level=59) == 1
    assert at(d, timers, 321_000, OFF | LEAD, level=59) == 1, "five minutes after the demand began, but it has fallen"
    assert at(d, timers, 499_900, OFF | LEAD, level=59) == 1
    assert at(d, timers, 500_000, OFF | LEAD, level=59) == 2
    assert d.boost


def test_l4_two_stops_that_lasted_must_follow_each_other():
    d, _plain, timers = made({})

    def draw_down(began, limit_ms):
        at(d, timers, began, OFF | LEAD)
        assert at(d, timers, began + 100, OFF) == 1
        assert at(d, timers, began + limit_ms, OFF) == 1
        assert at(d, timers, began + 100 + limit_ms, OFF) == 0
        assert d.stopped
        return began + 100 + limit_ms

    stopped = draw_down(0, 48_000)
    at(d, timers, stopped + 32_000, OFF)
    assert (d.stopped, d.stops) == (0, 1)
    stopped = draw_down(100_000, 48_000)
    at(d, timers, stopped + 10_000, OFF | LEAD)
    assert (d.stopped, d.stops) == (0, 0), "it did not last: off may be honest and the inflow high"
    # 16 s x (1 + 48 / 10) = 92.8 s, and a blind run more.
    stopped = draw_down(stopped + 11_000, 92_800 + 35_000)
    at(d, timers, stopped + 32_000, OFF)
    assert (d.stopped, d.stops, d.belief.made_suspect) == (0, 1, [])
    stopped = draw_down(stopped + 60_000, 48_000)
    at(d, timers, stopped + 31_900, OFF)
    assert d.belief.made_suspect == []
    at(d, timers, stopped + 32_000, OFF)
    assert (d.stops, d.belief.made_suspect) == (0, [OFF])
