"""What is wrong with a wiring is named from what moved; the rig's own table is whole; its list carries the cautions."""

import ast

import pytest
from typer.testing import CliRunner

from hil.cli import rig
from hil.kits.wiring_faults import inputs_wrong, outputs_wrong
from hil.rig.lib.sumprig import wires as w
from host_sim.board import wiring_list
from host_sim.cli.app import app

NAMES = ("off", "lead", "lag", "mains", "level")


def wrong(changes=(), found=(), optional=()):
    """Return the problems and absent wires of a wiring that is sound but for `changes` and `found`."""
    moved = {name: frozenset({name}) for name in NAMES}
    moved.update({name: frozenset(there) for name, there in dict(changes).items()})
    rest = {name: (1, 1) if name == "mains" else (0, 0) for name in NAMES}
    rest.update(dict(found))
    return inputs_wrong(moved, rest, optional)


@pytest.mark.parametrize(
    ("changes", "found", "words"),
    [
        ({"lead": ["lag"], "lag": ["lead"]}, {}, ["'lead' and 'lag' are swapped"]),
        ({"off": []}, {}, ["'off' is open: it was switched and no reading changed at the controller"]),
        ({"mains": []}, {"mains": (1, 0)},
         ["'mains' is open: it was switched and no reading changed at the controller"]),
        ({"off": []}, {"off": (0, 1)},
         ["'off' is shorted to ground, or a contact still closes it (a jumper, a float)"]),
        ({"mains": []}, {},
         ["'mains' is shorted to ground, or a contact still closes it (a jumper, a float)"]),
        ({"lead": ["lead", "lag"], "lag": ["lead", "lag"]}, {},
         ["'lead', 'lag' are shorted together: they change together"]),
        ({"off": ["lead"], "lead": []}, {},
         ["'off' is connected to the terminal of 'lead'",
          "'lead' is open: it was switched and no reading changed at the controller"]),
        ({"off": ["lead"], "lead": ["lag"], "lag": ["off"]}, {},
         ["'off' is connected to the terminal of 'lead'", "'lead' is connected to the terminal of 'lag'",
          "'lag' is connected to the terminal of 'off'"]),
        ({"off": ["lead"], "lead": ["off"], "lag": []}, {},
         ["'off' and 'lead' are swapped", "'lag' is open: it was switched and no reading changed at the controller"]),
    ],
)  # fmt: skip
def test_wrong_wires_into_the_controller_are_named(changes, found, words):
    assert wrong(changes, found) == (words, [])


def test_a_sound_wiring_has_no_fault_and_a_wire_that_nobody_needs_may_be_missing():
    assert wrong() == ([], [])
    assert wrong({"level": []}, optional={"level"}) == ([], ["level"])
    assert wrong({"level": []}) != ([], [])
    # One that is wrong is told even where nobody needs it.
    problems, absent = wrong({"level": ["lag"], "lag": ["level"]}, optional={"level"})
    assert (problems, absent) == (["'lag' and 'level' are swapped"], [])
    assert wrong({"lag": []}, {"lag": (0, 1)}, optional={"lag"})[0] == [
        "'lag' is shorted to ground, or a contact still closes it (a jumper, a float)"
    ]


SAID = {"pump_1": (0, 0, 0, 0), "horn": (0, 1, 1, 0), "beacon": (0, 1, 1, 1), "relay": (1, 0, 1, 1)}


@pytest.mark.parametrize(
    ("changes", "words", "proved"),
    [
        ({}, [], ["horn", "beacon", "relay"]),
        ({"horn": (0, 1, 1, 1), "beacon": (0, 1, 1, 0)}, ["'horn' and 'beacon' are swapped"], ["relay"]),
        ({"relay": (0, 0, 0, 0)}, ["'relay' is open: the controller switches it and the rig reads nothing"],
         ["horn", "beacon"]),
        ({"horn": (1, 1, 1, 1)},
         ["'horn' always reads on: shorted to 3.3 V, or another signal on its wire"],
         ["beacon", "relay"]),
        ({"pump_1": (0, 1, 1, 0)}, ["the output 'horn' is connected to the rig's input 'pump_1'"],
         ["horn", "beacon", "relay"]),
        ({"beacon": (1, 0, 0, 0)}, ["'beacon' reads (1, 0, 0, 0) where the controller reports (0, 1, 1, 1)"],
         ["horn", "relay"]),
    ],
)
def test_wrong_wires_out_of_the_controller_are_named(changes, words, proved):
    assert outputs_wrong(SAID, {**SAID, **changes}) == (words, proved)


def test_two_relays_that_always_move_together_are_not_proved():
    said = {"horn": (0, 1), "beacon": (0, 1), "relay": (1, 0)}
    assert outputs_wrong(said, said) == ([], ["relay"])


def test_the_rigs_table_holds_every_wire_once_on_a_pin_of_its_own():
    rows = rig.table()
    assert [row[2] for row in rows] == list(w.COILS + w.ANALOG + w.RELAYS)
    pins = [row[1] for row in rows]
    assert len(set(pins)) == len(pins)
    # A Pico's header has GP0 to GP22 and GP26 to GP28.
    assert set(pins) <= {*range(23), 26, 27, 28}
    # PWM outputs on one slice and channel would follow each other: slice pin // 2 % 8, channel pin % 2.
    channels = [(pin // 2 % 8, pin % 2) for kind, pin, *_ in rows if kind == "PWM with a filter"]
    assert len(set(channels)) == w.N_ANALOG


@pytest.mark.parametrize("board", ["pico", "esp32"])
def test_every_wire_names_the_terminal_of_the_controller_that_it_goes_to(board):
    rows = wiring_list.table(board)
    named = {wire: rig.terminal(to, rows) for _, _, wire, to in rig.table()}
    missing = {wire for wire, terminal in named.items() if not terminal}
    assert missing == (set() if board == "pico" else {"charger"})
    pins = [terminal for wire, terminal in named.items() if terminal and wire not in ("level", "battery")]
    assert len(set(pins)) == len(pins), "two wires go to one pin"


def test_the_list_and_the_register_map_are_printed_with_their_cautions():
    rig_command_app = app
    if not any(group.name == "rig" for group in rig_command_app.registered_groups):
        rig.add_to(rig_command_app)
    run = CliRunner().invoke(rig_command_app, ["rig", "wiring"], env={"COLUMNS": "200"})
    assert run.exit_code == 0
    assert "Never line voltage on the rig" in run.output
    assert run.output.count("\n- ") >= len(rig.CAUTIONS) - 1
    for name in w.NAMES:
        assert f" {name} " in run.output
    run = CliRunner().invoke(rig_command_app, ["rig", "registers"])
    assert "8  thermal_1" in run.output
    assert "100 to 1123  edge log" in run.output


def test_the_table_of_the_board_is_what_the_firmware_itself_reads():
    # The list is read from the source; the board's class must be built from the same rows.
    tree = ast.parse(rig.PICO.read_text(encoding="utf-8"))
    board = next(node for node in tree.body if isinstance(node, ast.ClassDef))
    used = [node for node in ast.walk(board) if isinstance(node, ast.Name) and node.id == "WIRING"]
    literals = [node for node in ast.walk(board) if isinstance(node, ast.Call)
                and getattr(node.func, "attr", "") == "Pin" and isinstance(node.args[0], ast.Constant)]
    assert used
    assert not literals, "a pin number outside the table"
