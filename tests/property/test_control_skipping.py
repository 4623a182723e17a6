"""I10: steps at which nothing is due change nothing; nor does a second step, nor any shift of the clock.

The snapshot is the judge: at every instant that two runs have in common it must
be the same, field by field.
"""

import random

import pytest
from duplexsump.control import records as r
from duplexsump.control import ticks
from duplexsump.control.belief import Belief
from duplexsump.control.controller import FIELDS, Controller
from hypothesis import given
from hypothesis import strategies as st

from tests.property.machine_script import (
    LONG_WAITS_S,
    SHORT_WAITS_S,
    WAITS_S,
    RandomChooser,
    play,
    some_events,
    some_settings,
)
from tests.property.test_control_invariants import scripts

# A mark in time is kept as a CLOCK; these two are instants of the ring, the other clocks are lengths.
INSTANTS = {"now", "mark"}
SHORT = {"most": 14, "waits": SHORT_WAITS_S, "without": ()}
LONG = {"most": 25, "waits": LONG_WAITS_S, "without": ()}


class Trajectory:
    """The snapshots and outputs of a run by instant, at all instants or at those of another trajectory."""

    def __init__(self, like=None):
        self.like = like
        self.at = {}
        self.outputs = {}

    def __call__(self, rig):
        if self.like and rig.elapsed_ms not in self.like.at:
            return
        self.at[rig.elapsed_ms] = rig.c.snapshot()
        self.outputs[rig.elapsed_ms] = list(rig.outputs[: r.OUT_LATE])


def trajectory(script, like=None, **how):
    """Return the trajectory of a played script."""
    seen = Trajectory(like)
    play(script, seen=seen, **how)
    return seen


def differing(one, other, apart_from=()):
    """Return the first instant and the fields at which two courses differ, or None."""
    common = sorted(set(one.at) & set(other.at))
    assert 2 * len(common) > len(one.at), "two runs with few common instants compare little"
    for ms in common:
        if one.at[ms] != other.at[ms] or one.outputs[ms] != other.outputs[ms]:
            pairs = zip(FIELDS, one.at[ms], other.at[ms], strict=True)
            fields = [f"{name}: {a} != {b}" for (name, _, _), a, b in pairs if a != b and name not in apart_from]
            if fields or one.outputs[ms] != other.outputs[ms]:
                return ms / 1000, fields or [one.outputs[ms], other.outputs[ms]]
    return None


def skipped_and_worked_out(script, extra=None):
    """Compare skipping with working everything out at more instants (every tick, or some `extra` ones).

    The instant by which to look again lies a day ahead of the last look when
    nothing else is due: who looks more often has a later one.
    """
    skipped = trajectory(script)
    how = {"ticking": True} if extra is None else {"extra": extra}
    return differing(skipped, trajectory(script, like=skipped, always=True, **how), apart_from=("due",))


def shifted(snapshot, shift_ms):
    """Return a snapshot with every instant in it moved by `shift_ms` in the ring."""
    moved = []
    for (name, kind, _retained), value in zip(FIELDS, snapshot, strict=True):
        instant = (kind == r.DEADLINE and value != ticks.NEVER) or name in INSTANTS
        moved.append((value + shift_ms) & ticks.MASK if instant else value)
    return moved


def seeded(seed, count=20, waits=WAITS_S):
    """Return a script from a seed."""
    chooser = RandomChooser(random.Random(seed))
    return some_settings(chooser), some_events(chooser, count, waits=waits)


# Skipping ---------------------------------------------------------------------------------------


@pytest.mark.long
@given(scripts(**SHORT))
def test_skipping_what_is_not_due_equals_working_out_every_tick(script):
    assert skipped_and_worked_out(script) is None


@given(scripts(**SHORT))
def test_skipping_equals_ticking_with_the_fast_path(script):
    skipped = trajectory(script)
    assert differing(skipped, trajectory(script, like=skipped, ticking=True)) is None


@pytest.mark.long
@given(scripts(**LONG), st.randoms(use_true_random=False))
def test_any_additional_instants_change_nothing(script, rng):
    extra = RandomChooser(rng)
    skipped = trajectory(script)
    assert differing(skipped, trajectory(script, like=skipped, extra=extra)) is None
    assert skipped_and_worked_out(script, extra) is None


@pytest.mark.parametrize("seed", [*range(4), *(pytest.param(n, marks=pytest.mark.long) for n in range(4, 12))])
def test_skipping_on_seeded_nights(seed):
    assert skipped_and_worked_out(seeded(seed, waits=SHORT_WAITS_S)) is None


def test_canary_a_course_with_one_field_changed_is_told_apart():
    script = seeded(1)
    one, other = trajectory(script), trajectory(script)
    assert differing(one, other) is None
    last = max(other.at)
    other.at[last] = [*other.at[last][:-1], other.at[last][-1] + 1]
    assert differing(one, other) == (last / 1000, [f"{FIELDS[-1][0]}: {one.at[last][-1]} != {other.at[last][-1]}"])


def test_canary_a_field_without_its_mark_is_found(monkeypatch):
    night = seeded(42, waits=SHORT_WAITS_S)
    assert skipped_and_worked_out(night) is None
    rows = [(*row[:3], row[3] & ~r.AGAIN) if row[0] == "wiring" else row for row in Belief.FIELDS]
    monkeypatch.setattr(Belief, "FIELDS", tuple(rows))
    assert skipped_and_worked_out(night)


# A second step ----------------------------------------------------------------------------------


class Twice:
    """Steps a second time at every instant and notes whether that changed anything."""

    def __init__(self):
        self.wrong = []
        self.steps = 0

    def __call__(self, rig):
        before, outputs = rig.c.snapshot(), list(rig.outputs)
        inputs = list(rig.held)
        out = rig.c.step(rig.now_ms, inputs)
        self.steps += 1
        pairs = zip(FIELDS, before, rig.c.snapshot(), strict=True)
        fields = [field[0] for field, a, b in pairs if a != b]
        if fields:
            self.wrong.append((rig.t, fields))
        if list(out)[: r.OUT_LATE] != outputs[: r.OUT_LATE] or inputs[r.IN_CONTACTS] != rig.scratch[r.IN_CONTACTS]:
            self.wrong.append((rig.t, "outputs", list(out), outputs))


@pytest.mark.long
@given(scripts(**LONG))
def test_a_second_step_at_the_same_instant_with_the_same_inputs_changes_nothing(script):
    twice = Twice()
    play(script, seen=twice)
    assert twice.steps > 0
    assert not twice.wrong, twice.wrong[:3]


# Wrapping ---------------------------------------------------------------------------------------


@pytest.mark.long
@given(scripts(**LONG), st.integers(0, (1 << 30) // 100 - 1))
def test_a_shift_of_the_clock_by_any_amount_changes_nothing(script, hundreds):
    shift_ms = hundreds * 100
    here, there = trajectory(script), trajectory(script, start_ms=shift_ms)
    assert here.outputs == there.outputs
    for ms, snapshot in here.at.items():
        assert shifted(snapshot, shift_ms) == there.at[ms], ms


@pytest.mark.parametrize("before_s", [0.1, 5.0, 70.0, 200.0, 1000.0])
@pytest.mark.parametrize("seed", range(3))
def test_the_clock_may_wrap_in_the_middle_of_anything(before_s, seed):
    script = seeded(seed, count=25)
    start_ms = (1 << 30) - round(before_s * 1000)
    here, there = trajectory(script), trajectory(script, start_ms=start_ms)
    assert here.outputs == there.outputs
    for ms, snapshot in here.at.items():
        assert shifted(snapshot, start_ms) == there.at[ms], ms


# Restore ----------------------------------------------------------------------------------------


@given(scripts(most=25, without=()), st.integers(0, 24))
def test_a_restored_snapshot_goes_on_exactly_as_the_one_it_was_taken_from(script, after):
    beside = {}

    def twin(rig):
        if "c" in beside and rig.boot_ms == beside["boot"]:
            beside["c"].step(rig.now_ms, list(rig.held))
            assert beside["c"].snapshot() == rig.c.snapshot(), rig.t
        beside["steps"] = beside.get("steps", 0) + 1
        if beside["steps"] == after + 1:
            beside["c"], beside["boot"] = Controller(rig.settings), rig.boot_ms
            beside["c"].restore(rig.c.snapshot())

    play(script, seen=twin)
