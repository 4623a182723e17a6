"""D1 to D7: demand and duty.  Each test is one claim of the narrative, in numbers."""

import pytest
from duplexsump.control import settings as s

from tests.control.clause_bench import DAY, NEAR, near
from tests.rig import NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK, ready

# D1 ------------------------------------------------------------------------------------------------


def test_d1_lead_wet_asks_for_one_pump_until_off():
    rig = ready()
    rig.fill("off", "lead").run(60)
    assert sum(rig.pumps_on()) == 1
    rig.drain("lead").run(10)
    assert sum(rig.pumps_on()) == 1
    at = rig.t
    rig.drain("off")
    assert rig.stops(1) == [near(at + 1.0)]


def test_d1_off_wet_by_itself_starts_nothing():
    rig = ready()
    rig.fill("off").run(600)
    assert rig.all_starts() == []


@pytest.mark.parametrize("contact", ["lag", "high"])
def test_d1_lag_or_high_wet_asks_for_two_until_off(contact):
    rig = ready()
    rig.fill("off", "lead").run(10)
    rig.fill(contact).run(5)
    assert rig.pumps_on() == (1, 1)
    rig.drain(contact, "lead").run(10)
    assert rig.pumps_on() == (1, 1)
    rig.drain("off").run(1)
    assert rig.pumps_on() == (0, 0)


def test_d1_off_dry_does_not_stop_while_a_believed_higher_contact_is_wet():
    rig = ready()
    rig.fill("off", "lead", "lag").run(10)
    rig.drain("off").run(10)
    assert rig.pumps_on() == (1, 1)


def test_d1_in_fixed_duty_the_primary_does_not_displace_a_running_secondary():
    rig = ready(duty=s.FIXED, sensing=WITH_CURRENT)
    rig.set(selector_1="off").fill("off", "lead").run(10)
    assert rig.pumps_on() == (0, 1)
    rig.set(selector_1="auto").run(300)
    assert rig.pumps_on() == (0, 1)


def test_d1_in_fixed_duty_the_primary_takes_over_when_the_mains_returns():
    rig = ready(duty=s.FIXED, supply_2=s.BATTERY, sensing=WITH_CURRENT)
    rig.set(mains=0).fill("off", "lead").run(10)
    assert rig.pumps_on() == (0, 1)
    rig.set(mains=1).run(30)
    assert rig.pumps_on() == (1, 0)


# D2 ------------------------------------------------------------------------------------------------


def cycle(rig, run_s=20, refill_s=70):
    """One ordinary cycle: fill to lead, run, draw down to off, refill; return which pump led."""
    since = rig.t
    rig.fill("off", "lead").run(run_s)
    leads = [n for t, n in rig.all_starts() if t >= since]
    rig.drain("lead", "off").run(refill_s)
    return leads[0] if leads else None


def test_d2_alternate_changes_the_lead_turn_at_each_completed_cycle():
    rig = ready()
    assert [cycle(rig) for _ in range(6)] in ([1, 2] * 3, [2, 1] * 3)


@pytest.mark.parametrize("primary", [1, 2])
def test_d2_fixed_always_lets_the_primary_lead(primary):
    rig = ready(duty=s.FIXED, primary=primary)
    assert [cycle(rig) for _ in range(4)] == [primary] * 4


def test_d2_run_time_balancing_lets_the_pump_with_the_least_run_time_lead():
    rig = ready(duty=s.RUN_TIME)
    first = cycle(rig, run_s=300)
    other = 3 - first
    # The other makes up 300 s in cycles of about 26 s each before the first leads again.
    leads = [cycle(rig, run_s=20) for _ in range(8)]
    assert leads == [other] * 8
    balance = abs(rig.run_time(first) - rig.run_time(other))
    rest = [cycle(rig, run_s=20) for _ in range(10)]
    assert first in rest
    assert abs(rig.run_time(first) - rig.run_time(other)) <= max(26 + NEAR, balance - 10 * 26)


def test_d2_an_unavailable_pump_is_skipped_at_once_and_keeps_one_turn():
    rig = ready()
    first = cycle(rig)
    other = 3 - first
    rig.set(**{f"selector_{other}": "off"})
    assert [cycle(rig) for _ in range(3)] == [first] * 3
    rig.set(**{f"selector_{other}": "auto"})
    # One turn was kept and there is no catching up on the rest.
    assert [cycle(rig) for _ in range(4)] == [other, first, other, first]


def test_d2_a_resting_pump_is_skipped_at_once():
    rig = ready(min_off=1_800_000, lag_min_off=600_000, flood_min_off=100_000)
    rig.run(2000)
    first = cycle(rig, refill_s=5)
    at = rig.t
    rig.fill("off", "lead").run(5)
    assert rig.starts(3 - first, since=at) == [near(at + 3 + 1.0)]
    rig.drain("lead", "off").run(5)


@pytest.mark.parametrize("primary", [1, 2])
def test_d2_of_two_that_start_together_the_lead_is_first(primary):
    rig = ready(duty=s.FIXED, primary=primary)
    assert cycle(rig) == primary  # with alternate duty it would be the other's turn now
    at = rig.t
    rig.set(high=1).run(30)
    assert [n for t, n in rig.all_starts() if t >= at] == [primary, 3 - primary]


def test_d2_where_nobody_leads_the_one_whose_turn_it_is_starts_first():
    for cycles in (1, 2):
        rig = ready()
        last = [cycle(rig) for _ in range(cycles)][-1]
        at = rig.t
        rig.set(selector_1="hand", selector_2="hand").run(30)
        assert [n for t, n in rig.all_starts() if t >= at] == [3 - last, last]


# D3 ------------------------------------------------------------------------------------------------


def test_d3_the_other_takes_over_when_the_lead_fails_to_start():
    rig = ready(sensing=WITH_CURRENT)
    rig.load[0] = "none"
    rig.fill("off").set(lead=1)
    rig.run(12)
    assert rig.stops(1) == [near(rig.starts(1)[0] + 3.0)]
    assert rig.starts(2) == [near(rig.starts(1)[0] + 3.0)]


def test_d3_the_other_takes_over_when_the_lead_is_switched_off():
    rig = ready(sensing=WITH_CURRENT)
    rig.fill("off", "lead").run(30)
    assert rig.pumps_on() == (1, 0)
    at = rig.t
    rig.set(selector_1="off").run(5)
    assert rig.starts(2) == [near(at)]


def test_d3_only_start_spacing_holds_the_other_back():
    rig = ready(sensing=WITH_CURRENT, start_spacing=8000, generator_spacing=10_000)
    rig.load[0] = "none"
    rig.fill("off").set(lead=1).run(20)
    assert rig.starts(2) == [near(rig.starts(1)[0] + 8.0)]


# D4 ------------------------------------------------------------------------------------------------


def test_d4_a_lead_past_max_run_below_lag_hands_over_stop_first_then_start():
    rig = ready(sensing=WITH_CURRENT, max_run=120_000)
    rig.fill("off", "lead").run(140)
    (start, stop), = rig.runs(1)
    assert stop == near(start + 120)
    assert rig.starts(2)[0] >= stop
    assert rig.starts(2)[0] <= stop + 3.0 + NEAR
    assert rig.c.history.long_runs == 1


def test_d4_no_hand_over_when_the_other_cannot_start_now():
    rig = ready(sensing=WITH_CURRENT, max_run=120_000)
    rig.set(selector_2="off").fill("off", "lead").run(600)
    assert rig.pumps_on() == (1, 0)
    assert rig.stops(1) == []
    assert rig.c.history.long_runs == 1


@pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_FEEDBACK])
def test_d4_in_fixed_duty_as_well_where_no_current_tells_that_the_lead_moves_water(sensing):
    # A primary worn by 60 % let the water stand: "not keeping up" 18 times in three days, and its number never.
    rig = ready(sensing=sensing, duty=s.FIXED)
    for _ in range(2):
        rig.fill("off", "lead").run(530)
        assert rig.pumps_on() == (1, 0)
        rig.run(15)
        assert rig.pumps_on() == (0, 1)
        rig.run(30).drain("lead", "off").run(100)
    assert rig.raised("not_keeping_up") == [] and rig.raised("pump_1_suspect") != []


def test_d4_not_in_fixed_duty_where_the_lead_has_got_the_water_below_lead():
    # In a long storm the backup's battery would be spent.
    rig = ready(sensing=NO_CURRENT, duty=s.FIXED)
    rig.fill("off", "lead").run(530).drain("lead").run(30)
    assert rig.pumps_on() == (1, 0)
    rig.fill("lead").run(530)
    assert rig.pumps_on() == (1, 0) and rig.starts(2) == []


def test_d4_not_in_fixed_duty_where_a_current_is_sensed():
    rig = ready(sensing=WITH_CURRENT, max_run=120_000, duty=s.FIXED)
    rig.fill("off", "lead").run(600)
    assert rig.stops(1) == []
    assert rig.all_starts() == [(rig.starts(1)[0], 1)]


def test_d4_at_lag_both_keep_running():
    rig = ready(sensing=WITH_CURRENT, max_run=120_000)
    rig.fill("off", "lead", "lag").run(500)
    assert rig.pumps_on() == (1, 1)
    assert rig.stops(1) == []
    assert rig.stops(2) == []


def test_d4_a_handed_over_pump_may_lead_again_after_its_rest():
    rig = ready(sensing=NO_CURRENT, max_run=120_000, fitted=11)
    rig.fill("off", "lead").run(1000)
    order = [n for _, n in rig.all_starts()]
    assert len(order) >= 7
    assert all(a != b for a, b in zip(order, order[1:], strict=False))
    assert rig.c.history.long_runs >= 1


# D5 ------------------------------------------------------------------------------------------------


def test_d5_the_water_at_lag_is_counted_and_no_alarm():
    rig = ready()
    rig.fill("off", "lead").run(10)
    rig.fill("lag").run(1)
    assert rig.c.history.lag_reached == 1
    assert rig.run(30).active_alarms() == []


# A pit in which a draw-down takes long.
LONG_DRAW = {"pump_down_lead": 600_000, "pump_down_lag": 600_000, "pump_down_high": 600_000, "blind_run": 600_000,
             "sensing": WITH_CURRENT}  # fmt: skip


def test_d5_both_running_for_ten_minutes_do_not_keep_up():
    rig = ready(**LONG_DRAW).fill("off", "lead", "lag").drain("lag", "lead")
    both = max(rig.starts(1)[0], rig.starts(2)[0])
    rig.run(700)
    assert rig.pumps_on() == (1, 1)
    assert rig.raised("not_keeping_up") == [near(both + 600)]


def test_d5_lag_wet_for_a_minute_does_not_keep_up_and_neither_does_lead_for_ten():
    rig = ready().fill("off", "lead")
    lead = rig.t - 3 + 1
    rig.run(500)
    assert rig.raised("not_keeping_up") == []
    rig.run(300)
    assert rig.raised("not_keeping_up") == [near(lead + 600)]
    rig = ready().fill("off", "lead", "lag")
    lag = rig.t - 3 + 1
    rig.run(55)
    assert rig.raised("not_keeping_up") == []
    rig.run(10)
    assert rig.raised("not_keeping_up") == [near(lag + 60)]
    assert rig.output("relay") == 0
    rig.drain("lag").run(3)
    assert not rig.active("not_keeping_up")


def test_d5_one_pump_for_ten_minutes_below_lead_is_no_such_alarm():
    rig = ready(**LONG_DRAW)
    rig.fill("off", "lead").drain("lead").run(1100)
    assert sum(rig.pumps_on()) == 1
    assert rig.raised("not_keeping_up") == []


# D6 ------------------------------------------------------------------------------------------------


def cycle_to_lag(rig):
    since = rig.t
    rig.fill("off", "lead").run(10)
    rig.fill("lag").run(20)
    rig.drain("lag", "lead", "off").run(70)
    return min((t, n) for t, n in rig.all_starts() if t >= since)[1]


def test_d6_a_lead_that_twice_running_lets_the_level_reach_lag_is_suspect_and_the_other_leads():
    rig = ready()
    weak = cycle_to_lag(rig)
    assert cycle(rig) == 3 - weak
    assert cycle_to_lag(rig) == weak
    rig.run(5)
    assert rig.active(f"pump_{weak}_suspect")
    assert [cycle(rig) for _ in range(4)] == [3 - weak] * 4


def test_d6_leads_that_never_see_lag_make_no_suspect():
    rig = ready()
    for _ in range(6):
        cycle(rig)
    assert rig.c.pair.lag_leads == [0, 0]
    assert rig.raised("pump_1_suspect") + rig.raised("pump_2_suspect") == []


def test_d6_lag_that_is_believed_again_by_a_reset_has_not_turned_wet_then():
    rig = ready().set(lag=1).run(25).fill("off", gap_s=3)
    rig.run_until(lambda rig: rig.suspects() == {"lag"}, 200)
    rig.set(lead=1).run(20)
    rig.press("reset").run(20)
    assert rig.suspects() == set()
    rig.drain("lag", "lead", "off").run(10)
    assert rig.c.pair.lag_leads == [0, 0]


def test_d6_a_good_lead_in_between_clears_the_count():
    rig = ready()
    weak = cycle_to_lag(rig)
    for _ in range(4):
        cycle(rig)
    assert cycle(rig) == 3 - weak
    assert cycle_to_lag(rig) == weak
    assert not rig.active(f"pump_{weak}_suspect")


def test_d6_reset_clears_the_flag():
    rig = ready()
    weak = cycle_to_lag(rig)
    cycle(rig)
    cycle_to_lag(rig)
    rig.press("reset").run(5)
    assert not rig.active(f"pump_{weak}_suspect")
    assert {cycle(rig), cycle(rig)} == {1, 2}


def test_d6_with_both_flagged_neither_loses_the_lead():
    rig = ready()
    for _ in range(4):
        cycle_to_lag(rig)
    assert rig.active("pump_1_suspect")
    assert rig.active("pump_2_suspect")
    assert {cycle(rig), cycle(rig)} == {1, 2}


def test_d6_a_feedback_does_not_tell_whether_a_pump_moves_water():
    rig = ready(sensing=WITH_FEEDBACK)
    weak = cycle_to_lag(rig)
    cycle(rig)
    assert cycle_to_lag(rig) == weak
    assert rig.run(5).active(f"pump_{weak}_suspect")


def test_d6_with_current_fitted_nothing_is_flagged():
    rig = ready(sensing=WITH_CURRENT)
    for _ in range(6):
        cycle_to_lag(rig)
    assert rig.raised("pump_1_suspect") + rig.raised("pump_2_suspect") == []


# D7 ------------------------------------------------------------------------------------------------


def test_d7_a_pump_idle_for_seven_days_is_exercised_when_off_is_wet():
    rig = ready(sensing=WITH_CURRENT)
    rig.fill("off").run(7 * DAY - 200)
    assert rig.all_starts() == []
    rig.run(400)
    assert {n for _, n in rig.all_starts()} == {1, 2}
    for n in (1, 2):
        assert [b - a for a, b in rig.runs(n)] == [near(10.0)]
    assert rig.raised("pump_1_exercise_failed") == []


def test_d7_no_exercise_with_off_dry():
    rig = ready(sensing=WITH_CURRENT)
    rig.run(8 * DAY)
    assert rig.all_starts() == []
    at = rig.t
    rig.fill("off").run(120)
    assert {n for t, n in rig.all_starts() if t > at} == {1, 2}


def test_d7_no_exercise_without_mains():
    rig = ready(sensing=WITH_CURRENT, supply_1=s.BATTERY, supply_2=s.BATTERY)
    rig.set(mains=0).fill("off").run(8 * DAY)
    assert rig.all_starts() == []


def test_d7_a_pump_that_ran_is_not_idle():
    rig = ready(sensing=WITH_CURRENT)
    for _ in range(2):
        rig.run(4 * DAY)
        cycle(rig)
        cycle(rig)
    starts = len(rig.all_starts())
    rig.fill("off").run(4 * DAY)
    assert len(rig.all_starts()) == starts


@pytest.mark.parametrize("band", ["none", "under"])
def test_d7_an_exercise_without_normal_current_has_failed(band):
    rig = ready(sensing=WITH_CURRENT)
    rig.load[1] = band
    rig.fill("off").run(7 * DAY + 300)
    assert rig.active("pump_2_exercise_failed")
    assert not rig.active("pump_1_exercise_failed")


@pytest.mark.parametrize("moved", [0, 1])
def test_d7_an_exercise_by_which_the_level_did_not_fall_has_failed_where_that_can_be_measured(moved):
    rig = ready(sensing=WITH_CURRENT, transmitter=1, fitted=8)
    rig.set(level=20, moved=1).run(7 * DAY - 200)
    rig.set(moved=moved).run(400)
    assert {n for _, n in rig.all_starts()} == {1, 2}
    assert [rig.active(f"pump_{n}_exercise_failed") for n in (1, 2)] == [not moved] * 2


@pytest.mark.parametrize("n", [1, 2])
def test_d7_a_reset_takes_a_failed_exercise_as_seen_to(n):
    rig = ready(sensing=WITH_CURRENT)
    rig.load[n - 1] = "under"
    rig.fill("off").run(7 * DAY + 300)
    assert rig.active(f"pump_{n}_exercise_failed")
    rig.press("reset").run(1)
    assert [rig.active(f"pump_{k}_exercise_failed") for k in (1, 2)] == [False, False]


def test_d7_an_exercise_is_given_up_at_once_when_the_level_asks_for_the_pumps():
    rig = ready(sensing=WITH_CURRENT)
    rig.c.exercise.idle_min[0] = 7 * 1440
    rig.set(off=1).run(3.0)
    assert rig.c.exercise.who == 0
    rig.set(lead=1).run(1.2)
    assert rig.c.exercise.who == -1
    assert rig.c.exercise.failed == 0, "no verdict on an exercise that was cut short"


def test_d7_no_exercise_while_the_level_is_lost():
    rig = ready(sensing=WITH_CURRENT).set(selector_2="off").fill("off")
    rig.load = ["under", "under"]
    rig.set(lead=1, lag=1).run(3600)  # one wire: blind runs, resting longer and longer; off is believed wet
    assert rig.active("level_lost")
    rig.run(7 * DAY)  # in which pump 2 never ran
    rig.run_until(lambda rig: rig.pumps_on() == (1, 0), 3600).run_until(lambda rig: rig.pumps_on() == (0, 0), 60)
    rig.set(selector_1="off", selector_2="auto")
    at = rig.t
    rig.run(4 * 3600)
    runs = rig.runs(2, since=at)
    assert len(runs) in (7, 8), "one every half an hour and no other"
    assert rig.c.exercise.tried == [0, 0]


def test_d7_off_dry_for_thirty_days_asks_for_water_and_a_test():
    rig = ready()
    rig.run(30 * DAY - 200)
    assert not rig.active("pour_and_test")
    rig.run(400)
    assert rig.active("pour_and_test")
    rig.fill("off").run(120)
    assert not rig.active("pour_and_test")
