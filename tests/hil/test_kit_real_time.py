"""The virtual board in real time as a kit: what lockstep cannot show, a firmware that keeps its times by itself.

Only what happens and in which order is held, and that nothing comes too early; how
long a busy computer takes is not.
"""

import pytest

from hil.bench.bench import Bench
from hil.kits import wires
from hil.kits.base import Missing
from hil.kits.virtual_real_time import SHORT, RealTimeKit, short_settings
from tests.micropython.places import micropython

pytestmark = pytest.mark.long  # boards in real time

PATIENCE_S = 120.0


@pytest.fixture(scope="module")
def bench():
    micropython()
    made = Bench(RealTimeKit())
    made.reset()
    yield made
    made.close()


def test_the_short_rules_are_in_force(bench):
    assert bench.client.settings() == short_settings()
    for name, value in SHORT.items():
        assert bench.setting(name) == value


def test_a_hang_is_caught_by_the_watchdog_and_a_power_cut_drops_everything(bench):
    kit = bench.kit
    bench.draw_normally()
    bench.ready()
    bench.water("off", "lead")
    on_ms = bench.when_any(("pump_1", "pump_2"), 1, PATIENCE_S)[1]
    assert on_ms - bench.mark_ms >= bench.setting("debounce") - bench.timing_ms
    bench.hang()
    pump = "pump_1" if bench.is_on("pump_1") else "pump_2"
    hung_ms = bench.now_ms()
    off_ms = bench.when(pump, 0, PATIENCE_S)
    assert off_ms > hung_ms, "the outputs stay until the watchdog is through"
    bench.when("relay", 1, PATIENCE_S)
    assert kit.board.causes[-1] == 1
    bench.power(False)
    assert [bench.read(name) for name in wires.OUTPUTS] == [0] * len(wires.OUTPUTS)
    # The fresh start forgets the watchdog's reset.
    bench.reset()
    assert bench.value("reset_cause") == 0
    assert bench.value("starts_1") + bench.value("starts_2") == 0


def test_days_do_not_pass_in_a_stride(bench):
    with pytest.raises(Missing, match="time cannot be skipped"):
        bench.stride(1)
