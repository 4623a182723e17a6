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


# Zephyr, dts/bindings/gpio/raspberrypi,pico-header.yaml: both columns of the header, from the USB socket down; "-" is
# no GPIO.  Left pins 1 to 20, right pins 40 to 21 (the maker's pinout drawing, Pico R3).
PICO_HEADER = """
    0    GPIO0/UART0_TX      VBUS             -
    1    GPIO1/UART0_RX      VSYS             -
    -    GND                 GND              -
    2    GPIO2               3V3_EN           -
    3    GPIO3               3V3_OUT          -
    4    GPIO4/I2C0_SDA      ADC_VREF         -
    5    GPIO5/I2C0_SCL      GPIO28/ADC2      28
    -    GND                 GND              -
    6    GPIO6               GPIO27/ADC1      27
    7    GPIO7               GPIO26/ADC0      26
    8    GPIO8               RUN              -
    9    GPIO9               GPIO22           22
    -    GND                 GND              -
    10   GPIO10              GPIO21           21
    11   GPIO11              GPIO20           20
    12   GPIO12              GPIO19/SPI0_TX   19
    13   GPIO13              GPIO18/SPI0_SCK  18
    -    GND                 GND              -
    14   GPIO14              GPIO17/SPI0_CSn  17
    15   GPIO15              GPIO16/SPI0_RX   16
"""
# ESP-IDF v4.4, docs/en/hw-reference/esp32s3/user-guide-devkitc-1.rst, header block: names down J1 and down J3.
ESP32_HEADER = {
    "J1": "3V3 3V3 RST 4 5 6 7 15 16 17 18 8 3 46 9 10 11 12 13 14 5V G",
    "J3": "G TX RX 1 2 42 41 40 39 38 37 36 35 0 45 48 47 21 20 19 G G",
}


def test_a_picos_header_is_its_published_one():
    names = {}
    for n, row in enumerate(PICO_HEADER.split("\n")[1:-1]):
        left, name, other, right = row.split()
        names[1 + n], names[40 - n] = (name, left), (other, right)
    data = signals.board("pico")
    assert data["header"] == {gpio: place for place, (_, gpio) in names.items() if gpio != "-"}
    assert data["ground"] == sorted(place for place, (name, _) in names.items() if name == "GND")
    assert [names[place][0] for place in data["supply"].values()] == ["3V3_OUT", "VSYS"]


def test_the_other_boards_header_is_its_published_one():
    names = {f"{block}-{n}": name for block, text in ESP32_HEADER.items() for n, name in enumerate(text.split(), 1)}
    assert len(names) == 44
    data = signals.board("esp32")
    assert data["header"] and all(names[place] == gpio for gpio, place in data["header"].items())
    assert sorted(data["ground"]) == sorted(place for place, name in names.items() if name == "G")
    assert [names[place] for place in data["supply"].values()] == ["3V3", "5V"]


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
