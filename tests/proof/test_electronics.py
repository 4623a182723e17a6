"""The faults of the controller's own electronics, put into nights that were drawn without a fault: dry floors, told.

The campaign draws none of them, for a night is known by its number.
"""

from dataclasses import replace

import pytest

from host_sim.proof.campaign import night_run, nights
from host_sim.proof.told import judge, months

FAULTS = {"expander-silent": "expander_silent", "converter-silent": "expander_silent", "adc-stuck": ""}
WHOLE = "@60.0s+7100.0s"


def quiet_nights(count, battery=None, seed=9):
    """Nights whose draw has no fault and whose inflow one pump carries."""
    found, number = [], 0
    while len(found) < count:
        night = nights.draw(seed, number)
        number += 1
        if not night.names and night.must == "dry" and (battery is None or night.battery == battery):
            found.append(night)
    return found


def with_fault(night, name):
    """The same night with a fault from the first minute to the end of its first phase."""
    written = night.text.replace("faults = []", f'faults = ["{name}{WHOLE}"]')
    assert written != night.text
    must = nights.required((name,), night.battery, True)
    return replace(night, text=written, names=(name,), faults=(name + WHOLE,), must=must)


def judged(night, name):
    """Return (record, alarms raised) of a night with the fault."""
    work, trace, single = night_run.played(with_fault(night, name))
    return night_run.judge(with_fault(night, name), work, trace, single), {alarm.name for alarm in trace.alarms}


@pytest.mark.long
@pytest.mark.parametrize("name", FAULTS)
def test_a_night_with_it_stays_dry_and_it_is_told(name):
    battery = True if name == "converter-silent" else None
    for night in quiet_nights(3, battery):
        record, alarms = judged(night, name)
        assert record["broken"] == "", (night.number, record["broken"])
        assert not FAULTS[name] or FAULTS[name] in alarms, night.number


@pytest.mark.campaign
@pytest.mark.parametrize("name", FAULTS)
def test_many_nights_with_it_stay_dry_and_it_is_told(name):
    broken = []
    for night in quiet_nights(60, True if name == "converter-silent" else None, 10):
        record, alarms = judged(night, name)
        if record["broken"] or (FAULTS[name] and FAULTS[name] not in alarms):
            broken.append((night.number, record["broken"], sorted(alarms)))
    assert not broken, broken


def test_they_are_drawn_by_no_night_and_stand_behind_the_other_months():
    group = {name for name, (kind, _must) in nights.table()[0].items() if kind == nights.UNDRAWN}
    assert group == set(FAULTS) == set(months.LATER)
    assert not any(set(nights.draw(1, number).names) & group for number in range(300))
    plan = [fault for _house, _season, fault in months.plan(1)]
    assert set(plan[-15:]) <= group | {""} and not set(plan[: plan.index("")]) & group


@pytest.mark.long
@pytest.mark.parametrize(("house", "fault"), [("pair", "expander-silent"), ("backup", "converter-silent"),
                                              ("pair", "adc-stuck"), ("transmitter", "adc-stuck")])  # fmt: skip
def test_a_dry_month_with_it_is_told_as_the_table_says(house, fault):
    assert judge.run(1, 0, house, "dry", fault)["broken"] == ""
