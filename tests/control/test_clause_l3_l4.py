"""L3 and L4: stopping by time, and an `off` that stays wet.  Each test is one claim of the narrative, in numbers."""

import pytest

from tests.control.clause_bench import NEAR, near
from tests.rig import NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK, ready

NO_OFF = {"fitted": 14, "sensing": WITH_CURRENT}


def dead_off(sensing=NO_CURRENT):
    """A rig whose off is dead and known to be; no current is sensed."""
    rig = ready(sensing=sensing)
    rig.c.belief.make_suspect(1, 0)
    return rig


# L3 ------------------------------------------------------------------------------------------------


def test_l3_without_off_pumping_goes_on_for_pump_down_from_the_lowest_believed_contact():
    rig = ready(**NO_OFF)
    rig.set(lead=1).run(5)
    rig.set(lead=0)
    dry_at = rig.t + 1.0
    rig.run(60)
    assert dry_at + 16.0 - NEAR <= rig.stops(1)[0] <= dry_at + 35.0 + NEAR


def one_cycle(rig, refill_s, run_s):
    """Refill for refill_s with all dry, then lead wet for run_s; return the second of lead's settled fall."""
    rig.run(refill_s)
    rig.set(lead=1).run(run_s)
    rig.set(lead=0)
    return rig.t + 1.0


def test_l3_pump_down_is_stretched_by_last_run_over_last_refill():
    rig = ready(**NO_OFF)
    one_cycle(rig, 10, 5)
    rig.run_until(lambda rig: rig.pumps_on() == (0, 0), 60)
    # The second cycle is the one to judge: its refill (100 s + debounce) is known.
    start = rig.t
    rig.run(99).set(lead=1).run(5)
    refill = rig.all_starts()[-1][0] - start
    first_run = rig.stops(1)[0] - rig.starts(1)[0]
    rig.set(lead=0)
    dry_at = rig.t + 1.0
    rig.run(60)
    stopped = max(rig.stops(1) + rig.stops(2))
    assert stopped == pytest.approx(dry_at + 16.0 * (1 + first_run / refill), abs=1.0)


def test_l3_the_stop_by_time_never_goes_past_blind_run():
    rig = ready(**NO_OFF)
    for _ in range(3):
        dry_at = one_cycle(rig, 3, 30)
        rig.run_until(lambda rig: rig.pumps_on() == (0, 0), 120)
        assert max(rig.stops(1) + rig.stops(2)) <= dry_at + 35.0 + NEAR


def test_l3_two_running_pumps_use_the_time_up_twice_as_fast():
    rig = ready(**NO_OFF)
    rig.fill("lead", "lag").run(5)
    assert rig.pumps_on() == (1, 1)
    rig.set(lag=0).run(3).set(lead=0)
    dry_at = rig.t + 1.0
    rig.run(60)
    assert dry_at + 8.0 - NEAR <= rig.stops(1)[0] <= dry_at + 17.5 + NEAR


@pytest.mark.parametrize(("wet", "seconds"), [(("lead",), 16), (("lag",), 30)])
def test_l3_the_lowest_believed_contacts_own_pump_down_counts(wet, seconds):
    rig = ready(pump_down_lag=30_000, pump_down_high=35_000, blind_run=60_000, **NO_OFF)
    rig.set(selector_2="off")
    rig.set(**dict.fromkeys(wet, 1)).run(25)
    assert rig.suspects() == ({"lead"} if "lag" in wet else set())
    rig.set(**dict.fromkeys(wet, 0))
    dry_at = rig.t + 1.0
    rig.run(90)
    assert rig.stops(1) == [pytest.approx(dry_at + seconds, abs=0.3)]  # the first cycle: no refill is known yet


def test_l3_the_time_stands_still_while_no_pump_runs():
    rig = ready(**NO_OFF)
    rig.set(selector_2="off", lead=1).run(10)
    rig.set(lead=0).run(6)  # 5 s of the 16 s are used up
    rig.set(selector_1="off").run(100).set(selector_1="auto")
    rig.run(60)
    (_, _), (start, stop) = rig.runs(1)
    assert stop - start == pytest.approx(16 - 5, abs=0.3)


def test_l3_lead_wet_alone_for_blind_run_without_sensing_is_stuck_wet():
    rig = dead_off()
    rig.set(lead=1).run(34)
    assert rig.suspects() == {"off"}
    rig.run(5)
    assert rig.suspects() == {"off", "lead"}
    rig.run(60)
    assert rig.pumps_on() == (0, 0)
    assert rig.run_time(1) + rig.run_time(2) <= 2 * 35.0 + 1


def test_l3_lead_and_lag_hung_wet_one_after_the_other_cost_three_blind_runs_at_most():
    # Lead was found out; then lag hangs, and as the fewest faults off is the suspect and lead believed again.
    rig = ready(sensing=WITH_FEEDBACK)
    rig.fill("off", "lead").run(10).drain("off").run(30)
    assert rig.suspects() == {"lead"} and rig.pumps_on() == (0, 0)
    rig.fill("off").run(60).set(lag=1).run(10)
    assert rig.pumps_on() == (1, 1)
    dry_at = rig.drain("off").t
    rig.run(600)
    assert {"lead", "lag"} <= rig.suspects() and rig.pumps_on() == (0, 0)
    assert max(rig.stops(1)[-1], rig.stops(2)[-1]) - dry_at < 20 + 3 * 35


def test_l3_lead_wet_over_a_wet_off_without_a_move_for_twice_not_keeping_up_is_looked_at_where_nothing_is_sensed():
    rig = ready(sensing=WITH_FEEDBACK)
    rig.fill("off", "lead").run(1195)
    assert sum(rig.pumps_on()) == 1 and rig.suspects() == set()
    rig.run(10)
    assert rig.suspects() == {"lead"} and rig.pumps_on() == (0, 0)
    rig.fill("lag").run(70)
    assert rig.pumps_on() == (1, 1), "lag calls all the same"
    rig.drain("lag", "lead").run(5)
    assert rig.suspects() == set()


def test_l3_what_is_looked_at_may_be_sound_under_pumps_that_move_nothing_so_not_keeping_up_tells_until_it_turns():
    rig = ready(sensing=WITH_FEEDBACK)
    rig.fill("off", "lead").run(3000)
    assert rig.suspects() == {"lead"} and rig.pumps_on() == (0, 0)
    assert rig.active("not_keeping_up")
    rig.fill("lag").run(70).drain("lag").run(600)
    assert rig.active("not_keeping_up") and len(rig.raised("not_keeping_up")) == 1
    rig.drain("lead").run(5)
    assert not rig.active("not_keeping_up")
    rig.fill("lead").run(60)
    assert rig.suspects() == set() and not rig.active("not_keeping_up"), "it is believed again"
    assert rig.raised("floats_out_of_sequence") == []


def test_l3_what_is_looked_at_and_reads_dry_is_not_told_though_lag_still_stands_over_it():
    rig = ready(sensing=WITH_FEEDBACK)
    rig.fill("off", "lead").run(1300).fill("lag").run(20)
    rig.drain("lead").run(6)
    assert rig.suspects() >= {"lead"} and not rig.active("not_keeping_up")
    rig.drain("off").run(3)
    assert rig.raised("floats_out_of_sequence") == []


def test_l3_what_is_looked_at_and_then_stands_over_a_dry_off_is_told():
    rig = ready(sensing=WITH_FEEDBACK)
    rig.fill("off", "lead").run(1300)
    assert rig.suspects() == {"lead"} and not rig.active("floats_out_of_sequence")
    rig.drain("off").run(30)
    assert rig.suspects() == {"lead"} and rig.active("floats_out_of_sequence")


def test_l3_a_move_of_any_contact_begins_the_long_time_over_a_wet_off_anew():
    rig = ready(sensing=WITH_FEEDBACK)
    rig.fill("off", "lead").run(1000).fill("lag").run(10).drain("lag").run(1150)
    assert rig.suspects() == set() and rig.pumps_on() == (1, 1)


@pytest.mark.parametrize("settings", [{"sensing": WITH_CURRENT}, {"sensing": WITH_FEEDBACK, "fitted": 11}])
def test_l3_lead_wet_over_a_wet_off_is_believed_where_a_current_tells_or_nobody_else_could_call(settings):
    rig = ready(**settings)
    rig.fill("off", "lead")
    if "fitted" in settings:  # without lag, and high hangs wet
        rig.fill("high").drain("lead").run(60)
        assert rig.suspects() == {"high"}
        rig.fill("lead")
    rig.run(1300)
    assert "lead" not in rig.suspects() and rig.pumps_on() != (0, 0)


def test_l3_with_current_sensing_lead_wet_alone_is_not_suspect():
    rig = ready(**NO_OFF)
    rig.set(lead=1).run(120)
    assert rig.suspects() == set()
    assert sum(rig.pumps_on()) == 1


def test_l3_lag_wet_with_nothing_moving_for_blind_run_without_sensing_is_stuck_wet():
    rig = dead_off()
    rig.fill("lead", "lag").run(5)
    rig.set(lead=0).run(60)
    assert "lag" in rig.suspects()
    rig.run(60)
    assert rig.pumps_on() == (0, 0)


def test_l3_lag_wet_beside_a_wet_high_is_not_suspect_for_standing_still():
    rig = dead_off()
    rig.fill("lead", "lag", "high").run(300)
    assert rig.suspects() == {"off"}
    assert rig.pumps_on() == (1, 1)


def test_l3_a_float_that_moves_within_blind_run_is_not_suspect():
    rig = dead_off()
    for _ in range(4):
        rig.set(lead=1).run(25)
        rig.set(lead=0).run(120)
    assert rig.suspects() == {"off"}


@pytest.mark.parametrize(("selectors", "pumps"), [
    (("auto", "off"), (1, 0)), (("off", "auto"), (0, 1)), (("auto", "auto"), (1, 1)), (("off", "off"), (0, 0)),
])  # fmt: skip
def test_l3_the_run_of_a_demand_is_the_time_of_each_pump_that_ran(selectors, pumps):
    rig = ready().set(selector_1=selectors[0], selector_2=selectors[1])
    rig.fill("off", "lead", "lag").run(60)
    assert rig.pumps_on() == pumps
    rig.step()
    assert rig.c.demand.run_ms == round(1000 * (rig.run_time(1) + rig.run_time(2)))


# L4 ------------------------------------------------------------------------------------------------


def stuck_off_cycle(rig, wait_s=100, flickers=True):
    """Lead wet for 5 s over a wet off, then dry, the current of a pump that snores; return when lead's fall settled."""
    rig.set(lead=1).run(5)
    rig.set(lead=0)
    dry_at = rig.t + 1.0
    rig.run(20)
    rig.load = ["under" if flickers else "normal"] * 2
    rig.run(0.3)
    rig.load = ["normal"] * 2
    rig.run(wait_s - 20.3)
    return dry_at


def test_l4_off_still_wet_three_pump_downs_after_lead_went_dry_stops_the_pump():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(off=1).run(5)
    dry_at = stuck_off_cycle(rig)
    assert rig.stops(1) == [near(dry_at + 48.0)]
    assert rig.suspects() == set()


def test_l4_two_such_stops_in_a_row_make_off_suspect():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(off=1).run(5)
    stuck_off_cycle(rig)
    assert rig.suspects() == set()
    dry_at = stuck_off_cycle(rig, wait_s=48 + 31)
    assert rig.suspects() == set()
    rig.run(2.5)
    assert rig.suspects() == {"off"}
    assert rig.raised("floats_out_of_sequence") == [pytest.approx(dry_at + 48 + 32, abs=0.3)]


def test_l4_a_draw_down_loaded_throughout_tells_nothing_of_off():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(off=1).run(5)
    for _ in range(4):
        dry_at = stuck_off_cycle(rig, flickers=False)
        assert max(rig.stops(1) + rig.stops(2)) == near(dry_at + 48.0), "it is stopped all the same"
    assert rig.suspects() == set()
    for flickers in (True, False, True):  # two that flicker, whatever lies between them
        assert rig.suspects() == set()
        stuck_off_cycle(rig, flickers=flickers)
    assert rig.suspects() == {"off"}


def test_l4_a_load_is_known_only_where_current_is_sensed():
    rig = ready(sensing=WITH_FEEDBACK)
    rig.set(off=1).run(5)
    for _ in range(2):
        assert rig.suspects() == set()
        stuck_off_cycle(rig, flickers=False)
    assert rig.suspects() == {"off"}


def test_l4_a_provisional_stop_shorter_than_two_pump_downs_does_not_count():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(off=1).run(5)
    for _ in range(6):
        stuck_off_cycle(rig, wait_s=48 + 20)
    assert rig.suspects() == set()


def test_l4_any_move_of_off_ends_the_test():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(off=1).run(5)
    for _ in range(4):
        stuck_off_cycle(rig)
        rig.set(off=0).run(3).set(off=1).run(30)
    assert rig.suspects() == set()


def test_l4_a_suspect_off_is_left_out_and_stops_go_by_time():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(off=1).run(5)
    stuck_off_cycle(rig)
    stuck_off_cycle(rig)
    assert rig.suspects() == {"off"}
    dry_at = stuck_off_cycle(rig)
    assert dry_at + 16 - NEAR <= max(rig.stops(1) + rig.stops(2)) <= dry_at + 35 + NEAR


def test_l4_suspicion_by_evidence_outlives_a_fresh_working_out():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(off=1).run(5)
    stuck_off_cycle(rig)
    stuck_off_cycle(rig)
    rig.set(lag=1).run(30)
    assert {"off", "lead"} <= rig.suspects()


def test_l4_each_draw_down_has_its_time_from_the_moment_lead_went_dry():
    rig = ready(sensing=WITH_CURRENT)
    rig.fill("off")
    for _ in range(3):  # lead comes back before the time is up: an honest, slow draw-down
        rig.set(lead=1).run(10)
        rig.set(lead=0).run(40)
    assert rig.stops(1) + rig.stops(2) == []
