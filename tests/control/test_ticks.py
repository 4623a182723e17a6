"""The ring of milliseconds: adding and subtracting on both sides of every wrap, beside plain arithmetic."""

import pytest
from duplexsump.control import ticks

RING = 2**30
DELAYS = (-86_400_000, -100, -1, 0, 1, 100, 60_000, 86_400_000)
TIMES = (0, 1, 99, 100, RING // 2 - 1, RING // 2, RING // 2 + 1, RING - 86_400_000, RING - 100, RING - 1)


@pytest.mark.parametrize("time", TIMES)
def test_i10_a_delay_is_added_round_the_ring(time):
    for delay in DELAYS:
        assert ticks.add(time, delay) == (time + delay) % RING


@pytest.mark.parametrize("time", TIMES)
def test_i10_a_difference_is_signed_and_half_a_ring_counts_as_behind(time):
    for apart in (*DELAYS, RING // 2 - 1, -(RING // 2 - 1), -(RING // 2)):
        assert ticks.diff((time + apart) % RING, time) == apart
    assert ticks.diff((time + RING // 2) % RING, time) == -(RING // 2)


def test_the_constants_are_what_they_are_called():
    assert (ticks.MASK, ticks.HALF, ticks.DAY_MS) == (RING - 1, RING // 2, 24 * 3_600_000)
    assert ticks.NEVER < 0 <= ticks.add(0, 0), "no time of the ring looks like a deadline that is not armed"
