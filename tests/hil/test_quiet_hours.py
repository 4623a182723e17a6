"""Hours in which nothing happens, then a power cut: what survives a reset must have been written (J4, S4)."""

import pytest

from hil.bench.bench import Bench
from hil.kits.virtual import VirtualKit
from hil.procedures import _steps as steps
from tests.micropython.places import micropython

AN_HOUR_MIN = 60


@pytest.fixture
def bench():
    micropython()
    made = Bench(VirtualKit())
    made.reset()
    steps.ready(made)
    yield made
    made.close()


def power_cut(bench):
    """Cut the power for 5 s; return when it is back and the board answers."""
    bench.power(False)
    bench.wait(5)
    bench.power(True)
    bench.wait(1)


@pytest.mark.long
def test_j4_of_the_time_since_the_last_inspection_a_power_cut_takes_an_hour_at_most(bench):
    bench.wait(3 * 3600 - 300)
    before = bench.value("inspection")
    power_cut(bench)
    assert before >= 175
    assert before - AN_HOUR_MIN <= bench.value("inspection") <= before


@pytest.mark.long
def test_s4_power_ups_with_quiet_between_them_are_not_counted_as_near(bench):
    for _ in range(3):
        bench.wait(6 * 60)
        bench.power(False)
        bench.water("off", "lead")
        bench.wait(5)
        bench.power(True)
        back = bench.mark_ms
        _, started = steps.first_on(bench, 60, back)
        # The rest with lead wet: twice the power-up delay, which has not grown.
        assert started - back == pytest.approx(bench.setting("lag_min_off"), abs=500)
        bench.wait(6)
        steps.drain(bench)
        bench.wait(10)
