"""The acceptance procedures: they pass on a sound board, whatever its settings, and skip by name what a bench lacks."""

import re
from pathlib import Path

import pytest

from hil.acceptance import procedure, runner
from hil.bench.bench import Bench
from hil.bench.verdict import PASS, SKIPPED
from hil.kits import wires
from hil.kits.base import ABILITIES
from hil.kits.virtual import VirtualKit
from tests.hil.procedure_kits import OTHER, ForcedKit, RigKit, settings
from tests.micropython.places import micropython
from tests.sampled import sampled

ALL = procedure.load()
NARRATIVE = Path(__file__).resolve().parents[2] / "firmware/NARRATIVE.md"
BOARDS = {
    "as the bench makes it": lambda: VirtualKit(),
    "nothing sensed": lambda: VirtualKit(settings(sensing=0)),
    "run feedback": lambda: VirtualKit(settings(sensing=1)),
    "every time another": lambda: VirtualKit(settings(**OTHER)),
    "with a rig, settings locked": lambda: RigKit(),
    "with forces": lambda: ForcedKit(),
    "no off float": lambda: VirtualKit(settings(fitted=14)),
    "a transmitter in place of floats": lambda: VirtualKit(settings(fitted=8, transmitter=1)),
}
# What is left to prove where a float is missing that the others work with.
WITHOUT_LEAD = {"alarm_test", "high_float", "blind_pumping", "transmitter_failure", "forced_inputs"}
OFF_IS_THE_POINT = {"floats_in_order", "floats_out_of_order", "chattering_contact", "dry_run_empty_pit", "off_float"}
OFF_IS_THE_POINT |= {"lead_float", "lag_float", "float_cable", "exercise"}
# What may be skipped, and why, on the boards that cannot do everything.
SKIPS = {
    "with a rig, settings locked": {
        "watchdog_reset": "hang",
        "moisture": "moisture_1",
        "transmitter_failure": "level",
        "battery_backup": "on this board duty",
        "battery_low": "on this board duty",
        "generator": "generator",
        "exercise": "stride",
    },
    "with forces": {
        "chattering_contact": "bypass the chatter filter",
        "alarm_test": "silence",
        "dead_controller": "power",
        "power_up_delay": "power",
        "watchdog_reset": "hang",
        "alarm_reminders": "selector_1",
        "hand_off_auto": "selector_1",
        "dry_run_trip": "how much",
        "dry_run_empty_pit": "how much",
        "overload": "how much",
        "lead_float": "none and normal",
        "float_cable": "none and normal",
        "blind_pumping": "none and normal",
        "moisture": "moisture_1",
        "transmitter_failure": "level",
        "battery_backup": "battery",
        "battery_low": "battery",
        "generator": "generator",
        "exercise": "stride",
        "forced_inputs": "jumper",
    },
}


@pytest.fixture(scope="module", params=sampled(BOARDS, 8))
def board(request):
    """One bench for all procedures, as in an acceptance, and the name of its board."""
    micropython()
    bench = Bench(BOARDS[request.param]())
    yield request.param, bench
    bench.close()


def bad(entry):
    """Return what is not a clean pass in an entry of the record."""
    items = [item for item in entry["measurements"] + entry["checks"] if item["verdict"] != PASS]
    return [entry["why"], *items] if entry["why"] or items else []


@pytest.mark.long
@pytest.mark.parametrize("one", ALL, ids=lambda one: one.name)
def test_passes_on_a_sound_board(board, one):
    name, bench = board
    entry = runner.carry_out(bench, one)
    reason = SKIPS.get(name, {}).get(one.name)
    if name == "a transmitter in place of floats" and one.name not in WITHOUT_LEAD:
        reason = "float is fitted on this board"
    if name == "no off float" and one.name in OFF_IS_THE_POINT:
        reason = "no off float is fitted on this board"
    if reason is None:
        # In lockstep nothing is a matter of luck: a marginal value would be a limit that is wrong.
        assert (entry["verdict"], bad(entry)) == (PASS, [])
        assert entry["measurements"] or entry["checks"]
    else:
        assert entry["verdict"] == SKIPPED
        assert reason in entry["why"]


def test_every_procedure_of_the_list_is_there():
    names = {one.name for one in ALL}
    assert {"floats_in_order", "floats_out_of_order", "alternation", "lag_start", "rest_between_starts"} <= names
    assert {"high_water", "alarm_reminders", "alarm_test", "hand_off_auto", "exercise", "forced_inputs"} <= names
    assert {"start_proof", "run_lost", "dry_run_trip", "lockout", "overload", "welded_relay"} <= names
    assert {"off_float", "lead_float", "lag_float", "high_float", "float_cable", "blind_pumping"} <= names
    assert {"transmitter_failure", "mains_failure", "battery_backup", "battery_low", "generator"} <= names
    assert {"power_up_delay", "watchdog_reset", "dead_controller"} <= names
    assert len(ALL) >= 28
    orders = [one.order for one in ALL]
    assert orders == sorted(set(orders)), "two procedures have the same place"


@pytest.mark.parametrize("one", ALL, ids=lambda one: one.name)
def test_is_declared_as_a_person_would_want_it(one):
    clauses = set(re.findall(r"\*\*([A-Z]\d+b?)\b", NARRATIVE.read_text(encoding="utf-8")))
    assert set(one.clauses) <= clauses
    assert one.purpose.endswith(".")
    assert one.purpose[:-1].count(". ") == 0, "one sentence"
    starts_pumps = {"pump_1", "pump_2"} <= set(one.needs) and one.name not in ("alarm_reminders",)
    assert one.caution or not starts_pumps


class Watched(VirtualKit):
    """A virtual board that knows no wire or ability but those named, and remembers which of them were used."""

    def __init__(self, values):
        self.used = set()
        super().__init__(values)

    def only(self, needs):
        """Take everything else away, at rest."""
        self.wires = frozenset(wires.WIRES)
        self.to_rest()
        names = {"current_1", "current_2"} if "current" in needs else set()
        names |= set(needs)
        self.wires = frozenset(names & set(wires.WIRES))
        self.abilities = frozenset(names & set(ABILITIES))
        self.used = set()

    def drive(self, name, value):
        super().drive(name, value)
        if value != self.rest[name]:
            self.used.add(name)

    def read(self, name):
        value = super().read(name)
        self.used.add(name)
        return value


@pytest.fixture(scope="module")
def watched():
    micropython()
    made = {sensing: Bench(Watched(settings(sensing=sensing))) for sensing in (0, 2)}
    yield made
    for bench in made.values():
        bench.close()


@pytest.mark.long
@pytest.mark.parametrize("one", sampled(ALL), ids=lambda one: one.name)
def test_needs_what_it_says_and_uses_what_it_needs(watched, one):
    # With the wires it NEEDS and no other it passes; and it needs none that it never touches.
    needs_current = {"current", "current_1"} & set(one.needs)
    bench = watched[2 if needs_current else 0]
    bench.kit.only(one.needs)
    entry = runner.carry_out(bench, one)
    assert (entry["verdict"], bad(entry)) == (PASS, [])
    either = {name.replace("_2", "_1") for name in bench.kit.used}  # which pump leads is the board's affair
    assert {name.replace("_2", "_1") for name in bench.kit.wires} - either == set()
