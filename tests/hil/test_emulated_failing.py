"""Faults of the board's own electronics on the emulated Pico: each is told, and none is unsafe.

A float input that oscillates, an analog converter that is stuck, a clock that stands still, flash that is worn, power
that goes in mid-write.  A silent or stuck part of the I2C bus: `test_emulated_bus.py`.  Needs MicroPython's UF2.
"""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s

from hil.bench.bench import ALARMS, Bench
from tests.hil.emulated_chip import uf2


@pytest.fixture(scope="module")
def shared():
    path = uf2()
    from hil.kits.emulated.kit import EmulatedKit

    with EmulatedKit(path) as made:
        yield Bench(made)  # one for all: each listens to the relays


@pytest.fixture
def bench(shared):
    shared.kit.wear_flash(False)
    shared.kit.stuck = False
    shared.reset()
    return shared


@pytest.fixture
def kit(bench):
    return bench.kit


def active(kit, name):
    return bool(kit.client().states()["active"] >> ALARMS[name] & 1)


def pumps(kit):
    return kit.read("pump_1"), kit.read("pump_2")


def on(kit):
    return any(pumps(kit))


def test_l1_a_float_input_that_oscillates_at_10_khz_counts_as_wet_is_told_and_pumping_goes_on_and_ends(kit, bench):
    kit.run_ms(kit.settings[s.MIN_OFF_MS])
    pin = kit.pins.contacts["off"][0][0]
    noise = kit.pico.oscillate(pin, 10_007.0)  # beside 10 kHz, which the tick of 100 ms would see standing still
    kit.run_ms(75_000)
    assert kit.client().states()["chattering"] == r.OFF and active(kit, "chattering")
    assert not on(kit), "off wet by itself starts nothing"
    kit.drive("lead", 1)
    assert kit.run_until(lambda: on(kit), 5000)
    bench.draws(1, "normal")
    bench.draws(2, "normal")
    kit.run_ms(5000)
    kit.drive("lead", 0)
    limit_ms = 3 * kit.settings[s.PUMP_DOWN_LEAD_MS] + kit.settings[s.BLIND_RUN_MS] + 5000
    assert kit.run_until(lambda: not on(kit), limit_ms)
    noise.stop()
    kit.run_ms(15_000)
    assert kit.client().states()["chattering"] == 0 and kit.client().values()["overruns"] == 0


def test_r3_with_both_currents_stuck_at_nothing_it_is_told_and_high_water_is_pumped_all_the_same(kit, bench):
    kit.stick_adc()
    kit.run_ms(kit.settings[s.MIN_OFF_MS])
    bench.water("off", "lead")
    assert kit.run_until(lambda: active(kit, "no_pump"), 60_000), "which tells of the second pump as well"
    assert active(kit, "pump_1_unavailable") and kit.read("relay") == 0
    bench.water("off", "lead", "lag", "high")
    assert kit.run_until(lambda: on(kit), 20_000), "tried within R3's first time"
    for _ in range(9):
        kit.run_ms(5000)
        assert on(kit), "and kept on by the level, whatever the current says"


def test_s6_with_the_currents_stuck_at_a_running_pumps_it_is_told_and_high_water_is_pumped_all_the_same(kit, bench):
    kit.run_ms(kit.settings[s.MIN_OFF_MS])
    bench.draws(1, "normal")
    bench.draws(2, "normal")
    bench.water("off", "lead")
    assert kit.run_until(lambda: on(kit), 5000)
    kit.run_ms(3000)
    n = 1 if kit.read("pump_1") else 2
    kit.stick_adc()
    bench.water("off")
    kit.run_ms(4000)
    bench.water()
    assert kit.run_until(lambda: not on(kit), 5000)
    assert kit.run_until(lambda: active(kit, f"pump_{n}_will_not_stop"), 10_000) and kit.read("relay") == 0
    bench.water("off", "lead", "lag", "high")
    assert kit.run_until(lambda: pumps(kit) == (1, 1), 40_000)


def test_m3_a_clock_that_stands_still_lets_the_watchdog_drop_everything_and_start_anew(kit, bench):
    kit.run_ms(kit.settings[s.MIN_OFF_MS])
    bench.water("off", "lead", "lag", "high")
    bench.draws(1, "normal")
    bench.draws(2, "normal")
    assert kit.run_until(lambda: on(kit), 5000)
    began = kit.now_ms()
    kit.pico.stop_clock()
    assert kit.run_until(lambda: not on(kit) and not kit.read("relay"), 9000), "the watchdog drops everything"
    assert kit.now_ms() - began <= 8500
    assert kit.run_until(lambda: on(kit), 20_000), "with high wet a pump runs again"
    assert kit.client().values()["reset_cause"] == 1


@pytest.mark.campaign
def test_m3_a_clock_that_stands_still_for_good_leaves_everything_dropped(kit, bench):
    # What follows in the lives after it: `test_stopped_clock.py`.  A second of a chip that waits in vain takes the
    # emulator more than a minute.
    kit.run_ms(kit.settings[s.MIN_OFF_MS])
    bench.water("off", "lead")
    assert kit.run_until(lambda: on(kit), 5000)
    kit.pico.stop_clock(for_good=True)
    assert kit.run_until(lambda: not on(kit) and not kit.read("relay"), 9000)
    kit.run_ms(1000)
    assert not kit.read("relay") and not kit.read("service") and not on(kit), "both relays call for help"


def test_m3_worn_flash_is_told_and_costs_the_journal_alone(kit, bench):
    kit.run_ms(2000)
    kit.wear_flash()
    kit.run_ms(kit.settings[s.MIN_OFF_MS])
    bench.water("off", "lead")
    assert kit.run_until(lambda: on(kit), 5000)
    assert kit.run_until(lambda: active(kit, "storage_failed"), 30_000) and kit.read("service") == 0
    states, values = kit.client().states(), kit.client().values()
    assert states["storage_fault"] and states["board_faults"] == r.FAULT_STORAGE and values["storage_faults"]
    assert on(kit) and values["mode"] == 0
    kit.wear_flash(False)
    assert kit.run_until(lambda: not active(kit, "storage_failed"), 90_000), "tried again each minute"


@pytest.mark.parametrize("whole", [0, 1, 3])
def test_j1_power_that_goes_in_the_midst_of_a_write_leaves_a_board_that_starts_with_its_settings(kit, bench, whole):
    kit.run_ms(kit.settings[s.MIN_OFF_MS])
    settings = list(kit.client().settings())
    kit.pico.failing.tear(whole)
    bench.water("off", "lead")
    kit.run_until(lambda: kit.pico.failing.torn, 60_000)
    for turn in range(20):  # whatever the board writes next
        if kit.pico.failing.torn:
            break
        bench.water(*(("off", "lead", "lag") if turn % 2 else ("off", "lead")))
        kit.run_until(lambda: kit.pico.failing.torn, 10_000)
    assert kit.pico.failing.torn
    kit.power(False)
    kit.power(True)
    assert kit.run_until(lambda: on(kit), 40_000), "lead is wet"
    assert list(kit.client().settings()) == settings
    names = {path for path in kit.files() if path.startswith("/pit/journal/")}
    assert names and not active(kit, "storage_failed")
