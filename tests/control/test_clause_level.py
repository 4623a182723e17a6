"""L1 to L4: which contacts to believe.  Each test is one claim of the narrative, in numbers."""

import pytest
from duplexsump.control import records as r

from tests.rig import WITH_CURRENT, Rig, ready

NEAR = 0.15  # one tick and a half: inputs are sampled on a grid of 0.1 s


def near(seconds):
    return pytest.approx(seconds, abs=NEAR)


# L1 ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("debounce", [1000, 2500])
def test_l1_a_contact_counts_after_holding_its_value_for_debounce(debounce):
    rig = ready(debounce=debounce)
    rig.set(off=1).run(5)
    at = rig.t
    rig.set(lead=1).run(5)
    assert rig.starts(1) == [near(at + debounce / 1000)]


def test_l1_a_blip_shorter_than_debounce_changes_nothing():
    rig = ready()
    rig.set(off=1).run(5)
    for _ in range(3):
        rig.set(lead=1).run(0.9).set(lead=0).run(20)
    assert rig.all_starts() == []


def flutter(rig, changes, contact="lead"):
    """Change a contact `changes` times, half a second apart: too quick for any debounce."""
    for i in range(changes):
        rig.set(**{contact: (i + 1) % 2}).run(0.5)
    return rig


def test_l1_more_than_five_changes_in_ten_seconds_count_as_wet():
    rig = ready()
    rig.set(off=1).run(5)
    flutter(rig, 6).run(2)
    assert len(rig.all_starts()) == 1
    assert rig.active("chattering")


def test_l1_five_changes_are_not_chattering():
    rig = ready()
    rig.set(off=1).run(5)
    flutter(rig, 4)  # ends dry
    rig.run(12)
    flutter(rig, 5).set(lead=0).run(2)
    assert rig.raised("chattering") != []  # the sixth change came within the ten seconds
    quiet = ready()
    quiet.set(off=1).run(5)
    flutter(quiet, 4).run(9)
    flutter(quiet, 4).run(3)
    assert quiet.raised("chattering") == []


def test_l1_chattering_ends_after_ten_steady_seconds():
    rig = ready()
    rig.set(off=1).run(5)
    flutter(rig, 6)
    steady_from = rig.t - 0.5
    rig.run_until(lambda rig: not rig.active("chattering"), 15)
    assert rig.t == near(steady_from + 10)


def test_l1_the_step_writes_the_limited_contacts_back_into_its_input_record():
    rig = ready()
    rig.set(off=1).run(5)
    flutter(rig, 6)
    assert rig.held[r.IN_CONTACTS] == r.OFF
    assert rig.scratch[r.IN_CONTACTS] == r.OFF | r.LEAD
    assert rig.scratch[r.IN_CHATTER] == r.LEAD
    rig.run(12)
    assert rig.scratch[r.IN_CONTACTS] == r.OFF
    assert rig.scratch[r.IN_CHATTER] == 0


# L2 ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("contact", "pumps"), [("lead", 1), ("lag", 2), ("high", 2)])
def test_l2_a_wet_contact_starts_what_it_asks_for_whatever_lies_below(contact, pumps):
    rig = ready()
    at = rig.t
    rig.set(**{contact: 1}).run(10)
    assert rig.all_starts()[0][0] == near(at + 1.0)
    assert sum(rig.pumps_on()) == pumps


def test_l2_a_wet_contact_over_a_dry_one_for_sequence_time_is_out_of_sequence():
    rig = ready()
    at = rig.t
    rig.set(lead=1).run(30)
    assert rig.raised("floats_out_of_sequence") == [near(at + 1.0 + 20.0)]
    assert rig.suspects() == {"off"}


def test_l2_sequence_time_is_a_setting():
    rig = ready(sequence_time=10_000)
    at = rig.t
    rig.set(lead=1).run(30)
    assert rig.raised("floats_out_of_sequence") == [near(at + 1.0 + 10.0)]


def test_l2_a_float_that_follows_within_sequence_time_is_believed():
    rig = ready()
    rig.set(lead=1).run(19).set(off=1).run(60)
    assert rig.raised("floats_out_of_sequence") == []
    assert rig.suspects() == set()


def test_l2_a_higher_contact_that_rises_and_falls_over_a_dry_one_proves_the_miss_at_once():
    rig = ready()
    rig.set(lead=1).run(6)
    at = rig.t
    rig.set(lead=0).run(3)
    assert rig.raised("floats_out_of_sequence") == [near(at + 1.0)]
    assert rig.suspects() == {"off"}


def test_l2_on_a_tie_in_rising_water_the_lower_contact_missed_its_turn():
    rig = ready()
    rig.fill("off").set(lag=1).run(30)
    assert rig.suspects() == {"lead"}


def test_l2_on_a_tie_in_falling_water_the_higher_contact_missed_its_turn():
    rig = ready()
    rig.fill("off", "lead", "lag").run(5)
    rig.drain("lead").run(30)
    assert rig.suspects() == {"lag"}


def test_l2_before_any_edge_wet_wins():
    rig = Rig(boot=False)
    rig.held[r.IN_CONTACTS] = r.LEAD
    rig.power_up()
    rig.run(40)
    assert rig.suspects() == {"off"}
    assert sum(rig.pumps_on()) == 1


def test_l2_the_fewest_faults_win_over_the_turn_that_was_missed():
    rig = ready()
    rig.fill("off", "lead", "lag", "high").run(5)
    rig.drain("lead").run(30)  # falling: lag and high would both have to be wrong
    assert rig.suspects() == {"lead"}


def test_l2_a_lone_wet_contact_over_two_dry_ones_is_the_suspect():
    rig = ready()
    rig.set(lag=1).run(30)  # off and lead both dry: one fault (lag stuck wet) explains it all
    assert rig.suspects() == {"lag"}


def test_l2_suspects_are_worked_out_afresh_at_each_disagreement():
    rig = ready()
    rig.set(lead=1).run(30)
    assert rig.suspects() == {"off"}
    rig.fill("lag", "high").run(5)
    rig.drain("lead").run(40)
    # Two dry (off, lead) under two wet (lag, high); the last edge was a fall, so the higher ones missed their turn.
    assert rig.suspects() == {"lag", "high"}


def test_l2_a_suspect_asks_for_nothing_and_the_rest_carry_on():
    rig = ready()
    rig.fill("off", "lead", "lag").run(5)
    rig.drain("lead").run(25)
    assert rig.suspects() == {"lag"}
    rig.drain("off").run(30)
    assert rig.pumps_on() == (0, 0)
    rig.fill("off", "lead").run(10)
    assert sum(rig.pumps_on()) == 1  # lag still reads wet and asks for nothing


def test_l2_a_stuck_dry_suspect_that_turns_wet_is_believed_at_once():
    rig = ready()
    rig.set(lead=1).run(30)
    assert rig.suspects() == {"off"}
    rig.set(off=1).run(1.2)
    assert rig.suspects() == set()


def test_l2_a_stuck_wet_suspect_that_turns_dry_in_order_is_believed():
    rig = ready()
    rig.fill("off", "lead", "lag").run(5)
    rig.drain("lead").run(25)
    assert rig.suspects() == {"lag"}
    rig.set(lag=0).run(1.2)
    assert rig.suspects() == set()


def test_l2_a_stuck_wet_suspect_that_turns_dry_under_a_wet_contact_stays_suspect():
    rig = ready()
    rig.fill("off", "lead", "lag").run(5)
    rig.drain("lead").run(25)
    assert rig.suspects() == {"lag"}
    rig.set(high=1).run(5)
    rig.set(lag=0).run(3)
    assert "lag" in rig.suspects()


def test_l2_high_is_believed_again_on_any_move():
    rig = ready()
    rig.set(high=1).run(40)
    assert rig.suspects() == {"high"}
    rig.set(high=0).run(1.2)
    assert rig.suspects() == set()


def test_l2_reset_makes_all_believed():
    rig = ready()
    rig.set(lead=1).run(30)
    assert rig.suspects() == {"off"}
    rig.press("reset")
    assert rig.suspects() == set()


# L3 ---------------------------------------------------------------------------------------------

NO_OFF = {"fitted": 14}


def one_cycle(rig, refill_s, run_s):
    """Refill for refill_s with all dry, then lead wet for run_s; return the second of lead's settled fall."""
    rig.run(refill_s)
    rig.set(lead=1).run(run_s)
    rig.set(lead=0)
    return rig.t + 1.0


def test_l3_without_off_pumping_goes_on_for_pump_down_from_the_lowest_believed_contact():
    rig = ready(**NO_OFF)
    rig.set(lead=1).run(5)
    rig.set(lead=0)
    dry_at = rig.t + 1.0
    rig.run(60)
    assert dry_at + 16.0 - NEAR <= rig.stops(1)[0] <= dry_at + 35.0 + NEAR


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
    rig = ready(sensing=WITH_CURRENT, pump_down_lag=30_000, pump_down_high=35_000, blind_run=60_000, **NO_OFF)
    rig.set(selector_2="off")
    rig.set(**dict.fromkeys(wet, 1)).run(25)
    assert rig.suspects() == ({"lead"} if "lag" in wet else set())
    rig.set(**dict.fromkeys(wet, 0))
    dry_at = rig.t + 1.0
    rig.run(90)
    assert rig.stops(1) == [pytest.approx(dry_at + seconds, abs=0.3)]  # the first cycle: no refill is known yet


def test_l3_the_time_stands_still_while_no_pump_runs():
    rig = ready(sensing=WITH_CURRENT, **NO_OFF)
    rig.set(selector_2="off", lead=1).run(10)
    rig.set(lead=0).run(6)  # 5 s of the 16 s are used up
    rig.set(selector_1="off").run(100).set(selector_1="auto")
    rig.run(60)
    (_, _), (start, stop) = rig.runs(1)
    assert stop - start == pytest.approx(16 - 5, abs=0.3)


def test_l3_lead_wet_alone_for_blind_run_without_sensing_is_stuck_wet():
    rig = ready(**NO_OFF)
    rig.set(lead=1).run(34)
    assert rig.suspects() == set()
    rig.run(5)
    assert rig.suspects() == {"lead"}
    rig.run(60)
    assert rig.pumps_on() == (0, 0)
    assert rig.run_time(1) + rig.run_time(2) <= 2 * 35.0 + 1


def test_l3_with_current_sensing_lead_wet_alone_is_not_suspect():
    rig = ready(sensing=WITH_CURRENT, **NO_OFF)
    rig.set(lead=1).run(120)
    assert rig.suspects() == set()
    assert sum(rig.pumps_on()) == 1


def test_l3_lag_wet_with_nothing_moving_for_blind_run_without_sensing_is_stuck_wet():
    rig = ready(**NO_OFF)
    rig.fill("lead", "lag").run(5)
    rig.set(lead=0).run(60)
    assert "lag" in rig.suspects()
    rig.run(60)
    assert rig.pumps_on() == (0, 0)


# L4 ---------------------------------------------------------------------------------------------


def stuck_off_cycle(rig, wait_s=100):
    """Lead wet for 5 s over a wet off, then dry; return the second of lead's settled fall."""
    rig.set(lead=1).run(5)
    rig.set(lead=0)
    dry_at = rig.t + 1.0
    rig.run(wait_s)
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
