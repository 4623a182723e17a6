"""L6 beside the long benches: when the level counts as lost, and that an ended run leaves nothing behind."""

import pytest
from duplexsump.control import blind
from duplexsump.control import records as r
from duplexsump.control import timers as tm
from duplexsump.control.belief import Belief
from duplexsump.control.blind import Blind
from duplexsump.control.timers import Timers

from tests.rig import WITH_CURRENT, make_settings


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
def test_l6_the_level_is_lost_for_these_three_reasons_and_no_other(floats, virtual, failed, wiring):
    bench = Bench(floats, virtual)
    for wet in range(16):
        for suspects in range(16):
            bench.believe(wet, suspects, wiring, failed and virtual)
            blind_eyes = virtual & r.LEAD and failed  # the transmitter, and no lead float
            hung = wet & suspects & r.HIGH and not bench.belief.wet
            bench.go(0, demand=1)
            assert bench.b.reason is bool(wiring or blind_eyes or hung), (wet, suspects)


@pytest.mark.parametrize("ends", [{"dry": 1}, {"dry": 2}, {"running": 0}, {"demand": 1}])
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
