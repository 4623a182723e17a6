"""`sumpbench replay` on the command line: what can be asked; the work is in `host_sim.replay.command`."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Was(StrEnum):
    """The controller that stood in the pit."""

    single = "single"
    duplex = "duplex"


class UnitSystem(StrEnum):
    """The units a report speaks."""

    us = "us"
    si = "si"


def replay(
    log: Annotated[Path, typer.Argument(help="A journal of ours, a folder of a board's segments, or CSV or Parquet.")],
    site: Annotated[
        str | None, typer.Option(help="The pit: a site file (TOML) or a packaged scenario's name.", metavar="SITE")
    ] = None,
    mapping: Annotated[
        Path | None, typer.Option(help="What the columns hold (TOML); LOG.map.toml if left out.")
    ] = None,
    ask: Annotated[bool, typer.Option("--map", help="Ask what the columns hold, and keep it in LOG.map.toml.")] = False,
    was: Annotated[
        Was | None, typer.Option(help="What controlled the pumps; single for a foreign log if left out.")
    ] = None,
    setting: Annotated[
        list[str] | None, typer.Option("--set", metavar="NAME=VALUE", help="Replay with this setting changed.")
    ] = None,
    firmware: Annotated[Path | None, typer.Option(help="Replay through the firmware in this folder instead.")] = None,
    change: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY=VALUE", help='Try this on the same water, as "pump=150%", "pipe=2 in", "pit.depth=30 in".'
        ),
    ] = None,
    sweep: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY=A:B:N", help='Vary one or two things, as "pump=80%:200%:7", and draw it.'),
    ] = None,
    what_if: Annotated[bool, typer.Option(help="Run the night again, as it was and with changes.")] = True,
    units: Annotated[UnitSystem, typer.Option(help="Units of the report.")] = UnitSystem.us,
    out: Annotated[Path, typer.Option(help="Folder for the pictures and records.")] = Path("sumpbench-replay"),
):
    """Explain a logged night: replay it exactly, find what was wrong, show what would have kept the floor dry.

    Exit codes: 0 explained (a journal: identical), 1 not identical, nothing compared or no pump ever ran, 2 bad input.
    """
    from host_sim.replay.command import run

    raise typer.Exit(
        run(log, site, mapping, ask, was and was.value, setting or [], firmware, change or [], sweep or [], what_if,
            units.value, out)
    )  # fmt: skip


def register(app):
    """Add the command to the program."""
    app.command()(replay)
