"""The list of deadlines: armed, due, rung for one step, stopped; each timer by itself and across every wrap."""

import pytest
from duplexsump.control import timers as tm
from duplexsump.control.ticks import NEVER, add, diff

RING = 2**30
STARTS = (0, 1, 100, RING // 2 - 50, RING // 2, RING - 100, RING - 86_400_000, RING - 1)
DELAYS = (100, 1000, 86_400_000)


def at(start):
    timers = tm.Timers()
    timers.expire(start)
    return timers


def rung(timers):
    return [i for i in range(tm.N_TIMERS) if timers.rang[i]]


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("delay", DELAYS)
def test_a_timer_rings_at_its_time_in_one_step_and_is_disarmed(start, delay):
    for i in (0, 1, tm.SPACING, tm.N_TIMERS - 2, tm.N_TIMERS - 1):
        timers = at(start)
        assert not timers.running(i)
        timers.arm(i, delay)
        assert timers.running(i)
        assert (timers.at[i], timers.left_ms(i)) == ((start + delay) % RING, delay)
        timers.expire(add(start, delay - 1))
        assert (rung(timers), timers.left_ms(i)) == ([], 1)
        timers.expire(add(start, delay))
        assert (rung(timers), timers.at[i]) == ([i], NEVER)
        assert timers.now == (start + delay) % RING
        timers.expire(add(start, delay))
        assert rung(timers) == [], "rung for that step only"
        assert not timers.any, "the next step has nothing to forget"


@pytest.mark.parametrize("deadline", [0, 100, RING // 2, RING - 100])
def test_a_deadline_is_due_when_it_lies_behind_as_differences_have_it(deadline):
    for apart in (-RING // 2, 1 - RING // 2, -86_400_000, -1, 0, 1, 100, 86_400_000, RING // 2 - 1):
        timers = tm.Timers()
        timers.at[3] = deadline
        now = (deadline + apart) % RING
        timers.expire(now)
        due = diff(now, deadline) >= 0
        assert (rung(timers), timers.running(3)) == ([3] if due else [], not due), apart


def test_every_timer_is_looked_at_and_two_may_ring_in_the_same_step():
    timers = at(0)
    for i in range(tm.N_TIMERS):
        timers.arm(i, 100 * (1 + i // 2))
    for k in range((tm.N_TIMERS + 1) // 2):
        timers.expire(100 * (k + 1))
        assert rung(timers) == [i for i in (2 * k, 2 * k + 1) if i < tm.N_TIMERS]
    assert timers.at == [NEVER] * tm.N_TIMERS


def test_arming_anew_or_stopping_takes_the_ringing_back():
    for take in (lambda timers: timers.arm(5, 700), lambda timers: timers.stop(5)):
        timers = at(1000)
        timers.arm(5, 100)
        timers.arm(6, 100)
        timers.expire(1100)
        take(timers)
        assert rung(timers) == [6]
    timers.arm(5, 300)
    timers.stop(5)
    assert (timers.running(5), timers.at[5]) == (False, NEVER)
    timers.arm(5, 300)
    timers.arm(5, 200)
    assert timers.left_ms(5) == 200


def test_a_timer_that_is_due_at_time_nought_of_the_ring_is_armed_like_any_other():
    timers = at(RING - 100)
    timers.arm(7, 100)
    assert (timers.at[7], timers.running(7), timers.next_ms(5000)) == (0, True, 100)
    assert not timers.on_delay(7, False, True, 900)
    assert timers.left_ms(7) == 100, "not armed anew while it runs"


def hold(timers, script, delay=1000):
    """Feed (instant, condition) pairs to one timer; return what `on_delay` said each time."""
    said, already = [], False
    for now, condition in script:
        timers.expire(now)
        already = timers.on_delay(9, already, condition, delay)
        said.append(already)
    return said


def test_a_condition_has_lasted_when_it_held_without_a_break_and_for_as_long_as_it_holds():
    timers = at(0)
    assert hold(timers, [(0, 1), (900, 1), (1000, 1), (1100, 1), (9000, 1), (9100, 0), (9200, 1), (10_100, 1),
                         (10_200, 1)]) == [False, False, True, True, True, False, False, False, True]  # fmt: skip


def test_a_break_begins_the_time_anew():
    timers = at(0)
    assert hold(timers, [(0, 1), (900, 1), (950, 0), (1000, 1), (1900, 1), (2000, 1)]) == [False] * 5 + [True]
    assert not timers.running(9)


def test_a_condition_that_ends_in_the_step_in_which_its_time_is_over_has_not_lasted():
    timers = at(0)
    assert hold(timers, [(0, 1), (1000, 0), (1100, 0)]) == [False, False, False]
    assert not timers.running(9)


def test_what_has_lasted_needs_no_timer_any_more():
    timers = at(0)
    hold(timers, [(0, 1), (1000, 1), (1100, 1), (1200, 1)])
    assert not timers.running(9)


@pytest.mark.parametrize("start", STARTS)
def test_the_next_deadline_is_the_soonest_one_and_no_later_than_asked(start):
    timers = at(start)
    assert timers.next_ms(5000) == 5000
    timers.arm(0, 9000)
    assert timers.next_ms(5000) == 5000
    timers.arm(tm.N_TIMERS - 1, 700)
    assert timers.next_ms(5000) == 700
    timers.arm(4, 300)
    assert timers.next_ms(5000) == 300
    timers.stop(4)
    assert timers.next_ms(5000) == 700
    timers.expire(add(start, 600))
    assert timers.next_ms(5000) == 100


def test_every_timer_has_a_name_of_its_own():
    assert len(set(tm.NAMES)) == len(tm.NAMES) == tm.N_TIMERS
    for name, place in vars(tm).items():
        if name.isupper() and name not in ("DEADLINE", "NAMES", "N_TIMERS", "NEVER"):
            assert tm.NAMES[place].startswith(name.lower()), name
