"""One table a board: the firmware's pins, the fallback's, the bench's wires and the printed lists agree with it."""

import ast

import pytest
from duplexsump.boards import __file__ as boards_file
from duplexsump.control import records
from duplexsump.station import minimal
from typer.testing import CliRunner

from hil.acceptance import procedure
from hil.cli import rig
from hil.kits import select, wires
from hil.kits.base import Kit, Missing
from host_sim.board import signals, wiring_list
from host_sim.cli.app import app
from host_sim.errors import InputError

BOARDS = ("pico", "esp32")
BOTH = [(board, expander) for board in BOARDS for expander in (False, True)]


def source(name):
    with open(boards_file.replace("__init__.py", f"{name}.py"), encoding="utf-8") as file:
        return ast.parse(file.read())


def constants(tree):
    found = {}
    for node in tree.body:
        if isinstance(node, ast.Assign):
            target, value = node.targets[0], node.value
            if isinstance(value, ast.Constant):
                found[target.id] = value.value
            elif isinstance(target, ast.Tuple):
                found |= {one.id: part.value for one, part in zip(target.elts, value.elts, strict=True)}
    return found


def rows_of(board, table="WIRING"):
    """Return the rows of a wiring table in the firmware's source, names made values."""
    tree = source(board)
    known = {**vars(records), **constants(source("wired")), **constants(tree)}
    for node in tree.body:
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == table:
            return [tuple(known[cell.id] if isinstance(cell, ast.Name) else ast.literal_eval(cell) for cell in row.elts)
                    for row in node.value.elts]  # fmt: skip
    raise AssertionError(f"{board} has no {table}")


@pytest.mark.parametrize("board", BOARDS)
def test_the_firmwares_pins_are_the_tables(board):
    table = [(one.kind, one.pin, one.place, one.level, one.name) for one in signals.signals(board)]
    assert sorted(rows_of(board), key=str) == sorted(table, key=str)
    assert len(table) >= 27


# The board's public pinout (Raspberry Pi Pico Datasheet, "Pico pinout"): down one side and up the other GP0 to GP22 and
# GP26 to GP28 in order, with ground at 3, 8, 13, 18, 23, 28 (33 is the converter's) and 38, RUN at 30, the converter's
# reference at 35, 3V3 36, 3V3_EN 37, VSYS 39, VBUS 40.
def test_a_picos_header_is_its_public_pinout():
    other = {3, 8, 13, 18, 23, 28, 30, 33, 35, 36, 37, 38, 39, 40}
    places = [pin for pin in range(1, 41) if pin not in other]
    data = signals.board("pico")
    assert data["header"] == {str(gpio): place for gpio, place in zip([*range(23), 26, 27, 28], places, strict=True)}
    assert data["ground"] == [3, 8, 13, 18, 23, 28, 33, 38]


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_every_signal_has_a_terminal_and_a_pin_of_its_own(board, expander):
    rows = signals.signals(board, expander)
    terminals = [one.terminal for one in rows]
    assert len(set(terminals)) == len(terminals)
    assert {terminal.split(":")[0] for terminal in terminals} == set(signals.CONNECTORS)
    pins = [one.pin for one in rows]
    twice = {pin for pin in pins if pins.count(pin) > 1}
    assert twice == ({28} if (board, expander) == ("pico", False) else set())
    bus = signals.board(board)["expander"]
    if expander:
        assert not {bus["sda"], bus["scl"]} & set(pins), "the bus has its pins for itself"
    for one in rows:
        assert one.rest and one.safe and one.to and one.pull, one
        assert not isinstance(one.pin, int) or one.position, "every GPIO stands on the header"


@pytest.mark.parametrize("board", BOARDS)
def test_with_the_expander_a_board_has_every_wire_of_the_bench_and_every_need_of_a_procedure(board):
    assert signals.wires(board, True) == set(wires.WIRES)
    missing = set(wires.WIRES) - signals.wires(board)
    assert missing == ({"moisture_1", "moisture_2", "generator"} | ({"charger"} if board == "esp32" else set()))
    named = set(wires.WIRES) | {"current"}
    needs = {need for one in procedure.load() for need in one.needs if need in named}
    assert needs - {"current"} <= signals.wires(board, True)


@pytest.mark.parametrize("board", BOARDS)
def test_what_the_fallback_reads_and_switches_stays_on_the_controllers_own_pins(board):
    chip = signals.board(board)["chip"]
    outputs, contacts = minimal.PINS[chip]
    for expander in (False, True):
        at = {one.name: one.pin for one in signals.signals(board, expander)}
        assert [at[name] for name in ("pump 1", "pump 2", "horn", "beacon", "alarm relay")] == list(outputs)
        assert [at[name] for name in ("float off", "float lead", "float lag", "float high", "selector 1 OFF",
                "selector 2 OFF", "thermal 1", "thermal 2", "mains present")] == list(contacts)  # fmt: skip
        assert isinstance(at["test jumper"], int), "the way back in hangs on no bus"
        assert all(one.on_board for one in signals.signals(board, expander) if one.kind == signals.OUTPUT)


def test_the_places_of_the_table_are_those_of_the_bench():
    for one in signals.signals("pico", True):
        if one.wire:
            wire = wires.WIRES[one.wire]
            assert one.place == wire.place and (one.direction == "out") == (wire.direction == wires.OUT)
            assert wire.bit in (0, one.level)


class Bare(Kit):
    place = "virtual"
    wires = frozenset(wires.WIRES)


def test_a_virtual_board_offers_what_the_chosen_board_has(monkeypatch):
    from hil.kits import virtual

    monkeypatch.setattr(virtual, "VirtualKit", lambda settings, seed: Bare())
    for board, expander in BOTH:
        kit = select.open_kit(select.Choice(virtual=True, board=board, expander=expander))
        assert kit.wires == signals.wires(board, expander)
        for name in set(wires.WIRES) - kit.wires:
            with pytest.raises(Missing, match="there is no wire"):
                kit.need(name)
    assert select.open_kit(select.Choice(virtual=True)).wires == set(wires.WIRES)
    with pytest.raises(InputError, match="goes with --virtual"):
        select.check(select.Choice(port="/dev/a", rig_port="/dev/b", expander=True))
    with pytest.raises(InputError, match="pico, esp32, posix"):
        select.check(select.Choice(virtual=True, board="toaster"))


def printed(*words):
    if not any(group.name == "rig" for group in app.registered_groups):
        rig.add_to(app)
    run = CliRunner().invoke(app, list(words), env={"COLUMNS": "220"})
    assert run.exit_code == 0, run.output
    return run.output


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_the_list_prints_gpio_and_position_of_every_signal(board, expander):
    text = printed("wiring", board, *(["--expander"] if expander else []))
    lines = text.splitlines()
    for one in signals.signals(board, expander):
        line = next(line for line in lines if line.strip().startswith(one.name))
        words = line.split()
        assert one.terminal in words, line
        if one.position:
            assert one.position in words and one.pin_text in words, line
    assert "Ground on the header: " in text
    assert wiring_list.ground("pico") in text or board == "esp32"


def test_the_rigs_list_prints_both_of_both_boards():
    text = printed("rig", "wiring")
    assert "GP18 (pin 24)" in text, "pump 1 at the controller"
    assert "GP20 (pin 26)" in text, "the rig's own"
    assert "GP6 (pin J1-6)" in printed("rig", "wiring", "--board", "esp32")
