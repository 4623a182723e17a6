"""The commands of the proof: explore, mutants, campaign."""

import os
from pathlib import Path
from typing import Annotated

import typer


def register(app):
    """Add the commands of the proof to the command line."""
    app.command()(explore)
    app.command()(mutants)
    app.command()(campaign)
    app.command()(told)


def explore(
    part: Annotated[
        str | None,
        typer.Option(
            help="contacts, belief, demand, blind, gate, pump, duty, flood, turns, pair or alarms; all if left out."
        ),
    ] = None,
    coarse: Annotated[str | None, typer.Option(help="Coarse world: narrow, quick or wide; all if left out.")] = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="The part that CI runs: fewer inputs, under two minutes.")
    ] = False,
    states: Annotated[
        int | None, typer.Option(min=1, help="Stop each search at this many states; the plan's limits if left out.")
    ] = None,
    workers: Annotated[int, typer.Option(help="Processes; all cores if left out.")] = os.cpu_count() or 1,
    replay: Annotated[str | None, typer.Option(help="Print one counter-example again, tick by tick.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False,
):
    """Search every state that each part of the controller can reach, for breaches of its invariants."""
    from host_sim.proof.search.show import explore as run

    raise typer.Exit(run(part, coarse, quick, states, workers, replay, as_json))


def mutants(
    module: Annotated[
        list[str] | None,
        typer.Option(help="A module of control/, station.NAME, boards.NAME, station or boards; may be given again."),
    ] = None,
    changed: Annotated[bool, typer.Option("--changed", help="Only mutants on lines changed since a commit.")] = False,
    since: Annotated[str, typer.Option(help="That commit.")] = "HEAD",
    slow: Annotated[bool, typer.Option("--slow", help="Put survivors to the searches and timelines as well.")] = False,
    again: Annotated[Path | None, typer.Option(help="Only what survived in this file, written with --json.")] = None,
    sample: Annotated[int | None, typer.Option(min=1, help="At most so many, drawn by --seed.")] = None,
    seed: Annotated[int, typer.Option(help="Seed of the sample.")] = 1,
    hand: Annotated[bool, typer.Option("--hand", help="Lines rewritten by hand, from the list that is kept.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False,
):
    """Make small mistakes in the core, the station or the boards, one at a time: do the tests find each?"""
    from host_sim.compiled import select

    select.use_pure("mutants exchange the code of live functions")
    from host_sim.proof.mutants import mutant_filter, show

    root = show.checkout()
    title = "Hand mutants" if hand else "Mutants"
    if hand:
        found = mutant_filter.by_hand(module)
    elif changed:
        found, title = mutant_filter.changed(root, since, module), f"{title}, lines changed since {since}"
    else:
        found = mutant_filter.of_modules(module)
    if again:
        found = mutant_filter.survived(found, again)
    if sample is not None:
        found, title = mutant_filter.sample(found, sample, seed), f"{title}, sample of at most {sample}, seed {seed}"
    raise typer.Exit(show.mutants(found, root, slow, as_json, title))


def campaign(
    nights: Annotated[int, typer.Option(help="How many nights in all; those already kept are not run again.")] = 200,
    seed: Annotated[int, typer.Option(help="Seed of the campaign; with a night's number it draws the same night.")] = 1,
    out: Annotated[Path, typer.Option(help="Folder for records, Parquet and picture.")] = Path("sumpbench-campaign"),
    workers: Annotated[int, typer.Option(help="Processes; all cores if left out.")] = os.cpu_count() or 1,
    scheduler: Annotated[
        str | None, typer.Option(help="Address of a dask scheduler, as tcp://192.0.2.7:8786, instead of processes.")
    ] = None,
    only: Annotated[int | None, typer.Option(help="Run this one night and print its site file and record.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")] = False,
):
    """Random sites, storms and faults against the real firmware, beside one pump on a float switch."""
    from host_sim.proof.campaign.show import run

    raise typer.Exit(run(nights, seed, out, workers, scheduler, only, as_json))


def told(
    only: Annotated[
        list[str] | None, typer.Option(help="A fault, a house, a season or `healthy`; may be given again.")
    ] = None,
    healthy: Annotated[int, typer.Option(help="Healthy months of each house and season besides.")] = 1,
    seed: Annotated[int, typer.Option(help="Seed of the months.")] = 1,
    workers: Annotated[int, typer.Option(help="Processes; all cores if left out.")] = os.cpu_count() or 1,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False,
):
    """Who is told what, and when: every fault in wet and dry months against a written table."""
    from host_sim.proof.told.show import run

    raise typer.Exit(run(seed, healthy, only, workers, as_json))
