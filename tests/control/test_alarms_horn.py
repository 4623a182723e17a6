"""The horn by itself: its stages, what all share long after, quiet times, reminders, the chirp (A2)."""

import pytest
from duplexsump.control import timers as tm
from duplexsump.control.ticks import MASK, NEVER

from tests.control.alarm_bench import (
    ACKNOWLEDGED,
    COUNT,
    HIGHS,
    HOUR,
    LATCHED,
    LATCHED_ACKNOWLEDGED,
    MINUTE,
    N_SOUNDING,
    NORMAL,
    PLACES,
    QUIET,
    REMIND_HIGH,
    REMIND_OTHER,
    RETURNED,
    SECOND,
    SOUNDING,
    STAGES,
    UNACKNOWLEDGED,
    Bench,
    kind,
)


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
