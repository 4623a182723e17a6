"""Canaries: a controller with one plain mistake must be found by the invariant that forbids it.

An invariant that no mistake can break watches nothing.  Each mistake is put
into the running controller, and the seeded nights must find it, by name.
"""

import random
from contextlib import suppress

import pytest
from duplexsump.control import records as r
from duplexsump.control.alarms import Alarms
from duplexsump.control.blind import Blind
from duplexsump.control.controller import Controller
from duplexsump.control.demand import Demand
from duplexsump.control.gate import Gate
from duplexsump.control.pair import Pair

from tests.property.machine_monitors import Invariants
from tests.property.machine_script import FORCES, WAITS_S, RandomChooser, play, some_events, some_settings

NIGHTS = 60


def no_rest(patch):
    patch.setattr(Gate, "rested", lambda self, n: True)


def no_spacing(patch):
    def start(self, want, n):
        if want & ~self.out & (1 << n) and self.rested(n):
            self.out |= 1 << n

    patch.setattr(Gate, "_start", start)


def nothing_barred(patch):
    patch.setattr(Controller, "_barred", lambda self: 0)


def demand_that_never_ends(patch):
    original = Demand.step

    def step(self, *args):
        before = self.demand
        original(self, *args)
        self.demand = max(before, self.demand)

    patch.setattr(Demand, "step", step)


def high_water_forgotten(patch):
    original = Alarms.tell
    patch.setattr(Alarms, "tell", lambda self, i, condition, *rest: original(self, i, condition and i > 0, *rest))


def nobody_comes(patch):
    patch.setattr(Pair, "step", lambda self, *told: 0)


def lockout_forgotten(patch):
    original = Pair.judge

    def judge(self):
        original(self)
        self.available = self.ready = 3

    patch.setattr(Pair, "judge", judge)


def relay_that_sticks(patch):
    original = Controller._tell

    def tell(self, inputs):
        original(self, inputs)
        self.out[r.OUT_RELAY] = 1

    patch.setattr(Controller, "_tell", tell)


def blind_run_without_end(patch):
    patch.setattr(Blind, "_run", lambda self, wet, running: None)


@pytest.mark.long
@pytest.mark.parametrize(("mistake", "invariant"), [
    (no_rest, "I1"),
    (nothing_barred, "I2"),
    (demand_that_never_ends, "I3"),
    (high_water_forgotten, "I4"),
    (nobody_comes, "I5"),
    (nobody_comes, "I6"),
    (no_spacing, "I7"),
    (lockout_forgotten, "I9"),
    (relay_that_sticks, "I11"),
    (blind_run_without_end, "I13"),
])
def test_a_mistake_is_found_by_its_invariant(monkeypatch, mistake, invariant):
    mistake(monkeypatch)
    found = set()
    for seed in range(NIGHTS):
        chooser = RandomChooser(random.Random(9000 + seed))
        script = some_settings(chooser, transmitter=False), some_events(chooser, 50, waits=WAITS_S, without=FORCES)
        beside = []
        with suppress(ValueError):  # the controller's own tables may refuse what the mistake asks of them
            play(script, watchers=(lambda rig, beside=beside: beside.append(Invariants(rig)),))
        found |= {text.split(": ")[1] for text in beside[0].wrong}
        if invariant in found:
            return
    pytest.fail(f"{mistake.__name__} was not found by {invariant}; found: {sorted(found)}")
