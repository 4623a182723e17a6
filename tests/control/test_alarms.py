"""The alarms by themselves: IEC 62682's states by table, what is heard and seen, quiet times, reminders, the chirp."""

from itertools import product

import pytest
from duplexsump.control import alarms as al
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.alarm_table import TABLE
from duplexsump.control.controller import Controller
from duplexsump.control.ticks import MASK, NEVER

from tests.rig import ALARM_PLACE, make_settings

COUNT = len(TABLE)
PLACES = range(COUNT)
HIGHS = [i for i in PLACES if TABLE[i][1] == 0]
SOUNDING = [i for i in PLACES if TABLE[i][1] <= 1]
N_SOUNDING = len(SOUNDING)
MEDIUMS = [i for i in PLACES if TABLE[i][1] == 1]
LATCHING = [i for i in PLACES if TABLE[i][2]]
MINUTE, HOUR = 60_000, 3_600_000
QUIET, REMIND_HIGH, REMIND_OTHER = 15 * MINUTE, 30 * MINUTE, 12 * HOUR
NORMAL, UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED, LATCHED, LATCHED_ACKNOWLEDGED = range(6)


class Bench:
    """The alarms with a clock; `go` is one step."""

    def __init__(self, start=0, **overrides):
        self.timers = tm.Timers()
        self.a = al.Alarms(make_settings(**overrides), self.timers)
        self.now = start
        self.timers.expire(start)

    def go(self, ms=0, on=(), off=(), silence=False, test=0):
        self.now = (self.now + ms) & MASK
        self.timers.expire(self.now)
        for i in on:
            self.a.tell(i, 1)
        for i in off:
            self.a.tell(i, 0)
        if silence:
            self.a.silence()
        self.a.step(test)
        return self.a.horn

    def left(self, timer):
        return self.timers.left_ms(timer) if self.timers.running(timer) else None

    def heard(self, until_ms):
        """Step from due instant to due instant for `until_ms`; return [(ms, horn)] of the horn's edges."""
        edges, horn, gone = [], self.a.horn, 0
        while gone < until_ms:
            ahead = min(self.timers.next_ms(until_ms), until_ms - gone)
            gone += ahead
            if self.go(ahead) != horn:
                horn = self.a.horn
                edges.append((gone, horn))
        return edges


def test_the_table_has_what_these_claims_need():
    assert (list(range(9)), list(range(N_SOUNDING)), COUNT) == (HIGHS, SOUNDING, COUNT)
    assert set(LATCHING) == {ALARM_PLACE[f"pump_{k}_{name}"] for k in (1, 2) for name in ("lockout", "moisture")}


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
def test_j4_after_a_power_up_what_still_holds_is_raised_anew(state):
    a = Bench().a
    a.state = [state] * COUNT
    a.begin()
    for i in PLACES:
        cleared = {UNACKNOWLEDGED: (RETURNED, LATCHED), ACKNOWLEDGED: (NORMAL, LATCHED_ACKNOWLEDGED)}
        assert a.state[i] == cleared.get(state, (state, state))[i in LATCHING]
    a.tell(0, 1)
    assert (a.state[0], a.active[0]) == (UNACKNOWLEDGED, 1)


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


SECOND = 1000
STAGES = {  # (ms, horn) of the edges for one alarm that nobody attends to, from its raise on
    "high water": [],
    "high": [(5 * MINUTE, 0)] + [(k * HOUR + (1 - on) * MINUTE, on) for k in range(1, 7) for on in (1, 0)],
    "medium": [(2 * MINUTE, 0)] + [(k * MINUTE + (1 - on) * 20 * SECOND, on) for k in (10, 30, 60) for on in (1, 0)],
    "returned": [(k * MINUTE + (1 - on) * 10 * SECOND, on) for k in (10, 30, 60) for on in (1, 0)],
}  # fmt: skip


def kind(i):
    return "high water" if i == 0 else "high" if i in HIGHS else "medium"


@pytest.mark.parametrize("start", [0, MASK - 5 * MINUTE])
@pytest.mark.parametrize("i", SOUNDING)
def test_a2_the_horn_for_an_alarm_that_nobody_attends_to_grows_ever_more_seldom(i, start):
    bench = Bench(start)
    assert bench.go(on=[i]) == 1
    stages = STAGES[kind(i)]
    if i == 0:
        assert bench.heard(3 * 24 * HOUR) == []
        return
    last = stages[-1][0]
    late = [(last + k * 12 * HOUR - (1 if on else 0) * MINUTE, on) for k in (1, 2) for on in (1, 0)]
    assert bench.heard(last + 25 * HOUR) == stages + late


@pytest.mark.parametrize("i", SOUNDING)
def test_a2_an_alarm_that_returned_unacknowledged_chirps_three_times_and_is_then_only_seen(i):
    bench = Bench(MASK - 5 * MINUTE)
    bench.go(on=[i])
    assert bench.go(SECOND, off=[i]) == 0
    assert bench.heard(3 * 24 * HOUR) == STAGES["returned"]
    assert (bench.a.beacon, bench.a.late, bench.left(tm.BELL), bench.left(tm.ALARM)) == (1, 0, None, None)


@pytest.mark.parametrize("i", SOUNDING)
def test_a2_one_that_comes_back_before_anybody_acknowledged_it_sounds_shorter(i):
    bench = Bench()
    bench.go(on=[i])
    bench.go(SECOND, off=[i])
    assert bench.go(SECOND, on=[i]) == 1
    first = bench.heard(10 * MINUTE)[:1]
    assert first == {"high water": [], "high": [(MINUTE, 0)], "medium": [(20 * SECOND, 0)]}[kind(i)]


def test_a2_all_that_is_long_unacknowledged_shares_one_minute_every_twelve_hours():
    bench = Bench()
    for i in (9, 10, 11, 1):
        bench.go(7 * MINUTE, on=[i])
    bench.heard(24 * HOUR)
    edges = bench.heard(7 * 24 * HOUR)
    assert len(edges) == 2 * 14
    assert {off - on for (on, _), (off, _) in zip(edges[::2], edges[1::2], strict=True)} == {MINUTE}
    assert bench.go(SECOND, silence=True) == 0
    assert (bench.a.late, bench.left(tm.BELL)) == (0, None)


def test_a2_what_is_hushed_or_over_is_not_reminded_of_with_the_rest():
    bench = Bench()
    bench.go(on=[9])
    bench.heard(2 * HOUR)
    assert bench.left(tm.BELL) is not None
    bench.a.quiet[9], bench.a.moved = (bench.now + HOUR) & MASK, True
    bench.go()
    assert bench.left(tm.BELL) is None
    assert bench.heard(2 * HOUR)[0] == (HOUR, 1), "and sounds from the beginning when that time is up"


@pytest.mark.parametrize("i", [i for i in SOUNDING if i != 0])
def test_a2_the_end_of_a_stage_that_falls_on_the_wrap_of_the_clock_is_met(i):
    first, _horn = STAGES[kind(i)][0]
    bench = Bench(MASK + 1 - first)
    assert bench.go(on=[i]) == 1
    assert bench.go(first) == 0


def test_a2_of_two_the_twelve_hours_run_from_the_last_stage_of_the_first_that_has_none_left():
    bench = Bench()
    bench.go(on=[9])
    bench.heard(5 * MINUTE)
    bench.go(on=[10])
    last = STAGES["medium"][-1][0]
    edges = bench.heard(13 * HOUR)
    assert edges[-2:] == [(last + 12 * HOUR - (6 if on else 5) * MINUTE, on) for on in (1, 0)]
    assert edges[-3] == (last, 0), "the last stage of the second"


def test_a2_silence_within_the_minute_that_all_share_ends_it():
    bench = Bench()
    bench.go(on=[9])
    assert bench.heard(STAGES["medium"][-1][0] + 12 * HOUR - 30 * SECOND)[-1][1] == 1
    assert (bench.a.horn, bench.a.late) == (1, 1)
    assert bench.go(SECOND, silence=True) == 0
    assert bench.a.late == 0
    assert bench.heard(11 * HOUR) == []


@pytest.mark.parametrize("gone", [False, True], ids=["still there", "returned"])
@pytest.mark.parametrize("i", [1, 9])
def test_a2_a_reset_that_ends_nothing_is_not_heard(i, gone):
    bench = Bench()
    bench.go(on=[i])
    stages = STAGES["returned"] if gone else STAGES[kind(i)]
    if gone:
        bench.go(SECOND, off=[i])
    bench.heard(stages[-1][0] + SECOND)
    bench.a.reset()
    assert bench.go() == 0
    assert bench.heard(6 * HOUR) == []


# The calls for help -------------------------------------------------------------------------------

DAY, CALL = 24 * HOUR, 10 * MINUTE


def lines(bench, until_ms):
    """Step from due instant to due instant for `until_ms`; return [(ms, relay)] of the alarm relay's edges."""
    edges, relay, gone = [], bench.a.relay, 0
    while gone < until_ms:
        ahead = min(bench.timers.next_ms(until_ms), until_ms - gone)
        gone += ahead
        bench.go(ahead)
        if bench.a.relay != relay:
            relay = bench.a.relay
            edges.append((gone, relay))
    return edges


@pytest.mark.parametrize("start", [0, MASK + 1 - CALL, MASK - DAY])
@pytest.mark.parametrize("call_ms", [MINUTE, CALL, HOUR])
def test_a3_with_one_line_a_call_for_service_is_short_and_made_once_a_day(start, call_ms):
    bench = Bench(start, service_call=call_ms)
    bench.go(on=[9])
    assert (bench.a.relay, bench.a.service, bench.a.calling) == (0, 0, 1)
    assert lines(bench, 2 * DAY + HOUR + 1) == [
        (call_ms, 1), (DAY, 0), (DAY + call_ms, 1), (2 * DAY, 0), (2 * DAY + call_ms, 1),
    ]  # fmt: skip


@pytest.mark.parametrize("i", [9, N_SOUNDING - 1])
def test_a3_silence_ends_the_call_and_one_that_returned_unseen_goes_on_calling(i):
    bench = Bench()
    bench.go(on=[i])
    bench.go(MINUTE, off=[i])
    assert (bench.a.relay, bench.a.service) == (0, 0)
    bench.go(MINUTE, silence=True)
    assert (bench.a.relay, bench.a.service, bench.a.calling, bench.left(tm.CALL)) == (1, 1, 0, None)
    bench.go(MINUTE, on=[i])
    assert (bench.a.relay, bench.left(tm.CALL)) == (0, CALL), "a new one calls at once"


@pytest.mark.parametrize(("back", "calls"), [(RETURNED, False), (LATCHED, False), (ACKNOWLEDGED, True), (NORMAL, True)])
def test_a3_only_a_new_call_is_made_between_two(back, calls):
    bench = Bench()
    bench.go(on=[9])
    bench.go(CALL)
    assert bench.a.relay == 1
    bench.a.state[10] = back
    if back == ACKNOWLEDGED:
        bench.a.active[10], bench.a.remind[10], bench.a.moved = 1, CALL + 1000, True
        bench.go()
        bench.go(1000)
    else:
        bench.go(1000, on=[10])
    assert bench.a.relay == (0 if calls else 1)
    assert bench.left(tm.CALL) == (CALL if calls else DAY - CALL - 1000)


def test_a3_between_two_calls_high_water_is_told_and_makes_no_call_for_service():
    bench = Bench()
    bench.go(on=[9])
    bench.go(CALL)
    bench.go(MINUTE, on=[0])
    assert (bench.a.relay, bench.a.calling, bench.left(tm.CALL)) == (0, 0, DAY - CALL - MINUTE)


def test_a3_a_reset_makes_no_new_call():
    bench = Bench()
    bench.go(on=[9])
    bench.go(CALL)
    bench.a.reset()
    bench.go(MINUTE)
    assert (bench.a.relay, bench.a.calling, bench.left(tm.CALL)) == (1, 0, DAY - CALL - MINUTE)


def test_a3_a_new_one_within_a_call_does_not_lengthen_it():
    bench = Bench()
    bench.go(on=[9])
    bench.go(MINUTE, on=[10])
    assert (bench.a.calling, bench.left(tm.CALL)) == (1, CALL - MINUTE)
    bench.go(CALL - MINUTE)
    assert (bench.a.calling, bench.a.relay) == (0, 1), "what was new in it calls no second time"
    bench.go(1000)
    assert bench.a.calling == 0


@pytest.mark.parametrize("i", PLACES)
def test_a3_with_two_lines_each_has_its_own(i):
    bench = Bench(calls=1)
    bench.go(on=[i])
    assert (bench.a.relay, bench.a.service) == (int(i not in HIGHS), int(i not in MEDIUMS))
    assert (bench.a.calling, bench.left(tm.CALL)) == (0, None)


@pytest.mark.parametrize("i", PLACES)
def test_a3_with_one_line_high_and_medium_alarms_drop_it(i):
    bench = Bench()
    bench.go(on=[i])
    assert (bench.a.relay, bench.a.service) == (int(i not in SOUNDING), int(i not in MEDIUMS))
    assert bench.a.calling == int(i in MEDIUMS)


# Silence -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("state", range(6))
@pytest.mark.parametrize("start", [0, MASK + 1 - QUIET, MASK + 1 - REMIND_HIGH, MASK + 1 - REMIND_OTHER])
def test_a2_silence_acknowledges_what_there_is_and_hushes_what_it_acknowledged(state, start):
    bench = Bench(start)
    a = bench.a
    a.state = [state] * COUNT
    a.silence()
    after = {UNACKNOWLEDGED: ACKNOWLEDGED, RETURNED: NORMAL, LATCHED: LATCHED_ACKNOWLEDGED}.get(state, state)
    assert a.state == [after] * COUNT
    hushed = state in (UNACKNOWLEDGED, RETURNED, LATCHED)
    assert a.quiet == [(start + QUIET) & MASK if hushed else NEVER] * N_SOUNDING
    remind = [(start + (REMIND_HIGH if i == 0 else REMIND_OTHER)) & MASK for i in SOUNDING]
    assert a.remind == (remind if state == UNACKNOWLEDGED else [NEVER] * N_SOUNDING)
    a.step(0)
    assert a.horn == 0
    assert bench.left(tm.ALARM) == (QUIET if hushed else None)


def test_a2_a_silence_leaves_the_times_of_what_it_did_not_acknowledge():
    bench = Bench()
    bench.go(on=[9], silence=True)
    bench.go(MINUTE, silence=True)
    assert bench.a.quiet[9] == QUIET
    assert bench.a.remind[9] == REMIND_OTHER
    assert bench.left(tm.ALARM) == QUIET - MINUTE


@pytest.mark.parametrize("i", [0, 8, 19])
def test_a2_the_same_alarm_coming_back_within_quiet_makes_no_sound_until_the_time_is_up(i):
    bench = Bench()
    bench.go(on=[i])
    assert bench.go(1000, silence=True) == 0
    bench.go(MINUTE, off=[i])
    assert bench.a.state[i] == NORMAL
    assert bench.go(MINUTE, on=[i]) == 0
    assert bench.a.state[i] == UNACKNOWLEDGED
    assert bench.a.beacon == 1
    assert bench.heard(QUIET) == [(QUIET - 2 * MINUTE, 1)] + [(QUIET, 0)] * (i != 0 and i not in HIGHS)


def test_a2_an_alarm_that_came_back_and_went_again_within_quiet_chirps_once_the_time_is_up():
    bench = Bench()
    bench.go(on=[9])
    bench.go(0, silence=True)
    bench.go(MINUTE, off=[9])
    bench.go(MINUTE, on=[9])
    assert bench.go(MINUTE, off=[9]) == 0
    assert bench.a.state[9] == RETURNED
    assert bench.heard(12 * HOUR) == STAGES["returned"][2:], "the first falls within the quiet time"


def test_a2_another_alarm_sounds_whatever_is_hushed():
    bench = Bench()
    bench.go(on=[0], silence=True)
    assert bench.go(1000, on=[1]) == 1


@pytest.mark.parametrize("i", PLACES)
def test_a2_high_water_sounds_again_every_half_hour_other_alarms_every_twelve_and_low_ones_never(i):
    bench = Bench(MASK - HOUR)
    bench.go(on=[i], silence=True)
    wait = REMIND_HIGH if i == 0 else REMIND_OTHER
    for _ in range(2):
        heard = bench.heard(2 * wait - HOUR // 6 if i == 0 else 2 * wait - HOUR)
        assert heard[:1] == ([(wait, 1)] if i in SOUNDING else [])
        assert bench.a.state[i] == (UNACKNOWLEDGED if i in SOUNDING else ACKNOWLEDGED)
        assert bench.go(silence=True) == 0


@pytest.mark.parametrize("i", [0, 9])
def test_a2_an_alarm_that_went_is_not_reminded_of(i):
    bench = Bench()
    bench.go(on=[i], silence=True)
    bench.go(1000, off=[i])
    assert bench.a.remind[i] == NEVER
    assert bench.left(tm.ALARM) == QUIET - 1000
    assert bench.heard(13 * HOUR) == []
    assert bench.left(tm.ALARM) is None
    bench.go(on=[i], silence=True)
    bench.go(QUIET)
    bench.go(1000, off=[i])
    assert bench.left(tm.ALARM) is None, "nor awaited where nothing else is"


def test_a2_a_reminder_is_heard_though_the_quiet_time_is_not_over():
    bench = Bench(quiet=7_200_000)
    bench.go(on=[0], silence=True)
    assert bench.heard(HOUR) == [(REMIND_HIGH, 1)]
    assert bench.a.quiet[0] == NEVER


@pytest.mark.parametrize("place", [0, 4, 11])
def test_a2_a_silence_in_the_very_step_of_a_reminder_answers_it(place):
    bench = Bench()
    wait = REMIND_HIGH if place == 0 else REMIND_OTHER
    bench.go(on=[place], silence=True)
    bench.go(QUIET)
    assert bench.left(tm.ALARM) == wait - QUIET
    assert bench.go(wait - QUIET, silence=True) == 0
    assert bench.a.state[place] == ACKNOWLEDGED
    assert (bench.a.remind[place], bench.a.quiet[place]) == (2 * wait, wait + QUIET)
    assert bench.left(tm.ALARM) == QUIET


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
