"""S5 to S8: failed starts, welded contacts, overcurrent, short cycling.  Each test is one claim, in numbers."""

import pytest
from duplexsump.control import settings as s
from duplexsump.control.ticks import MASK

from tests.control.clause_bench import locked_out, near, pump_1_only
from tests.rig import WITH_CURRENT, WITH_FEEDBACK, Rig, ready

# S5 ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sensing", [WITH_CURRENT, WITH_FEEDBACK])
def test_s5_no_current_or_feedback_within_start_proof_is_a_failed_start(sensing):
    rig = pump_1_only(sensing=sensing)
    rig.load[0] = "none"
    rig.fill("off", "lead").run(10)
    (start, stop), = rig.runs(1)
    assert stop - start == near(3.0)
    assert rig.active("pump_1_unavailable")


@pytest.mark.parametrize("sensing", [WITH_CURRENT, WITH_FEEDBACK])
def test_s5b_current_gone_for_start_proof_in_mid_run_is_a_lost_run(sensing):
    rig = ready(sensing=sensing)
    rig.fill("off", "lead").run(30)
    at = rig.t
    rig.load[0] = "none"
    rig.run(20)
    assert rig.stops(1) == [pytest.approx(at + 3.1, abs=0.2)]
    assert rig.starts(2) == [near(rig.stops(1)[0])]


def test_s5_a_failed_pump_rests_for_retry():
    rig = pump_1_only()
    rig.load[0] = "none"
    rig.fill("off", "lead").run(1400)
    starts = rig.starts(1)
    assert starts[1] - rig.stops(1)[0] == near(600)


def test_s5_three_in_a_row_lock_out():
    rig = locked_out()
    assert len(rig.starts(1)) == 3
    rig.run(6 * 3600)
    assert len(rig.starts(1)) == 3


def test_s5_retries_is_a_setting():
    rig = locked_out(retries=2)
    assert len(rig.starts(1)) == 2


def test_s5_a_run_ended_by_level_clears_the_count():
    rig = pump_1_only()
    rig.fill("off")
    for _ in range(5):
        rig.load[0] = "none"
        rig.set(lead=1).run(10)
        rig.load[0] = "normal"
        rig.run(620)
        assert rig.pumps_on() == (1, 0)
        rig.set(lead=0).run(5).set(off=0).run(70).set(off=1).run(5)
        assert rig.pump_state(1) != "locked"


def test_s5_a_fault_within_three_seconds_before_a_mains_loss_is_withdrawn():
    rig = ready(sensing=WITH_CURRENT)
    rig.fill("off", "lead").run(30)
    rig.load = ["none", "none"]
    rig.run(3.3)  # run lost: the lights are already going
    assert rig.stops(1) != []
    rig.run(1).set(mains=0).run(60)
    rig.load = ["normal", "normal"]
    rig.set(mains=1).run(60)
    assert not rig.active("pump_1_unavailable")
    assert rig.pump_state(1) not in ("retry", "locked")


def fault_before_a_mains_loss(n, after_s, start_ms=0, **overrides):
    """Pump n loses its run with the other at OFF, and `after_s` later the mains goes."""
    rig = Rig(start_ms=start_ms, **{"sensing": WITH_CURRENT, **overrides}).run(70).set(**{f"selector_{3 - n}": "off"})
    rig.fill("off", "lead").run(30)
    rig.load[n - 1] = "none"
    rig.run_until(lambda rig: rig.pump_state(n) == "retry", 5)
    tripped = rig.now_ms
    rig.run(after_s).set(mains=0)
    return rig, tripped


@pytest.mark.parametrize("n", [1, 2])
def test_s5_only_a_fault_of_a_mains_pump_less_than_three_seconds_before_is_taken_back(n):
    for after_s, state in ((0.5, "idle"), (2.9, "idle"), (3.0, "retry"), (20.0, "retry")):
        rig, _tripped = fault_before_a_mains_loss(n, after_s)
        assert (rig.pump_state(n), rig.c.pumps[n - 1].failures) == (state, int(state == "retry")), after_s
    rig, _tripped = fault_before_a_mains_loss(n, 0.5, **{f"supply_{n}": s.BATTERY})
    assert rig.pump_state(n) == "retry", "the battery has not failed"


def test_s5_wherever_in_the_ring_the_three_seconds_end():
    _rig, tripped = fault_before_a_mains_loss(1, 0.5)
    rig, _tripped = fault_before_a_mains_loss(1, 0.5, start_ms=-(tripped + 3000) & MASK)  # they end at the instant 0
    assert rig.pump_state(1) == "idle"


@pytest.mark.parametrize("n", [1, 2])
def test_s5_a_run_lost_in_the_very_step_of_a_mains_loss_is_off_before_it_starts_on_the_battery(n):
    rig = ready(sensing=WITH_CURRENT, **{f"supply_{n}": s.EITHER}).set(**{f"selector_{3 - n}": "off"})
    rig.fill("off", "lead").run(30)
    assert rig.pump_state(n) == "running"
    rig.load[n - 1] = "none"
    gone = rig.t + 0.1
    rig.at(gone + 3, mains=0).run(4)
    assert rig.stops(n) == [near(gone + 3)]
    rig.load[n - 1] = "normal"
    rig.run(30)
    assert rig.pump_state(n) == "running"
    assert len(rig.starts(n)) == 2, "a start like any other, with its proof"


def counted_once(**overrides):
    """A rig whose pump 1 has failed to start once, has rested and is to lead again."""
    rig = ready(**{"sensing": WITH_CURRENT, **overrides})
    rig.load[0] = "none"
    rig.fill("off", "lead").run(60)
    rig.load[0] = "normal"
    rig.drain("lead", "off").run(700)
    assert (rig.pump_state(1), rig.c.pumps[0].failures) == ("idle", 1)
    return rig


def test_s5_a_run_that_hands_over_while_the_level_still_asks_clears_no_count():
    rig = counted_once(max_run=120_000)
    rig.fill("off", "lead").run(130)
    assert [n for _t, n in rig.all_starts()[-2:]] == [1, 2]
    assert rig.c.pumps[0].failures == 1
    rig.drain("lead", "off").run(5)
    assert rig.c.pumps[0].failures == 1


def test_s5_a_provisional_stop_clears_no_count():
    rig = counted_once()
    rig.fill("off", "lead").run(10)
    rig.set(lead=0).run(60)
    assert rig.pumps_on() == (0, 0)
    assert rig.starts(1)[-1] > 700
    assert rig.c.pumps[0].failures == 1


# S6 ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sensing", [WITH_CURRENT, WITH_FEEDBACK])
def test_s6_current_over_start_proof_while_off_is_a_pump_that_will_not_stop(sensing):
    rig = ready(sensing=sensing)
    rig.weld[0] = "normal"
    rig.run(0.1)
    at = rig.t
    rig.run(10)
    assert rig.raised("pump_1_will_not_stop") == [near(at + 3.0)]


def test_s6_a_pump_that_coasts_for_less_is_nothing():
    rig = ready(sensing=WITH_CURRENT)
    rig.weld[0] = "normal"
    rig.run(2.5)
    rig.weld[0] = "none"
    rig.run(20)
    assert rig.raised("pump_1_will_not_stop") == []


def test_s6_it_counts_as_running_and_never_leads():
    rig = ready(sensing=WITH_CURRENT)
    rig.weld[0] = "normal"
    rig.run(10)
    for _ in range(3):
        rig.fill("off", "lead").run(20)
        assert rig.starts(1) == []
        rig.drain("lead", "off").run(70)


# S7 ------------------------------------------------------------------------------------------------


def test_s7_overload_for_five_seconds_trips():
    rig = ready(sensing=WITH_CURRENT)
    rig.fill("off", "lead").run(30)
    rig.load[0] = "over"
    rig.run(0.1)
    at = rig.t
    rig.run(20)
    assert rig.stops(1) == [near(at + 5.0)]
    assert rig.starts(2) == [near(at + 5.0)]


def test_s7_a_shorter_overload_is_nothing():
    rig = ready(sensing=WITH_CURRENT)
    rig.fill("off", "lead").run(30)
    for _ in range(4):
        rig.load[0] = "over"
        rig.run(4.5)
        rig.load[0] = "normal"
        rig.run(5)
    assert rig.stops(1) == []


def test_s7_a_locked_rotor_trips_one_second_after_the_first_second():
    rig = pump_1_only()
    rig.load[0] = "locked"
    rig.fill("off", "lead").run(10)
    (start, stop), = rig.runs(1)
    assert stop - start == pytest.approx(2.0, abs=0.25)


def test_s7_inrush_in_the_first_second_is_nothing():
    rig = pump_1_only()
    rig.load[0] = "locked"
    rig.fill("off").set(lead=1).run(1.9)
    rig.load[0] = "normal"
    rig.run(20)
    assert rig.stops(1) == []


def test_s7_three_overcurrent_trips_in_a_row_lock_out():
    rig = pump_1_only()
    rig.load[0] = "locked"
    rig.fill("off", "lead").run(3600)
    assert len(rig.starts(1)) == 3
    assert rig.pump_state(1) == "locked"


def test_s7_an_open_thermal_contact_withdraws_and_rests_retry_after_it_closes():
    rig = pump_1_only()
    rig.fill("off", "lead").run(30)
    rig.set(thermal_1=1)
    assert rig.pumps_on() == (0, 0)
    rig.run(1800)
    assert len(rig.starts(1)) == 1
    rig.set(thermal_1=0)
    closed = rig.t
    rig.run(700)
    assert rig.starts(1)[1:] == [near(closed + 600)]


def test_s7_moisture_is_a_low_latched_alarm_and_the_pump_runs_on():
    rig = ready(sensing=WITH_CURRENT)
    rig.fill("off", "lead").run(30)
    rig.set(moisture_1=1).run(30).set(moisture_1=0).run(5)
    assert rig.pumps_on() == (1, 0)
    assert rig.alarm("pump_1_moisture") == "latched"


def test_s7_moisture_trips_where_it_is_set_to():
    rig = ready(sensing=WITH_CURRENT, moisture_trips=1)
    rig.fill("off", "lead").run(30)
    rig.set(moisture_1=1).run(10)
    assert rig.pumps_on() == (0, 1)


def test_s7_a_thermal_contact_that_opens_in_a_retry_rest_starts_the_rest_anew_when_it_closes():
    rig = ready(sensing=WITH_CURRENT).set(selector_2="off")
    rig.load[0] = "none"
    rig.fill("off", "lead").run(10)
    rig.load[0] = "normal"
    rig.set(thermal_1=1).run(400).set(thermal_1=0)
    closed = rig.t
    rig.run(700)
    assert rig.starts(1)[1:] == [near(closed + 600)]


def test_s7_two_open_thermal_contacts_leave_the_house_unprotected():
    rig = ready()
    rig.set(thermal_1=1, thermal_2=1).run(1)
    assert rig.active("no_pump")
    assert not rig.active("pump_1_unavailable") and not rig.active("pump_2_unavailable"), "one alarm for both"


# S8 ------------------------------------------------------------------------------------------------


def quick_cycles(rig, count, period_s=120):
    for _ in range(count):
        at = rig.t
        rig.fill("off", "lead").run(20)
        rig.drain("lead", "off").run(at + period_s - rig.t)


def test_s8_more_starts_in_an_hour_than_the_motor_bears_is_short_cycling():
    rig = pump_1_only(starts_per_hour=6)
    quick_cycles(rig, 6)
    assert rig.raised("pump_1_short_cycling") == []
    quick_cycles(rig, 1)
    assert len(rig.raised("pump_1_short_cycling")) == 1


def test_s8_starts_older_than_an_hour_do_not_count():
    rig = pump_1_only(starts_per_hour=6)
    for _ in range(4):
        quick_cycles(rig, 6)
        rig.run(3600)
    assert rig.raised("pump_1_short_cycling") == []


def test_s8_at_most_once_a_day():
    rig = pump_1_only(starts_per_hour=6)
    quick_cycles(rig, 30)
    rig.run(7200)
    quick_cycles(rig, 30)
    assert len(rig.raised("pump_1_short_cycling")) == 1
    rig.run(86_400)
    quick_cycles(rig, 10)
    assert len(rig.raised("pump_1_short_cycling")) == 2
