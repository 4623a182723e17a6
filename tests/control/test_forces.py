"""M2 mask by mask: what a force changes in the record, what it cannot change, and when all forces end."""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.forces import Forces
from duplexsump.control.timers import Timers

TIMEOUT_MS, DEBOUNCE_MS, LONG_MS = 60_000, 1000, 600_000


class Bench:
    """Forces with their timers, the jumper made; `go` is one step."""

    def __init__(self, refresh=7):
        self.timers = Timers()
        self.f = Forces(s.defaults(), self.timers)
        self.inputs = [0] * r.N_INPUTS
        self.inputs[r.IN_JUMPER], self.inputs[r.IN_FORCE_REFRESH] = 1, refresh
        self.now = 0
        self.f.begin(self.inputs)

    def set(self, **values):
        for name, value in values.items():
            self.inputs[r.INPUT_NAMES.index(name)] = value
        return self

    def refresh(self):
        self.inputs[r.IN_FORCE_REFRESH] += 1
        return self

    def go(self, ms=0):
        self.now += ms
        self.timers.expire(self.now)
        self.f.step(self.inputs)
        return self.f.active


def forced(inputs, mask, value):
    """Return the record that M2 describes: each forced input by itself, a thermal contact only ever open."""
    record = list(inputs)
    for bit in (r.FORCE_OFF, r.FORCE_LEAD, r.FORCE_LAG, r.FORCE_HIGH):
        if mask & bit:
            record[r.IN_CONTACTS] = record[r.IN_CONTACTS] | bit if value & bit else record[r.IN_CONTACTS] & ~bit
    for bit, place, on in ((r.FORCE_MAINS, r.IN_MAINS, 1), (r.FORCE_CURRENT_1, r.IN_CURRENT_1, r.CURRENT_NORMAL),
                           (r.FORCE_CURRENT_2, r.IN_CURRENT_2, r.CURRENT_NORMAL)):  # fmt: skip
        if mask & bit:
            record[place] = on if value & bit else 0
    for bit, place in ((r.FORCE_THERMAL_1, r.IN_THERMAL_1), (r.FORCE_THERMAL_2, r.IN_THERMAL_2)):
        if mask & value & bit:
            record[place] = 1
    return record


@pytest.mark.parametrize("real", [0, 1])
@pytest.mark.parametrize("value", [0, 511, 0b101010101, 0b010101010])
def test_m2_each_of_all_masks_changes_what_it_names_and_nothing_else(value, real):
    bench = Bench()
    bench.set(contacts=0b0101 * real, mains=real, thermal_1=real, thermal_2=real, current_1=3 * real, current_2=real)
    bench.set(force_value=value, battery=2, level=31, chatter=4)
    bench.refresh().go()
    for mask in range(512):
        bench.set(force_mask=mask)
        assert bench.go() == mask
        assert bench.f.inputs == forced(bench.inputs, mask, value), mask
        assert (bench.f.inputs is bench.inputs) == (mask == 0), "what was recorded stays as it was read"


def test_m2_a_bit_that_names_no_input_forces_nothing():
    bench = Bench()
    bench.set(force_mask=512, force_value=512)
    assert bench.refresh().go() == 0


def test_m2_as_built_nothing_is_forced():
    f = Forces(s.defaults(), Timers())
    assert f.inputs == [0] * r.N_INPUTS
    assert (f.active, f.refresh, f.lapsed, f.long, f.real_high) == (0, 0, 1, False, False)


def test_m2_what_was_forced_before_a_power_up_must_be_asked_for_anew():
    bench = Bench(refresh=41)
    bench.set(force_mask=r.FORCE_LEAD, force_value=r.FORCE_LEAD)
    assert bench.go() == 0
    assert bench.refresh().go(100) == r.FORCE_LEAD
    bench.f.begin(bench.inputs)
    assert (bench.f.active, bench.f.lapsed, bench.f.refresh) == (0, 1, 42)
    assert bench.go(100) == 0
    assert bench.refresh().go(100) == r.FORCE_LEAD


def test_m2_forces_lapse_a_minute_after_the_last_refresh():
    bench = Bench().set(force_mask=r.FORCE_MAINS)
    assert bench.refresh().go() == r.FORCE_MAINS
    assert bench.go(TIMEOUT_MS - 100)
    assert bench.refresh().go(0), "any change of the counter is a refresh"
    assert bench.go(TIMEOUT_MS - 100)
    assert bench.go(100) == 0
    assert bench.f.lapsed == 1
    assert bench.f.inputs is bench.inputs
    bench.inputs[r.IN_FORCE_REFRESH] = 0
    assert bench.go(100) == r.FORCE_MAINS


def test_m2_without_the_jumper_nothing_is_forced_and_nothing_is_waited_for():
    bench = Bench().set(force_mask=r.FORCE_LEAD)
    bench.refresh().go()
    bench.set(jumper=0)
    assert bench.go(100) == 0
    assert not bench.timers.running(tm.FORCE)
    bench.set(jumper=1)
    assert bench.go(100) == 0, "once off, it must be asked for anew"
    bench.set(jumper=0)
    assert bench.refresh().go(100) == 0
    assert not bench.timers.running(tm.FORCE)
    bench.set(jumper=1)
    assert bench.refresh().go(100) == r.FORCE_LEAD


def test_m2_a_real_high_cancels_all_forces_whatever_high_is_forced_to():
    bench = Bench().set(force_mask=r.FORCE_HIGH | r.FORCE_LEAD, force_value=0)
    bench.refresh().go()
    bench.set(contacts=r.HIGH)
    assert bench.go(100)
    bench.set(contacts=0)
    assert bench.go(DEBOUNCE_MS - 100)
    bench.set(contacts=r.HIGH | r.OFF)
    assert bench.go(100)
    assert bench.go(DEBOUNCE_MS - 100)
    assert bench.go(100) == 0
    assert (bench.f.lapsed, bench.timers.running(tm.FORCE)) == (1, False)
    assert bench.refresh().go(100) == 0, "nor can they be asked for while it stands"
    bench.set(contacts=r.OFF | r.LEAD | r.LAG)
    assert bench.go(100) == 0
    assert bench.refresh().go(100) == r.FORCE_HIGH | r.FORCE_LEAD, "the other contacts cancel nothing"


def test_m2_inputs_forced_for_over_ten_minutes_are_told():
    bench = Bench().set(force_mask=r.FORCE_LEAD)
    bench.refresh().go()
    for _ in range(LONG_MS // 30_000 - 1):
        bench.refresh().go(30_000)
        assert not bench.f.long
    bench.refresh().go(29_900)
    assert not bench.f.long
    bench.go(100)
    assert bench.f.long
    bench.refresh().go(30_000)
    assert bench.f.long
    bench.set(force_mask=0)
    bench.go(100)
    assert not bench.f.long
