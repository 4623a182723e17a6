"""`sumpbench replay`: its options; the work is in `host_sim.replay.command`."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import UnitSystem


class Was(StrEnum):
    """The controller that was in charge of the pumps."""

    single = "single"
    duplex = "duplex"


def replay(
    log: Annotated[Path, typer.Argument(help="A journal, a folder of a board's segments, or CSV or Parquet.")],
    site: Annotated[
        str | None, typer.Option(help="The pit: a site file (TOML) or a packaged scenario's name.", metavar="SITE")
    ] = None,
    mapping: Annotated[
        Path | None, typer.Option(help="What the columns hold (TOML); LOG.map.toml if left out.")
    ] = None,
    ask: Annotated[
        bool, typer.Option("--map", help="Ask what the columns hold, in which units; writes LOG.map.toml.")
    ] = False,
    was: Annotated[
        Was | None, typer.Option(help="What controlled the pumps. If left out: the journal's own, or one float switch.")
    ] = None,
    setting: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="NAME=VALUE",
            help="Our controller with this setting changed, in the replay and in what-if runs.",
        ),
    ] = None,
    firmware: Annotated[
        Path | None,
        typer.Option(help="Our controller with the firmware in this folder, in the replay and in what-if runs."),
    ] = None,
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
    long: Annotated[
        bool, typer.Option("--long", help="A log of months: counts only, in bounded memory; no --change, no --sweep.")
    ] = False,
    what_if: Annotated[
        bool, typer.Option(help="Simulate the night, as it was and with changes, where the log tells the inflow.")
    ] = True,
    export: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the rows, with what was found, to FILE.parquet or FILE.csv."),
    ] = None,
    units: Annotated[UnitSystem, typer.Option(help="Units of the report.")] = UnitSystem.us,
    out: Annotated[Path, typer.Option(help="Folder for the pictures and records.")] = Path("sumpbench-replay"),
):
    """Explain a logged night: replay it exactly, find what was wrong, show what would have kept the floor dry.

    Exit codes: 0 explained (a journal: identical, also with --set or --firmware), 1 a journal replays differently,
    nothing compared or no pump ever ran, 2 bad input.
    """
    from host_sim.replay.command import run
    from host_sim.replay.command_streaming import refuse_with_long, run_streaming

    if long:
        refuse_with_long({"--change": change, "--sweep": sweep, "--no-what-if": not what_if, "--was": was,
                          "--export": export})  # fmt: skip
        raise typer.Exit(run_streaming(log, site, mapping, ask, setting or [], firmware, units.value, out))
    raise typer.Exit(
        run(log, site, mapping, ask, was and was.value, setting or [], firmware, change or [], sweep or [], what_if,
            units.value, out, export)
    )  # fmt: skip


def regress(
    nights: Annotated[Path, typer.Argument(help="A folder of journals, *.jsonl or a board's segments, at any depth.")],
    firmware: Annotated[
        list[Path],
        typer.Option(help="A firmware's folder: twice, to compare two; once, to compare it with what was recorded."),
    ],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False,
):
    """Take every journal of a corpus through two firmwares: differences in decisions and alarms in one table.

    Exit codes: 0 no difference, 1 any difference, nothing compared or no pump ever ran, 2 bad input; so that
    `git bisect run` can use it.
    """
    from host_sim.replay.command_regress import run

    raise typer.Exit(run(nights, firmware, as_json))


def replay_benchmark(
    rows: Annotated[int, typer.Option(help="Rows of the log; 31536000 are a year at one a second.")] = 2_419_200,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False,
    folder: Annotated[Path | None, typer.Option(help="Where the log is written for a while.")] = None,
):
    """Measure a long log through the firmware, beside merely reading the same file with pyarrow."""
    from host_sim.replay.command_streaming import benchmark

    raise typer.Exit(benchmark(rows, as_json, folder))


def replay_trial(
    nights: Annotated[
        int | None, typer.Option(min=1, max=5000, help="Nights to simulate: 220 if left out, of the matrix 24.")
    ] = None,
    matrix: Annotated[
        bool, typer.Option("--matrix", help="The independent trial: a second pit, logged in every usual way.")
    ] = False,
    seed: Annotated[int, typer.Option(help="Of the matrix: below 9000 to tune by, from 9000 on to report.")] = 9001,
    rows: Annotated[str, typer.Option(help="Of the matrix: seconds between rows.")] = "1,5,10,30,60,300",
    channels: Annotated[
        str, typer.Option(help="Of the matrix: what is logged.")
    ] = "level,level and run,run only,contacts,events",
    loggers: Annotated[
        int, typer.Option(min=1, max=9, help="Of the matrix: resolutions x noises for each, of 9.")
    ] = 3,
    first: Annotated[int, typer.Option(min=0, help="Of the matrix: number of the first night, for pieces.")] = 0,
    sum_of: Annotated[
        list[Path] | None, typer.Option("--sum", help="The table of files that --json wrote; nothing is simulated.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")] = False,
):
    """Measure the reconstruction on simulated nights whose truth is known: signs found and missed, inflow's error.

    With --matrix the nights are another pit's, and every sampling, resolution, noise, set of channels and controller
    is tried.  Exit code 1 where a goal is missed: nothing wrongly established, no healthy night called faulty, the
    floor never called wrongly, each 95 % band right 90 to 99 % of the time; 2 for bad input.
    """
    from host_sim.replay.command_matrix import run
    from host_sim.replay.command_streaming import trials

    if matrix or sum_of:
        raise typer.Exit(run(nights or 24, seed, rows, channels, loggers, first, sum_of or [], as_json))
    raise typer.Exit(trials(nights or 220, as_json))


def register(app):
    """Add the commands to the program."""
    app.command()(replay)
    app.command()(regress)
    app.command()(replay_benchmark)
    app.command()(replay_trial)
