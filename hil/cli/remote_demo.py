"""`sumpbench remote-demo`: from a jammed pump on a virtual board to the mail, on this machine alone."""

from typing import Annotated

import typer


def remote_demo(keep: Annotated[bool, typer.Option("--keep", help="Leave everything running until Ctrl-C.")] = False):
    """Start a virtual board, a broker, gateway and watchman; jam a pump, kill the board, and show the mails."""
    from hil.remote.demo import run

    raise typer.Exit(run(keep))


def add_to(app):
    """Put the command into the command line."""
    app.command("remote-demo")(remote_demo)
