"""M5, the rule of the last resort between two ticks: its rests, runs and spacings to the millisecond, pump by pump."""

import pytest
from duplexsump.station import minimal as m

from tests.unit.test_station_minimal_pins import rule, step


def test_a_rest_is_over_to_the_millisecond_for_either_pump():
    for pump, barred in ((1, 0), (2, m.SELECT_OFF)):
        made = rule()
        assert step(made, m.REST_LAG_MS - 1, 8 | 3 | barred) == 0
        assert step(made, 1, 8 | 3 | barred) == pump


def test_a_rest_is_counted_from_the_stop_to_the_millisecond():
    made = rule()
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 8 | 3 | 2 * m.SELECT_OFF) == 1
    assert step(made, 100, 8 | 2 * m.SELECT_OFF) == 0
    assert step(made, m.REST_LAG_MS - 1, 8 | 3 | 2 * m.SELECT_OFF) == 0
    assert step(made, 1, 8 | 3 | 2 * m.SELECT_OFF) == 1


def test_a_blind_run_is_counted_from_the_last_wet_contact_to_the_millisecond():
    made = rule(blind_run_ms=50000)
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 8 | 3) == 1
    assert step(made, 49999, 8 | 1) == 1
    assert step(made, 1, 8 | 1) == 0


def test_a_step_after_a_long_pause_counts_a_rest_and_no_more():
    made = rule(blind_run_ms=120000)
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 8 | 3) == 1
    assert step(made, 500000, 8 | 1) == 1, "60 s of the 120"
    assert step(made, 59999, 8 | 1) == 1
    assert step(made, 1, 8 | 1) == 0


@pytest.mark.parametrize("fitted", [14, 10])
def test_without_an_off_float_a_run_ends_by_time_alone(fitted):
    made = rule(fitted=fitted, blind_run_ms=30000)
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 8 | 2) == 1
    assert step(made, 100, 8, 299) == 1
    assert step(made, 100, 8) == 0


def test_an_off_float_that_is_not_fitted_is_not_believed():
    made = rule(fitted=14, blind_run_ms=30000)
    made.idle_ms = [m.REST_MS, m.REST_MS]
    step(made, 100, 8 | 2)
    assert step(made, 100, 8 | 1, 299) == 1
    assert step(made, 100, 8 | 1) == 0


def test_with_one_pump_barred_lead_asks_for_the_other_and_no_more():
    made = rule()
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 8 | 3 | m.SELECT_OFF) == 2
    made = rule()
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 8 | 3 | m.SELECT_OFF) == 2
    # Free again, the first is not asked for beside the second.
    assert step(made, 100, 8 | 3, 700) == 2


def test_the_hold_after_a_power_up_keeps_rested_pumps_off():
    made = m.FloatsOnly(0)
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, m.HOLD_MS - 1, 7) == 0
    assert step(made, 1, 7) == 1


def test_lag_shortens_the_second_pumps_rest_while_the_first_runs():
    made = rule()
    made.idle_ms = [m.REST_MS, 0]
    assert step(made, 100, 8 | 7) == 1
    assert step(made, 100, 8 | 7, 198) == 1
    assert step(made, 100, 8 | 7) == 3


def test_a_demand_that_only_off_keeps_alive_waits_for_the_long_rest():
    made = rule(blind_run_ms=120000)
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 8 | 3) == 1
    both = m.SELECT_OFF | 2 * m.SELECT_OFF
    assert step(made, 100, 8 | 3 | both) == 0
    made.idle_ms = [0, 0]
    # Neither lead nor lag is wet any more: only the long rest will do.
    assert step(made, 100, 8 | 1, 599) == 0
    assert step(made, 100, 8 | 1) == 2
