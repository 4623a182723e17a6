"""`sumpbench commission`: the hose test on site, with a person at the terminal."""

import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from host_sim.asking import StoppedError
from host_sim.errors import InputError

DONE, NOT_PASSED = 0, 1


class Speech(StrEnum):
    """The units that dialogue and record speak; answers are taken in either."""

    us = "us"
    si = "si"


class Framing(StrEnum):
    """How Modbus frames are carried."""

    ascii = "ascii"
    rtu = "rtu"


def commission(
    port: Annotated[str, typer.Option(help="The serial port that the board is on, such as /dev/ttyACM0 or COM3.")],
    site: Annotated[
        Path | None, typer.Option(help="What to measure against: a site file, or a sizing.json of `sumpbench size`.")
    ] = None,
    record: Annotated[Path, typer.Option(help="The record to write; its page is written beside it.")] = Path(
        "hose-test.json"
    ),
    units: Annotated[Speech, typer.Option(help="Units of dialogue and record.")] = Speech.us,
    framing: Annotated[Framing, typer.Option(help="ASCII as on USB, RTU as on RS-485.")] = Framing.ascii,
    unit: Annotated[int, typer.Option(min=1, max=247, help="The board's Modbus address.")] = 1,
):
    """The hose test: guides a person step by step, reads the board all along, and leaves a record to sign."""
    raise typer.Exit(run(port, site, record, units.value, framing.value, unit))


def run(port, site, record, units="us", framing="ascii", unit=1, person=None):
    """Carry the hose test out and return the exit code: 0 passed, 1 something failed or it was stopped.

    Raises InputError when record, site, kept answers or board cannot be used;
    what has been answered is kept then as well.
    """
    from .. import record as records

    records.check_file(record)
    found = carry_out(port, site, record, units, framing, unit, person)
    if found is None:
        return NOT_PASSED
    test, made = found
    paths = records.write_hose_test(made, record)
    test.forget()
    test.person.say(f"\n{made['headline']}.")
    test.person.say(f"Record: {paths[0]}.  To print and sign, two pages: {paths[1]}")
    return NOT_PASSED if made["verdict"] == "fail" else DONE


def carry_out(port, site, record, units="us", framing="ascii", unit=1, person=None):
    """Go through the dialogue; return (the HoseTest, its document), None when the person has stopped.

    Raises InputError as `run` does.
    """
    # Imported when the command runs, so that the help of every other command comes up at once.
    from host_sim.board.client import connect
    from host_sim.sizing.say import Say

    from . import promise
    from .dialogue import HoseTest
    from .simulated import document
    from .terminal import Terminal
    from .watch import Board

    board = Board(lambda: connect(port, framing, unit))
    try:
        board.open()
        person = person or Terminal()
        test = HoseTest(board, person, promise.read(site, board.settings), Say(units), record)
        try:
            test.recall()
            test.run()
        except (StoppedError, KeyboardInterrupt, EOFError):
            _kept(test, "Stopped")
            return None
        except InputError:
            _kept(test, "Broken off")
            raise
        return test, document(test, {"port": port, "framing": framing})
    finally:
        board.close()


def _kept(test, word):
    if not test.done:
        test.person.say(f"\n{word} before anything was answered.")
        return
    steps = "1 step is" if len(test.done) == 1 else f"{len(test.done)} steps are"
    test.person.say(f"\n{word}.  {steps} kept in {test.path}; the same command goes on from there.")
    test.person.say("Look round the pit before you go: selectors, hose, cords, cover.")


def add_to(app):
    """Put the command into the command line."""
    app.command()(commission)


def main():
    """Run `python -m hil.commission`; an input that cannot be used is told without a traceback, exit code 2."""
    app = typer.Typer(add_completion=False, pretty_exceptions_enable=False)
    add_to(app)
    try:
        app()
    except InputError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(2)
