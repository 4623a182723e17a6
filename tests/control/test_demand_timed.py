"""L3: pump time used up where `off` is missing or suspect, by one pump, by two and by none."""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.controller import Controller

from tests.rig import make_settings


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
