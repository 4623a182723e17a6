"""`sumpbench commission`: the hose test on site, with a person at the terminal."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


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
    from hil.commission.carry_out import run

    raise typer.Exit(run(port, site, record, units.value, framing.value, unit))


def add_to(app):
    """Put the command into the command line."""
    app.command()(commission)
