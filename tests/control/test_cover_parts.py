"""Parts on their own: as built, demand stopped by time, exercise, tries withdrawn, and blind pumping move by move."""

import pytest
from duplexsump.control import blind, pump
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.controller import FIELDS, Controller
from duplexsump.control.ticks import NEVER

from tests.rig import WITH_CURRENT, make_settings, ready

# What is not 0 (a deadline: not armed) in a controller that has not yet been powered up.
AS_BUILT = {"belief.rising": 1, "pair.lead": -1, "pair.led": -1, "exercise.who": -1, "forces.lapsed": 1,
            "alarms.nothing": 1, "due": 0}  # fmt: skip
# Attributes that are worked out in each step before they are read; as built they must say "nothing".
SILENT = {
    "gate": ("barred", "on_battery", "first", "contacts", "wet", "generator"), "blind": ("loaded", "dry"),
    "contacts": ("rose", "fell"), "supply": ("went", "came"), "selectors": ("returned",), "exercise": ("calm",),
    "buttons": ("silence", "reset", "inspected"), "alarms": ("loud", "returned"), "flood": ("barred",),
}  # fmt: skip


def test_a_controller_as_built_is_at_rest_in_every_place_of_its_snapshot():
    c = Controller(s.defaults())
    for (name, kind, _retained), value in zip(FIELDS, c.snapshot(), strict=True):
        rest = NEVER if kind == r.DEADLINE else 0
        assert value == AS_BUILT.get(name, rest), name
    for part, names in SILENT.items():
        for name in names:
            assert not getattr(getattr(c, part), name), (part, name)
    assert c.exercise.level_fell
    assert (c.timers.any, c.timers.now, set(c.timers.rang)) == (False, 0, {False})


# Demand --------------------------------------------------------------------------------------------


def falling(**overrides):
    """A demand whose `off` is suspect and whose lead has just turned dry: it stops by time."""
    c = Controller(make_settings(**overrides))
    c.belief.begin(r.OFF | r.LEAD)
    c.demand.step(r.OFF | r.LEAD, r.LEAD, 0, 1, c.last)
    c.belief.make_suspect(r.OFF, r.OFF)
    return c


def draw(c, pumps, wet=r.OFF):
    c.demand.step(wet, 0, 0, pumps, c.last)
    return c.timers.left_ms(tm.DRAW) if c.timers.running(tm.DRAW) else None


def test_l3_two_pumps_use_the_time_up_twice_as_fast_and_none_not_at_all():
    c = falling()
    assert draw(c, 1) == 16_000
    c.timers.now = 4000
    assert draw(c, 2) == 6000
    c.timers.now = 6000
    assert draw(c, 1) == 8000
    c.timers.now = 7000
    assert draw(c, 0) is None
    assert c.demand.draw_left == 7000
    c.timers.now = 60_000
    assert draw(c, 0) is None
    assert c.demand.draw_left == 7000
    assert draw(c, 2) == 3500
    assert (c.demand.draw_left, c.demand.draw_pumps) == (0, 2)


def test_l3_two_pumps_that_stop_leave_the_time_of_one():
    c = falling()
    assert draw(c, 2) == 8000
    c.timers.now = 3000
    assert draw(c, 0) is None
    assert c.demand.draw_left == 10_000
    assert draw(c, 1) == 10_000


def test_l3_the_time_ends_the_demand_as_a_pit_drawn_down():
    c = falling()
    draw(c, 1)
    c.timers.expire(16_000)
    c.demand.step(r.OFF, 0, 0, 1, c.last)
    assert (c.demand.demand, c.demand.by_level) == (0, 1)
    assert not c.timers.running(tm.DRAW)


@pytest.mark.parametrize(("run_ds", "refill_ds", "seconds"), [
    (0, 100, 16.0), (100, 100, 32.0), (50, 100, 24.0), (1000, 100, 35.0), (10, 0, 35.0), (1, 3, 21.3),
])  # fmt: skip
def test_l3_water_that_comes_in_lengthens_the_draw_down_up_to_blind_run(run_ds, refill_ds, seconds):
    c = falling()
    c.demand.last_run_ds, c.demand.last_refill_ds = run_ds, refill_ds
    assert draw(c, 1) == round(seconds * 1000)


def test_l3_a_demand_that_has_ended_ends_once():
    c = falling()
    c.demand.run_ms = 5000
    c.demand.end(1)
    assert (c.demand.last_run_ds, c.demand.run_ms) == (50, 0)
    c.demand.run_ms = 700
    c.demand.end(0)
    assert c.demand.last_run_ds == 50, "what was remembered of the run stays"


def test_l3_a_lag_that_hangs_wet_while_lead_is_wet_as_well_ends_no_demand():
    c = Controller(s.defaults())
    c.belief.begin(r.LEAD | r.LAG)
    wet = r.LEAD | r.LAG
    for now in (0, 35_000):
        c.timers.expire(now)
        c.demand.step(wet, 0, 0, 1, c.last)
    assert c.belief.suspect == r.LAG
    assert c.demand.demand == 2


# Exercise ------------------------------------------------------------------------------------------


def test_d7_the_next_long_time_is_the_nearest_of_exercise_pour_test_and_a_day():
    e = Controller(s.defaults()).exercise
    assert e.next_min() == 1440
    e.idle_min[1] = 7 * 1440 - 100
    assert e.next_min() == 100
    e.off_dry_min = 30 * 1440 - 60
    assert e.next_min() == 60
    e.idle_min[1] = e.off_dry_min = 60 * 1440
    assert e.next_min() == 1440, "what is over is no longer awaited"
    e.idle_min[0], e.off_dry_min = 7 * 1440, 30 * 1440
    assert e.next_min() == 1440, "nor what is over in this very minute"


def test_d7_an_exercise_is_given_up_at_once_when_the_level_asks_for_the_pumps():
    rig = ready(sensing=WITH_CURRENT)
    rig.c.exercise.idle_min[0] = 7 * 1440
    rig.set(off=1).run(3.0)
    assert rig.c.exercise.who == 0
    rig.set(lead=1).run(1.2)
    assert rig.c.exercise.who == -1
    assert rig.c.exercise.failed == 0, "no verdict on an exercise that was cut short"


# Tries ---------------------------------------------------------------------------------------------


def test_r3_a_try_not_yet_taken_is_withdrawn_when_the_water_is_down():
    c = Controller(s.defaults())
    c.pumps[0].state, c.pumps[0].trial = pump.RETRY, pump.FLOOD_TRIAL
    c.pumps[1].state, c.pumps[1].trial = pump.LOCKED, pump.BOOT_TRIAL
    c.flood.rung = 2
    c.flood.count(0, 0, 0)
    assert [each.trial for each in c.pumps] == [0, pump.BOOT_TRIAL]
    assert c.flood.rung == 0


def test_r1_a_trip_is_withdrawn_at_the_end_of_a_demand_that_a_false_contact_vouched_for():
    c = Controller(make_settings(sensing=WITH_CURRENT))
    for n, cause in ((0, pump.NOT_PUMPING), (1, pump.RUN_LOST)):
        c.pumps[n].state, c.pumps[n].cause, c.pumps[n].failures, c.pumps[n].trips = pump.RETRY, cause, 1, 1
    c.pair.not_pumping = 3
    c.contacts.wet = r.LEAD
    c.belief.begin(r.LEAD)
    c.belief.make_suspect(r.LEAD, r.LEAD)
    assert c.pair.step(0, -1) == 0
    assert [each.state for each in c.pumps] == [pump.IDLE, pump.RETRY]
    assert [each.failures for each in c.pumps] == [0, 1]
    assert c.pair.not_pumping == 0


# Blind pumping, move by move -----------------------------------------------------------------------


class Blindly:
    """Blind pumping with nothing round it but belief and timers."""

    def __init__(self, **overrides):
        self.c = Controller(make_settings(sensing=WITH_CURRENT, **overrides))
        self.c.belief.begin(r.HIGH)
        self.c.belief.make_suspect(r.HIGH, r.HIGH)
        self.b, self.now = self.c.blind, 0

    def go(self, ms, wet=r.HIGH, demand=0, running=0, loaded=False, dry=0):
        self.now += ms
        self.c.timers.expire(self.now)
        self.b.loaded, self.b.dry = loaded, dry
        self.b.step(wet, demand, running)
        return blind.STATES[self.b.state]

    def rest_ms(self):
        return self.c.timers.left_ms(tm.BLIND_REST)


def test_l6_a_run_is_asked_for_begins_with_the_pump_and_rests_longer_and_longer():
    bench = Blindly()
    for k, rest in enumerate((10_000, 60_000, 300_000, 600_000, 1_800_000, 1_800_000)):
        assert bench.go(0) == "asking"
        bench.b.started()
        assert bench.b.turn == k % 2
        assert bench.go(34_900, running=1) == "running"
        assert bench.go(100, running=1) == "resting"
        assert bench.rest_ms() == rest
        assert not bench.c.timers.running(tm.BLIND_RUN)
        assert bench.go(rest - 100) == "resting"
        assert bench.go(100) == "asking"


def test_l6_the_shortest_rest_is_left_out_when_high_is_dry():
    bench = Blindly()
    bench.go(0)
    bench.b.started()
    assert bench.go(35_000, wet=0, running=1) == "resting"
    assert bench.rest_ms() == 60_000
    assert bench.b.rung == 2


def test_l6_a_loaded_run_goes_on_and_starts_the_rests_anew():
    bench = Blindly()
    bench.b.rung = 3
    bench.go(0)
    bench.b.started()
    assert bench.go(35_000, running=1, loaded=True) == "running"
    assert (bench.b.stayed, bench.b.rung) == (1, 0)
    assert bench.go(60_000, running=1, loaded=True) == "running"
    assert bench.go(100, running=1, loaded=False) == "resting"
    assert bench.b.rung == 0
    assert bench.rest_ms() == 10_000
    bench.go(10_000)
    assert bench.b.state == blind.ASKING
    assert bench.b.stayed == 0, "each run is judged by itself"


@pytest.mark.parametrize("changes", [{"dry": 1}, {"running": 0}])
def test_l6_underload_and_a_pump_that_is_gone_end_a_run(changes):
    bench = Blindly()
    bench.go(0)
    bench.b.started()
    assert bench.go(9000, **{"running": 1, "loaded": True, **changes}) == "resting"


def test_l6_without_current_sensing_a_load_is_not_known():
    bench = Blindly()
    bench.c.settings[s.SENSING] = s.SENSE_FEEDBACK
    bench.go(0)
    bench.b.started()
    assert bench.go(35_000, running=1, loaded=True) == "resting"
    assert bench.b.stayed == 0


@pytest.mark.parametrize(("rung", "rest"), [(0, 60_000), (1, 60_000), (3, 600_000)])
def test_l6_a_demand_takes_a_blind_run_over_and_the_next_one_waits(rung, rest):
    bench = Blindly()
    bench.b.rung = rung
    bench.go(0)
    bench.b.started()
    assert bench.go(5000, demand=1, running=1) == "resting"
    assert not bench.c.timers.running(tm.BLIND_RUN)
    assert bench.rest_ms() == rest


@pytest.mark.parametrize("changes", [{"demand": 1}, {"running": 1}, {"wet": 0}])
def test_l6_no_blind_run_while_something_else_pumps_or_nothing_reads_wet(changes):
    bench = Blindly()
    assert bench.go(0, **changes) == "watching"
    assert bench.go(100) == "asking"


def test_l6_high_wet_and_believed_or_another_believed_contact_wet_is_no_lost_level():
    bench = Blindly()
    bench.c.belief.begin(r.HIGH)
    assert bench.go(0) == "watching"
    assert bench.b.reason is False
    bench.c.belief.make_suspect(r.HIGH, r.HIGH | r.LEAD)
    assert bench.go(100, wet=r.HIGH | r.LEAD) == "watching"


def test_l6_reset_ends_a_rest_but_no_run():
    bench = Blindly()
    bench.go(0)
    bench.b.started()
    bench.b.rung = 3
    bench.b.reset()
    assert (bench.b.state, bench.b.rung) == (blind.RUNNING, 0)
    bench.go(35_000, running=1)
    bench.b.reset()
    assert bench.b.state == blind.WATCHING
    assert not bench.c.timers.running(tm.BLIND_REST)


# Belief, alarms, inspection ------------------------------------------------------------------------


def test_l2_three_dead_floats_are_all_named_at_the_second_miss():
    c = Controller(s.defaults())
    c.belief.begin(0)
    for k in range(2):
        c.belief.step(r.HIGH, r.HIGH, 0, False)
        assert c.belief.order == 0
        c.belief.step(0, 0, r.HIGH, False)
        if k == 0:
            assert c.belief.order == 0, "once, and the fewest would be high itself, which has just moved"
    assert c.belief.order == r.OFF | r.LEAD | r.LAG


def test_l2_a_float_that_was_wet_in_between_has_not_missed_twice_running():
    c = Controller(s.defaults())
    c.belief.begin(0)
    high_up_and_down = ((r.HIGH, r.HIGH, 0), (0, 0, r.HIGH))
    for step in (*high_up_and_down, (r.LEAD, r.LEAD, 0), (0, 0, r.LEAD), *high_up_and_down):
        c.belief.step(*step, False)
    assert not c.belief.order & r.HIGH
    assert c.belief.order != r.OFF | r.LEAD | r.LAG


@pytest.mark.parametrize("place", [0, 4, 11])
def test_a2_a_silence_in_the_very_step_of_a_reminder_silences_it(place):
    c = Controller(s.defaults())
    wait_ms = 1_800_000 if place == 0 else 43_200_000
    c.alarms.tell(place, 1)
    c.alarms.silence()
    c.alarms.step(0)
    c.timers.expire(900_000)
    c.alarms.step(0)
    c.timers.expire(wait_ms)
    c.alarms.tell(place, 1)
    c.alarms.silence()
    c.alarms.step(0)
    assert c.alarms.horn == 0
    assert c.alarms.remind[place] == 2 * wait_ms, "the next reminder counts from here"


def test_a5_the_inspection_is_awaited_when_it_is_the_nearest_of_the_long_times():
    c = Controller(make_settings(inspection=1))
    c.power_up(0)
    c.inspection_min = 1430
    inputs = [0] * r.N_INPUTS
    inputs[r.IN_MAINS] = 1
    now = 0
    while now < 600_000:
        c.step(now, inputs)
        now = min(c.next_due(now), 700_000)
    assert now == 600_000, "stepped at the very minute at which the inspection falls due"
    c.step(now, inputs)
    assert c.alarms.active[35]


def test_l2_a_float_that_came_late_but_came_has_missed_nothing():
    c = Controller(s.defaults())
    c.belief.begin(r.OFF)
    steps = ((r.OFF | r.LAG, r.LAG, 0), (r.OFF | r.LEAD | r.LAG, r.LEAD, 0), (r.OFF | r.LEAD, 0, r.LAG))
    for k, step in enumerate(steps):  # far enough apart for L7 not to see a common wire
        c.timers.expire(5000 * k)
        c.belief.step(*step, False)
    assert c.belief.order == 0
    assert c.belief.suspect == 0
