"""Timelines that break naive controllers: pumps that do not pump, small pits, breakers.

Each is a night in the 18 in pit with something wrong; what must happen is said
in numbers.  Both judges watch every one of them.
"""

import pytest
from duplexsump.control import records as r

from tests.judge.watch import watch
from tests.pit import FLOOR_MM, GPM, HEIGHTS_MM, INCH, Pit
from tests.rig import NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK, Rig

HOUR = 3600
SENSING = pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_CURRENT], ids=["nothing sensed", "current sensed"])


def start(pit, *, off=(), **overrides):
    """Return a rig on a pit, just powered up, and its judges; pumps in `off` have their selector at OFF."""
    rig = Rig(plant=pit, boot=False, **overrides)
    for n in off:
        rig.held[r.IN_SELECTOR_1 + n - 1] = r.SELECT_OFF
    rig.power_up()
    return rig, watch(rig)


def spoil(n, how):
    return lambda pit: pit.pump_fault.__setitem__(n - 1, how)


# both pumps underload ---------------------------------------------------------------------------


def test_both_pumps_underload_because_the_pit_is_empty():
    pit = Pit(0.1 * GPM, level_mm=60)
    pit.float_fault["lead"] = "wet"
    rig, judges = start(pit, sensing=WITH_CURRENT, sequence_time=60_000)
    rig.run(120)
    judges.check()
    assert "lead" in rig.suspects()
    assert rig.pump_state(1) not in ("retry", "locked")
    assert rig.pump_state(2) not in ("retry", "locked")
    assert max(pit.longest_dry_ms) <= 8_300
    starts = len(rig.all_starts())
    assert starts == 2
    rig.run(2 * HOUR)  # and it does not begin again before the water reaches lag
    assert len(rig.all_starts()) == starts


def test_both_pumps_underload_because_both_are_air_locked():
    pit = Pit(8 * GPM)
    for n in (1, 2):
        pit.at(HOUR / 2, spoil(n, "airlock")).at(HOUR / 2 + 400, spoil(n, None))
    rig, judges = start(pit, sensing=WITH_CURRENT)
    rig.run(HOUR / 2 + 400)
    assert rig.active("high_water")
    cured = rig.t
    rig.run_until(lambda rig: pit.level_mm < HEIGHTS_MM[1], 360)  # both blamed the contacts: L6's rest of 5 min
    assert rig.t - cured <= 300 + 60
    rig.run(2 * HOUR)
    judges.check()
    assert pit.level_mm < HEIGHTS_MM[2]
    assert {n for t, n in rig.all_starts() if t > cured + HOUR} == {1, 2}


@pytest.mark.long
def test_one_pump_underloads_and_the_other_takes_over():
    pit = Pit(10 * GPM)
    pit.at(HOUR / 2, spoil(1, "airlock"))
    rig, judges = start(pit, sensing=WITH_CURRENT)
    rig.run(4 * HOUR)
    judges.check()
    assert pit.highest_mm < HEIGHTS_MM[3]
    assert rig.active("pump_1_unavailable")
    assert rig.suspects() == set()
    # A wet lead ends a "not pumping" trip (R4): pump 1 is tried once a cycle, and no float is blamed for it.
    assert max(pit.longest_dry_ms) == 0


def test_a_weak_pump_whose_current_is_normal_throughout_gets_no_float_blamed():
    pit = Pit(0.5 * GPM, rate=(8 * GPM, 8 * GPM))
    rig, judges = start(pit, off=(2,), sensing=WITH_CURRENT, starts_per_hour=60)
    rig.run(4 * HOUR)
    judges.check()
    assert max(end - begin for begin, end in rig.runs(1)[:-1]) > 47.0, "draw-downs are cut by L4"
    assert len(rig.all_starts()) > 10
    assert rig.suspects() == set()
    assert not rig.raised("floats_out_of_sequence")


# a resting lead in a small pit at peak inflow ---------------------------------------------------


@pytest.mark.long
@SENSING
@pytest.mark.parametrize("gpm", [18, 25, 30, 33])
def test_a_resting_lead_in_a_small_pit_at_peak_inflow(sensing, gpm):
    pit = Pit(gpm * GPM)
    rig, judges = start(pit, off=(2,), sensing=sensing, starts_per_hour=60)
    rig.run(HOUR / 4)
    assert pit.highest_mm < FLOOR_MM
    pit.highest_mm = 0  # L4 may have cut a long honest draw-down short before it learnt how long one takes
    rig.run(3 * HOUR)
    judges.check()
    # From off to lead takes V/Q; what is left of lag_min_off raises the water above lead, and no more.
    fill_s = 8.8128 / gpm * 60
    wait_s = max(0.0, 20 - fill_s) + 1.2
    assert pit.highest_mm <= HEIGHTS_MM[1] + wait_s * gpm * GPM / 164.17 + 3
    stops = rig.stops(1, since=HOUR / 4)
    rests = [b - a for a, b in zip(stops, rig.starts(1, since=stops[0]), strict=False)]
    assert min(rests) >= 20 - 0.05
    assert max(rests) <= max(20, fill_s + 1.2) + 2.5


def test_with_a_fixed_rest_of_a_minute_that_pit_would_flood():
    pit = Pit(33 * GPM)
    rig, judges = start(pit, off=(2,), min_off=60_000, lag_min_off=60_000, flood_min_off=60_000)
    rig.run(HOUR)
    judges.check()
    assert pit.highest_mm > FLOOR_MM  # which is why the rests shrink


def test_a_resting_lead_is_skipped_at_once_when_the_other_is_there():
    pit = Pit(30 * GPM)
    rig, judges = start(pit, starts_per_hour=60)
    rig.run(2 * HOUR)
    judges.check()
    assert pit.highest_mm < HEIGHTS_MM[1] + 1.2 * 30 * GPM / 164.17 + 3
    order = [n for _, n in rig.all_starts()]
    assert all(a != b for a, b in zip(order, order[1:], strict=False))


# a breaker opening in mid-run -------------------------------------------------------------------


@pytest.mark.parametrize("sensing", [WITH_CURRENT, WITH_FEEDBACK])
def test_a_breaker_opening_in_mid_run(sensing):
    pit = Pit(30 * GPM)
    rig, judges = start(pit, sensing=sensing, starts_per_hour=60, lag_min_off=10_000)
    rig.run(HOUR)
    rig.run_until(lambda rig: rig.pumps_on() == (1, 0), 600)
    rig.run(5)
    pit.pump_fault[0] = "dead"
    opened = rig.t
    rig.run(10)
    lost = rig.stops(1, since=opened)[0]
    assert lost == pytest.approx(opened + 3.0, abs=0.25)  # start_proof
    assert rig.starts(2, since=opened)[0] == pytest.approx(lost, abs=0.05)
    assert rig.active("pump_1_unavailable")
    assert rig.pump_state(1) == "retry"
    rig.run(2 * HOUR)
    judges.check()
    assert pit.highest_mm < HEIGHTS_MM[3]
    tries = rig.starts(1, since=opened)
    assert len(tries) == 2  # with the run that was lost, three in a row
    assert all(b - a >= 600 for a, b in zip(tries, tries[1:], strict=False))
    assert rig.pump_state(1) == "locked"
    assert rig.suspects() == set()  # it was not taken for a dry run
    pit.pump_fault[0] = None
    rig.press("reset").run(HOUR)
    assert {n for t, n in rig.all_starts() if t > rig.t - HOUR} == {1, 2}


@pytest.mark.long
def test_a_breaker_opening_where_nothing_is_sensed():
    pit = Pit(20 * GPM)
    pit.at(HOUR, spoil(1, "dead"))
    rig, judges = start(pit)
    rig.run(4 * HOUR)
    judges.check()
    assert pit.highest_mm < HEIGHTS_MM[3]  # lag brings the other in
    assert rig.active("pump_1_suspect")  # D6: led twice running and let the level reach lag
    after = [n for t, n in rig.all_starts() if t > 2 * HOUR]
    assert after.count(2) > 10
    assert after[0] == 2


# jammed, and both dead --------------------------------------------------------------------------


@pytest.mark.long
def test_a_jammed_pump_is_tripped_in_two_seconds_and_the_other_carries_the_night():
    pit = Pit(25 * GPM)
    pit.at(HOUR, spoil(2, "jammed"))
    rig, judges = start(pit, sensing=WITH_CURRENT, starts_per_hour=60)
    rig.run(6 * HOUR)
    judges.check()
    assert not pit.flooded
    runs = [(max(a, HOUR), b) for a, b in rig.runs(2) if b > HOUR]
    assert len(runs) == 3
    assert max(b - a for a, b in runs) <= 2.2
    assert rig.pump_state(2) == "locked"
    assert len(rig.raised("pump_2_unavailable")) == 1


def test_both_pumps_dead_then_one_comes_back_in_the_flood():
    pit = Pit(6 * GPM)
    for n in (1, 2):
        pit.at(HOUR / 2, spoil(n, "dead"))
    pit.at(2 * HOUR, spoil(2, None))
    rig, judges = start(pit, sensing=WITH_CURRENT)
    rig.run(2 * HOUR)
    assert rig.active("no_pump")
    assert rig.active("high_water")
    assert rig.output("relay") == 0
    cured = rig.t
    assert rig.pumps_on() == (1, 1), "R3: a missing current has ended no try"
    rig.run_until(lambda rig: pit.level_mm < 24 * INCH, 1800)
    assert rig.starts(2, since=cured) == []
    rig.run(2 * HOUR)
    judges.check()
    assert pit.level_mm < HEIGHTS_MM[2]
