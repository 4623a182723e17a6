"""What the tests of more than one clause need."""

import pytest

from tests.rig import WITH_CURRENT, ready

DAY = 86_400
NEAR = 0.15  # one tick and a half: inputs are sampled on a grid of 0.1 s


def near(seconds):
    return pytest.approx(seconds, abs=NEAR)


def pump_1_only(**overrides):
    rig = ready(**{"sensing": WITH_CURRENT, **overrides})
    return rig.set(selector_2="off")


def locked_out(**overrides):
    """Pump 1 locked out by three failed starts, pump 2 off; the pit is at lead."""
    rig = pump_1_only(**overrides)
    rig.load[0] = "none"
    rig.fill("off", "lead")
    rig.run_until(lambda rig: rig.pump_state(1) == "locked", 3600)
    return rig


def locked(band="none", **overrides):
    rig = pump_1_only(**overrides)
    rig.load[0] = band
    rig.fill("off", "lead")
    rig.run_until(lambda rig: rig.pump_state(1) == "locked", 2 * 3600)
    rig.load[0] = "normal"
    return rig.run(30)
