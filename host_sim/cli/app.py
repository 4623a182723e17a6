"""The command line `sumpbench`: commands, options, errors.

Each command's work lives in a module of its own that is imported when the
command runs, so that help comes up at once.

Exit codes: 0 the floor stayed dry (or the command did what was asked),
1 the floor got wet, 2 the input cannot be used or the output cannot be written.
"""

import contextlib
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli import board, compiled, proof, replay, size
from host_sim.cli.options import UnitSystem
from host_sim.errors import InputError

CAUTION = (
    "Cautions: electricity and water kill, and people drown in open pits. "
    "Work on a pump only with it unplugged, or its breaker switched off and tagged. "
    "A charging battery gives off explosive gas. A simulated dry night does not promise a dry basement. "
    "Local codes and licensed trades decide."
)
app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="A duplex sump controller's real firmware in a simulated pit: does the floor stay dry, and why?",
    epilog=CAUTION,
)


def _version(asked: bool):
    if asked:
        from host_sim.cli.version import version

        print(version())
        raise typer.Exit


@app.callback()
def program(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_version, is_eager=True, help="Print version, firmware checksum and core; exit."
        ),
    ] = False,
):
    """Hold the options that come before a command."""


@app.command()
def night(
    site: Annotated[
        str | None,
        typer.Argument(help="A site file (TOML), or the name of a packaged scenario; the demo if left out."),
    ] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option(help="A fault to add, see `sumpbench faults`; may be given again."),
    ] = None,
    no_faults: Annotated[
        bool, typer.Option("--no-faults", help="Drop the scenario's own faults; those of --fault remain.")
    ] = False,
    seed: Annotated[
        str | None, typer.Option(metavar="NUMBER", help="Seed of noise and waves; the scenario's own if left out.")
    ] = None,
    units: Annotated[UnitSystem, typer.Option(help="Units of the report.")] = UnitSystem.us,
    out: Annotated[Path, typer.Option(help="Folder for the pictures and records.")] = Path("sumpbench-night"),
    baseline: Annotated[
        bool, typer.Option(help="Compare with one pump on one float switch.")
    ] = True,
):
    """Simulate a night at a pit with the real controller: verdict, timeline, comparison, strip chart, journal."""
    from host_sim.cli.night import run

    raise typer.Exit(run(site, fault or [], seed, units.value, out, baseline, not no_faults))


@app.command()
def scenarios():
    """List the packaged scenarios that `night` takes by name."""
    from host_sim.cli.tables import list_scenarios

    list_scenarios()


@app.command()
def faults():
    """List every fault: its effect at the pit, and the response to expect of the controller."""
    from host_sim.cli.tables import list_faults

    list_faults()


settings_app = typer.Typer(invoke_without_command=True)
app.add_typer(settings_app, name="settings")


@settings_app.callback()
def settings(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False,
):
    """List every setting: unit, range, default, source, meaning; or push and pull those of a board."""
    from host_sim.cli.tables import list_settings

    if context.invoked_subcommand is None:
        list_settings(as_json)


@app.command()
def alarms(
    words: Annotated[
        list[str] | None, typer.Argument(help="Only alarms with these words in any of their texts; all if left out.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
    port: Annotated[
        str | None,
        typer.Option(help="History instead: the alarms of the board on this port, or socket://host:port of a gateway."),
    ] = None,
    framing: board.Framed = "ascii",
    unit: board.Unit = 1,
):
    """List every alarm: causes, what to do and not to do, why; with --port those that a board had, with dates."""
    if port is not None:
        board.alarm_history(port, framing, unit, as_json)
        return
    from host_sim.cli.tables import list_alarms

    list_alarms(as_json, words or ())


@app.command()
def chart(
    machine: Annotated[str | None, typer.Argument(help="Which state machine; all of them if left out.")] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder for NAME.mmd (Mermaid); printed if left out.")
    ] = None,
):
    """Show the firmware's state machines: Mermaid text, and in a terminal a table of states and events."""
    from host_sim.cli.tables import draw_charts

    draw_charts(machine, out)


@app.command()
def benchmark(
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False,
    history: Annotated[
        Path | None, typer.Option(help="File to which this run is added; in the cache if left out.")
    ] = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="What CI runs: each once, on small samples: some three minutes.")
    ] = False,
):
    """Measure speed and size against their goals: both cores, EPA SWMM's engine, and the runs before."""
    from host_sim.cli.tables import run_benchmark

    run_benchmark(as_json, history, quick)


@app.command()
def page(
    out: Annotated[Path, typer.Option(help="New or empty folder for the page's files.")],
    npm: Annotated[
        Path | None,
        typer.Option(help="Folder into which npm has installed Pyodide and MicroPython; fetched by npm if left out."),
    ] = None,
):
    """Write the living pit as a folder of plain files that any web server can serve; nothing else is asked for."""
    from host_sim.cli.page import write

    write(out, npm)


compiled.register(app)
proof.register(app)
replay.register(app)
size.register(app)


board.add_to(app, settings_app)


def main():
    """Run the command line.  What cannot be used or written is told without a traceback, exit code 2."""
    try:
        try:
            app()
        finally:
            sys.stdout.flush()
    except InputError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(2)
    except OSError as error:
        _hush()
        name = error.filename or "the output"
        sys.stderr.write(f"{name}: cannot be read or written: {error.strerror or error}\n")
        sys.exit(2)
    except SystemExit as stop:
        # A reader that closed the pipe: typer and rich leave with 1 then, which here would mean a wet floor.
        if isinstance(stop.__context__, BrokenPipeError):
            _hush()
            sys.exit(2)
        raise


def _hush():
    # Nothing more goes to an output that has failed, not even Python's own last flush.
    with contextlib.suppress(OSError):
        output = sys.stdout.fileno()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, output)
        os.close(nowhere)


if __name__ == "__main__":
    main()
