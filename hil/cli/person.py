"""`sumpbench silence`, `inspect`, `clock`: what a person does at a board, over its port or through a gateway."""

from pathlib import Path
from typing import Annotated

import typer

Port = Annotated[str | None, typer.Option(help="Port of the board, or socket://host:port of a gateway.")]
Gateway = Annotated[str | None, typer.Option(help="Page of a gateway that allows it, as in http://127.0.0.1:8502.")]
Book = Annotated[Path, typer.Option(help="File that keeps who did what, for a board on a port.")]


def silence(port: Port = None, gateway: Gateway = None, who: str = "", book: Book = Path("sumpbench-book.jsonl")):
    """Acknowledge the alarms that stand and stop the horn; a pump is never touched."""
    from hil.remote.person import do

    do("silence", port, gateway, who, "", book)
    print("alarms acknowledged, horn silenced")


def inspect(
    who: Annotated[str, typer.Option(help="Who inspected the pit.")],
    note: Annotated[str, typer.Option(help="What was found and done.")] = "",
    port: Port = None,
    gateway: Gateway = None,
    book: Book = Path("sumpbench-book.jsonl"),
):
    """Record an inspection, with name and note."""
    from hil.remote.person import do

    do("inspect", port, gateway, who, note, book)
    print(f"inspection by {who} recorded")


def clock(
    set_it: Annotated[bool, typer.Option("--set", help="Set the board's clock to this computer's.")] = False,
    port: Port = None,
    gateway: Gateway = None,
    book: Book = Path("sumpbench-book.jsonl"),
):
    """Show the board's clock, or set it: journals then carry dates."""
    from hil.remote.person import do, show_clock

    if set_it:
        do("clock", port, gateway, "", "", book)
        print("clock set")
    else:
        print(show_clock(port))


def add_to(app):
    """Put the commands into the command line."""
    for command in (silence, inspect, clock):
        app.command()(command)
