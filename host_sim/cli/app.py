"""The command line `sumpbench`: what can be asked, and how refusals are said.

Each command's work lives in a module of its own that is imported when the
command runs, so that help comes up at once.

Exit codes: 0 the floor stayed dry (or the command did what was asked),
1 the floor got wet, 2 the input cannot be used.
"""

import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli import board, proof, replay, size
from host_sim.errors import InputError

CAUTION = (
    "Cautions: mains and water kill, and an open pit drowns: work on a pump only with it unplugged or locked out. "
    "A charging battery gives off explosive gas. A simulated dry night does not promise a dry cellar. "
    "Local codes and licensed trades decide."
)
app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="A duplex sump controller's real firmware in a simulated pit: does the floor stay dry, and why?",
    epilog=CAUTION,
)


class UnitSystem(StrEnum):
    """The units a report speaks."""

    us = "us"
    si = "si"


@app.command()
def night(
    site: Annotated[
        str | None,
        typer.Argument(help="A site file (TOML), or the name of a packaged scenario; the demo if left out."),
    ] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option(help="A fault to add, such as `sumpbench faults` lists; may be given again."),
    ] = None,
    seed: Annotated[
        str | None, typer.Option(metavar="NUMBER", help="Seed of noise and waves; the scenario's own if left out.")
    ] = None,
    units: Annotated[UnitSystem, typer.Option(help="Units of the report.")] = UnitSystem.us,
    out: Annotated[Path, typer.Option(help="Folder for the pictures and records.")] = Path("sumpbench-night"),
    baseline: Annotated[
        bool, typer.Option(help="Beside it the same night with one pump on one float switch.")
    ] = True,
):
    """Take a pit through a night with the real controller: verdict, timeline, comparison, strip chart, journal."""
    from host_sim.cli.night import run

    raise typer.Exit(run(site, fault or [], seed, units.value, out, baseline))


@app.command()
def scenarios():
    """List the packaged scenarios that `night` takes by name."""
    from host_sim.cli.tables import list_scenarios

    list_scenarios()


@app.command()
def faults():
    """List every fault: what it does to the pit, and what the controller should say."""
    from host_sim.cli.tables import list_faults

    list_faults()


settings_app = typer.Typer(invoke_without_command=True)
app.add_typer(settings_app, name="settings")


@settings_app.callback()
def settings(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False,
):
    """List every setting of the controller: unit, range, default, source, meaning; push or pull those of a board."""
    from host_sim.cli.tables import list_settings

    if context.invoked_subcommand is None:
        list_settings(as_json)


@app.command()
def alarms(as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False):
    """List every alarm: what is wrong, likely causes, what to do and what not to do, whom it calls, and why."""
    from host_sim.cli.tables import list_alarms

    list_alarms(as_json)


@app.command()
def chart(
    machine: Annotated[str | None, typer.Argument(help="Which state machine; all of them if left out.")] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder for NAME.mmd, NAME.svg and NAME.png; Mermaid is printed if left out.")
    ] = None,
):
    """Draw the state diagrams from the firmware's own tables."""
    from host_sim.cli.tables import draw_charts

    draw_charts(machine, out)


@app.command()
def benchmark(
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False,
):
    """Measure the speed of the simulator on this machine, beside plain ticking and EPA SWMM's engine."""
    from host_sim.cli.tables import run_benchmark

    run_benchmark(as_json)


proof.register(app)
replay.register(app)
size.register(app)


board.add_to(app, settings_app)


def main():
    """Run the command line; an input that cannot be used is told without a traceback, exit code 2."""
    try:
        app()
    except InputError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(2)


if __name__ == "__main__":
    main()
