"""R3 and R4: flood retries and the end of a lockout.  Each test is one claim of the narrative, in numbers."""

import pytest
from duplexsump.control import settings as s

from tests.control.clause_bench import locked, near, pump_1_only
from tests.rig import WITH_CURRENT, WITH_FEEDBACK, ready

# R3 ------------------------------------------------------------------------------------------------


def flooded(band="none", **overrides):
    """Both pumps fail for good with the pit up to high."""
    rig = ready(**{"sensing": WITH_CURRENT, **overrides})
    rig.load = [band, band]
    rig.fill("off", "lead", "lag", "high")
    return rig


def test_r3_with_high_wet_rests_shrink_to_ten_thirty_sixty_seconds_then_flood_retry():
    rig = flooded("locked").run(1800)
    starts = rig.all_starts()
    tries = starts[2:]  # the first start of each pump is no retry
    stops = sorted(rig.stops(1) + rig.stops(2))
    rests = [round(tries[i][0] - max(s for s in stops if s <= tries[i][0])) for i in range(6)]
    assert rests[0] == pytest.approx(10, abs=1.5), "from the failure, or from high where that came later"
    assert rests[1:] == [30, 60, 120, 120, 120]


def test_r3_one_pump_at_a_time_in_turn():
    rig = flooded("locked").run(1800)
    order = [n for _, n in rig.all_starts()[2:]]
    assert all(a != b for a, b in zip(order, order[1:], strict=False))
    runs = sorted(rig.runs(1) + rig.runs(2))[2:]
    assert all(b[0] >= a[1] for a, b in zip(runs, runs[1:], strict=False))


def test_r3_flood_retry_is_a_setting():
    rig = flooded("locked", flood_retry=300_000).run(1200)
    tries = [t for t, _ in rig.all_starts()]
    assert tries[-1] - tries[-2] == pytest.approx(302, abs=0.5)


def test_r3_the_other_is_tried_at_once_and_a_jammed_one_last():
    # A narrow pit: the first try went to a jammed pump, the next was 30 s off, and the floor was wet after 21 s.
    rig = ready(sensing=WITH_CURRENT)
    rig.load = ["none", "locked"]
    rig.fill("off", "lead", "lag", "high")
    rig.run_until(lambda rig: rig.c.pumps[0].cause and rig.c.pumps[1].cause, 30)
    rig.c.flood.turn = 1
    failed = rig.t
    rig.run(60)
    first, second = rig.starts(1, since=failed)[0], rig.starts(2, since=failed)[0]
    assert failed < first <= failed + 10, "whosever turn it is"
    assert second == near(first + 3 + 1), "a second after nothing was seen of the first, which goes on"


def test_r3_a_locked_out_pump_is_tried_in_a_flood():
    rig = flooded(retries=1)
    rig.run_until(lambda rig: rig.pump_state(1) == rig.pump_state(2) == "locked", 60)
    locked = rig.t
    rig.run(600)
    assert len(rig.starts(1, since=locked)) == 1
    assert len(rig.starts(2, since=locked)) == 1


@pytest.mark.parametrize("sensing", [WITH_FEEDBACK, WITH_CURRENT])
def test_r3_with_high_wet_a_missing_current_ends_no_try_and_keeps_the_other_not_waiting(sensing):
    rig = flooded(sensing=sensing).run(3600)
    (_, one), (_, two), (first, n), (second, m) = rig.all_starts()
    failed = max(rig.stops(1) + rig.stops(2))
    assert (one, two, n, m) == (1, 2, 1, 2)
    assert first == near(failed + 10)
    assert second == near(first + 3 + 1)
    assert rig.pumps_on() == (1, 1)
    rig.drain("high", "lag", "lead").run(10)
    assert rig.pumps_on() == (1, 1), "until the level ends it"
    rig.drain("off").run(10)
    assert rig.pumps_on() == (0, 0)
    assert [rig.pump_state(k) for k in (1, 2)] == ["idle", "idle"], "their rest was over, and what they did nobody saw"


def test_r3_a_try_that_loses_its_current_in_the_flood_goes_on_and_one_below_high_does_not():
    rig = flooded().run(15)
    rig.load = ["normal", "normal"]
    rig.run_until(lambda rig: rig.pump_state(1) == "running", 30)
    rig.load[0] = "none"
    rig.run(100)
    assert rig.pumps_on()[0] == 1 and rig.c.pumps[0].silent
    rig = flooded().run(5).run_until(lambda rig: rig.pumps_on()[0], 60)
    rig.load[0] = "normal"
    rig.run(3).set(high=0).run(3)
    rig.load[0] = "none"
    rig.run(10)
    assert rig.pumps_on()[0] == 0


def test_r3_a_reset_makes_a_try_without_current_a_start_like_any_other():
    rig = flooded().run_until(lambda rig: rig.c.pumps[0].silent, 60)
    rig.press("reset").run(3)
    assert rig.pumps_on()[0] == 0
    assert rig.pump_state(1) == "retry"


def test_r3_a_try_without_current_whose_pump_jams_ends_as_ever():
    rig = flooded().run_until(lambda rig: rig.c.pumps[0].silent, 60)
    rig.load[0] = "locked"
    rig.run(2)
    assert rig.pumps_on()[0] == 0


def test_r3_below_high_a_pump_that_is_out_has_its_rest():
    rig = ready(sensing=WITH_CURRENT)
    rig.load = ["none", "none"]
    rig.fill("off", "lead", "lag").run(6000)
    for n in (1, 2):
        rests = [start - stop for start, stop in zip(rig.starts(n)[1:], rig.stops(n), strict=False)]
        assert rests == [near(600), near(600)], "then it is locked out"


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
    assert rig.pumps_on() == (0, 1)


@pytest.mark.parametrize("why", [{"selector_2": "off"}, {"selector_2": "hand"}, {"thermal_2": 1}], ids=str)
def test_r3_a_boot_try_that_its_pump_cannot_use_does_not_keep_the_other_waiting(why):
    rig = ready(sensing=WITH_CURRENT, retries=1)
    rig.load = ["none", "none"]
    rig.fill("off", "lead", "lag", "high").run_until(
        lambda rig: rig.pump_state(1) == rig.pump_state(2) == "locked", 60)
    rig.load = ["locked", "locked"]
    rig.power_cut(400)
    since = rig.t
    rig.set(**why).run(1200)
    assert [t for t in rig.starts(2) if t > since] == []
    tries = [t - since for t in rig.starts(1) if t > since]
    assert len(tries) == 4, "the try of S4, and three in the hour of a pump that jams"
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


def one_dead(**overrides):
    """Pump 1 locked out by failed starts, pump 2 healthy, the pit empty again."""
    rig = ready(**{"sensing": WITH_CURRENT, "retries": 1, "duty": s.FIXED, **overrides})
    rig.load[0] = "none"
    rig.fill("off", "lead").run(20)
    assert rig.pump_state(1) == "locked"
    rig.drain("lead", "off").run(70)
    return rig


def test_r3_a_pump_that_is_out_is_not_tried_while_the_other_keeps_the_water_below_high():
    rig = one_dead()
    since = rig.t
    rig.fill("off", "lead", "lag").run(600)
    assert rig.starts(1, since=since) == []
    assert rig.pumps_on() == (0, 1)


def test_r3_with_high_wet_a_pump_that_is_out_is_tried_beside_one_that_does_not_keep_up():
    rig = one_dead()
    rig.load[0] = "locked"
    rig.fill("off", "lead", "lag")
    since = rig.set(high=1).t
    rig.run(600)
    tries = rig.starts(1, since=since)
    assert tries[:3] == [near(since + 1 + 10), near(tries[0] + 2 + 30), near(tries[1] + 2 + 60)]
    assert len(tries) == 4, "one for its failed start, three in the hour for its jams"
    assert rig.pumps_on() == (0, 1)


def test_r3_a_try_beside_that_stays_loaded_ends_the_lockout():
    rig = one_dead()
    rig.load[0] = "normal"
    rig.fill("off", "lead", "lag", "high").run(60)
    assert rig.pumps_on() == (1, 1)
    assert rig.pump_state(1) == "running" and not rig.c.pumps[0].held


def test_r3_a_pump_that_rests_is_waited_for_and_the_other_not_tried():
    rig = one_dead(flood_min_off=60_000, lag_min_off=60_000)
    rig.set(selector_2="hand").run(10).set(selector_2="auto")
    since = rig.t
    rig.fill("off", "lead", "lag", "high").run(56)
    assert rig.starts(1, since=since) == []
    assert rig.starts(2, since=since) == [near(since + 60)]


def both_dead(**overrides):
    rig = ready(**{"sensing": WITH_CURRENT, "retries": 1, **overrides})
    rig.load = ["locked", "locked"]
    rig.fill("off", "lead", "lag", "high")
    return rig


def rests(rig, since=0.0):
    """Return the rest before each start of either pump, from its predecessor's stop on."""
    stops = sorted(rig.stops(1) + rig.stops(2))
    return [t - max(stop for stop in stops if stop <= t) for t, _ in rig.all_starts() if t > since]


@pytest.mark.parametrize("away", [{"thermal_1": 1}, {"selector_1": "off"}])
def test_r3_where_one_may_not_run_the_other_is_tried_in_its_place(away):
    rig = both_dead().run(5)
    rig.set(**away)
    since = rig.t
    rig.run(600)
    assert {n for t, n in rig.all_starts() if t > since} == {2}
    assert [round(rest) for rest in rests(rig, since)][1:] == [30, 60], "three an hour"


def test_r3_the_tries_start_over_after_the_water_has_been_down():
    rig = both_dead().run(120)
    rig.drain("high", "lag").run(60)
    assert rig.pumps_on() == (0, 0)
    wet = rig.t + 1
    rig.set(lag=1).run(3).set(high=1).run(150)
    starts = [t for t, _ in rig.all_starts() if t > wet]
    assert starts[0] - (wet + 3) <= 10.2
    assert [round(rest) for rest in rests(rig, starts[0])[:2]] == [30, 60]
    assert len(starts) == 3


def test_r3_no_try_is_owed_once_the_water_is_down():
    rig = both_dead().run(100)
    rig.drain("high", "lag")
    since = rig.t
    rig.run(3600)
    assert [t for t, _ in rig.all_starts() if t > since] == []


@pytest.mark.parametrize("n", [1, 2])
def test_r3_with_high_wet_a_pump_that_seems_welded_is_tried(n):
    rig = both_dead()
    rig.weld[n - 1] = "under"
    rig.run(5)
    at = rig.t
    rig.run(100)
    assert rig.starts(n, since=at)


@pytest.mark.parametrize("away", [{}, {"selector_2": "off"}])
def test_r3_with_high_wet_a_sensor_that_reads_too_much_keeps_no_good_pump_off(away):
    rig = ready(sensing=WITH_CURRENT)
    rig.weld = ["under", "under"]
    rig.run(10).set(**away).fill("off", "lead", "lag").run(30)
    assert rig.active("pump_1_will_not_stop") and rig.pumps_on() == (0, 0)
    at = rig.set(high=1).t
    rig.run(3600)
    assert rig.starts(1) == [near(at + 1)] and rig.pumps_on()[0] == 1
    assert rig.pumps_on()[1] == (0 if away else 1)
    rig.drain("high", "lag", "lead").run(5)
    assert rig.pumps_on()[0] == 1, "on until the level ends it"
    rig.drain("off").run(10)
    assert rig.pumps_on() == (0, 0)


def test_r3_all_floats_wet_for_an_hour_one_sensor_offset_and_the_other_at_nothing():
    rig = ready(sensing=WITH_CURRENT)
    rig.weld[0] = "under"
    rig.load[1] = "none"
    rig.run(10).fill("off", "lead", "lag", "high").run(3600)
    assert rig.run_time(1) > 3500 and rig.run_time(2) > 3400


# R4 ------------------------------------------------------------------------------------------------


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
    rig.load[0] = "under"
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


def test_r4_a_pump_that_is_locked_out_again_and_again_is_one_alarm_until_it_has_run_loaded():
    rig = locked("under")
    rig.load[0] = "under"
    for _ in range(20):  # each rise of the water ends the lockout, and the next try locks the pump out again
        rig.set(lead=0).run(30).set(lead=1).run(60)
        assert rig.active("pump_1_unavailable") and rig.c.pumps[0].trips > 3
    assert len(rig.raised("pump_1_unavailable")) == 1
    rig.load[0] = "normal"
    rig.set(lead=0).run(30).set(lead=1).run(60)
    assert rig.alarm("pump_1_unavailable") == "returned", "somebody must still look"


@pytest.mark.parametrize("n", [1, 2])
def test_r4_the_selector_ends_the_lockout_of_its_own_pump(n):
    rig = ready(sensing=WITH_CURRENT, retries=1)
    rig.load = ["none", "none"]
    rig.fill("off", "lead").run(20)
    assert [rig.pump_state(k) for k in (1, 2)] == ["locked", "locked"]
    rig.set(**{f"selector_{n}": "off"}).run(1).set(**{f"selector_{n}": "auto"})
    assert rig.pump_state(n) in ("idle", "starting")
    assert rig.pump_state(3 - n) == "locked"


def test_r4_a_reset_in_the_middle_of_a_try_ends_the_lockout_for_good():
    rig = locked()
    rig.fill("lag", "high").run_until(lambda rig: rig.pumps_on() == (1, 0), 120)
    began = rig.t
    rig.press("reset").set(high=0, lag=0).run(2.1).set(lead=0).run(2.1).set(off=0).run(2)
    assert rig.stops(1, since=began) != []
    assert rig.stops(1)[-1] < began + 8
    assert rig.pump_state(1) == "idle", "the try had not stayed loaded for dry_run"


def test_r4_a_reset_ends_the_rest_after_a_trip():
    rig = pump_1_only()
    rig.load[0] = "none"
    rig.fill("off", "lead").run(10)
    assert rig.pump_state(1) == "retry"
    rig.load[0] = "normal"
    rig.press("reset").run(70)
    assert rig.pump_state(1) == "running"


def test_r4_a_reset_forgets_the_failures_that_were_counted():
    rig = pump_1_only(retries=2)
    rig.load[0] = "none"
    rig.fill("off", "lead").run(10)
    rig.drain("lead", "off").run(700)
    assert (rig.pump_state(1), rig.c.pumps[0].failures) == ("idle", 1)
    rig.press("reset").run(1)
    assert [each.failures for each in rig.c.pumps] == [0, 0]
    rig.fill("off", "lead").run(70)
    assert rig.pump_state(1) == "retry", "one failed start is one, not the second in a row"
