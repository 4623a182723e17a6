"""L6 beside the long benches: when the level counts as lost, and that an ended run leaves nothing behind."""

import pytest
from duplexsump.control import blind
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.belief import Belief
from duplexsump.control.blind import Blind
from duplexsump.control.controller import Controller
from duplexsump.control.timers import Timers

from tests.rig import NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK, make_settings, ready


class Bench:
    """Blind pumping over a belief that the test sets."""

    def __init__(self, floats=15, virtual=0):
        self.timers = Timers()
        self.timers.now = 0
        values = make_settings(sensing=WITH_CURRENT, fitted=floats, transmitter=int(bool(virtual)), normally_closed=8)
        self.belief = Belief(values, self.timers, virtual)
        self.b = Blind(values, self.timers, self.belief)

    def believe(self, wet, suspects=0, wiring=0, failed=False):
        self.belief.evidence, self.belief.wiring = suspects, wiring
        self.belief.failed = failed
        self.belief.make_suspect(0, wet)  # nothing new: what is believed is sorted anew
        self.wet = wet

    def go(self, now, running=1, loaded=True, dry=0, demand=0):
        self.timers.expire(now)
        self.b.loaded, self.b.dry = loaded, dry
        self.b.step(self.wet, demand, running)
        return blind.STATES[self.b.state]


@pytest.mark.parametrize("wiring", [0, 3])
@pytest.mark.parametrize("failed", [False, True])
@pytest.mark.parametrize(("floats", "virtual"), [(15, 0), (8, 7), (10, 5)])
def test_l6_the_level_is_lost_for_these_reasons_and_no_other(floats, virtual, failed, wiring):
    bench = Bench(floats, virtual)
    for wet in range(16):
        for suspects in range(16):
            bench.believe(wet, suspects, wiring, failed and virtual)
            blind_eyes = virtual & r.LEAD and failed  # the transmitter, and no lead float
            hung = wet & suspects & r.HIGH and not bench.belief.wet
            deaf = bench.belief.wet == r.OFF and not (bench.belief.dry & 14)
            bench.go(0, demand=1)
            assert bench.b.reason is bool(wiring or blind_eyes or hung or deaf), (wet, suspects)


@pytest.mark.parametrize("ends", [{"dry": 1}, {"dry": 3}, {"dry": 2, "running": 2}, {"running": 0}, {"demand": 1}])
def test_l6_a_run_cut_short_leaves_no_time_running_but_its_rest(ends):
    bench = Bench()
    bench.believe(r.HIGH, suspects=r.HIGH)
    assert bench.go(0, running=0) == "asking"
    bench.b.started()
    assert bench.go(100) == "running"
    assert bench.timers.running(tm.BLIND_RUN)
    assert bench.go(9000, **ends) == "resting"
    assert not bench.timers.running(tm.BLIND_RUN)
    rest_ms = bench.timers.left_ms(tm.BLIND_REST)
    assert bench.go(9000 + rest_ms - 100, running=0) == "resting"
    assert bench.go(9000 + rest_ms, running=0) == "asking"
    assert not bench.timers.running(tm.BLIND_REST)


def test_l6_a_run_that_was_asked_for_and_not_begun_gives_way_to_the_level_and_rests():
    bench = Bench()
    bench.believe(r.HIGH, suspects=r.HIGH)
    assert bench.go(0, running=0) == "asking"
    assert bench.go(100, running=0, demand=1) == "resting"
    assert bench.timers.left_ms(tm.BLIND_REST) == 60_000
    assert bench.b.turn == 0, "it has not had its turn"


# What an event leads to, by state; anything else cannot happen.
LEADS_TO = {
    ("watching", "lost"): "asking", ("asking", "found"): "watching", ("asking", "on"): "running",
    ("asking", "taken"): "resting", ("running", "full"): "resting", ("running", "empty"): "resting",
    ("running", "taken"): "resting", ("resting", "rested"): "watching",
}  # fmt: skip


def test_l6_each_event_leads_where_it_should_and_one_that_cannot_happen_names_itself_and_the_state():
    assert len(blind.TABLE) == len(blind.STATES) * len(blind.EVENTS)
    for state, name in enumerate(blind.STATES):
        for event, what in enumerate(blind.EVENTS):
            one = Bench().b
            one.state = state
            if (name, what) in LEADS_TO:
                one.event(event)
                assert blind.STATES[one.state] == LEADS_TO[name, what]
            else:
                with pytest.raises(ValueError, match=f"^blind pumping: event {what} in state {name}$"):
                    one.event(event)
                assert one.state == state


def test_l6_only_the_first_run_after_high_has_turned_wet_takes_both_whatever_off_reads():
    bench = Bench()
    bench.believe(0)
    bench.go(0, running=0)
    bench.believe(r.HIGH | r.OFF, suspects=r.HIGH | r.OFF)
    for at, takes in ((0, 3), (45_000, 0), (200_000, 0)):
        assert bench.go(at, running=0) == "asking"
        assert bench.b.takes() == takes
        bench.b.started()
        assert bench.go(at + 35_000, running=1, loaded=False) == "resting"
        bench.timers.expire(at + 35_000 + bench.timers.left_ms(tm.BLIND_REST))
        bench.b.step(bench.wet, 1, 0)  # the rest is over, and demand has what it asks for


@pytest.mark.parametrize(("suspects", "left_ms", "rest_ms"), [
    (14, 300_000, 10_000), (14, 30_000, 10_000), (14, 10_100, 10_000), (14, 9_000, 9_000), (0, 300_000, 300_000),
])  # fmt: skip
def test_l6_a_rest_is_shortened_where_off_is_believed_wet_and_the_level_is_lost(suspects, left_ms, rest_ms):
    bench = Bench()
    bench.believe(r.OFF, suspects)
    bench.b.state = blind.RESTING
    bench.timers.arm(tm.BLIND_REST, left_ms)
    assert bench.go(0, running=0) == "resting"
    assert bench.timers.left_ms(tm.BLIND_REST) == rest_ms


@pytest.mark.parametrize("state", [blind.WATCHING, blind.ASKING])
def test_l6_there_is_no_rest_to_shorten_before_a_run(state):
    bench = Bench()
    bench.believe(r.OFF, suspects=14)
    bench.b.state = state
    assert bench.go(0, running=1) == blind.STATES[state]
    assert not bench.timers.running(tm.BLIND_REST)


# With a controller round it ------------------------------------------------------------------------


def test_l6_a_reset_while_a_blind_run_rests_starts_the_rests_anew():
    rig = ready()
    rig.set(high=1).run(1.0)
    rig.run_until(lambda rig: rig.c.blind.state == blind.RESTING, 120.0)
    assert rig.c.blind.rung
    rig.c.blind.reset()
    assert (rig.c.blind.state, rig.c.blind.rung) == (blind.WATCHING, 0)


def test_l6_a_level_that_is_found_again_before_the_pump_was_on_needs_no_blind_run():
    c = Controller(s.defaults())
    c.belief.begin(r.HIGH)
    c.belief.make_suspect(r.HIGH, r.HIGH)
    c.blind.step(r.HIGH, 0, 0)
    assert c.blind.state == blind.ASKING
    c.belief.begin(r.HIGH)
    c.blind.step(r.HIGH, 0, 0)
    assert c.blind.state == blind.WATCHING


def test_an_event_that_cannot_happen_names_itself_and_the_state():
    with pytest.raises(ValueError, match=r"^blind pumping: event on in state watching$"):
        Controller(s.defaults()).blind.event(blind.ON)


# Move by move --------------------------------------------------------------------------------------


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
    bench.c.belief.fickle = r.HIGH  # a fall of its own says nothing
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
    assert bench.go(100, running=1, loaded=True) == "running"
    assert bench.go(34_900, running=1, loaded=True) == "running"
    assert (bench.b.stayed, bench.b.rung) == (1, 0)
    assert bench.go(60_000, running=1, loaded=True) == "running"
    assert bench.go(100, running=1, loaded=False) == "resting"
    assert bench.b.rung == 0
    assert bench.rest_ms() == 10_000
    bench.c.belief.make_suspect(r.HIGH, r.HIGH)
    bench.go(10_000)
    assert bench.b.state == blind.ASKING
    assert bench.b.stayed == 0, "each run is judged by itself"


@pytest.mark.parametrize("changes", [{"dry": 1}, {"running": 0}])
def test_l6_underload_and_a_pump_that_is_gone_end_a_run(changes):
    bench = Blindly()
    bench.go(0)
    bench.b.started()
    assert bench.go(9000, **{"running": 1, "loaded": True, **changes}) == "resting"


@pytest.mark.parametrize(("sensing", "known"), [(WITH_CURRENT, True), (WITH_FEEDBACK, False), (NO_CURRENT, False)])
def test_l6_without_current_sensing_a_load_is_not_known(sensing, known):
    rig = ready(sensing=sensing).fill("off", "lead").run(5)
    assert sum(rig.pumps_on()) == 1
    assert rig.c.blind.loaded is known


def begun():
    bench = Blindly()
    assert (bench.b.was, bench.b.broken) == (0, 0)
    bench.b.was = bench.b.broken = 1  # left over from a run before
    bench.go(0)
    bench.b.started()
    assert (bench.b.was, bench.b.broken) == (0, 0)
    return bench


@pytest.mark.parametrize("steps", [
    ((100, True), (34_900, True)), ((100, True), (100, False), (100, True), (34_700, True)),
    ((2900, True), (32_100, True)),
], ids=str)  # fmt: skip
def test_l6_loaded_throughout_from_the_proof_on_is_a_load(steps):
    bench = begun()
    for ms, loaded in steps:
        assert bench.go(ms, running=1, loaded=loaded) == "running"
    assert (bench.b.stayed, bench.b.was, bench.b.broken) == (1, 1, 0)
    assert bench.go(100, running=1, loaded=False) == "resting"


@pytest.mark.parametrize("steps", [
    ((3000, True),), ((2900, False), (100, True)), ((100, True), (2900, False), (100, True)),
    ((100, True), (20_000, False), (100, True)),
], ids=str)  # fmt: skip
def test_l6_a_run_not_loaded_at_some_instant_after_its_proof_is_none(steps):
    bench = begun()
    for ms, loaded in steps:
        assert bench.go(ms, running=1, loaded=loaded) == "running"
    assert bench.b.broken == 1
    assert bench.go(35_000 - bench.now, running=1, loaded=True) == "resting"
    assert bench.b.stayed == 0


def test_l6_a_run_loaded_at_its_end_and_not_at_the_step_before_is_none():
    bench = begun()
    assert bench.go(100, running=1, loaded=False) == "running"
    assert bench.b.broken == 0, "its start is not proved yet"
    assert bench.go(34_900, running=1, loaded=True) == "resting"
    assert (bench.b.broken, bench.b.stayed) == (1, 0)


def test_l6_a_load_that_breaks_off_is_noted_in_that_very_step():
    bench = begun()
    bench.go(100, running=1, loaded=True)
    bench.go(9900, running=1, loaded=True)
    assert bench.b.broken == 0
    bench.go(100, running=1, loaded=False)
    assert bench.b.broken == 1


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


# Both pumps, and what a run proves ------------------------------------------------------------------


def a_run(bench, ms=35_000, wet=r.HIGH, **changes):
    """A blind run of so long, from asking to its rest; returns whether it took both pumps."""
    assert bench.go(0, wet=wet) == "asking"
    bench.b.started()
    both = bench.b.both
    assert bench.go(ms, wet=wet, running=1, **changes) == "resting"
    bench.go(bench.rest_ms(), wet=wet)
    return both


def test_l6_the_first_run_after_high_has_turned_wet_takes_both_pumps_and_the_others_one():
    bench = Blindly()
    bench.go(0, wet=0)
    assert bench.b.untried == r.HIGH
    assert [a_run(bench) for _ in range(3)] == [1, 0, 0]
    bench.b.event(blind.FOUND)
    bench.go(100, wet=0)
    assert bench.b.untried == r.HIGH
    assert [a_run(bench) for _ in range(2)] == [1, 0]


def test_l6_a_high_wet_at_power_up_has_not_turned_and_its_runs_take_one_pump():
    assert a_run(Blindly()) == 0


def test_l6_a_run_has_as_many_pumps_at_its_end_as_at_its_beginning():
    bench = Blindly()
    bench.b.step(0, 0, 0)
    bench.go(0)
    bench.b.started()
    bench.c.belief.fickle = r.HIGH
    for wet in (0, r.HIGH):
        bench.go(5000, wet=wet, running=1)
        assert bench.b.both == 1


@pytest.mark.parametrize("sensing", [s.SENSE_NOTHING, s.SENSE_FEEDBACK, s.SENSE_CURRENT])
def test_l6_a_high_that_falls_in_the_run_is_right_and_what_is_dry_below_it_dead(sensing):
    bench = Blindly()
    bench.c.settings[s.SENSING] = sensing
    bench.b.rung = 3
    bench.go(0)
    bench.b.started()
    belief = bench.c.belief
    bench.go(20_000, running=1)
    assert (bench.b.stayed, belief.suspect) == (0, r.HIGH)
    bench.go(100, wet=r.LEAD, running=1)
    assert (bench.b.stayed, bench.b.rung) == (1, 0)
    belief.step(r.LEAD, 0, 0, False)
    assert (belief.suspect, belief.wet) == (r.OFF | r.LAG, r.LEAD)
    belief.reset()
    bench.go(100, wet=0, running=1)
    assert belief.evidence == 0, "once a run"


def test_l6_a_fickle_high_that_falls_in_the_run_proves_nothing():
    bench = Blindly()
    bench.c.belief.fickle = r.HIGH
    bench.go(0)
    bench.b.started()
    bench.go(20_000, wet=0, running=1)
    assert (bench.b.stayed, bench.c.belief.evidence) == (0, r.HIGH)


def test_l6_a_high_that_was_dry_when_the_run_began_proves_nothing():
    bench = Blindly()
    bench.c.belief.wiring = r.LEAD
    bench.go(0, wet=0)
    bench.b.started()
    bench.go(100, running=1)
    bench.go(100, wet=0, running=1)
    assert (bench.b.stayed, bench.c.belief.evidence) == (0, r.HIGH)


@pytest.mark.parametrize(("wet", "suspect"), [(r.HIGH, 7), (r.HIGH | r.LAG, 3), (0, r.HIGH)])
def test_l6_a_run_that_stayed_loaded_with_high_wet_proves_it_right(wet, suspect):
    bench = Blindly()
    belief = bench.c.belief
    belief.fickle = r.HIGH
    bench.go(0)
    bench.b.started()
    bench.go(100, running=1, loaded=True)
    assert bench.go(34_900, wet=wet, running=1, loaded=True) == "running"
    belief.step(wet, 0, 0, False)
    assert (belief.suspect, belief.fickle) == (suspect, 0 if wet & r.HIGH else r.HIGH)


def deaf(wet=r.OFF, **overrides):
    """Nothing above off is believed, and off is wet."""
    bench = Blindly(**overrides)
    bench.c.belief.reset()
    bench.c.belief.make_suspect(r.LEAD | r.LAG | r.HIGH, wet)
    return bench


@pytest.mark.parametrize("suspects", [r.LEAD | r.HIGH, r.LEAD | r.LAG, r.LAG | r.HIGH])
def test_l6_a_believed_contact_above_off_starts_the_pumps_and_no_blind_run_does(suspects):
    bench = deaf()
    bench.c.belief.reset()
    bench.c.belief.make_suspect(suspects, r.OFF)
    assert bench.go(0, wet=r.OFF) == "watching"


@pytest.mark.parametrize("high", [0, r.HIGH])
def test_l6_with_off_alone_believed_wet_both_pumps_run_until_off_is_dry_and_rest_shortly(high):
    bench = deaf()
    bench.b.rung = 4
    bench.go(0, wet=r.OFF | high)
    bench.b.started()
    assert (bench.b.both, bench.b.covered & r.OFF) == (1, r.OFF)
    bench.go(20_000, wet=r.OFF | high, running=1)
    bench.c.belief.make_suspect(0, high)
    assert bench.go(100, wet=high, running=1) == "resting"
    assert (bench.rest_ms(), bench.b.rung) == (10_000, 0)
    assert not bench.c.belief.suspect & r.OFF


@pytest.mark.parametrize("ends", [
    {"ms": 35_000, "running": 3}, {"ms": 9000, "running": 3, "dry": 3}, {"ms": 9000, "running": 1, "dry": 1},
    {"ms": 9000, "running": 0},
])  # fmt: skip
def test_l6_an_off_still_wet_when_such_a_run_ends_is_suspect(ends):
    bench = deaf()
    bench.go(0, wet=r.OFF)
    bench.b.started()
    assert bench.go(**{"wet": r.OFF, **ends}) == "resting"
    assert bench.c.belief.suspect == 15
    assert bench.rest_ms() == 60_000
    assert bench.go(60_000, wet=r.OFF) == "watching"


def test_l6_an_off_that_turns_wet_while_a_run_rests_shortens_the_rest_and_one_that_stays_does_no_more():
    bench = deaf(wet=0)
    bench.c.belief.wiring = r.LEAD
    bench.b.rung = 4
    bench.go(0, wet=0)
    bench.b.started()
    bench.go(35_000, wet=0, running=1)
    assert bench.rest_ms() == 1_800_000
    bench.c.belief.make_suspect(0, r.OFF)
    bench.go(600_000, wet=r.OFF)
    assert bench.rest_ms() == 10_000
    bench.go(4000, wet=r.OFF)
    assert bench.rest_ms() == 6000


def test_l6_of_a_run_of_both_each_ends_by_its_own_underload_and_the_run_with_the_last():
    bench = Blindly()
    bench.go(0, wet=0)
    assert bench.go(100) == "asking"
    assert bench.b.takes() == 3
    bench.b.started()
    assert bench.go(9000, running=3, dry=1) == "running"
    assert (bench.b.takes(), bench.b.spent) == (2, 1)
    assert bench.go(1000, running=2) == "running"
    assert bench.go(1000, running=2, dry=2) == "resting"
    bench.go(bench.rest_ms())
    assert (bench.b.takes(), bench.b.spent) == (0, 0), "the next is a run of one"


MOVES = {"off dry": r.OFF, "lead": r.LEAD, "off and lead": r.OFF | r.LEAD, "lag": r.LAG}


def loaded_run(bench, *moves):
    """A run with high wet and suspect that stays loaded for blind_run; `moves`: contacts that turned since it rose."""
    bench.believe(0)
    bench.b.moved = r.HIGH | r.LEAD
    assert bench.go(0, running=0) == "watching"
    bench.believe(r.HIGH, suspects=r.HIGH)
    now = 100
    for bench.b.moved in (r.HIGH, *moves, 0):
        bench.go(now, running=0)
        now += 100
    bench.b.started()
    while bench.go(now) == "running" and not bench.b.stayed:
        now += 100
    return now


@pytest.mark.parametrize("moved", MOVES.values(), ids=MOVES)
def test_l6_a_run_that_stays_loaded_proves_high_only_while_nothing_below_has_moved_since_it_rose(moved):
    bench = Bench()
    loaded_run(bench)
    assert (bench.b.stayed, bench.b.rung) == (1, 0)
    assert bench.belief.evidence == r.OFF | r.LEAD | r.LAG, "high is right, what is dry below it dead"
    bench = Bench()
    ended = loaded_run(bench, moved)
    assert (bench.b.stayed, bench.b.rung) == (1, 0), "there was water"
    assert bench.belief.evidence == r.HIGH, "but it may have stood below"
    assert bench.go(ended + 100, running=0) == "resting"
    bench.b.reset()
    loaded_run(bench)  # high has been dry in between
    assert bench.belief.evidence == r.OFF | r.LEAD | r.LAG


def test_l6_a_move_of_high_itself_says_nothing_of_the_floats_below():
    bench = Bench()
    loaded_run(bench, r.HIGH, r.HIGH | r.LEAD)
    assert bench.belief.evidence == r.OFF | r.LEAD | r.LAG


# A high that comes free, and one that a blind run has not moved -------------------------------------


def blind_runs(bench, count):
    """So many blind runs through which high stays wet, and the beginning of the next."""
    for _ in range(count):
        a_run(bench)
    bench.go(0)
    bench.b.started()


@pytest.mark.parametrize("runs", [0, 1, 3])
def test_l6_a_high_that_stayed_wet_through_a_run_and_comes_free_says_nothing_of_the_others(runs):
    # Night 14657 of seed 91001: it came free in the second run, the honest floats below were dead from then on, and
    # when it chattered both pumps ran dry for an hour.
    bench = Blindly()
    belief = bench.c.belief
    blind_runs(bench, runs)
    bench.b.rung = 3
    bench.go(100, wet=0, running=1)
    assert (bench.b.stayed, bench.b.rung) == (1, 0), "the rests begin anew all the same"
    assert belief.evidence & 7 == (0 if runs else 7)
    bench.go(34_900, wet=0, running=1)
    assert bench.b.tried == 0


@pytest.mark.parametrize("wet", [0, r.HIGH])
def test_l6_a_high_that_has_been_dry_meanwhile_is_tried_afresh(wet):
    bench = Blindly()
    blind_runs(bench, 1)
    assert bench.b.tried == r.HIGH
    bench.go(35_000, running=1)
    bench.go(5_000, wet=wet)
    assert bench.b.tried == wet
    bench.go(bench.rest_ms())
    bench.b.started()
    assert bench.b.tried == wet, "the run itself changes nothing"
    bench.go(100, wet=0, running=1)
    assert bench.b.tried == wet
    assert bench.c.belief.evidence & 7 == (0 if wet else 7)


@pytest.mark.parametrize("suspects", [r.HIGH, r.HIGH | r.LAG])
def test_l6_a_high_that_a_blind_run_does_not_move_is_suspect_by_evidence(suspects):
    bench = Blindly()
    belief = bench.c.belief
    belief.order, belief.evidence = suspects, 0
    bench.go(0)
    bench.b.started()
    assert bench.go(34_900, running=1) == "running"
    assert belief.evidence == 0
    assert bench.go(100, running=1) == "resting"
    assert belief.evidence == r.HIGH


@pytest.mark.parametrize("changes", [{"wet": 0}, {"loaded": True}])
def test_l6_a_run_that_high_answered_or_that_was_loaded_is_no_evidence_against_it(changes):
    bench = Blindly()
    belief = bench.c.belief
    belief.order, belief.evidence = r.HIGH, 0
    bench.b.live = 1  # a load alone proves it right no more
    bench.go(0)
    bench.b.started()
    bench.go(100, running=1, loaded=True)
    bench.go(34_900, running=1, **changes)
    bench.go(100, running=1, wet=changes.get("wet", r.HIGH))
    assert bench.b.state == blind.RESTING
    assert not belief.evidence & r.HIGH


def test_l6_a_run_cut_short_by_a_pump_that_is_gone_has_tried_nothing():
    bench = Blindly()
    belief = bench.c.belief
    belief.order, belief.evidence = r.HIGH, 0
    bench.go(0)
    bench.b.started()
    assert bench.go(3_000, running=0) == "resting"
    assert (bench.b.tried, belief.evidence) == (0, 0)


def test_l6_a_run_that_finds_the_pit_empty_before_its_time_has_tried_high():
    bench = Blindly()
    belief = bench.c.belief
    belief.order, belief.evidence = r.HIGH, 0
    bench.go(0)
    bench.b.started()
    assert bench.go(9_000, running=1, dry=1) == "resting"
    assert (bench.b.tried, belief.evidence) == (r.HIGH, r.HIGH)


def test_l6_what_was_tried_before_a_run_that_is_cut_short_stays_tried():
    bench = Blindly()
    blind_runs(bench, 1)
    assert bench.go(3_000, running=0) == "resting"
    assert bench.b.tried == r.HIGH


def test_l6_a_high_that_turned_wet_in_the_run_has_not_been_tried_by_it():
    bench = Blindly()
    bench.c.belief.evidence = 0
    bench.c.belief.wiring = r.LEAD
    bench.go(0, wet=0)
    bench.b.started()
    bench.go(34_900, running=1)
    bench.go(100, running=1)
    assert bench.b.state == blind.RESTING
    assert not bench.c.belief.evidence & r.HIGH


def test_l6_a_lower_float_that_hangs_after_high_was_found_out_makes_nobody_believe_high_again():
    # Night 19526 of seed 91001, a feedback sensed: two against two by then, and both pumps ran dry for an hour.
    rig = ready(sensing=WITH_FEEDBACK)
    rig.set(high=1).run(20 + 10 + 40)
    assert rig.c.belief.evidence == r.HIGH
    rig.set(lead=1).run(200)
    assert {"lead", "high"} <= rig.suspects()
    assert rig.pumps_on() == (0, 0)
    assert rig.active("level_lost")
