"""What a command that stops pumps or restarts a board says first, and the answer that it waits for."""

import sys
from typing import Annotated

import typer

from host_sim.errors import InputError
from host_sim.report.prompt import show

Yes = Annotated[bool, typer.Option("--yes", help="Do not ask: for scripts, once somebody has read what it says.")]
STOPS = (
    "This stops both pumps and restarts the controller. Until it answers again, in about a minute, nothing guards the "
    "pit: have the water low and no rain coming. On a bench, unplug both pumps first: at the restart the relays may "
    "move. Pumps that are plugged in may start by themselves afterwards: no hand in the pit."
)
RESTS = (
    "New settings take effect at once: both pumps stop and rest as after a power-up (boot_hold), then start by the "
    "floats. No hand in the pit; on a bench unplug both pumps."
)
MAINTAIN = (
    "This stops both pumps and leaves the controller at MicroPython's prompt, outputs off, the alarm relay dropped, "
    "for 10 min at most; then it restarts by itself. Nothing guards the pit meanwhile: have the water low and another "
    "pump ready. On a bench, unplug both pumps first: at the restart the relays may move. Pumps that are plugged in "
    "may start by themselves after it: no hand in the pit. Whoever writes a wrong file may leave it without a program."
)
RIG = (
    "This restarts the board of the rig: its wires let go, so that the controller sees both thermal contacts open and "
    "stops both pumps. Unplug both pumps; never line voltage on the rig."
)


def ask(words, yes):
    """Print the words; go on at --yes or when the person says yes, else leave with exit code 2.

    Raises InputError where there is nobody to ask.
    """
    tell = show if sys.stdout.isatty() else print
    tell(f"CAUTION: {words}")
    if yes:
        return
    if not sys.stdin.isatty():
        raise InputError("nobody is there to answer: give --yes in a script", "--yes")
    answer = input("Go on? (yes or no) > ").strip().lower()
    if answer not in ("y", "yes"):
        print("stopped: nothing was changed")
        raise typer.Exit(2)
