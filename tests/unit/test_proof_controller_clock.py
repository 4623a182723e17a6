"""The controller's clock: what passes is counted, what jumps is a fault, what is not due is skipped."""

import random
from types import SimpleNamespace as Has

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.ticks import DAY_MS, MASK, NEVER

from tests.controller_bench import NOW, follow, made, record, stand_in
from tests.rig import WITH_CURRENT, ready

MINUTE_MS = 60_000
DAY_MIN = 1440


def clocked(out=0, now=NOW):
    """A controller whose time is counted by stand-ins; returns it and the notes."""
    c = made()
    notes = stand_in(c, gate={"out": out}, history={}, demand={}, exercise={}, belief={"wet": 9})
    c.now = c.mark = c.due = now
    return c, notes


# Running clocks ------------------------------------------------------------------------------------


@pytest.mark.parametrize("out", range(4))
@pytest.mark.parametrize("now", [NOW, MASK - 99], ids=["", "across the wrap"])
def test_what_passes_is_counted_for_the_pumps_that_ran(out, now):
    for elapsed in (100, 59_900):
        c, notes = clocked(out, now)
        c._clock(now + elapsed & MASK)
        assert notes == [("history", "elapsed", elapsed, out), ("demand", "elapsed", elapsed, [0, 1, 1, 2][out])]
        assert c.now == now + elapsed & MASK
        assert (c.mark, c.uptime_min, c.clock_fault) == (now, 0, 0)


def test_a_second_step_at_the_same_instant_counts_nothing():
    c, notes = clocked(3)
    c._clock(NOW)
    assert notes == []


@pytest.mark.parametrize(("elapsed", "minutes"), [
    (60_000, 1), (119_900, 1), (120_000, 2), (3_600_000, 60), (DAY_MS - 100, DAY_MIN - 1), (DAY_MS, DAY_MIN),
])  # fmt: skip
def test_whole_minutes_are_counted_and_the_rest_stays_for_the_next(elapsed, minutes):
    c, notes = clocked(2)
    c.uptime_min, c.inspection_min = 5, 70
    c._clock(NOW + elapsed)
    assert notes[2:] == [("exercise", "minutes", minutes, 2, 9)]
    assert (c.uptime_min, c.inspection_min) == (5 + minutes, 70 + minutes)
    assert c.mark == NOW + minutes * MINUTE_MS
    c._clock(NOW + (minutes + 1) * MINUTE_MS)
    assert c.uptime_min == 6 + minutes


def test_long_clocks_stop_at_a_thousand_years():
    most = 1 << 29
    c, _notes = clocked()
    c.uptime_min, c.inspection_min = most - 1, most - 2
    for expected in ((most, most - 1), (most, most), (most, most)):
        c._minutes(1)
        assert (c.uptime_min, c.inspection_min) == expected


@pytest.mark.parametrize(("after_due", "late"), [(-100, 0), (0, 0), (1, 1), (100, 1), (5000, 1)])
def test_j2_a_step_after_the_instant_that_was_due_is_late(after_due, late):
    c, _notes = clocked()
    c.due = NOW + 10_000
    c.out[r.OUT_LATE] = 1 - late
    c._clock(c.due + after_due)
    assert c.out[r.OUT_LATE] == late
    assert c.out[r.OUT_CLOCK] == 0


# Clocks that jump ----------------------------------------------------------------------------------


@pytest.mark.parametrize("jump_ms", [-100, -3_600_000, DAY_MS + 100, 5 * DAY_MS])
def test_m3_backwards_or_over_a_day_is_a_clock_fault_and_no_time_that_passed(jump_ms):
    c, notes = clocked(3)
    c.due = NOW - 5000
    c._clock(NOW + jump_ms)
    assert notes == []
    assert (c.uptime_min, c.inspection_min) == (0, 0)
    assert (c.clock_fault, c.out[r.OUT_CLOCK], c.out[r.OUT_LATE]) == (1, 1, 0)
    assert c.now == c.due == c.mark == NOW + jump_ms, "this very step is due"
    c._clock(NOW + jump_ms + 100)
    assert c.clock_fault == c.out[r.OUT_CLOCK] == 1, "it stands until reset"
    assert c.uptime_min == 0
    c.clock_fault = 0
    c._clock(NOW + jump_ms + 200)
    assert c.out[r.OUT_CLOCK] == 0


@pytest.mark.parametrize("elapsed", [0, 100, DAY_MS])
def test_m3_up_to_a_day_is_no_clock_fault(elapsed):
    c, _notes = clocked()
    c._clock(NOW + elapsed)
    assert c.clock_fault == 0


@pytest.mark.parametrize("jump_ms", [-700, DAY_MS + 700])
def test_m3_every_deadline_moves_with_a_clock_that_jumps_and_nothing_else_does(jump_ms):
    c = made()
    rng = random.Random(7)
    lists = [(part, field[0], field[2]) for _name, part in c.parts for field in part.FIELDS
             if field[1] == r.DEADLINE and field[2]]  # fmt: skip
    assert sum(count for _part, _name, count in lists) > tm.N_TIMERS
    for part, name, count in lists:
        getattr(part, name)[:] = [rng.choice((NEVER, 0, 100, MASK - 99, rng.randrange(MASK))) for _ in range(count)]
    before, other = [list(getattr(part, name)) for part, name, _count in lists], c.snapshot()
    c._jumped(jump_ms)
    for (part, name, _count), times in zip(lists, before, strict=True):
        assert getattr(part, name) == [t if t == NEVER else t + jump_ms & MASK for t in times], name
        getattr(part, name)[:] = times
    assert (c.mark, c.due, c.clock_fault) == (NOW + jump_ms, NOW + jump_ms, 1)
    c.mark, c.due, c.clock_fault = NOW, NOW, 0
    assert c.snapshot() == other


# The next instant ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("ahead", "expected"), [
    (-5000, 100), (0, 100), (100, 100), (200, 200), (DAY_MS, DAY_MS),
])  # fmt: skip
def test_the_next_instant_lies_on_the_grid_and_ahead(ahead, expected):
    c = made()
    c.due = NOW + ahead
    assert c.next_due(NOW) == NOW + expected


def waiting(pending=0, timer=DAY_MS, minutes=DAY_MIN, inspection_left=DAY_MIN, since_mark=0):
    """A controller that waits for what is given; minutes are counted from its last whole minute."""
    c = made()
    c.timers = Has(next_ms=lambda least: min(least, timer))
    c.exercise = Has(next_min=lambda: minutes)
    c.inspection_min = c.settings[s.INSPECTION_DAYS] * DAY_MIN - inspection_left
    c.pending = pending
    c.mark = NOW - since_mark
    return c._delay()


def test_something_that_the_next_step_must_see_makes_it_the_next_tick():
    assert waiting(pending=1) == 100
    assert waiting(pending=0) == DAY_MS


@pytest.mark.parametrize(("given", "expected"), [
    ({"timer": 5000}, 5000), ({"timer": 100}, 100), ({"timer": 0}, 100), ({"minutes": 7}, 7 * MINUTE_MS),
    ({"inspection_left": 7}, 7 * MINUTE_MS), ({"minutes": 8, "inspection_left": 9}, 8 * MINUTE_MS),
    ({"minutes": 9, "inspection_left": 8}, 8 * MINUTE_MS), ({"minutes": 1, "timer": 59_900}, 59_900),
    ({"minutes": 1, "timer": 60_100}, 60_000), ({"minutes": 7, "inspection_left": 0}, 7 * MINUTE_MS),
    ({"minutes": 7, "inspection_left": -5}, 7 * MINUTE_MS), ({"minutes": 7, "inspection_left": 1}, MINUTE_MS),
    ({"minutes": 1, "since_mark": 59_900}, 100), ({"minutes": 1, "since_mark": 20_000}, 40_000),
    ({"minutes": 1, "since_mark": 60_000}, 100), ({"since_mark": 30_000}, DAY_MS - 30_000),
])  # fmt: skip
def test_the_next_step_is_due_with_the_soonest_timer_or_long_time(given, expected):
    assert waiting(**given) == expected


# A step, and what it may skip ----------------------------------------------------------------------


def stepped(**changes):
    """A controller past its first step whose working out is noted; `due` lies ten seconds ahead."""
    c = made()
    notes = stand_in(c, chatter={"mask": 4, "answers": {"step": lambda word: word | 4}},
                     forces={"inputs": "forced"}, gate={"out": 0}, exercise={})  # fmt: skip
    follow(c, notes, "_evaluate", "_compare", "_begin")
    c._delay = lambda: 10_000
    c.first = False
    c.raw_word, c.last[:] = 1, record(contacts=5, chatter=4, mains=1)
    c.due = NOW + 10_000
    for name, value in changes.items():
        setattr(c, name, value)
    return c, notes


WORKED_OUT = ["chatter", "forces", "_evaluate", "_compare"]


def test_i10_with_nothing_due_and_nothing_new_a_step_works_nothing_out_but_limits_the_contacts():
    c, notes = stepped()
    inputs = record(contacts=1, mains=1)
    assert c.step(NOW + 5000, inputs) is c.out
    assert notes == []
    assert inputs == record(contacts=5, chatter=4, mains=1), "the record holds the limited contacts all the same"
    assert c.now == NOW + 5000
    assert c.due == NOW + 10_000
    assert c.timers.now == NOW + 5000


@pytest.mark.parametrize(("at", "changes"), [(10_000, {}), (12_000, {}), (100, {"always": True})])
def test_i10_a_step_that_is_due_works_everything_out(at, changes):
    c, notes = stepped(**changes)
    inputs = record(contacts=1, mains=1)
    assert c.step(NOW + at, inputs) is c.out
    assert notes == [("chatter", "step", 1), ("forces", "step", inputs), ("_evaluate", "forced"), ("_compare",)]
    assert c.due == NOW + at + 10_000
    assert inputs == c.last == record(contacts=5, chatter=4, mains=1)
    assert c.raw_word == 1


@pytest.mark.parametrize("place", sorted(set(range(r.N_INPUTS)) - {r.IN_CHATTER}), ids=lambda p: r.INPUT_NAMES[p])
def test_i10_each_input_alone_makes_a_step_work_everything_out(place):
    c, notes = stepped()
    inputs = record(contacts=1, mains=1)
    inputs[place] += 2
    expected = list(inputs)
    c.step(NOW + 5000, inputs)
    assert [note[0] for note in notes] == WORKED_OUT
    assert c.raw_word == expected[r.IN_CONTACTS]
    expected[r.IN_CONTACTS] |= 4
    expected[r.IN_CHATTER] = 4
    assert inputs == c.last == expected


def test_l1_the_limiter_sees_the_contacts_as_they_are_even_where_they_read_what_it_made_of_them():
    c, notes = stepped()
    c.step(NOW + 5000, record(contacts=5, mains=1))
    assert notes[0] == ("chatter", "step", 5)
    assert c.raw_word == 5


def test_j2_a_record_that_has_been_limited_before_is_taken_as_it_is():
    c, notes = stepped()
    inputs = record(contacts=5, chatter=4, mains=1)
    c.step(NOW + 5000, inputs, True)
    assert notes == [], "nothing in it is new"
    inputs[r.IN_CONTACTS] = 1
    c.step(NOW + 5100, inputs, True)
    assert [note[0] for note in notes] == WORKED_OUT[1:]
    assert inputs == c.last == record(contacts=1, chatter=4, mains=1)
    c.last[r.IN_CONTACTS], c.raw_word = 5, 1
    notes.clear()
    c.step(NOW + 5200, inputs, True)
    assert notes, "what the limiter saw last does not stand for a record that is limited already"
    assert c.raw_word == 1


@pytest.mark.parametrize("limited", [False, True])
def test_s4_the_first_step_takes_the_readings_and_works_everything_out(limited):
    c, notes = stepped(first=True, raw_word=9)
    inputs = record(contacts=1, mains=1)
    c.last[:] = inputs
    c.step(NOW + 5000, inputs, limited)
    assert notes[0] == ("_begin", record(contacts=1 if limited else 5, chatter=0 if limited else 4, mains=1))
    assert [note[0] for note in notes[1:]] == WORKED_OUT[limited:]
    assert c.raw_word == (9 if limited else 1)
    assert c.last == inputs == (record(contacts=1, mains=1) if limited else record(contacts=5, chatter=4, mains=1))


def test_timers_ring_in_the_step_that_is_due():
    c, _notes = stepped()
    c.timers.at[tm.DRY] = NOW + 10_000
    c.step(NOW + 9900, record(contacts=1, mains=1))
    assert not c.timers.rang[tm.DRY]
    c.step(NOW + 10_000, record(contacts=1, mains=1))
    assert c.timers.rang[tm.DRY]


# Looking no more often than needed -----------------------------------------------------------------


def looks(rig):
    """Count the instants at which the controller of a rig works everything out."""
    seen = []
    evaluate = rig.c._evaluate

    def counted(inputs):
        seen.append(rig.elapsed_ms)
        evaluate(inputs)

    rig.c._evaluate = counted
    return seen


def test_i10_a_quiet_hour_is_not_looked_at_at_all():
    rig = ready(settle_s=400.0)
    seen = looks(rig)
    rig.ticking = True
    rig.run(3600.0)
    assert seen == []


def test_i10_a_cycle_is_looked_at_at_edges_and_due_instants_and_a_tick_after_what_an_earlier_part_reads():
    rig = ready(settle_s=400.0, sensing=WITH_CURRENT)
    seen, begin_ms = looks(rig), rig.elapsed_ms
    rig.ticking = True
    rig.set(off=1).run(30.0).set(lead=1).run(30.0).set(lead=0).run(10.0).set(off=0).run(400.0)
    edges = {0, 30, 60, 70}  # off and lead turn wet, lead and off dry
    debounced = {t + 1 for t in edges}
    start, stop = 31, 71
    followed = debounced | {start + 0.1, start + 1.1, start + 8.1}  # also: proved, loaded, loaded for dry_run
    timers = {t + 3 for t in edges} | {10, 40, 80}  # L7's two seconds, L1's ten (one ends with the edge at 70)
    timers |= {start + 1, start + 1.1, start + 3, start + 5, start + 8.1}  # inrush, load, spacing, min_run, dry_run
    timers |= {stop + 10, stop + 20, stop + 60}  # the three rests
    expected = edges | debounced | {t + 0.1 for t in followed} | timers | {start + 0.1}
    assert {(ms - begin_ms) // 100 for ms in seen} == {round(10 * t) for t in expected}
