"""What the random nights reach is measured: every state x event pair of the tables is entered, or named here.

A pair that the table allows and no night enters is either a hole in the tests
or a row that nothing needs; both are worth knowing.
"""

import random

import pytest
from duplexsump.control import alarms, blind, pump

from tests.property.machine_monitors import Invariants
from tests.property.machine_script import (
    FORCES,
    LONG_WAITS_S,
    WAITS_S,
    RandomChooser,
    play,
    some_events,
    some_settings,
)
from tests.rig import WITH_CURRENT, ready

pytestmark = pytest.mark.long
NIGHTS = 120
# Every fourth night is one of protections alone, on one pump and on both: trips upon trips.
PROTECTIONS = ("thermal_1", "thermal_2", "moisture_1", "moisture_2", "load_1", "load_2", "reset", "selector_1", "mains")

# Pairs that the tables allow and that cannot be entered, each with the reason.
IMPOSSIBLE_PUMP = {}
IMPOSSIBLE_ALARM = {}
IMPOSSIBLE_BLIND = {}


def allowed(table, states, events):
    """Return the (state, event) names that a flat table allows."""
    return {
        (state, event)
        for i, state in enumerate(states)
        for j, event in enumerate(events)
        if table[i * len(events) + j] != 255
    }


def a_pump_out(retries, band="none"):
    """Return a rig with pump 1 out (tripped once, or locked out), pump 2 at OFF, and high wet."""
    rig = ready(sensing=WITH_CURRENT, retries=retries).set(selector_2="off")
    rig.load[0] = band
    rig.fill("off", "lead").run(30)
    rig.fill("lag", "high")
    return rig.run_until(lambda rig: rig.pumps_on()[0] == 1, 200).run(1)


def aimed():
    """Play what random nights do not hit: people who act within the seconds of an unproved try, an empty pit."""
    for retries in (1, 3):
        a_pump_out(retries).press("reset")
        a_pump_out(retries).set(selector_1="off").run(10)
    rig = ready(sensing=WITH_CURRENT)
    rig.set(moisture_1=1).run(5).press("silence").set(moisture_1=0).run(5).press("reset")
    empty = ready(sensing=WITH_CURRENT)  # lead hangs wet alone, and both pumps find nothing to pump (R1)
    empty.load = ["under", "under"]
    empty.set(lead=1).run(60)


@pytest.fixture(scope="module")
def reached():
    """The pairs that NIGHTS seeded nights have entered, and what the invariants were put to."""
    seen = {"pump": set(), "alarm": set(), "blind": set()}
    checked = {}
    patch = pytest.MonkeyPatch()

    def recording(name, owner, method, describe):
        original = getattr(owner, method)

        def record(self, *args):
            seen[name].add(describe(self, *args))
            return original(self, *args)

        patch.setattr(owner, method, record)

    recording("pump", pump.Pump, "event", lambda self, e: (pump.STATES[self.state], pump.EVENTS[e]))
    recording("blind", blind.Blind, "event", lambda self, e: (blind.STATES[self.state], blind.EVENTS[e]))
    recording("alarm", alarms.Alarms, "_event",
              lambda self, i, e: (alarms.STATES[self.state[i]], alarms.EVENTS[e]))
    try:
        aimed()
        for seed in range(NIGHTS):
            chooser = RandomChooser(random.Random(5000 + seed))
            without = FORCES if seed % 3 else ()
            kinds = PROTECTIONS if seed % 4 == 0 else None
            waits = LONG_WAITS_S if seed % 2 else WAITS_S
            script = some_settings(chooser), some_events(chooser, 60, waits=waits, without=without, kinds=kinds)
            beside = []
            play(script, watchers=(lambda rig, beside=beside: beside.append(Invariants(rig)),))
            for name, count in beside[0].checked.items():
                checked[name] = checked.get(name, 0) + count
    finally:
        patch.undo()
    return seen, checked


def report(table, states, events, seen, impossible):
    """Assert that each allowed pair was entered or is named, and that no named one was entered."""
    pairs = allowed(table, states, events)
    assert seen <= pairs, f"entered although the table says cannot happen: {sorted(seen - pairs)}"
    missing = pairs - seen - set(impossible)
    assert not missing, f"{len(pairs)} pairs, not entered and not named: {sorted(missing)}"
    assert set(impossible) <= pairs, f"named as impossible and not in the table: {sorted(set(impossible) - pairs)}"
    assert not seen & set(impossible), f"named as impossible and entered: {sorted(seen & set(impossible))}"


def test_every_pair_of_the_pump_table_is_entered_or_named(reached):
    report(pump.TABLE, pump.STATES, pump.EVENTS, reached[0]["pump"], IMPOSSIBLE_PUMP)


def test_every_pair_of_the_alarm_table_is_entered_or_named(reached):
    report(alarms.NEXT, alarms.STATES, alarms.EVENTS, reached[0]["alarm"], IMPOSSIBLE_ALARM)


def test_every_pair_of_blind_pumping_is_entered_or_named(reached):
    report(blind.TABLE, blind.STATES, blind.EVENTS, reached[0]["blind"], IMPOSSIBLE_BLIND)


def test_the_nights_have_put_every_watched_invariant_to_the_test(reached):
    for name in ("I1", "I2", "I3", "I4", "I5", "I6", "I7", "I9", "I11", "I13"):
        assert reached[1][name] > 100, (name, reached[1])
