"""M8: an I2C expander that does not answer is told, and of what it reads nothing is raised and nothing cleared."""

import pytest
from duplexsump.control import settings as s
from duplexsump.control.records import FAULT_CONVERTER, FAULT_EXPANDER, OUT_LIGHT, OUT_RELAY, OUT_SERVICE

from tests.control.clause_bench import DAY
from tests.rig import ready


def silent(rig, mask=FAULT_EXPANDER, **more):
    """The bus gives out: what was behind it reads as the board gives it then."""
    return rig.set(board=mask, charger=0, generator=0, moisture_1=0, moisture_2=0, silence=0, reset=0, **more)


def test_m8_a_silent_expander_is_a_medium_alarm_that_calls_for_service_and_not_for_a_flood():
    rig = ready(calls=1)
    at = rig.t
    silent(rig).run(1)
    assert rig.raised("expander_silent") == [pytest.approx(at, abs=0.2)]
    assert [rig.outputs[place] for place in (OUT_RELAY, OUT_SERVICE, OUT_LIGHT)] == [1, 0, 0]
    rig.set(board=0, charger=1).run(1)
    assert not rig.active("expander_silent")


def test_m8_the_pit_is_kept_as_if_nothing_were():
    rig = ready()
    silent(rig)
    rig.fill("off", "lead").run(30)
    assert sum(rig.pumps_on()) == 1
    rig.fill("lag", "high").run(30)
    assert rig.pumps_on() == (1, 1) and rig.active("high_water")
    rig.drain("high", "lag", "lead", "off").run(60)
    assert rig.pumps_on() == (0, 0)


def test_m8_a_charger_that_nobody_sees_is_not_blamed_and_one_that_had_failed_stays_told():
    rig = ready(supply_2=s.BATTERY, charger_fitted=1)
    silent(rig).run(3 * DAY)
    assert rig.raised("charger_failed") == []
    rig = ready(supply_2=s.BATTERY, charger_fitted=1)
    rig.set(charger=0).run(DAY + 60)
    assert rig.active("charger_failed")
    silent(rig).run(DAY)
    assert rig.active("charger_failed")
    rig.set(board=0, charger=1).run(1)
    assert not rig.active("charger_failed")


@pytest.mark.parametrize("mask", [FAULT_CONVERTER, FAULT_CONVERTER | FAULT_EXPANDER])
def test_m8_a_battery_that_nobody_reads_keeps_its_alarm_and_no_pump_is_kept_off_by_it(mask):
    rig = ready(supply_2=s.BATTERY)
    rig.set(battery="dead").run(70)
    assert rig.active("battery_failed")
    rig.set(board=mask, battery="good").run(3600)
    assert rig.active("battery_failed")
    rig.set(selector_1="off").fill("off", "lead").run(30)
    assert rig.pumps_on() == (0, 1)
    rig.set(board=0).run(1)
    assert not rig.active("battery_failed")


def test_m8_the_battery_of_a_board_that_reads_it_at_its_own_pin_is_judged_on():
    rig = ready(supply_2=s.BATTERY)
    silent(rig, FAULT_EXPANDER, battery="dead").run(70)
    assert rig.active("battery_failed")
