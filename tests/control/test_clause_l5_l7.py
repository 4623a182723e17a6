"""L5 to L7: the transmitter, blind pumping and float wiring.  Each test is one claim of the narrative, in numbers."""

import pytest
from duplexsump.control import settings as s

from tests.control.clause_bench import near
from tests.rig import WITH_CURRENT, WITH_FEEDBACK, Rig, ready

BY_TRANSMITTER = {"transmitter": 1, "fitted": 8, "sensing": WITH_CURRENT}
TRANSMITTER_ONLY = {"transmitter": 1, "fitted": 8}
LEVEL = {"empty": 5, "off": 20, "lead": 38, "lag": 43}  # steps of 10 mm: off 150, lead 360, lag 410 mm


# L5 ------------------------------------------------------------------------------------------------


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


def by_transmitter(level="empty", **overrides):
    return ready(**{**TRANSMITTER_ONLY, "sensing": WITH_CURRENT, **overrides}).set(level=LEVEL[level], moved=1).run(5)


def test_l5_the_transmitters_virtual_contacts_start_and_stop_the_pumps():
    rig = by_transmitter("off")
    assert rig.all_starts() == []
    rig.set(level=LEVEL["lead"]).run(5)
    assert sum(rig.pumps_on()) == 1
    rig.set(level=LEVEL["lag"]).run(8)
    assert rig.pumps_on() == (1, 1)
    rig.set(level=LEVEL["off"]).run(8)
    assert rig.pumps_on() == (1, 1)
    rig.set(level=LEVEL["empty"]).run(8)
    assert rig.pumps_on() == (0, 0)


@pytest.mark.parametrize("band", ["low", "high"])
def test_l5_two_seconds_outside_ne_43_are_a_failed_transmitter(band):
    rig = by_transmitter()
    rig.set(transmitter=band).run(1.9)
    assert not rig.active("transmitter_failed")
    rig.run(0.3)
    assert rig.active("transmitter_failed")


def test_l5_a_shorter_excursion_is_nothing():
    rig = by_transmitter()
    for _ in range(5):
        rig.set(transmitter="low").run(1.8).set(transmitter="ok").run(20)
    assert rig.raised("transmitter_failed") == []


def test_l5_a_level_that_stands_still_under_the_one_pump_and_under_the_other_is_a_failed_transmitter():
    rig = by_transmitter()
    rig.set(level=LEVEL["lead"], moved=0).run(2)
    assert rig.pumps_on() == (1, 0)
    proved = rig.all_starts()[0][0]
    rig.run_until(lambda rig: rig.active("transmitter_failed"), 60)
    (start, stop), = rig.runs(1)
    assert stop == pytest.approx(start + 15, abs=0.5)
    assert rig.starts(2) == [pytest.approx(stop + 8)]
    assert rig.t == pytest.approx(proved + 38, abs=1.0)


def test_l5_where_one_can_run_the_second_look_is_at_it_as_well():
    rig = by_transmitter().set(selector_2="off")
    rig.set(level=LEVEL["lead"], moved=0).run(2)
    rig.run_until(lambda rig: rig.active("transmitter_failed"), 60)
    assert rig.t == pytest.approx(rig.starts(1)[0] + 30, abs=1.0)
    assert rig.stops(1) == [] or rig.stops(1)[0] >= rig.t


@pytest.mark.parametrize("duty", [s.ALTERNATE, s.FIXED, s.RUN_TIME])
def test_l5_an_inflow_that_equals_the_pump_hands_over_in_any_duty_and_is_no_failure(duty):
    # A worn pump and the inflow were just equal: 18 times in a wet month an honest transmitter had failed.
    rig = by_transmitter(duty=duty)
    rig.set(level=LEVEL["lead"], moved=0).run(28)
    assert rig.pumps_on() == (0, 1)
    rig.set(moved=1).run(250)
    assert rig.pumps_on() == (0, 1)
    assert rig.alarm_log == []


def test_l5_a_level_that_rises_while_neither_pump_runs_has_stood_where_inflow_and_either_pump_are_equal():
    # Two equal pumps on a burst pipe: the level stood under either, and an honest transmitter had failed.
    rig = by_transmitter().set(level=LEVEL["lead"], moved=0)
    for again in range(4):
        rig.run_until(lambda rig, starts=again + 1: len(rig.all_starts()) == starts, 120).run(14.5)
        rig.run_until(lambda rig: rig.pumps_on() == (0, 0), 30)
        stopped = rig.t
        rig.run(5).set(moved=1).run_until(lambda rig: sum(rig.pumps_on()) == 1, 30)
        assert rig.t == pytest.approx(stopped + 8, abs=0.2)
        rig.set(moved=0)
    assert rig.raised("transmitter_failed") == []


def paused(**settings):
    """The pump on duty has handed over, and no pump runs between the two looks."""
    rig = by_transmitter(**settings).set(level=LEVEL["lead"], moved=0)
    return rig.run_until(lambda rig: len(rig.stops(1)) == 1, 120).run(1)


def test_l5_lag_or_high_ends_the_time_without_a_pump():
    rig = paused()
    assert rig.pumps_on() == (0, 0)
    rig.set(high=1).run(1.5)
    assert sum(rig.pumps_on()) == 1


def test_l5_a_pump_set_to_hand_does_not_wait_for_the_second_look():
    rig = paused().set(selector_2="hand").run(0.5)
    assert rig.pumps_on() == (0, 1)


def test_l5_a_longer_start_spacing_holds_all_the_same():
    rig = by_transmitter(generator_spacing=60_000).set(generator=1)
    rig.set(level=LEVEL["lead"], moved=0).run(80)
    (first, _), (second, _) = rig.all_starts()[:2]
    assert second - first == pytest.approx(60, abs=0.3)


def test_l5_a_longer_shortest_run_comes_first():
    rig = by_transmitter(min_run=30_000, dry_run=30_000, blind_run=40_000).set(level=LEVEL["lead"], moved=0)
    rig.run_until(lambda rig: len(rig.all_starts()) == 1, 60).run(29)
    assert rig.stops(1) == []
    rig.run(10)
    assert rig.starts(2) == [pytest.approx(rig.stops(1)[0] + 8, abs=0.2)]


def test_l5_the_other_takes_over_once_it_has_had_the_rest_that_applies_with_no_pump_running():
    rig = by_transmitter()
    rig.set(level=LEVEL["lead"], moved=1).run(30).set(level=LEVEL["empty"]).run(5)  # pump 1 has run
    rest = rig.stops(1)[0] + 20
    rig.set(level=LEVEL["lead"], moved=0).run(15)
    assert rig.pumps_on() == (0, 1), "pump 1 rests for 20 s"
    rig.run(13)
    assert rig.starts(1)[1] == pytest.approx(max(rest, rig.starts(2)[0] + 15) + 8, abs=0.5)
    assert rig.raised("transmitter_failed") == []


@pytest.mark.parametrize("n", [1, 2])
def test_l5_either_pump_that_is_proved_running_must_move_the_level(n):
    rig = by_transmitter().set(**{f"selector_{3 - n}": "off"})
    rig.set(level=LEVEL["lead"], moved=0).run(2)
    assert rig.starts(n) != []
    rig.run(31)
    assert rig.active("transmitter_failed")


def test_l5_pumps_that_were_never_proved_running_prove_nothing_about_the_transmitter():
    rig = by_transmitter()
    rig.load = ["none", "none"]
    rig.set(level=LEVEL["lead"], moved=0).run(120)
    assert {n for _, n in rig.all_starts()} == {1, 2}
    assert rig.raised("transmitter_failed") == []


def test_l5_a_level_that_moved_is_a_working_transmitter():
    rig = by_transmitter()
    rig.set(level=LEVEL["lead"], moved=0).run(20).set(moved=1).run(60)
    assert rig.raised("transmitter_failed") == []


def test_l5_a_transmitter_that_froze_while_both_pumps_ran_is_found_when_high_falls():
    # It froze in a flood: no start comes any more, the pit is drawn down and both pumps run dry.
    rig = by_transmitter(sensing=WITH_FEEDBACK)
    rig.load = ["normal", "normal"]
    rig.set(level=LEVEL["lag"], moved=1).run(10).set(level=61, high=1).run(300)
    assert rig.pumps_on() == (1, 1)
    assert rig.raised("transmitter_failed") == []
    at = rig.set(high=0).t
    rig.run_until(lambda rig: rig.active("transmitter_failed"), 60)
    assert rig.t == near(at + 1 + 30)
    rig.set(moved=0).run(120)
    assert all(stop - at < 60 for n in (1, 2) for start, stop in rig.runs(n) if start < at)
    assert rig.active("level_lost")


def test_l5_a_level_that_follows_the_fall_of_high_is_a_working_transmitter():
    rig = by_transmitter(sensing=WITH_FEEDBACK)
    rig.load = ["normal", "normal"]
    rig.set(level=LEVEL["lag"], moved=1).run(10).set(level=61, high=1).run(300)
    rig.set(high=0).run(20).set(level=58).run(600)
    assert rig.raised("transmitter_failed") == []
    assert rig.pumps_on() == (1, 1)


def test_l5_with_floats_a_failed_transmitter_leaves_the_floats_in_charge():
    rig = ready(transmitter=1, sensing=WITH_CURRENT).set(level=LEVEL["empty"], moved=1).run(5)
    rig.set(transmitter="low").run(5)
    assert rig.active("transmitter_failed")
    rig.fill("off", "lead").run(5)
    assert sum(rig.pumps_on()) == 1
    rig.drain("lead", "off").run(10)
    assert rig.pumps_on() == (0, 0)
    assert not rig.active("level_lost")


def test_l5_a_float_and_a_transmitter_that_differ_by_more_than_the_gap_are_out_of_sequence():
    rig = ready(transmitter=1, sensing=WITH_CURRENT).set(level=LEVEL["empty"], moved=1).run(5)
    rig.set(level=30, off=1).run(40)
    assert rig.raised("floats_out_of_sequence") == []
    rig.set(level=50).run(40)  # 500 mm, with lead and lag (360, 410 mm) still dry
    assert rig.active("floats_out_of_sequence")


# L6 ------------------------------------------------------------------------------------------------


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


def lost_transmitter(**overrides):
    rig = by_transmitter(**overrides)
    rig.set(transmitter="low").run(2.1)
    return rig


def test_l6_a_failed_transmitter_without_floats_is_level_lost():
    rig = lost_transmitter()
    assert rig.active("level_lost")


def blind_starts(rig, since):
    return [(t, n) for t, n in rig.all_starts() if t >= since]


def rests(rig, since):
    """Return the seconds from each stop to the next start of either pump."""
    starts = blind_starts(rig, since)
    stops = sorted(rig.stops(1, since) + rig.stops(2, since))
    return [starts[i + 1][0] - stops[i] for i in range(len(starts) - 1)]


def test_l6_without_sensing_every_run_lasts_blind_run_and_the_rests_grow():
    rig = lost_transmitter(sensing=0)
    since = rig.t - 1
    rig.run(3 * 3600)
    lengths = [b - a for a, b in sorted(rig.runs(1, since) + rig.runs(2, since))]
    assert lengths[:4] == [near(35.0)] * 4
    assert rests(rig, since)[:6] == [near(s) for s in (60, 300, 600, 1800, 1800, 1800)]


def test_l6_one_pump_at_a_time_and_the_two_take_turns():
    rig = lost_transmitter(sensing=0)
    since = rig.t - 1
    rig.run(2 * 3600)
    order = [n for _, n in blind_starts(rig, since)]
    assert order[:6] in ([1, 2] * 3, [2, 1] * 3)
    runs = sorted(rig.runs(1) + rig.runs(2))
    assert all(b[0] >= a[1] for a, b in zip(runs, runs[1:], strict=False))


def test_l6_the_first_rest_is_ten_seconds_only_while_high_reads_wet():
    rig = ready()
    rig.set(high=1)
    rig.run_until(lambda rig: rig.suspects() == {"high"} and rig.active("level_lost"), 60)
    rig.run_until(lambda rig: rig.pumps_on() == (0, 0), 120)
    since = rig.t + 0.1
    rig.run(3 * 3600)
    first = blind_starts(rig, since)[0][0] - since
    assert first == pytest.approx(10, abs=0.3)
    assert [s for s in rests(rig, since) if s > 11][:4] == [near(s) for s in (60, 300, 600, 1800)]


def test_l6_underload_ends_a_blind_run():
    rig = lost_transmitter()
    rig.load = ["under", "under"]
    since = rig.t - 1
    rig.run(3600)
    lengths = [b - a for a, b in sorted(rig.runs(1, since) + rig.runs(2, since))]
    assert max(lengths) <= 8 + 0.3
    assert rests(rig, since)[:3] == [near(s) for s in (60, 300, 600)]


def test_l6_a_loaded_current_extends_a_blind_run():
    rig = lost_transmitter()
    since = rig.t - 1
    for k in range(2):  # each pump once
        rig.load = ["normal", "normal"]
        rig.run_until(lambda rig: sum(rig.pumps_on()) == 1, 120)
        rig.run(120)
        assert len(blind_starts(rig, since)) == k + 1
        assert sum(rig.pumps_on()) == 1, "far longer than blind_run"
        rig.load = ["under", "under"]
        rig.run(10)
        assert rig.pumps_on() == (0, 0)
    assert {n for _, n in blind_starts(rig, since)} == {1, 2}


@pytest.mark.parametrize("elsewhere", ["none", "normal"])
def test_l6_a_run_whose_own_current_is_no_load_when_blind_run_is_over_ends_then(elsewhere):
    rig = lost_transmitter()
    for _ in range(2):
        rig.run_until(lambda rig: sum(rig.pumps_on()) == 1, 120)
        began, n = rig.t, rig.pumps_on().index(1)
        rig.run(33)
        rig.load[n], rig.weld[1 - n] = "under", elsewhere  # the current of a pump that is off is not this run's load
        rig.run(1)
        rig.weld[1 - n] = elsewhere
        rig.run_until(lambda rig: rig.pumps_on() == (0, 0), 10)
        assert rig.t - began == near(35)
        rig.load, rig.weld = ["normal", "normal"], ["none", "none"]


@pytest.mark.parametrize("at_s", [4, 20, 34])
def test_l6_a_run_that_was_not_loaded_throughout_ends_with_blind_run_whatever_it_draws_then(at_s):
    rig = lost_transmitter()
    rig.load = ["normal", "normal"]
    rig.run_until(lambda rig: sum(rig.pumps_on()) == 1, 120)
    began = rig.t
    rig.run(at_s)
    rig.load = ["under", "under"]
    rig.run(0.3)
    rig.load = ["normal", "normal"]
    rig.run_until(lambda rig: rig.pumps_on() == (0, 0), 60)
    assert rig.t - began == near(35)
    assert rig.c.blind.rung == 2, "it found the pit empty, so the rests grow"


def test_l6_what_the_current_does_before_the_start_is_proved_says_nothing():
    rig = lost_transmitter()
    rig.load = ["under", "under"]
    rig.run_until(lambda rig: sum(rig.pumps_on()) == 1, 120)
    rig.run(2)
    rig.load = ["normal", "normal"]
    rig.run(120)
    assert sum(rig.pumps_on()) == 1


def test_l6_a_blind_run_that_underloads_is_no_fault_of_the_pump():
    rig = lost_transmitter(fitted=9).fill("off")
    rig.load = ["under", "under"]
    rig.run(3600)  # off is a float and reads wet, and the runs were never loaded
    assert rig.active("level_lost")
    assert rig.suspects() >= {"off"}, "no run so long leaves it wet"
    assert len(rig.all_starts()) > 3
    assert {rig.pump_state(n) for n in (1, 2)} <= {"idle", "starting", "running"}
    assert [each.trips for each in rig.c.pumps] == [0, 0]


def test_l6_a_blind_run_begins_with_the_pump_and_not_before_it_may_start():
    rig = Rig(boot=False, sensing=WITH_CURRENT, transmitter=1, fitted=8)
    rig.apply({"transmitter": "low"})
    rig.power_up()
    rig.load = ["normal", "normal"]
    rig.run_until(lambda rig: rig.active("level_lost"), 3)
    rig.run(90 - rig.t)
    assert rig.all_starts()[0][0] == near(60), "the rest of a pump that has just stopped"
    assert sum(rig.pumps_on()) == 1


def test_l6_a_run_that_stays_loaded_for_blind_run_ends_the_growth():
    rig = lost_transmitter()
    rig.load = ["under", "under"]
    rig.run(1500)
    rig.run_until(lambda rig: sum(rig.pumps_on()) == 1, 3700)
    rig.load = ["normal", "normal"]
    rig.run(36)
    rig.load = ["under", "under"]
    rig.run_until(lambda rig: rig.pumps_on() == (0, 0), 60)
    since = rig.t
    rig.run(400)
    assert blind_starts(rig, since)[0][0] - since == near(60)


def test_l6_a_begun_run_is_completed():
    rig = ready()
    rig.set(high=1)
    rig.run_until(lambda rig: rig.active("level_lost"), 60)
    rig.run_until(lambda rig: rig.pumps_on() == (0, 0), 120)
    rig.run_until(lambda rig: sum(rig.pumps_on()) == 1, 120)
    began = rig.t
    rig.run(5).set(high=0).run(60)
    assert max(rig.stops(1) + rig.stops(2)) == near(began + 35)


def test_l6_the_growth_carries_over_from_one_episode_to_the_next():
    rig = lost_transmitter(sensing=0)
    rig.run(1500)  # 60, 300, 600 are used up
    rig.set(transmitter="ok").run(100)
    assert not rig.active("level_lost")
    rig.set(transmitter="low")
    since = rig.t
    rig.run(4000)
    assert rests(rig, since)[0] == near(1800)


def test_l6_high_wet_and_suspect_with_another_believed_contact_wet_is_no_blind_pumping():
    rig = ready(sensing=WITH_CURRENT)
    rig.set(high=1).run(40)
    assert rig.suspects() == {"high"}
    rig.fill("off", "lead").run(5)
    assert not rig.c.blind.reason
    assert rig.active("level_lost"), "one alarm, until `high` is believed or dry"
    rig.set(high=0).run(5)
    assert not rig.active("level_lost")


# L7 ------------------------------------------------------------------------------------------------


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


def test_l7_contacts_that_turn_together_and_then_read_alike_are_float_wiring():
    rig = ready()
    rig.fill("off", "lead").run(3)
    rig.set(off=0).run(1.5).set(lead=0).run(3)
    assert rig.active("float_wiring")
    assert rig.active("level_lost")


def test_l7_all_three_turning_wet_at_once_are_float_wiring():
    rig = ready()
    rig.set(off=1, lead=1, lag=1).run(2)
    assert rig.active("float_wiring")


def test_l7_a_float_that_chattered_as_it_turned_and_was_held_until_its_neighbour_turned_is_honest():
    rig = ready()
    rig.fill("off").run(10)
    for k in range(6):
        rig.set(lead=1 - k % 2).run(0.5)  # L1: held wet for 10 s from here on
    rig.run(8.6).set(off=0).run(5)
    assert rig.raised("float_wiring") == []
    rig.fill("off", "lead").run(10).set(off=0, lead=0).run(3)
    assert rig.active("float_wiring"), "and counts again from its next turn on"


def test_l7_more_than_two_seconds_apart_is_honest_water():
    rig = ready()
    rig.fill("off", "lead").run(10)
    rig.set(lead=0).run(2.2).set(off=0).run(10)
    assert rig.raised("float_wiring") == []


def test_l7_two_neighbours_passing_together_over_a_third_that_differs_are_honest():
    rig = ready()
    rig.fill("off", "lead", "lag").run(10)
    rig.set(lag=0, lead=0).run(10)  # off still wet: a strong draw-down
    assert rig.raised("float_wiring") == []
    rig.drain("off").run(120)
    rig.fill("off").set(lead=1, lag=1).run(5)
    assert rig.raised("float_wiring") != []  # now all three read alike


def test_l7_turning_opposite_ways_is_not_wiring():
    rig = ready(fitted=11)
    rig.fill("off").run(10)
    rig.set(off=0, lead=1).run(10)
    assert rig.raised("float_wiring") == []


def test_l7_blind_pumping_answers_until_each_contact_has_been_believed_again():
    rig = ready()
    rig.fill("off", "lead").run(3)
    rig.set(off=0, lead=0).run(60)
    assert rig.active("float_wiring")
    assert rig.all_starts()[-1][0] > 70
    rig.set(off=1).run(5)
    assert rig.active("float_wiring")
    rig.set(lead=1).run(5)
    assert not rig.active("float_wiring")
    assert not rig.active("level_lost")
