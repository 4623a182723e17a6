"""J3 and J4: what the counters tell, and what is retained.  Each test is one claim of the narrative, in numbers."""

import pytest

from tests.pit import GPM, RATE, Pit
from tests.rig import WITH_CURRENT, Rig, ready

HOUR = 3600
ML_MIN = 60  # mL/s to mL/min


# J3 ------------------------------------------------------------------------------------------------


def in_a_pit(gpm=10, hours=1.0, **overrides):
    pit = Pit(gpm * GPM)
    return Rig(plant=pit, sensing=WITH_CURRENT, **overrides).run(hours * HOUR), pit


def test_j3_starts_and_run_time_are_counted_for_each_pump():
    rig, _ = in_a_pit()
    for n in (1, 2):
        assert rig.c.pumps[n - 1].starts == len(rig.starts(n)) > 10
        counted = rig.c.history.run_s[n - 1] + rig.c.history.run_ms[n - 1] / 1000
        assert counted == pytest.approx(rig.run_time(n), abs=0.05)


def test_j3_run_time_is_exact_however_rarely_the_controller_is_stepped():
    often, seldom = Rig(ticking=True), Rig()
    for rig in (often, seldom):
        rig.run(70).fill("off", "lead").run(333.3)
        rig.drain("lead", "off").run(70)
    for n in range(2):
        assert often.c.history.run_s[n] == seldom.c.history.run_s[n]
        assert often.c.history.run_ms[n] == seldom.c.history.run_ms[n]


def test_j3_trips_are_counted():
    rig = ready(sensing=WITH_CURRENT)
    rig.load[0] = "locked"
    rig.fill("off", "lead").run(20)
    assert (rig.c.pumps[0].trips, rig.c.pumps[1].trips) == (1, 0)


def test_j3_cycles_are_counted():
    rig, _ = in_a_pit()
    ended = sum(1 for t, name, value in rig.edges if name.startswith("pump") and not value)
    assert rig.c.pair.cycles == ended


@pytest.mark.parametrize("gpm", [2, 10, 20])
def test_j3_inflow_is_the_band_volume_over_the_fill_time(gpm):
    rig, _ = in_a_pit(gpm)
    assert rig.c.history.inflow_ml_min == pytest.approx(gpm * GPM * ML_MIN, rel=0.03)


@pytest.mark.parametrize("gpm", [2, 10, 20])
def test_j3_pump_rate_is_the_band_volume_over_the_draw_down_plus_the_inflow(gpm):
    rig, _ = in_a_pit(gpm)
    for n in range(2):
        assert rig.c.history.rate_ml_min[n] == pytest.approx(RATE * ML_MIN, rel=0.04)


def test_j3_a_pump_that_wears_shows_in_the_trend():
    rig, pit = in_a_pit(hours=2)
    assert rig.c.history.wear_percent(0) == 0
    pit.rate[0] = 0.75 * RATE
    rig.run(2 * HOUR)
    assert rig.c.history.wear_percent(0) == pytest.approx(25, abs=4)
    assert rig.c.history.wear_percent(1) <= 2


def refill(rig, quick_s, slow_s):
    """One cycle: off dry, then wet again after quick_s, lead wet slow_s later."""
    rig.run(quick_s).set(off=1).run(slow_s).set(lead=1).run(20)
    rig.set(lead=0).run(10).set(off=0).run(2)


def test_j3_a_refill_right_after_a_stop_that_is_much_faster_than_the_fill_is_a_leaking_check_valve():
    rig = ready(sensing=WITH_CURRENT)
    refill(rig, 60, 300)
    assert rig.c.history.quick_refills == 0
    for _ in range(3):
        refill(rig, 3, 300)
    assert rig.c.history.quick_refills == 3


def test_j3_an_even_fill_is_no_leak():
    rig = ready(sensing=WITH_CURRENT)
    for _ in range(3):
        refill(rig, 8, 60)
    assert rig.c.history.quick_refills == 0


def test_j3_and_j4_the_counters_survive_a_reset():
    rig, pit = in_a_pit()
    starts = [pump.starts for pump in rig.c.pumps]
    cycles, inflow = rig.c.pair.cycles, rig.c.history.inflow_ml_min
    rig.power_cut(2)
    assert [pump.starts for pump in rig.c.pumps] == starts
    assert rig.c.pair.cycles == cycles
    assert rig.c.history.inflow_ml_min == inflow
    assert pit.level_mm > 0


# J4 ------------------------------------------------------------------------------------------------


def lock_out_pump_1(**overrides):
    rig = ready(**{"sensing": WITH_CURRENT, **overrides}).set(selector_2="off")
    rig.load[0] = "none"
    rig.fill("off", "lead")
    rig.run_until(lambda rig: rig.pump_state(1) == "locked", 3600)
    rig.set(lead=0).run(5).set(off=0).run(30)
    return rig


def test_j4_a_lockout_survives_a_reset():
    rig = lock_out_pump_1()
    rig.power_cut().run(30)
    assert rig.active("pump_1_unavailable")


def test_j4_failure_counts_survive_a_reset():
    rig = ready(sensing=WITH_CURRENT).set(selector_2="off")
    rig.load[0] = "none"
    rig.fill("off", "lead").run(700)
    assert len(rig.starts(1)) == 2
    rig.power_cut()
    up = rig.t
    rig.run(5 * 3600)
    assert len(rig.starts(1, since=up)) == 1  # the third failure in a row
    assert rig.pump_state(1) == "locked"


def test_j4_the_lead_turn_survives_a_reset():
    rig = ready()
    rig.fill("off", "lead").run(20)
    rig.drain("lead", "off").run(400)
    first = rig.all_starts()[0][1]
    rig.power_cut().run(80)
    rig.fill("off", "lead").run(20)
    assert rig.all_starts()[1][1] == 3 - first


def test_j4_latched_alarms_survive_a_reset():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(moisture_1=1).run(5).set(moisture_1=0).run(5)
    assert rig.alarm("pump_1_moisture") == "latched"
    rig.power_cut().run(30)
    assert rig.alarm("pump_1_moisture") == "latched"


def test_j4_the_time_since_the_last_run_survives_a_reset():
    rig = ready(sensing=WITH_CURRENT)
    rig.run(4 * 86_400).power_cut().run(4 * 86_400)
    at = rig.t
    rig.fill("off").run(120)
    assert {n for t, n in rig.all_starts() if t > at} == {1, 2}
