"""More of L2 to L7: suspects by transmitter, dead floats, wires without off, what is found again."""

import pytest

from tests.rig import NO_CURRENT, WITH_CURRENT, ready

NEAR = 0.15
BY_TRANSMITTER = {"transmitter": 1, "fitted": 8, "sensing": WITH_CURRENT}


def near(seconds):
    return pytest.approx(seconds, abs=NEAR)


# L2 ---------------------------------------------------------------------------------------------


def blink_high(rig):
    """High wet long enough for a pump to start and draw down, over dry floats."""
    rig.set(high=1).run(6)
    rig.set(high=0).run(30)


def test_l2_lower_floats_that_miss_twice_running_are_dead_however_many():
    rig = ready(sensing=WITH_CURRENT)
    blink_high(rig)
    assert rig.suspects() <= {"high"}
    blink_high(rig)
    assert rig.suspects() == {"off", "lead", "lag"}
    assert rig.active("floats_out_of_sequence")


def test_l2_a_float_that_was_wet_in_between_has_not_missed_twice_running():
    rig = ready(sensing=WITH_CURRENT)
    blink_high(rig)
    rig.fill("off", "lead", "lag").run(5)
    rig.drain("lag", "lead", "off").run(70)
    blink_high(rig)
    assert rig.suspects() & {"off", "lead", "lag"} == set()


# L3 ---------------------------------------------------------------------------------------------


def test_l3_lag_wet_beside_a_wet_high_is_not_suspect_for_standing_still():
    rig = ready(sensing=NO_CURRENT, fitted=14)
    rig.fill("lead", "lag", "high").run(300)
    assert rig.suspects() == set()
    assert rig.pumps_on() == (1, 1)


def test_l3_a_float_that_moves_within_blind_run_is_not_suspect():
    rig = ready(sensing=NO_CURRENT, fitted=14)
    for _ in range(4):
        rig.set(lead=1).run(25)
        rig.set(lead=0).run(120)
    assert rig.suspects() == set()


# L4 ---------------------------------------------------------------------------------------------


def test_l4_each_draw_down_has_its_time_from_the_moment_lead_went_dry():
    rig = ready(sensing=WITH_CURRENT)
    rig.fill("off")
    for _ in range(3):  # lead comes back before the time is up: an honest, slow draw-down
        rig.set(lead=1).run(10)
        rig.set(lead=0).run(40)
    assert rig.stops(1) + rig.stops(2) == []


# L5 ---------------------------------------------------------------------------------------------


def test_l5_the_virtual_contacts_of_a_failed_transmitter_are_suspect_and_ask_for_nothing():
    rig = ready(**BY_TRANSMITTER).set(level=45, moved=1)
    rig.run(10)
    assert rig.pumps_on() == (1, 1)  # above lag
    rig.set(transmitter="high").run(3)
    assert rig.suspects() == {"off", "lead", "lag"}
    rig.run(36)  # what was running draws down by time (L3), then blind pumping has one at a time
    assert sum(rig.pumps_on()) <= 1
    assert rig.active("level_lost")


def test_l5_a_transmitter_that_is_good_again_is_believed_again():
    rig = ready(**BY_TRANSMITTER).set(level=5, moved=1)
    rig.set(transmitter="low").run(5)
    assert rig.suspects() == {"off", "lead", "lag"}
    rig.set(transmitter="ok").run(1)
    assert rig.suspects() == set()


def test_l5_reset_gives_a_frozen_transmitter_another_chance_at_once():
    rig = ready(**BY_TRANSMITTER).set(level=38, moved=0)
    rig.run_until(lambda rig: rig.active("transmitter_failed"), 60)
    rig.set(reset=1).run(0.1)
    assert not rig.active("transmitter_failed")
    assert rig.suspects() == set()


# L6 ---------------------------------------------------------------------------------------------


def test_l6_a_level_that_is_found_again_before_the_pump_is_on_starts_no_pump():
    rig = ready(**BY_TRANSMITTER, min_off=600_000, lag_min_off=600_000, flood_min_off=100_000).set(level=5, moved=1)
    rig.set(transmitter="low").run(60)  # blind pumping asks, the rest of S1 after power-up still holds
    assert rig.active("level_lost")
    assert rig.all_starts() == []
    rig.set(transmitter="ok").run(1200)
    assert rig.all_starts() == []


def test_l6_normal_demand_takes_a_blind_run_over():
    rig = ready(**BY_TRANSMITTER).set(level=5, moved=1)
    rig.set(transmitter="low").run(10)
    assert sum(rig.pumps_on()) == 1
    rig.set(transmitter="ok", level=45).run(10)
    assert rig.pumps_on() == (1, 1)
    rig.set(level=5).run(10)
    assert rig.pumps_on() == (0, 0)


# L7 ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("apart_s", "wired"), [(0.3, True), (1.5, False)])
def test_l7_without_off_two_floats_must_turn_within_half_a_second(apart_s, wired):
    rig = ready(sensing=WITH_CURRENT, fitted=14)
    rig.fill("lead", "lag").run(3)
    rig.set(lag=0).run(apart_s).set(lead=0).run(3)
    assert bool(rig.raised("float_wiring")) is wired


def test_l7_high_is_on_its_own_pair_of_wires_and_no_part_of_it():
    rig = ready(sensing=WITH_CURRENT, fitted=10)
    rig.fill("lead", "high").run(3)
    rig.set(lead=0, high=0).run(3)
    assert rig.raised("float_wiring") == []
