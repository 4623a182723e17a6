"""The alarms by themselves: IEC 62682's states by table, what each state shows, and the one timer."""

from itertools import product

import pytest
from duplexsump.control import alarms as al
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.alarm_table import TABLE
from duplexsump.control.controller import Controller
from duplexsump.control.ticks import MASK, NEVER

from tests.control.alarm_bench import (
    ACKNOWLEDGED,
    COUNT,
    HIGHS,
    LATCHED,
    LATCHED_ACKNOWLEDGED,
    LATCHING,
    MEDIUMS,
    N_SOUNDING,
    NORMAL,
    PLACES,
    RETURNED,
    SOUNDING,
    UNACKNOWLEDGED,
    Bench,
)
from tests.rig import ALARM_PLACE


def test_the_table_has_what_these_claims_need():
    assert (list(range(9)), list(range(N_SOUNDING)), COUNT) == (HIGHS, SOUNDING, COUNT)
    assert set(LATCHING) == {ALARM_PLACE[f"pump_{k}_moisture"] for k in (1, 2)}


# States --------------------------------------------------------------------------------------------

LEADS_TO = {
    "normal": {"raise": "unacknowledged", "acknowledge": "normal", "reset": "normal"},
    "unacknowledged": {"clear": "returned", "clear_latching": "latched", "acknowledge": "acknowledged",
                       "reset": "unacknowledged"},
    "acknowledged": {"clear": "normal", "clear_latching": "latched_acknowledged", "acknowledge": "acknowledged",
                     "remind": "unacknowledged", "reset": "acknowledged"},
    "returned": {"raise": "unacknowledged", "acknowledge": "normal", "reset": "returned"},
    "latched": {"raise": "unacknowledged", "acknowledge": "latched_acknowledged", "reset": "normal"},
    "latched_acknowledged": {"raise": "unacknowledged", "acknowledge": "latched_acknowledged", "reset": "normal"},
}  # fmt: skip


@pytest.mark.parametrize("state", al.STATES)
@pytest.mark.parametrize("event", al.EVENTS)
def test_a1_each_event_in_each_state_leads_where_it_should_or_is_refused(state, event):
    after = al.NEXT[al.STATES.index(state) * len(al.EVENTS) + al.EVENTS.index(event)]
    assert (al.STATES[after] if after != al.NO else None) == LEADS_TO[state].get(event)


@pytest.mark.parametrize("state", al.STATES)
@pytest.mark.parametrize("i", [0, 1, COUNT - 1])
def test_a1_an_alarm_that_is_told_or_over_goes_by_the_table_alone_and_a_state_that_contradicts_it_is_refused(i, state):
    for active in (0, 1):
        a = Bench().a
        a.state[i], a.active[i] = al.STATES.index(state), active
        event = "raise" if not active else "clear_latching" if TABLE[i][2] else "clear"
        after = LEADS_TO[state].get(event)
        if after is None:
            with pytest.raises(ValueError, match=f"^alarm {TABLE[i][0]}: event {event} in state {state}$"):
                a.tell(i, 1 - active)
            after = state
        else:
            a.tell(i, 1 - active)
        assert [al.STATES[each] for each in a.state] == [after if k == i else "normal" for k in PLACES]


def test_as_built_nothing_is_wrong_and_the_relay_is_not_yet_energised():
    a = Bench().a
    assert (a.state, a.active, a.detail, a.raised) == ([0] * COUNT, [0] * COUNT, [0] * COUNT, [0] * COUNT)
    assert (a.quiet, a.remind) == ([NEVER] * N_SOUNDING, [NEVER] * N_SOUNDING)
    assert (a.horn, a.beacon, a.relay, a.service, a.calling, a.late, a.nothing) == (0, 0, 0, 0, 0, 0, 1)
    assert (a.bell, a.bell_at) == ([0] * N_SOUNDING, [NEVER] * N_SOUNDING)
    assert (a.waiting, a.fresh) == (False, False)
    assert (a.loud, a.left, a.any()) == (False, False, False)
    a.step(0)
    assert (a.horn, a.beacon, a.relay, a.late, a.nothing) == (0, 0, 1, 0, 1)


@pytest.mark.parametrize("i", PLACES)
def test_a1_a_condition_raises_and_clears_once_and_every_raise_is_counted(i):
    bench = Bench()
    a = bench.a
    gone = LATCHED if i in LATCHING else RETURNED
    for k in (1, 2):
        for _ in range(3):
            a.tell(i, 1)
            assert (a.state[i], a.active[i], a.raised[i]) == (UNACKNOWLEDGED, 1, k)
        for _ in range(3):
            a.tell(i, 0)
            assert (a.state[i], a.active[i], a.raised[i]) == (gone, 0, k)
    a.tell(i, 1)
    a.silence()
    assert a.state[i] == ACKNOWLEDGED
    a.tell(i, 0)
    assert a.state[i] == (LATCHED_ACKNOWLEDGED if i in LATCHING else NORMAL)
    assert a.any() == (i in LATCHING)
    a.reset()
    assert (a.state[i], a.any()) == (NORMAL, False)
    assert sum(a.state) == sum(a.active) == 0, "no other alarm was touched"


@pytest.mark.parametrize("state", range(6))
def test_j4_after_a_power_up_what_nobody_acknowledged_goes_on_and_what_somebody_did_is_raised_anew(state):
    for holds in (0, 1):
        bench = Bench()
        a = bench.a
        a.state = [state] * COUNT
        a.begin()
        for i in PLACES:
            over = {ACKNOWLEDGED: (NORMAL, LATCHED_ACKNOWLEDGED)}
            assert a.state[i] == over.get(state, (state, state))[i in LATCHING]
        assert a.active == [int(state == UNACKNOWLEDGED)] * COUNT
        bench.go(on=PLACES if holds else (), off=() if holds else PLACES)
        for i in PLACES:
            cleared = {UNACKNOWLEDGED: (RETURNED, LATCHED), ACKNOWLEDGED: (NORMAL, LATCHED_ACKNOWLEDGED)}
            over = cleared.get(state, (state, state))[i in LATCHING]
            assert (a.state[i], a.active[i]) == ((UNACKNOWLEDGED, 1) if holds else (over, 0))
        assert a.raised == [holds * int(state != UNACKNOWLEDGED)] * COUNT, "one episode is one alarm, dark or not"


@pytest.mark.parametrize("i", SOUNDING)
def test_a2_after_a_power_up_an_alarm_that_nobody_acknowledged_is_heard_again(i):
    bench = Bench()
    bench.a.state[i] = UNACKNOWLEDGED
    bench.a.begin()
    assert bench.go(on=[i]) == 1
    heard = bench.heard(300_000)
    assert heard == ([] if i == 0 else [(60_000 if i in HIGHS else 20_000, 0)])


@pytest.mark.parametrize("i", PLACES)
def test_a1_the_detail_is_that_of_the_raise_and_contacts_add_up(i):
    adds_up = TABLE[i][0] in ("floats_out_of_sequence", "chattering", "float_wiring")
    a = Bench().a
    for detail, held in ((2, 2), (4, 6 if adds_up else 2), (0, 6 if adds_up else 2)):
        a.tell(i, 1, detail)
        assert a.detail[i] == held
    a.tell(i, 0)
    assert a.detail[i] == (6 if adds_up else 2), "it is still to be read"
    a.tell(i, 1, 1)
    assert a.detail[i] == 1
    a.tell(i, 0)
    a.tell(i, 1)
    assert a.detail[i] == 0


@pytest.mark.parametrize("state", range(6))
def test_a1_a_reset_ends_what_is_latched_and_what_is_still_there_stays(state):
    a = Bench().a
    a.state = [state] * COUNT
    a.reset()
    assert a.state == [NORMAL if state in (LATCHED, LATCHED_ACKNOWLEDGED) else state] * COUNT
    assert a.any() == (state in (UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED))


# What is heard and seen ----------------------------------------------------------------------------


def put(bench, i, state):
    """Put alarm `i` into a state as an event would."""
    bench.a.state[i] = state
    if i < N_SOUNDING:
        bench.a.turned(i, state, False)


def shown(states, quiet=(), test=0):
    """What A2 and A3 have for alarms in `states` ({place: state}): (horn, beacon, relay, service, nothing)."""
    loud = any(i in SOUNDING and state == UNACKNOWLEDGED and i not in quiet for i, state in states.items())
    lit = any(i in SOUNDING and state != NORMAL for i, state in states.items())
    calls = any(i in HIGHS and state not in (NORMAL, LATCHED_ACKNOWLEDGED) for i, state in states.items())
    needed = any(i in MEDIUMS and state not in (NORMAL, LATCHED_ACKNOWLEDGED) for i, state in states.items())
    nothing = all(state == NORMAL for state in states.values())
    relays = int(not calls and not test), int(not needed and not test)
    return int(loud or test), int(lit or test), *relays, int(nothing)


@pytest.mark.parametrize(("test", "hushed"), list(product((0, 1), (False, True))))
def test_a2_a3_what_one_alarm_in_each_state_does_to_horn_beacon_and_relay(test, hushed):
    for i, state in product(PLACES, range(6)):
        if hushed and i not in SOUNDING:
            continue
        bench = Bench(MASK + 1 - 1000, calls=1)
        put(bench, i, state)
        if hushed:
            bench.a.quiet[i] = 0  # a second from now, across the wrap
        bench.go(test=test)
        a = bench.a
        expected = shown({i: state}, {i} if hushed else (), test)
        assert (a.horn, a.beacon, a.relay, a.service, a.nothing) == expected, (TABLE[i][0], al.STATES[state])


# The first and last high, medium and low, and one that latches.
FOUR = (0, 8, 9, N_SOUNDING - 1, N_SOUNDING, LATCHING[0])


@pytest.mark.parametrize(("i", "k"), [(i, k) for i, k in product(FOUR, FOUR) if i < k])
def test_a2_a3_what_two_alarms_do_together(i, k):
    for one, other in product(range(6), range(6)):
        bench = Bench(calls=1)
        put(bench, i, one)
        put(bench, k, other)
        bench.go()
        a = bench.a
        assert (a.horn, a.beacon, a.relay, a.service, a.nothing) == shown({i: one, k: other}), (one, other)


def test_a3_each_step_is_judged_anew():
    bench = Bench()
    bench.go(on=[0])
    assert (bench.a.horn, bench.a.beacon, bench.a.relay, bench.a.nothing) == (1, 1, 0, 0)
    bench.go(off=[0], silence=True)
    assert (bench.a.horn, bench.a.beacon, bench.a.relay, bench.a.nothing) == (0, 0, 1, 1)
    assert (bench.a.loud, bench.a.left) == (False, False)


# The timer -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("start", [0, MASK - 1000, MASK - 5000])
def test_the_timer_awaits_the_soonest_of_all_quiet_times_and_reminders(start):
    for first, second in product((NEVER, 900, 1001, 6000), repeat=2):
        for i, k in ((0, 19), (19, 0), (5, 5)):
            bench = Bench(start)
            for times, place, ahead in ((bench.a.quiet, i, first), (bench.a.remind, k, second)):
                times[place] = NEVER if ahead == NEVER else (start + ahead) & MASK
            bench.a.moved = True
            bench.go()
            there = [ahead for ahead in (first, second) if ahead != NEVER]
            assert bench.left(tm.ALARM) == min(there, default=None)
            assert not bench.a.moved
            bench.a.quiet[3] = (start + 500) & MASK
            bench.go()
            assert bench.left(tm.ALARM) == min(there, default=None), "looked at only when one was set or ended"


@pytest.mark.parametrize("start", [0, MASK + 1 - 1000, MASK + 1 - 5000])
def test_what_is_due_lapses_and_what_is_not_stays(start):
    bench = Bench(start)
    a = bench.a
    a.state = [ACKNOWLEDGED] * COUNT
    for i in range(N_SOUNDING):
        a.quiet[i], a.remind[i] = (start + 1000 * (i + 1)) & MASK, (start + 1000 * (i + 3)) & MASK
    bench.go()
    quiet, remind = list(a.quiet), list(a.remind)
    for ms, gone in ((1000, 1000), (4000, 5000)):
        bench.go(ms)
        assert a.quiet == [NEVER if 1000 * (i + 1) <= gone else quiet[i] for i in range(N_SOUNDING)]
        assert a.remind == [NEVER if 1000 * (i + 3) <= gone else remind[i] for i in range(N_SOUNDING)]
        told = [UNACKNOWLEDGED if 1000 * (i + 3) <= gone else ACKNOWLEDGED for i in range(N_SOUNDING)]
        assert a.state[:N_SOUNDING] == told
        assert bench.left(tm.ALARM) == 1000


@pytest.mark.parametrize("place", [0, 4, 11])
def test_a2_a_silence_in_the_very_step_of_a_reminder_silences_it(place):
    c = Controller(s.defaults())
    wait_ms = 1_800_000 if place == 0 else 43_200_000
    c.alarms.tell(place, 1)
    c.alarms.silence()
    c.alarms.step(0)
    c.timers.expire(900_000)
    c.alarms.step(0)
    c.timers.expire(wait_ms)
    c.alarms.tell(place, 1)
    c.alarms.silence()
    c.alarms.step(0)
    assert c.alarms.horn == 0
    assert c.alarms.remind[place] == 2 * wait_ms, "the next reminder counts from here"
