"""`sumpbench size`: its options; the work is in `host_sim.sizing.command`."""

from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import UnitSystem


def size(
    site: Annotated[str | None, typer.Argument(help="A site file (TOML); with --ask, the one to write.")] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Ask the questions in order, and write the site file.")] = False,
    change: Annotated[
        list[str] | None, typer.Option("--with", help='Try a change, as in pit.diameter="24 in"; may be given again.')
    ] = None,
    apply_all: Annotated[
        bool, typer.Option("--apply-all", help="Apply fixes together, cheapest first, until the pit fits.")
    ] = False,
    units: Annotated[UnitSystem, typer.Option(help="Units of the report.")] = UnitSystem.us,
    out: Annotated[Path, typer.Option(help="Folder for page, settings, sized site and JSON.")] = Path("sumpbench-size"),
    as_json: Annotated[bool, typer.Option("--json", help="Print the report as JSON.")] = False,
    check: Annotated[bool, typer.Option(help="Check cycle time and starts by simulation.")] = True,
    place: Annotated[str, typer.Option(help="Address of the pit, for the head of the page; else a blank.")] = "",
    customer: Annotated[str, typer.Option(help="Customer, for the head of the page; else a blank.")] = "",
):
    """Size the pit: inflow, pumps, pipe, cycling, reserve, battery, contacts; does it fit, and what fixes it."""
    from host_sim.sizing.command import run

    raise typer.Exit(run(site, ask, change or [], units.value, out, as_json, check, apply_all, (place, customer)))


def register(app):
    """Add the command to the command line."""
    app.command()(size)
