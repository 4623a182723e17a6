"""The commands of the proof, hung into the command line by `register`: explore."""

import os
from typing import Annotated

import typer


def register(app):
    """Add the commands of the proof to the command line."""
    app.command()(explore)


def explore(
    part: Annotated[
        str | None, typer.Option(help="contacts, belief, gate, pump, pair or alarms; all if left out.")
    ] = None,
    coarse: Annotated[str | None, typer.Option(help="Coarse world: narrow, quick or wide; all if left out.")] = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="The part that CI runs: fewer inputs, under two minutes.")
    ] = False,
    seconds: Annotated[float | None, typer.Option(help="At most this long for each search.")] = None,
    states: Annotated[int | None, typer.Option(help="At most this many states for each search.")] = None,
    workers: Annotated[int, typer.Option(help="Processes; all cores if left out.")] = os.cpu_count() or 1,
    replay: Annotated[str | None, typer.Option(help="Print one counter-example again, tick by tick.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False,
):
    """Search every state that each part of the controller can reach, for breaches of its invariants."""
    from host_sim.proof.show_explore import explore as run

    raise typer.Exit(run(part, coarse, quick, seconds, states, workers, replay, as_json))
