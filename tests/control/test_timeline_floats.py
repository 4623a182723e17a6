"""Timelines that break naive controllers: faults of floats and their wires, in a closed pit.

Each is a night in the 18 in pit with something wrong; what must happen is said
in numbers.  Both judges watch every one of them.
"""

import pytest

from tests.judge.watch import watch
from tests.pit import FLOOR_MM, GPM, HEIGHTS_MM, Pit
from tests.rig import NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK, Rig, ready

pytestmark = pytest.mark.long
HOUR = 3600
BLIND_RUN_S = 35.0
SENSING = pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_CURRENT], ids=["nothing sensed", "current sensed"])


def night(inflow, hours, *, faults=None, plan=(), level_mm=0.0, **overrides):
    """Run a closed pit for `hours`; return (rig, pit, judges)."""
    pit = Pit(inflow, level_mm=level_mm)
    pit.float_fault.update(faults or {})
    for seconds, action in plan:
        pit.at(seconds, action)
    rig = Rig(plant=pit, boot=False, **overrides)
    rig.power_up()
    judges = watch(rig)
    rig.run(hours * HOUR)
    judges.check()
    return rig, pit, judges


def stick(name, how):
    return lambda pit: pit.float_fault.__setitem__(name, how)


def heal(name):
    return lambda pit: pit.float_fault.pop(name)


def longest_dry_s(pit):
    return max(pit.longest_dry_ms) / 1000


# off stuck wet ----------------------------------------------------------------------------------


@SENSING
@pytest.mark.parametrize("gpm", [1, 10, 25])
def test_off_stuck_wet(sensing, gpm):
    rig, pit, _ = night(gpm * GPM, 4 if gpm < 10 else 2, faults={"off": "wet"}, sensing=sensing)
    assert not pit.flooded
    assert longest_dry_s(pit) <= BLIND_RUN_S
    assert pit.highest_mm < HEIGHTS_MM[3]
    assert rig.active("floats_out_of_sequence") == ("off" in rig.suspects())
    assert len(rig.all_starts()) > 20


@SENSING
def test_off_stuck_wet_is_found_and_then_no_pump_runs_dry(sensing):
    rig, pit, _ = night(3 * GPM, 1, faults={"off": "wet"}, sensing=sensing)
    assert rig.suspects() == {"off"}
    assert rig.active("floats_out_of_sequence")
    pit.longest_dry_ms[:] = [0, 0]
    rig.run(4 * HOUR)
    assert longest_dry_s(pit) == 0
    assert not pit.flooded


def test_an_honest_off_is_not_suspect_at_any_inflow():
    for gpm in (1, 5, 10, 17, 25, 30, 33):
        rig, pit, _ = night(gpm * GPM, 1)
        assert rig.raised("floats_out_of_sequence") == [], gpm
        assert rig.suspects() == set(), gpm
        assert longest_dry_s(pit) == 0, gpm


# lead stuck dry ---------------------------------------------------------------------------------


@SENSING
@pytest.mark.parametrize("gpm", [1, 10, 30])
def test_lead_stuck_dry(sensing, gpm):
    rig, pit, _ = night(gpm * GPM, 2 if gpm < 10 else 1, faults={"lead": "dry"}, sensing=sensing)
    assert pit.highest_mm < HEIGHTS_MM[3]  # the high-water float never gets wet
    assert rig.suspects() == {"lead"}
    assert len(rig.raised("floats_out_of_sequence")) == 1
    assert longest_dry_s(pit) == 0
    assert rig.run_time(1) == pytest.approx(rig.run_time(2), rel=0.3)


# lead hung up wet -------------------------------------------------------------------------------


@SENSING
@pytest.mark.parametrize("gpm", [1, 10, 30])
def test_lead_hung_up_wet(sensing, gpm):
    rig, pit, _ = night(gpm * GPM, 1, plan=[(HOUR / 2, stick("lead", "wet"))], sensing=sensing)
    assert rig.suspects() == {"lead"}
    assert longest_dry_s(pit) <= 21.0  # sequence_time and debounce, less the way from off to the intake
    assert not pit.flooded
    pit.longest_dry_ms[:] = [0, 0]
    rig.run(HOUR)
    assert longest_dry_s(pit) == 0  # once is enough to know
    pit.float_fault.clear()
    rig.run(HOUR)
    assert rig.suspects() == set()


# high stuck wet for a week ----------------------------------------------------------------------


@SENSING
@pytest.mark.parametrize(("gpm", "days"), [(0.02, 7), (1, 2)])
def test_high_stuck_wet_for_a_week(sensing, gpm, days):
    rig, pit, _ = night(gpm * GPM, days * 24, faults={"high": "wet"}, sensing=sensing)
    assert not pit.flooded
    assert rig.active("high_water")
    assert rig.output("relay") == 0
    assert longest_dry_s(pit) <= (10.0 if sensing == WITH_CURRENT else BLIND_RUN_S + 0.1)
    # Blind pumping rests 30 min once it has found the pit empty: at most 48 runs a day, shared by two.
    level_starts = days * 24 * 60 * gpm / 8.8
    assert len(rig.all_starts()) <= days * 48 + 12 + 2 * level_starts
    assert rig.run_time(1) + rig.run_time(2) < days * 86_400 * (0.03 + 2 * gpm / 34.6)


def test_high_stuck_wet_does_not_keep_the_level_rules_from_working():
    rig, pit, _ = night(10 * GPM, 6, faults={"high": "wet"}, sensing=NO_CURRENT)
    assert pit.highest_mm < HEIGHTS_MM[2] + 20
    assert rig.suspects() <= {"high"}


# a common float wire broken ---------------------------------------------------------------------


def break_common_wire(pit):
    for name in ("off", "lead", "lag"):
        pit.float_fault[name] = "dry"


@SENSING
@pytest.mark.parametrize("gpm", [1, 5, 15])
def test_a_common_float_wire_broken_in_mid_run(sensing, gpm):
    pit = Pit(gpm * GPM)
    rig = Rig(plant=pit, boot=False, sensing=sensing)
    rig.power_up()
    judges = watch(rig)
    rig.run(HOUR)
    rig.run_until(lambda rig: pit.floats[1] and sum(rig.pumps_on()), HOUR)
    break_common_wire(pit)
    broken = rig.t
    rig.run(3)
    assert rig.raised("float_wiring") == [pytest.approx(broken + 1.0, abs=0.25)]
    rig.run(3 * HOUR)
    judges.check()
    assert not pit.flooded
    assert longest_dry_s(pit) <= BLIND_RUN_S + 0.1
    assert rig.active("level_lost")


def test_a_common_float_wire_broken_while_the_pit_is_empty_with_current_sensed():
    rig, pit, _ = night(10 * GPM, 2, faults={"off": "dry", "lead": "dry", "lag": "dry"}, sensing=WITH_CURRENT)
    assert not pit.flooded
    # A high that rises and falls twice over three dry floats has proved them dead; then stops go by time.
    assert rig.suspects() == {"off", "lead", "lag"}
    assert rig.raised("floats_out_of_sequence")[0] < 200
    assert longest_dry_s(pit) <= BLIND_RUN_S + 0.1
    assert len(rig.all_starts()) < 2 * 70


# any one float, either way ----------------------------------------------------------------------


@SENSING
@pytest.mark.parametrize("how", ["wet", "dry"])
@pytest.mark.parametrize("name", ["off", "lead", "lag", "high"])
@pytest.mark.parametrize("pumps", [2, 1], ids=["both pumps", "one pump"])
def test_i14_one_faulty_float_floods_nothing_and_runs_nothing_dry_for_long(sensing, how, name, pumps):
    for gpm in (2, 20):
        pit = Pit(gpm * GPM)
        rig = Rig(plant=pit, boot=False, sensing=sensing, starts_per_hour=60)
        rig.held[12] = 0 if pumps == 2 else 1  # selector_2 to OFF leaves one pump
        rig.power_up()
        judges = watch(rig)
        pit.at(10 * 60, stick(name, how)).at(HOUR, heal(name))
        rig.run(1.4 * HOUR)
        judges.check()
        assert pit.highest_mm < FLOOR_MM, gpm
        assert longest_dry_s(pit) <= BLIND_RUN_S + 0.1, gpm


# a contact that comes and goes -----------------------------------------------------------------


def bob(rig, contact, wet_s, dry_s, seconds):
    """Let a contact come and go for so long, whatever the water does."""
    end = rig.t + seconds
    while rig.t < end:
        rig.set(**{contact: 1}).run(wet_s).set(**{contact: 0}).run(dry_s)
    return rig


@pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_FEEDBACK, WITH_CURRENT])
@pytest.mark.parametrize("contact", ["lead", "lag", "high"])
@pytest.mark.parametrize(("wet_s", "dry_s"), [(4, 4), (7, 6), (15, 10), (25, 25)])
def test_an_intermittent_float_over_an_empty_pit_runs_no_pump_dry_without_limit(sensing, contact, wet_s, dry_s):
    rig = ready(sensing=sensing)
    rig.load = ["under" if sensing == WITH_CURRENT else "normal"] * 2
    bob(rig, contact, wet_s, dry_s, 3600)
    if wet_s == 25 and sensing != WITH_CURRENT:
        # So slow a float is told from an honest one over dead ones by a current alone: told of, and bounded run by run.
        assert rig.raised("floats_out_of_sequence")
        assert max(stop - start for n in (1, 2) for start, stop in rig.runs(n)) <= 2 * BLIND_RUN_S + 1
    else:
        assert rig.run_time(1) + rig.run_time(2) < 600
    rig.load = ["normal", "normal"]
    rig.run(100).fill("off", "lead", "lag", "high").run(30)
    assert rig.pumps_on() == (1, 1), "it rose in order, and is believed again"


def test_a_high_that_comes_and_goes_over_dry_ones_and_then_stands_wet_is_believed_after_a_minute():
    rig = bob(ready(), "high", 7, 6, 120)
    assert rig.suspects() == {"high"}
    at = rig.set(high=1).t
    rig.run_until(lambda rig: rig.suspects() == set(), 90)
    assert rig.t == pytest.approx(at + 61, abs=0.3)
    assert rig.run(15).pumps_on() == (1, 1)


@pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_FEEDBACK])
def test_an_honest_high_over_a_dead_lead_is_believed_cycle_after_cycle(sensing):
    rig = ready(sensing=sensing, fitted=11)
    for _ in range(12):
        rig.set(high=1).run(6)
        assert rig.pumps_on() == (1, 1)
        rig.set(high=0).run(80)
        assert "high" not in rig.suspects()
