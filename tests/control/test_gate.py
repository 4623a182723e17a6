"""The gate, proved on its own: I1, I2, I7, S1, S2, S4, A4 and that outputs cannot be had past it (M2).

`sumpbench mutants --module gate` puts every mutant of the gate to these claims.  Times in ms.
"""

import pytest
from duplexsump.control import records as r
from duplexsump.control import timers as tm

from tests.control.gate_bench import BOTH, FLOOD_OFF, LAG_OFF, MIN_OFF, NONE, PUMP_1, PUMP_2, GateBench

RING_MS = 1 << 30


# As built ----------------------------------------------------------------------------------------


def test_a_new_gate_asks_for_nothing_and_bars_nothing():
    built = GateBench().as_built
    for name in ("out", "barred", "on_battery", "first", "contacts", "generator"):
        assert built[name] == 0, name


# Power-up delay ---------------------------------------------------------------------------------


def test_s4_nothing_runs_before_boot_hold_is_over():
    gate = GateBench(min_off=10_000, lag_min_off=10_000, flood_min_off=5000)
    assert gate.ask(0, BOTH, lead=2, lag=4, high=8) == NONE
    assert gate.ask(9_999, BOTH, lead=2, lag=4, high=8) == NONE
    assert gate.ask(10_000, BOTH, lead=2, lag=4, high=8) == PUMP_1


def test_s4_both_pumps_count_as_just_stopped():
    for first, pump in ((0, PUMP_1), (1, PUMP_2)):
        gate = GateBench()
        assert gate.ask(MIN_OFF - 1, pump, first=first) == NONE
        assert gate.ask(MIN_OFF, pump, first=first) == pump


def test_s4_a_power_up_takes_the_outputs_down():
    gate = GateBench()
    assert gate.ask(70_000, PUMP_1) == PUMP_1
    gate.power_up(70_100)
    assert gate.gate.out == NONE
    assert gate.ask(70_100, PUMP_1, high=8) == NONE


@pytest.mark.parametrize("boot_hold", [10_000, 30_000])
@pytest.mark.parametrize("wet", [{"lead": 2}, {"lag": 4}, {"high": 8}])
def test_s4_the_hold_is_the_same_however_often_the_power_comes_back(wet, boot_hold):
    gate = GateBench(boot_hold=boot_hold, lag_min_off=5000, flood_min_off=5000)
    for now in (10_000, 20_000, 30_000, 40_000):
        gate.power_up(now)
    assert gate.ask(40_000 + boot_hold - 1, PUMP_1, **wet) == NONE
    assert gate.ask(40_000 + boot_hold, PUMP_1, **wet) == PUMP_1


def test_s4_a_long_boot_hold_is_a_setting():
    gate = GateBench(boot_hold=30_000, min_off=10_000, lag_min_off=10_000)
    assert gate.ask(29_999, PUMP_1, lead=2) == NONE
    assert gate.ask(30_000, PUMP_1, lead=2) == PUMP_1


# Rest -------------------------------------------------------------------------------------------


def run_and_stop(gate, pump, stop_ms=100_000):
    """Run one pump from 70 s on and stop it at `stop_ms`."""
    assert gate.ask(70_000, pump) == pump
    assert gate.ask(stop_ms, NONE) == NONE
    return stop_ms


def test_s1_each_pump_rests_as_the_contacts_say():
    for pump in (PUMP_1, PUMP_2):
        for wet, rest in (
            ({}, MIN_OFF), ({"lead": 2}, LAG_OFF), ({"lag": 4}, FLOOD_OFF), ({"high": 8}, FLOOD_OFF),
            ({"lead": 2, "lag": 4, "high": 8}, FLOOD_OFF), ({"lead": 2, "lag": 4}, FLOOD_OFF),
        ):
            gate = GateBench()
            stop = run_and_stop(gate, pump)
            assert gate.ask(stop + rest - 1, pump, **wet) == NONE, (pump, wet)
            assert gate.ask(stop + rest, pump, **wet) == pump, (pump, wet)


def test_s1_with_the_other_pump_running_lead_wet_does_not_shorten_the_rest():
    gate = GateBench()
    assert gate.ask(70_000, PUMP_1) == PUMP_1
    assert gate.ask(80_000, BOTH) == BOTH
    assert gate.ask(100_000, PUMP_2) == PUMP_2
    assert gate.ask(100_000 + LAG_OFF, BOTH, lead=2) == PUMP_2
    assert gate.ask(100_000 + MIN_OFF - 1, BOTH, lead=2) == PUMP_2
    assert gate.ask(100_000 + MIN_OFF, BOTH, lead=2) == BOTH


def test_s1_with_the_other_pump_running_lag_wet_shortens_the_rest():
    gate = GateBench()
    assert gate.ask(70_000, PUMP_1) == PUMP_1
    assert gate.ask(80_000, BOTH) == BOTH
    assert gate.ask(100_000, PUMP_2) == PUMP_2
    assert gate.ask(100_000 + LAG_OFF - 1, BOTH, lead=2, lag=4) == PUMP_2
    assert gate.ask(100_000 + LAG_OFF, BOTH, lead=2, lag=4) == BOTH


def test_s1_a_lag_that_is_not_believed_does_not_shorten_the_rest():
    gate = GateBench()
    stop = run_and_stop(gate, PUMP_1)
    assert gate.ask(stop + LAG_OFF, PUMP_1) == NONE
    assert gate.ask(stop + MIN_OFF, PUMP_1) == PUMP_1


def test_i10_a_deadline_at_the_very_instant_at_which_the_clock_wraps_is_a_deadline():
    for wet, rest in (({}, MIN_OFF), ({"lead": 2}, LAG_OFF), ({"high": 8}, FLOOD_OFF)):
        gate = GateBench()
        gate.power_up(RING_MS - 300_000)
        assert gate.ask(RING_MS - 200_000, PUMP_1) == PUMP_1
        assert gate.ask(RING_MS - rest, NONE) == NONE
        assert gate.ask(RING_MS - 100, PUMP_1, **wet) == NONE
        assert gate.ask(0, PUMP_1, **wet) == PUMP_1
    gate = GateBench()
    gate.power_up(RING_MS - 300_000)
    assert gate.ask(RING_MS - 3000, BOTH) == PUMP_1
    assert gate.ask(RING_MS - 100, BOTH) == PUMP_1
    assert gate.ask(0, BOTH) == BOTH
    for wet in ({"lead": 2}, {"lag": 4}, {"high": 8}):
        gate = GateBench(min_off=10_000, lag_min_off=5000, flood_min_off=5000)
        gate.power_up(RING_MS - 10_000)
        assert gate.ask(RING_MS - 100, PUMP_1, **wet) == NONE
        assert gate.ask(0, PUMP_1, **wet) == PUMP_1


def test_s1_rested_tells_it_beforehand():
    gate = GateBench()
    stop = run_and_stop(gate, PUMP_2)
    assert gate.ask(stop + FLOOD_OFF, NONE) == NONE
    assert gate.gate.rested(0)
    assert not gate.gate.rested(1)
    gate.gate.contacts = 2
    assert not gate.gate.rested(1)
    gate.gate.contacts = 2 | 4
    assert gate.gate.rested(1)
    gate.gate.contacts = 8
    assert gate.gate.rested(1)


# Spacing ----------------------------------------------------------------------------------------


def test_s2_two_starts_keep_start_spacing():
    gate = GateBench()
    assert gate.ask(70_000, BOTH) == PUMP_1
    assert gate.ask(72_999, BOTH) == PUMP_1
    assert gate.ask(73_000, BOTH) == BOTH


def test_s2_on_a_generator_they_keep_generator_spacing():
    gate = GateBench()
    assert gate.ask(70_000, BOTH, generator=1) == PUMP_1
    assert gate.ask(79_999, BOTH, generator=1) == PUMP_1
    assert gate.ask(80_000, BOTH, generator=1) == BOTH


def test_s2_the_first_goes_first():
    assert GateBench().ask(70_000, BOTH, first=0) == PUMP_1
    assert GateBench().ask(70_000, BOTH, first=1) == PUMP_2


def test_s2_the_second_follows_whichever_goes_first():
    for first in (0, 1):
        gate = GateBench()
        gate.ask(70_000, BOTH, first=first)
        assert gate.ask(73_000, BOTH, first=first) == BOTH


def test_s2_only_a_start_begins_the_spacing():
    gate = GateBench()
    assert not gate.timers.running(tm.SPACING)
    gate.ask(70_000, NONE)
    assert not gate.timers.running(tm.SPACING)
    gate.ask(70_100, PUMP_1)
    assert gate.timers.running(tm.SPACING)


def test_s2_the_spacing_counts_from_one_pump_to_the_other():
    gate = GateBench()
    assert gate.ask(70_000, PUMP_1) == PUMP_1
    assert gate.ask(72_000, PUMP_2) == NONE
    assert gate.ask(72_999, PUMP_2) == NONE
    assert gate.ask(73_000, PUMP_2) == PUMP_2


# Bars -------------------------------------------------------------------------------------------


def test_i2_a_barred_pump_is_off_in_the_same_step_whoever_asks():
    gate = GateBench()
    assert gate.ask(70_000, BOTH) == PUMP_1
    assert gate.ask(80_000, BOTH) == BOTH
    assert gate.ask(80_100, BOTH, barred=PUMP_1) == PUMP_2
    assert gate.ask(80_200, BOTH, barred=BOTH) == NONE


def test_i2_a_barred_pump_never_starts():
    gate = GateBench()
    for now in range(70_000, 140_000, 1000):
        assert gate.ask(now, BOTH, barred=PUMP_1, lead=2, lag=4, high=8) & PUMP_1 == NONE
    assert gate.gate.out == PUMP_2


def test_i2_a_barred_pump_rests_from_the_moment_it_was_barred():
    gate = GateBench()
    assert gate.ask(70_000, PUMP_1) == PUMP_1
    assert gate.ask(90_000, PUMP_1, barred=PUMP_1) == NONE
    assert gate.ask(90_000 + MIN_OFF - 1, PUMP_1) == NONE
    assert gate.ask(90_000 + MIN_OFF, PUMP_1) == PUMP_1


def test_a_pump_that_is_no_longer_asked_for_stops():
    gate = GateBench()
    assert gate.ask(70_000, BOTH) == PUMP_1
    assert gate.ask(80_000, BOTH) == BOTH
    assert gate.ask(81_000, PUMP_2) == PUMP_2
    assert gate.ask(82_000, NONE) == NONE


def test_a_pump_that_runs_goes_on_and_its_rest_does_not_begin():
    gate = GateBench()
    assert gate.ask(70_000, PUMP_1) == PUMP_1
    for now in range(70_100, 75_000, 100):
        assert gate.ask(now, PUMP_1) == PUMP_1
    assert gate.ask(200_000, PUMP_1) == PUMP_1


def test_stopping_one_pump_leaves_the_rest_of_the_other_alone():
    gate = GateBench()
    assert gate.ask(70_000, PUMP_1) == PUMP_1
    assert gate.ask(80_000, PUMP_2) == PUMP_2
    assert gate.ask(100_000, NONE) == NONE
    assert gate.ask(80_000 + MIN_OFF - 1, PUMP_1) == NONE
    assert gate.ask(80_000 + MIN_OFF, PUMP_1) == PUMP_1


# Battery ----------------------------------------------------------------------------------------


def test_a4_of_two_that_want_the_battery_only_the_first_starts():
    for first, pump in ((0, PUMP_1), (1, PUMP_2)):
        gate = GateBench()
        for now in range(70_000, 90_000, 500):
            assert gate.ask(now, BOTH, on_battery=BOTH, first=first) == pump


def test_a4_one_that_already_runs_on_the_battery_keeps_it():
    for first, pump in ((0, PUMP_2), (1, PUMP_1)):
        gate = GateBench()
        assert gate.ask(70_000, pump) == pump
        assert gate.ask(80_000, BOTH, on_battery=BOTH, first=first) == pump


def test_a4_of_two_that_run_the_first_keeps_the_battery():
    for first, pump in ((0, PUMP_1), (1, PUMP_2)):
        gate = GateBench()
        assert gate.ask(70_000, BOTH) == PUMP_1
        assert gate.ask(80_000, BOTH) == BOTH
        assert gate.ask(81_000, BOTH, on_battery=BOTH, first=first) == pump


def test_a4_a_pump_on_the_mains_beside_one_on_the_battery_is_free():
    for on_battery in (NONE, PUMP_1, PUMP_2):
        gate = GateBench()
        assert gate.ask(70_000, BOTH, on_battery=on_battery) == PUMP_1
        assert gate.ask(80_000, BOTH, on_battery=on_battery) == BOTH


def test_a4_where_two_are_allowed_both_run_on_the_battery():
    gate = GateBench(battery_pumps=2)
    assert gate.ask(70_000, BOTH, on_battery=BOTH) == PUMP_1
    assert gate.ask(80_000, BOTH, on_battery=BOTH) == BOTH


def test_a4_a_barred_pump_does_not_take_the_battery_from_the_other():
    gate = GateBench()
    assert gate.ask(70_000, BOTH, barred=PUMP_1, on_battery=BOTH, first=0) == PUMP_2


# What is declared -------------------------------------------------------------------------------


def test_j4_the_snapshot_fields_are_declared_and_none_is_retained():
    gate = GateBench()
    assert gate.gate.FIELDS == (("out", r.STATE, 0, r.AGAIN),)
