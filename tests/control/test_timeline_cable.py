"""Timelines of contacts that fail together: a cut cable, a hung high, a lead pump that moves nothing.

Each is a night in the 18 in pit, asked as a stranger would: is the floor wet, does somebody get called, does a pump
run dry without end?  Both judges watch every one of them.
"""

import pytest

from tests.control.test_timeline_floats import break_common_wire, longest_dry_s, night, stick
from tests.judge.watch import watch
from tests.pit import FLOOR_MM, GPM, Pit
from tests.rig import NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK, Rig

pytestmark = pytest.mark.long
SENSING = pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_FEEDBACK, WITH_CURRENT],
                                  ids=["nothing", "feedback", "current"])  # fmt: skip
MIN = 60


@SENSING
@pytest.mark.parametrize("gpm", [2, 10, 20, 26, 30, 31])
@pytest.mark.parametrize("empty_s", [0, 20 * MIN])
def test_a_common_cable_cut_while_the_pit_is_empty_with_a_good_high(sensing, gpm, empty_s):
    plan = [(0, break_common_wire)] if not empty_s else []
    inflow = [(0, 0.0), (empty_s + 1, gpm * GPM)]
    faults = {} if not empty_s else {"off": "dry", "lead": "dry", "lag": "dry"}
    rig, pit, _ = night(inflow, 3, faults=faults, plan=plan, sensing=sensing)
    assert pit.highest_mm < FLOOR_MM
    assert pit.flooded_ms == 0
    assert longest_dry_s(pit) <= 35.1
    assert rig.raised("high_water"), "the water did come up"


@SENSING
@pytest.mark.parametrize("gpm", [5, 15, 25, 30])
def test_a_common_cable_cut_with_a_pump_left_off_calls_before_the_floor_is_wet(sensing, gpm):
    pit = Pit([(0, 0.0), (60, gpm * GPM)])
    break_common_wire(pit)
    rig = Rig(plant=pit, boot=False, sensing=sensing)
    rig.held[12] = 1  # selector 2 at OFF
    rig.power_up()
    judges = watch(rig)
    rig.run_until(lambda rig: pit.level_mm >= FLOOR_MM or rig.t > 7200, 7300)
    judges.check()
    called = [t for t, name, value in rig.edges if name == "relay" and not value]
    assert called and called[0] < rig.t - 5, "before the floor was wet"
    assert pit.level_mm < FLOOR_MM or (gpm > 15 and sensing != WITH_CURRENT), "one pump, and nothing tells a good high"


@pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_FEEDBACK])
@pytest.mark.parametrize("pump", [0, 1])
@pytest.mark.parametrize("gpm", [5, 20, 30])
def test_a_lead_pump_that_moves_nothing_with_no_contact_above_lead_believed(sensing, pump, gpm):
    rig, pit, _ = night([(0, 2 * GPM), (3600, gpm * GPM)], 3, sensing=sensing, fitted=11, plan=[
        (600, stick("high", "wet")), (3590, lambda pit: pit.pump_fault.__setitem__(pump, "airlock"))])  # fmt: skip
    assert pit.highest_mm < FLOOR_MM
    assert rig.active("high_water")


@pytest.mark.parametrize("sensing", [NO_CURRENT, WITH_CURRENT])
def test_a_high_hung_wet_and_silenced_still_calls_when_the_cable_is_cut_on_top(sensing):
    rig, pit, _ = night([(0, 5 * GPM)], 1, faults={"high": "wet"}, sensing=sensing)
    rig.press("silence")
    rig.run(1000)
    assert (rig.output("horn"), rig.output("relay")) == (0, 0)
    cut = rig.t
    break_common_wire(pit)
    pit.inflow = [(0, 25 * GPM)]
    rig.run_until(lambda rig: pit.level_mm > FLOOR_MM or rig.t > cut + 3600, 3700)
    # The call for help stands; the alarm of the hung float is the same one still, so the horn keeps to its reminders.
    assert rig.output("relay") == 0
    assert rig.alarm("level_lost") or rig.alarm("float_wiring")
    assert not [t for t, name, value in rig.edges if name == "relay" and value and t >= cut]
