"""The commands `sumpbench rig wiring`, `registers`, `deploy` and `test`."""

import ast
import tempfile
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from hil.rig.lib.sumprig import registers as r
from hil.rig.lib.sumprig import wires as w
from host_sim.cli import consent

PICO = Path(__file__).resolve().parents[1] / "rig" / "lib" / "sumprig" / "boards" / "pico.py"

UNPLUG = (
    "Unplug both pumps, or lock out their circuits, before anything moves and before a wire is touched, and check that "
    "they are: procedures start pumps."
)
# Common practice, no source; local codes decide.
CAUTIONS = (
    "Never line voltage on the rig or on anything wired to it: this is a bench test. The controller's pump relays "
    "switch low-voltage contactor coils or dummy loads (small lamps), never a motor.",
    UNPLUG,
    "Disconnect everything else from these inputs: floats, selectors, thermal jumpers, the loop's 150 ohm resistor, "
    "the battery's divider. Reconnect all of it afterwards: a thermal contact left bridged burns out a motor.",
    "Both boards share their ground: connect it first and disconnect it last, and power both from the same PC or hub.",
    "No pin of either board may get more than 3.3 V; read a relay at the controller's pin, not at its contact.",
    "The resistors protect both boards against wrong wiring: leave none of them out.",
    "The rig's relay switches the controller's 5 V. With a USB cable as the link, that is the red wire of the cable; "
    "a cable that feeds the board past the relay keeps it powered. The RUN pin needs no relay: --power run.",
    "Without power the rig releases all wires: both thermal contacts read open and the controller stops both pumps.",
    "No real battery on this bench: `battery` is a voltage that the rig generates.",
)

RIG_HELP = "The rig: a second board that simulates the pit at a controller's terminals."
rig_app = typer.Typer(no_args_is_help=True, help=RIG_HELP)


class Power(StrEnum):
    """How the rig cuts the controller's power."""

    relay = "relay"
    run = "run"
    none = "none"


class Wired(StrEnum):
    """Boards that a rig can be wired to."""

    pico = "pico"
    esp32 = "esp32"


def table():
    """Return the rig's wiring as rows of (kind, pin, wire, where to), read from the source of its board."""
    tree = ast.parse(PICO.read_text(encoding="utf-8"))
    named = {}
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            name = node.targets[0].id
            if isinstance(node.value, ast.Constant):
                named[name] = node.value.value
            elif name == "WIRING":
                return [[named[cell.id] if isinstance(cell, ast.Name) else ast.literal_eval(cell) for cell in row.elts]
                        for row in node.value.elts]
    raise ValueError("the rig's board has no wiring table")


def terminal(to, rows):
    """Return the controller's pin that a line of the rig's table names, from the rows of its own table, "" for none."""
    for row in rows:
        if f"`{row['wire']}`" in to:
            return f"GP{row['pin']} (pin {row['position']})"
    return "" if "`" in to else "RUN" if "RUN" in to else "supply"


@rig_app.command()
def wiring(board: Annotated[Wired, typer.Option(help="Board of the controller.")] = Wired.pico):
    """Print the rig's wiring list, with its cautions."""
    from host_sim.board import signals, wiring_list
    from host_sim.report.console import console, table_of

    screen = console()
    columns = (("rig", "left", 13), ("function", "left", 12), ("wire", "left", 12),
               ("controller", "left", 14), ("how", "left", 40))
    header = signals.board("pico")["header"]  # the rig's own
    printed = table_of(f"The rig on a Raspberry Pi Pico, wired to: {wiring_list.title(board.value)}", columns)
    rows = wiring_list.table(board.value)
    for kind, pin, wire, to in table():
        printed.add_row(f"GP{pin} (pin {header[str(pin)]})", kind, wire, terminal(to, rows) or "none", to)
    printed.add_row("GND", "ground", "ground", "GND", "the controller's ground, connected first")
    screen.print(printed)
    screen.print("\nCautions", style="bold")
    for caution in CAUTIONS:
        screen.print(f"- {caution}", markup=False, highlight=False)


@rig_app.command()
def registers():
    """Print the rig's Modbus register map."""
    print("coils (1, 5, 15): 1 = closed to ground")
    for i, name in enumerate(w.COILS):
        print(f"  {i:4}  {name}")
    print("discrete inputs (2): 1 = on")
    for i, name in enumerate(w.RELAYS):
        print(f"  {i:4}  {name}")
    print("input registers (4), high word first")
    at = 0
    for name, words, meaning in r.WORDS:
        print(f"  {at:4}  {name} ({words}): {meaning}")
        at += words
    last = r.LOG_AT + r.LOG_ROOM * r.LOG_WORDS - 1
    print(f"  {r.LOG_AT} to {last}  edge log: edge n at {r.LOG_AT} + {r.LOG_WORDS} x (n modulo {r.LOG_ROOM}): "
          "time in ms (2), wire, value")
    print("  wires in the log: " + ", ".join(f"{i} {name}" for i, name in enumerate(w.NAMES)))
    print("holding registers (3, 6, 16)")
    for i, name in enumerate(w.ANALOG):
        print(f"  {i:4}  {name}, 0 to {w.FULL_MV} mV at the controller's pin")
    print(f"  {r.SILENCE_AT:4}  silence, {r.SILENCE_LEAST_MS} to {r.SILENCE_MOST_MS} ms: the rig releases its wires "
          f"after that long without a request; {r.SILENCE_MS} at start-up")
    print(f"  {r.MAINTENANCE_AT:4}  maintenance, write {r.MAINTENANCE_KEY}: release, restart to the MicroPython prompt")
    print(f"  {r.RESTART_AT:4}  restart, write {r.RESTART_KEY}: release, restart")


@rig_app.command()
def deploy(
    port: Annotated[str, typer.Option(help="Serial port of the rig's board.")],
    yes: consent.Yes = False,
):
    """Deploy the rig's firmware to its board (a Pico with MicroPython) and leave it running."""
    from hil.kits import rig_deploy

    consent.ask(consent.RIG, yes)
    with tempfile.TemporaryDirectory(prefix="sumpbench-rig-") as folder:
        rig_deploy.deploy(port, Path(folder))


@rig_app.command("test")
def prove(
    port: Annotated[str, typer.Option(help="Port of the controller, or a pyserial URL.")],
    rig_port: Annotated[str, typer.Option(help="Port of the rig.")],
    board: Annotated[Wired, typer.Option(help="Board of the controller.")] = Wired.pico,
    power: Annotated[Power, typer.Option(help="How the rig cuts the controller's power.")] = Power.relay,
    coils_only: Annotated[
        bool,
        typer.Option("--coils-only", help="I have checked: only coils or dummy loads hang on the pump relays."),
    ] = False,
):
    """Check every wire between rig and controller, and name the wrong ones."""
    from hil.kits.real_rig import RealKit

    for caution in (UNPLUG, CAUTIONS[0]):
        print(f"CAUTION: {caution}")
    with RealKit(port, rig_port, board.value, power.value) as kit:
        for row in kit.prove(print, coils_only):
            if row["verdict"] != "proved":
                print(f"{row['wire']}: {row['verdict']}, {row['words']}")


def add_to(app):
    """Put the commands into the command line."""
    app.add_typer(rig_app, name="rig")
