"""`sumpbench daily`: the daily look of a pit, from its gateway."""

from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import UnitSystem


def daily(
    gateway: Annotated[str, typer.Option(help="Page of the pit's gateway.")] = "http://127.0.0.1:8502",
    pit: Annotated[str, typer.Option(help="Name of the pit in the heading.")] = "pit",
    html: Annotated[Path | None, typer.Option(help="Page to write, which prints on one sheet.")] = None,
    units: Annotated[UnitSystem, typer.Option(help="Units of the look.")] = UnitSystem.us,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
):
    """The last 24 hours of a pit: water, starts, inflow, wear, battery, time to floor, dates; is all well?"""
    import json

    from hil.remote.daily import page, text
    from hil.remote.person import get
    from host_sim.errors import InputError

    look = get(gateway, "daily")
    if as_json:
        print(json.dumps(look, indent=1))
    else:
        title, body = text.message(look, pit, units.value)
        print(f"{title}\n\n{body}")
    if html is not None:
        try:
            html.write_text(page.render(look, pit, units.value), encoding="utf-8")
        except OSError as error:
            raise InputError(f"cannot be written: {error}", str(html)) from error
        print(f"\nwritten to {html}")
    raise typer.Exit(0 if look["well"] else 1)


def add_to(app):
    """Put the command into the command line."""
    app.command()(daily)
