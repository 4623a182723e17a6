"""The calls for help by themselves, with one line and with two (A3)."""

import pytest
from duplexsump.control import timers as tm
from duplexsump.control.ticks import MASK

from tests.control.alarm_bench import (
    ACKNOWLEDGED,
    HIGHS,
    HOUR,
    LATCHED,
    MEDIUMS,
    MINUTE,
    N_SOUNDING,
    NORMAL,
    PLACES,
    RETURNED,
    SOUNDING,
    Bench,
)

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


@pytest.mark.parametrize("start", [0, MASK - HOUR // 2])
@pytest.mark.parametrize("calls", [0, 1])
@pytest.mark.parametrize("i", SOUNDING)
def test_a3_one_that_has_returned_calls_until_its_last_chirp_an_hour_later_and_the_beacon_stays(i, calls, start):
    bench = Bench(start, calls=calls)
    bench.go(on=[i])
    bench.go(MINUTE, off=[i])
    lasts = bench.a.state[i] == LATCHED
    bench.heard(HOUR + 9900)
    called = int(i in HIGHS), int(i in MEDIUMS)
    assert (1 - bench.a.service, bench.a.beacon) == (called[1], 1)
    if i in HIGHS:
        assert bench.a.relay == 0
    bench.go(100)
    stays = called if lasts else (0, 0)
    assert (bench.a.state[i], bench.a.beacon) == (LATCHED if lasts else RETURNED, 1), "somebody must look"
    assert bench.a.service == 1 - stays[1]
    assert lines(bench, 3 * DAY) == ([] if not lasts or calls else lines_of_a_latched())
    bench.go(on=[i])
    assert (1 - bench.a.relay if i in HIGHS else 1 - bench.a.service) == 1, "come again, it calls again"


def lines_of_a_latched():
    """The relay's edges over the three days that begin an hour after the first call, and 70 s."""
    at = HOUR + MINUTE + 10_000
    return [(k * DAY + on * CALL - at, on) for k in (1, 2, 3) for on in (0, 1)]
