"""R4, A1: one press of reset ends a lockout and its alarm together."""

import pytest

from tests.control.test_clause_dry_run import locked


@pytest.mark.parametrize("acknowledged", [False, True])
def test_a1_one_press_ends_the_lockout_and_the_alarm_that_told_it(acknowledged):
    rig = locked()
    assert rig.active("pump_1_lockout")
    if acknowledged:
        rig.press("silence").run(1)
        assert rig.alarm("pump_1_lockout") == "acknowledged"
    rig.press("reset").run(1)
    assert rig.alarm("pump_1_lockout") == "normal"
    assert rig.run(120).alarm("pump_1_lockout") == "normal"


def test_a1_what_still_holds_stays_active_through_a_reset():
    rig = locked()
    rig.fill("lag", "high").run(5)
    assert rig.active("high_water")
    rig.press("reset").run(1)
    assert rig.alarm("high_water") == "unacknowledged"
