"""L1 and L2: debounce, chatter and the fewest faults.  Each test is one claim of the narrative, in numbers."""

import pytest
from duplexsump.control import records as r

from tests.control.clause_bench import near
from tests.rig import ALARM_PLACE, NO_CURRENT, WITH_CURRENT, Rig, ready

# L1 ------------------------------------------------------------------------------------------------


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
    assert rig.scratch[r.IN_CHATTER] == r.LEAD


def test_l1_five_changes_are_not_chattering():
    rig = ready()
    rig.set(off=1).run(5)
    flutter(rig, 4)  # ends dry
    rig.run(12)
    flutter(rig, 5).set(lead=0).run(2)
    assert rig.scratch[r.IN_CHATTER] == r.LEAD  # the sixth change came within the ten seconds
    quiet = ready()
    quiet.set(off=1).run(5)
    flutter(quiet, 4).run(9)
    flutter(quiet, 4).run(3)
    assert quiet.scratch[r.IN_CHATTER] == 0


def test_l1_chattering_ends_after_ten_steady_seconds():
    rig = ready()
    rig.set(off=1).run(5)
    flutter(rig, 6)
    steady_from = rig.t - 0.5
    rig.run_until(lambda rig: not rig.scratch[r.IN_CHATTER], 15)
    assert rig.t == near(steady_from + 10)


def test_l1_chattering_is_told_after_a_minute_of_it_and_not_for_a_float_that_bounces_as_it_turns():
    rig = ready()
    rig.set(off=1).run(5)
    began = rig.t
    for _ in range(14):
        flutter(rig, 6).run(2)
    assert rig.raised("chattering") == [near(began + 60 + 0.5 * 5)]
    rig.run_until(lambda rig: not rig.active("chattering"), 15)
    bouncing = ready()
    bouncing.set(off=1).run(5)
    for _ in range(20):
        flutter(bouncing, 6).run(30)
    assert bouncing.raised("chattering") == []


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


def test_l1_a_contact_that_is_wet_at_power_up_has_not_changed():
    rig = Rig(boot=False)
    rig.apply({"lead": 1})
    rig.power_up()
    for _ in range(2):
        rig.run(0.5).set(lead=0).run(0.5).set(lead=1)
    rig.run(0.5).set(lead=0).run(0.5)
    assert rig.scratch[r.IN_CHATTER] == 0, "five changes are none too many"
    rig.set(lead=1)
    assert rig.scratch[r.IN_CHATTER] == r.LEAD


# L2 ------------------------------------------------------------------------------------------------


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
    rig.set(high=1).run(75)
    assert rig.suspects() == {"high"}
    assert rig.pumps_on() == (0, 0), "between two blind runs"
    rig.set(high=0).run(1.2)
    assert rig.suspects() == set()


def test_l2_reset_makes_all_believed():
    rig = ready()
    rig.set(lead=1).run(30)
    assert rig.suspects() == {"off"}
    rig.press("reset")
    assert rig.suspects() == set()


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


@pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_CURRENT])
def test_l2_a_lead_that_hangs_wet_at_power_up_over_an_empty_pit_is_named_and_off_is_not(sensing):
    rig = Rig(boot=False, sensing=sensing)
    rig.apply({"lead": 1})
    rig.load = ["under", "under"]
    rig.power_up().run(600)
    assert len(rig.raised("floats_out_of_sequence")) == 1
    assert rig.c.alarms.detail[ALARM_PLACE["floats_out_of_sequence"]] == r.LEAD


def test_l2_an_off_that_is_dead_dry_at_power_up_is_named_once_lead_has_turned():
    rig = Rig(boot=False, sensing=WITH_CURRENT)
    rig.apply({"lead": 1})
    rig.power_up().run(60)
    assert rig.raised("floats_out_of_sequence") == []
    at = rig.set(lead=0).t
    rig.run(60)
    assert rig.raised("floats_out_of_sequence") == [near(at + 1)]
    assert rig.c.alarms.detail[ALARM_PLACE["floats_out_of_sequence"]] == r.OFF
