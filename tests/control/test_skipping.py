"""I10 from every situation and for every input: one input changes alone and comes back, skipped or worked out.

What skips must hold the same state wherever it looks as what works everything
out there and at the ticks after it, which is where a forgotten follow-up shows.
"""

from copy import deepcopy

import pytest
from duplexsump.control import records as r
from duplexsump.control.alarms import Alarms
from duplexsump.control.belief import Belief
from duplexsump.control.controller import FIELDS, Controller
from duplexsump.control.pump import Pump
from duplexsump.control.ticks import DAY_MS, add

from tests.rig import INPUT_PLACE, WITH_CURRENT, ready
from tests.sampled import sampled

SPANS_S = (8.0, 3.0)  # changed, and back again


def quiet(_rig):
    """Nothing is wet."""


def drawing_down(rig):
    rig.fill("off", "lead").run(3.0)


def both_running(rig):
    rig.fill("off", "lead", "lag").run(8.0)


def lead_locked_out(rig):
    rig.fill("off", "lead")
    rig.load[:] = ["none", "normal"]
    rig.run(20.0)


def flooded_with_both_out(rig):
    rig.load[:] = ["none", "none"]
    rig.fill("off", "lead", "lag", "high").run(20.0)


def pumping_blind(rig):
    rig.set(high=1).run(30.0)


def dry_run_over_a_hung_float(rig):
    rig.load[:] = ["under", "under"]
    rig.fill("off", "lead").run(6.0)


def on_battery(rig):
    rig.fill("off", "lead").run(3.0).set(mains=0).run(4.0)


def by_hand(rig):
    rig.set(selector_1=r.SELECT_HAND).run(3.0)


def forced_with_silence_held(rig):
    rig.set(jumper=1, force_mask=r.FORCE_LEAD, force_value=r.FORCE_LEAD, force_refresh=1).run(4.0)
    rig.set(silence=1).run(1.0)


SITES = {
    "floats, nothing sensed": {"supply_2": 2},
    "floats, current sensed": {"sensing": WITH_CURRENT, "supply_2": 1, "duty": 1},
    "transmitter": {"sensing": WITH_CURRENT, "fitted": 8, "transmitter": 1},
}
SITUATIONS = (quiet, drawing_down, both_running, lead_locked_out, flooded_with_both_out, pumping_blind,
              dry_run_over_a_hung_float, on_battery, by_hand, forced_with_silence_held)  # fmt: skip
FED_OTHERWISE = ("contacts", "chatter", "current_1", "current_2", "command", "battery")
CHANGES = [
    *(("contacts", bit) for bit in r.CONTACTS),
    *((name, 1) for name in INPUT_PLACE if name not in FED_OTHERWISE),
    *(("command", bit) for bit in (r.CMD_SILENCE, r.CMD_RESET, r.CMD_INSPECTED, r.CMD_TEST)),
    ("selector_1", r.SELECT_HAND), ("selector_2", r.SELECT_HAND),
    ("battery", r.BATTERY_LOW), ("battery", r.BATTERY_DEAD),
    *((f"load_{n}", band) for n in (1, 2) for band in ("none", "under", "over", "locked")),
]  # fmt: skip
DUE = [field[0] for field in FIELDS].index("due")


class Course:
    """The state of a rig wherever it looks, or where another course has looked; the horizon apart.

    The instant by which to look again lies a day ahead of the last look when
    nothing else is due: who looks more often has a later one.
    """

    def __init__(self, rig, like=None):
        self.at, self.like = {}, like
        rig.watchers.append(self)

    def __call__(self, rig):
        if not self.like or rig.elapsed_ms in self.like.at:
            self.at[rig.elapsed_ms] = [*rig.c.snapshot(), *rig.outputs[: r.OUT_LATE]]
            self.at[rig.elapsed_ms][DUE] = None


def changed(rig, change):
    """Turn bits of an input over, or give a pump another load and the second time a normal one; look a tick later."""
    what, value = change
    if what in ("load_1", "load_2"):
        n = int(what[-1]) - 1
        rig.load[n] = "normal" if rig.load[n] == value else value
    else:
        rig.held[INPUT_PLACE[what]] ^= value
    rig.run(0.1)


def differing(one, other):
    """Return the first instant and the fields at which two courses differ, or None."""
    assert one.at.keys() <= other.at.keys()
    for ms, state in one.at.items():
        if state != other.at[ms]:
            pairs = zip([field[0] for field in FIELDS], state, other.at[ms], strict=False)
            return ms / 1000, [(name, a, b) for name, a, b in pairs if a != b]
    return None


def gone_on(begun, change, spans_s):
    """Let a copy of a rig skip through a change and its end.  Returns where it looked."""
    rig = deepcopy(begun)
    course = Course(rig)
    for seconds in spans_s:
        changed(rig, change)
        rig.run(seconds)
    return course


def worked_out(begun, change, spans_s, like):
    """The same with everything worked out wherever the other looked and at the two ticks after that."""
    rig = deepcopy(begun)
    rig.always = rig.c.always = True
    course = Course(rig, like)
    looks = sorted({ms + after for ms in like.at for after in (0, 100, 200)})
    for seconds in spans_s:
        changed(rig, change)
        end_ms = rig.elapsed_ms + round(1000 * seconds)
        for ms in [ms for ms in looks if rig.elapsed_ms < ms < end_ms] + [end_ms]:
            rig.run((ms - rig.elapsed_ms) / 1000)
    return course


def apart(begun, change):
    """Return where skipping and working out differ after a change, or None."""
    skips = gone_on(begun, change, SPANS_S)
    assert len(skips.at) >= 4, "both changes were shown, and what came of them"
    return differing(skips, worked_out(begun, change, SPANS_S, skips))


def brought(site, situation):
    """Return a rig on a site that has been brought into a situation."""
    rig = ready(**SITES[site])
    situation(rig)
    return rig


@pytest.mark.parametrize("situation", SITUATIONS, ids=lambda situation: situation.__name__)
@pytest.mark.parametrize("site", sampled(SITES, 5))
def test_i10_one_input_that_changes_alone_and_comes_back_is_skipped_as_it_is_worked_out(site, situation):
    begun = brought(site, situation)
    for change in CHANGES:
        assert apart(begun, change) is None, change


def drop(monkeypatch, part, name):
    """Let a part's class forget the mark of one of its fields."""
    rows = [(*row[:3], row[3] & ~r.AGAIN) if row[0] == name else row for row in part.FIELDS]
    assert tuple(rows) != part.FIELDS
    monkeypatch.setattr(part, "FIELDS", tuple(rows))


@pytest.mark.parametrize(("part", "name", "site", "situation", "change"), [
    (Belief, "order", "floats, nothing sensed", pumping_blind, ("reset", 1)),
    (Pump, "state", "transmitter", quiet, ("selector_1", r.SELECT_HAND)),
    (Alarms, "nothing", "floats, nothing sensed", on_battery, ("silence", 1)),
])  # fmt: skip
def test_canary_a_field_without_its_mark_is_found(monkeypatch, part, name, site, situation, change):
    assert apart(brought(site, situation), change) is None
    drop(monkeypatch, part, name)
    assert apart(brought(site, situation), change)


class Forgetful(Controller):
    """A controller that does not look again at the next tick, whatever an earlier part of a step should still see."""

    def step(self, now_ms, inputs, limited=False):
        out = super().step(now_ms, inputs, limited)
        if self.pending:
            self.due = add(now_ms, self.timers.next_ms(DAY_MS))
        return out


@pytest.mark.parametrize(("site", "situation", "change"), [
    ("floats, nothing sensed", quiet, ("selector_1", r.SELECT_HAND)),
    ("floats, nothing sensed", pumping_blind, ("reset", 1)),
    ("floats, nothing sensed", forced_with_silence_held, ("jumper", 1)),
    ("transmitter", pumping_blind, ("selector_1", r.SELECT_OFF)),
])  # fmt: skip
def test_canary_a_controller_that_does_not_look_again_is_found(site, situation, change):
    begun = brought(site, situation)
    assert apart(begun, change) is None
    forgetful = Forgetful(begun.settings)
    forgetful.restore(begun.c.snapshot())
    begun.c = forgetful
    assert apart(begun, change)
