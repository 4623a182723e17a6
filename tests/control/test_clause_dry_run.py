"""R1 to R4: dry run, flood retries and the end of a lockout.  Each test is one claim, in numbers."""

import pytest

from tests.rig import WITH_CURRENT, WITH_FEEDBACK, ready

NEAR = 0.15
OUT = ("retry", "locked")
LEVEL = {"empty": 5, "off": 20, "lead": 38, "lag": 43}


def near(seconds):
    return pytest.approx(seconds, abs=NEAR)


def pump_1_only(**overrides):
    return ready(**{"sensing": WITH_CURRENT, **overrides}).set(selector_2="off")


# R1 ---------------------------------------------------------------------------------------------


def test_r1_underload_with_nothing_wet_from_lead_up_is_an_empty_pit():
    rig = ready(sensing=WITH_CURRENT)
    rig.fill("off", "lead").run(10)
    rig.drain("lead").run(5)
    rig.load[0] = "under"
    rig.run(0.1)
    at = rig.t
    rig.run(60)
    assert rig.stops(1) == [near(at + 8.0)]
    assert rig.suspects() == {"off"}
    assert rig.starts(2) == []  # no take-over
    assert rig.pump_state(1) not in OUT
    assert not rig.active("pump_1_fault")


def test_r1_after_an_empty_pit_stops_go_by_time():
    rig = ready(sensing=WITH_CURRENT)
    rig.fill("off", "lead").run(10)
    rig.drain("lead").run(5)
    rig.load[0] = "under"
    rig.run(60)
    rig.load[0] = "normal"
    rig.set(lead=1).run(10).set(lead=0)
    dry_at = rig.t + 1.0
    rig.run(60)
    assert dry_at + 16 - NEAR <= max(rig.stops(1) + rig.stops(2)) <= dry_at + 35 + NEAR


def test_r1_underload_with_lead_wet_is_a_pump_that_does_not_pump():
    rig = ready(sensing=WITH_CURRENT)
    rig.load[0] = "under"
    rig.fill("off", "lead").run(20)
    assert rig.stops(1) == [pytest.approx(rig.starts(1)[0] + 8.1, abs=0.2)]
    assert rig.starts(2) == [near(rig.stops(1)[0])]
    assert rig.pump_state(1) == "retry"


def test_r1_a_run_never_loaded_with_off_wet_is_a_pump_that_does_not_pump():
    rig = ready(sensing=WITH_CURRENT)
    rig.load[0] = "under"
    rig.fill("off", "lead")
    rig.set(lead=0).run(20)  # a wave: lead has gone dry, off is still wet
    assert rig.pump_state(1) == "retry"
    assert rig.suspects() == set()


def test_r1_the_third_in_a_row_is_a_dry_run_lockout():
    rig = pump_1_only()
    rig.load[0] = "under"
    rig.fill("off", "lead").run(2 * 3600)
    assert len(rig.starts(1)) == 3
    assert rig.pump_state(1) == "locked"


def test_r1_both_pumps_underloading_in_one_demand_mean_an_empty_pit():
    rig = ready(sensing=WITH_CURRENT)
    rig.load = ["under", "under"]
    rig.fill("off", "lead").run(60)
    assert rig.pump_state(1) not in OUT
    assert rig.pump_state(2) not in OUT
    assert rig.suspects() == {"off", "lead"}
    assert rig.pumps_on() == (0, 0)


# R2 ---------------------------------------------------------------------------------------------


def test_r2_no_fall_for_no_draw_down_starts_the_other_too():
    rig = ready(sensing=WITH_CURRENT, transmitter=1, fitted=8).set(level=LEVEL["lead"], moved=1)
    rig.run(299)
    started = rig.all_starts()[0][0]
    assert sum(rig.pumps_on()) == 1
    rig.run(10)
    assert rig.pumps_on() == (1, 1)
    assert rig.all_starts()[1][0] == pytest.approx(started + 300, abs=3)
    assert rig.active("not_keeping_up")
    assert not rig.active("pump_1_fault")
    assert not rig.active("pump_2_fault")


def test_r2_a_falling_level_is_a_draw_down():
    rig = ready(sensing=WITH_CURRENT, transmitter=1, fitted=8, max_run=7_200_000).set(level=40, moved=1)
    for level in (40, 39, 38, 37, 36):
        rig.set(level=level).run(280)
    assert sum(rig.pumps_on()) == 1
    assert len(rig.all_starts()) == 1


# R3 ---------------------------------------------------------------------------------------------


def flooded(band="none", **overrides):
    """Both pumps fail for good with the pit up to high."""
    rig = ready(**{"sensing": WITH_CURRENT, **overrides})
    rig.load = [band, band]
    rig.fill("off", "lead", "lag", "high")
    return rig


def rests_between(starts, stops):
    return [min(t for t, _ in starts if t > stop) - stop for stop in stops if any(t > stop for t, _ in starts)]


def test_r3_with_high_wet_rests_shrink_to_ten_thirty_sixty_seconds_then_flood_retry():
    rig = flooded().run(1800)
    starts = rig.all_starts()
    tries = starts[2:]  # the first start of each pump is no retry
    stops = sorted(rig.stops(1) + rig.stops(2))
    rests = [round(tries[i][0] - max(s for s in stops if s <= tries[i][0])) for i in range(8)]
    assert rests == [10, 30, 60, 120, 120, 120, 120, 120]


def test_r3_one_pump_at_a_time_in_turn():
    rig = flooded().run(1800)
    order = [n for _, n in rig.all_starts()[2:]]
    assert all(a != b for a, b in zip(order, order[1:], strict=False))
    runs = sorted(rig.runs(1) + rig.runs(2))[2:]
    assert all(b[0] >= a[1] for a, b in zip(runs, runs[1:], strict=False))


def test_r3_flood_retry_is_a_setting():
    rig = flooded(flood_retry=300_000).run(3600)
    tries = [t for t, _ in rig.all_starts()]
    assert tries[-1] - tries[-2] == pytest.approx(303, abs=0.5)


def test_r3_a_locked_out_pump_is_tried_in_a_flood():
    rig = flooded().run(120)
    rig.run_until(lambda rig: rig.pump_state(1) == rig.pump_state(2) == "locked", 3600)
    locked = rig.t
    rig.run(600)
    assert len(rig.starts(1, since=locked)) >= 2
    assert len(rig.starts(2, since=locked)) >= 2


def test_r3_with_both_out_and_lag_wet_first_after_sixty_seconds_then_every_retry():
    rig = ready(sensing=WITH_CURRENT)
    rig.load = ["none", "none"]
    rig.fill("off", "lead", "lag").run(6000)
    tries = rig.all_starts()[2:]
    stops = sorted(rig.stops(1) + rig.stops(2))
    rests = [t - max(s for s in stops if s <= t) for t, _ in tries]
    assert rests[0] == pytest.approx(60, abs=0.3)
    assert max(rests) <= 600 + 0.3
    assert rests[-1] == pytest.approx(600, abs=0.3)


def test_r3_never_with_the_thermal_contact_open_or_the_selector_off():
    rig = flooded().run(60)
    rig.set(thermal_1=1, selector_2="off")
    since = rig.t + 0.1
    rig.run(3600)
    assert [t for t, _ in rig.all_starts() if t > since] == []


def test_r3_a_try_that_its_pump_cannot_use_does_not_keep_the_other_waiting():
    rig = ready(sensing=WITH_CURRENT, flood_min_off=20_000)
    rig.load = ["none", "none"]
    rig.fill("off", "lead", "lag", "high").run_until(lambda rig: rig.c.pumps[0].trial, 200)
    at = rig.t
    rig.set(selector_1="off").run(300)
    tries = [t for t in rig.starts(2) if t > at]
    assert tries[0] - at <= 30.1
    assert len(tries) >= 3


@pytest.mark.parametrize("why", [{"selector_2": "off"}, {"selector_2": "hand"}, {"thermal_2": 1}], ids=str)
def test_r3_a_boot_try_that_its_pump_cannot_use_does_not_keep_the_other_waiting(why):
    rig = ready(sensing=WITH_CURRENT)
    rig.load = ["none", "none"]
    rig.fill("off", "lead", "lag", "high").run(3000)
    assert rig.pump_state(1) == rig.pump_state(2) == "locked"
    rig.power_cut(400)
    since = rig.t
    rig.set(**why).run(1200)
    assert [t for t in rig.starts(2) if t > since] == []
    tries = [t - since for t in rig.starts(1) if t > since]
    assert len(tries) >= 9, tries
    assert max(b - a for a, b in zip(tries, tries[1:], strict=False)) <= 120 + 3.5, tries


def test_r3_overcurrent_is_tried_at_most_three_times_an_hour():
    rig = flooded("locked").run(120)
    since = rig.t
    rig.run(4 * 3600)
    for n in (1, 2):
        starts = rig.starts(n, since=since)
        assert len(starts) >= 6
        for i in range(len(starts) - 3):
            assert starts[i + 3] - starts[i] >= 3600 - 1


def test_r3_a_high_that_is_not_believed_has_no_pump_tried_for_a_week():
    rig = ready(sensing=WITH_CURRENT)
    rig.load = ["none", "none"]
    rig.set(high=1).run(7 * 86_400)
    assert rig.suspects() == {"high"}
    # L6's rests, not R3's: at most one try every half hour, and a few at the beginning.
    assert len(rig.all_starts()) <= 7 * 48 + 12


# R4 ---------------------------------------------------------------------------------------------


def locked(band="none", **overrides):
    rig = pump_1_only(**overrides)
    rig.load[0] = band
    rig.fill("off", "lead")
    rig.run_until(lambda rig: rig.pump_state(1) == "locked", 2 * 3600)
    rig.load[0] = "normal"
    return rig.run(30)


def test_r4_a_lockout_does_not_end_by_itself():
    rig = locked()
    since = rig.t
    rig.run(86_400)
    assert rig.starts(1, since=since) == []


def test_r4_reset_ends_a_lockout():
    rig = locked()
    at = rig.t
    rig.press("reset").run(5)
    assert rig.starts(1, since=at) == [near(at)]


def test_r4_reset_over_the_link_ends_a_lockout():
    rig = locked()
    at = rig.t
    rig.set(command=2).run(1).set(command=0).run(5)
    assert rig.starts(1, since=at) == [near(at)]


def test_r4_selector_to_off_and_back_ends_a_lockout():
    rig = locked()
    rig.set(selector_1="off").run(5)
    at = rig.t
    rig.set(selector_1="auto").run(5)
    assert rig.starts(1, since=at) == [near(at)]


def test_r4_a_flood_retry_that_stays_loaded_for_dry_run_after_its_proof_ends_a_lockout():
    rig = locked()
    rig.fill("lag", "high").run(80)
    assert rig.pumps_on()[0] == 1
    rig.drain("high", "lag", "lead", "off").run(70)
    assert rig.pump_state(1) != "locked"
    at = rig.t
    rig.fill("off", "lead").run(5)
    assert len(rig.starts(1, since=at)) == 1


def test_r4_a_flood_retry_that_is_loaded_for_less_does_not():
    rig = locked()
    rig.fill("lag", "high")
    rig.run_until(lambda rig: rig.pumps_on()[0] == 1, 200)
    rig.run(3)
    rig.load[0] = "none"
    rig.run(10)
    assert rig.pump_state(1) == "locked"


def test_r4_a_thermal_contact_that_opens_during_a_flood_retry_does_not_end_the_lockout():
    rig = locked()
    rig.fill("lag", "high")
    rig.run_until(lambda rig: rig.pumps_on()[0] == 1, 200)
    rig.run(1).set(thermal_1=1).run(30).set(thermal_1=0)
    rig.drain("high", "lag").run(700)
    assert rig.pump_state(1) == "locked"


def test_r4_with_feedback_a_proved_flood_retry_is_enough():
    rig = locked(sensing=WITH_FEEDBACK)
    rig.fill("lag", "high")
    rig.run_until(lambda rig: rig.pumps_on()[0] == 1, 200)
    rig.run(4)
    assert rig.pump_state(1) != "locked"


def test_r4_a_lockout_for_not_pumping_ends_when_lead_lag_or_high_next_turns_wet():
    for contact in ("lead", "lag", "high"):
        rig = locked("under")
        if contact == "lead":
            rig.set(lead=0).run(30)
        at = rig.t
        rig.set(**{contact: 1}).run(15)
        assert rig.starts(1, since=at) == [near(at + 1.0)], contact


def test_r4_a_lockout_for_a_failed_start_does_not_end_that_way():
    rig = locked("none")
    rig.set(lead=0).run(30)
    at = rig.t
    rig.set(lead=1).run(600)
    assert rig.starts(1, since=at) == []


def test_r4_a_trip_for_not_pumping_ends_that_way_too():
    rig = pump_1_only()
    rig.load[0] = "under"
    rig.fill("off", "lead").run(20)
    assert rig.pump_state(1) == "retry"
    rig.load[0] = "normal"
    rig.set(lead=0).run(30)
    at = rig.t
    rig.set(lead=1).run(5)
    assert rig.starts(1, since=at) == [near(at + 1.0)]


def test_r4_the_alarm_of_a_lockout_that_ended_by_itself_stays_latched():
    rig = locked("under")
    assert rig.active("pump_1_lockout")
    rig.set(lead=0).run(30).set(lead=1).run(60)
    assert rig.alarm("pump_1_lockout") == "latched"
