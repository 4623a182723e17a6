"""The order of assembly on a virtual board: what is not wired yet reads open, and each step's check is run."""

import re

import pytest
from duplexsump.control import settings as s

from hil.checkout.asking import SKIPPED
from hil.checkout.checkout import BRIDGED, PROVED, Checkout
from hil.checkout.person import Handy, KitClock, everything
from hil.kits import select
from host_sim.board import signals
from host_sim.guide import assembly
from tests.guides import subject

WIRED = {"X2": ("selector", "silence", "reset", "jumper"), "X1": ("off", "lead", "lag", "high", "thermal", "moisture"),
         "X3": ("mains", "charger", "generator"), "X5": ("current", "level", "battery")}  # fmt: skip


def open_wire(name):
    # A thermal wire is 1 where its contact is open.
    return 1 if name.startswith("thermal") else 0


def steps_of(what):
    """The connectors that each step's check proves, in order; an empty list is the last, which proves all."""
    found = [re.findall(r"--only (X\d)", command) for _, test in assembly.steps(what)
             for command in re.findall(r"`(sumpbench build --check[^`]*)`", test)]  # fmt: skip
    return [only for only in found if only != ["X6"]]


@pytest.mark.parametrize(("board", "expander"), [
    ("pico", True), pytest.param("esp32", True, marks=pytest.mark.long),
    pytest.param("pico", False, marks=pytest.mark.long),
])  # fmt: skip
def test_each_steps_check_proves_what_that_step_has_wired(tmp_path, board, expander):
    what = subject(board, expander)
    order = steps_of(what)
    assert order == [["X2"], ["X1", "X3"], ["X5"], []]
    bridged = ("thermal 1", "thermal 2", "mains present")
    assert all(name in " ".join(test for _, test in assembly.steps(what)) for name in bridged)
    values = everything()
    if not expander:
        values[s.TRANSMITTER] = 0  # one pin reads loop or battery
    with select.open_kit(select.Choice(virtual=True, board=board, expander=expander), values) as kit:
        sound = {name: value for name, value in kit.rest.items() if name in kit.wires}
        kit.rest = {name: open_wire(name) if name in sound else value for name, value in kit.rest.items()}
        kit.reset()
        kit.run_ms(20_000)
        for only in order:
            for place in only:
                for name in sound:
                    if name.startswith(WIRED[place]):
                        kit.rest[name] = sound[name]
                        kit.drive(name, sound[name])
            kit.run_ms(5_000)
            person = Handy(kit, board, expander)
            # Until the electrician has been there bridges stand in his relays' places.
            person.bridges = bridged if only else ()
            test = Checkout(kit.client(), board, expander, person, tmp_path / "record.json", KitClock(kit), only)
            done = test.run()
            items = {name: item["verdict"] for name, item in test.document["items"].items()}
            asked = {one.name for one in signals.signals(board, expander)
                     if one.terminal.split(":")[0] in only and one.name not in test.document["absent"]}
            late = {"status light": SKIPPED} if only == ["X2"] and "status light" in asked else {}
            late |= {name: BRIDGED for name in bridged if name in asked and only}
            left = {name: items[name] for name in asked if items[name] != PROVED}
            assert left == late, (only, test.document["items"])
            assert done == (not late)
        assert test.passed and all(kit.rest[name] == value for name, value in sound.items()), "nothing is left unwired"
