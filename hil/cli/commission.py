"""`sumpbench commission`: the hose test on site, with a person at the terminal."""

from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.board import Framed, Unit
from host_sim.cli.options import UnitSystem
from host_sim.errors import InputError


def commission(
    port: Annotated[str, typer.Option(help="Serial port of the controller, such as /dev/ttyACM0 or COM3.")] = "",
    virtual: Annotated[
        bool,
        typer.Option("--virtual", help="Watch it once: a simulated person, pit and controller; tests no hardware."),
    ] = False,
    site: Annotated[
        Path | None, typer.Option(help="Expected values: a site file, or the sizing.json of `sumpbench size`.")
    ] = None,
    record: Annotated[Path, typer.Option(help="Record to write (JSON); the page to print goes beside it.")] = Path(
        "hose-test.json"
    ),
    units: Annotated[
        UnitSystem, typer.Option(help="Units of dialogue and record; answers may be given in either.")
    ] = UnitSystem.us,
    framing: Framed = "ascii",
    unit: Unit = 1,
    place: Annotated[str, typer.Option(help="Address of the pit, for the head of the record; else a blank.")] = "",
    customer: Annotated[str, typer.Option(help="Customer, for the head of the record; else a blank.")] = "",
):
    """Hose test at the pit: guides you step by step, reads the controller, and writes a record to sign."""
    from hil.commission.carry_out import run, run_virtual
    from host_sim.site.load import refuse_unsized

    if bool(port) == virtual:
        raise InputError("which controller? give --port of a real one, or --virtual to watch a simulated hose test",
                         "--port")  # fmt: skip
    if site is not None:
        refuse_unsized(site)
    if virtual:
        raise typer.Exit(run_virtual(site, record, units.value, place, customer))
    raise typer.Exit(run(port, site, record, units.value, framing, unit, None, place, customer))


def add_to(app):
    """Put the command into the command line."""
    app.command()(commission)
