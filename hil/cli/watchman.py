"""`sumpbench watchman`, `acknowledge` and `told`: tell people, take charge, see who was told."""

from pathlib import Path
from typing import Annotated

import typer

Store = Annotated[Path, typer.Option(help="Folder for what the watchman keeps.")]


def watchman(
    config: Annotated[
        Path, typer.Option(help="Whom to tell (TOML); it holds secrets, so only you may read it: chmod 600.")
    ],
    broker: Annotated[
        str, typer.Option(help="MQTT broker: mqtts://user@host:8883. Password: SUMPBENCH_MQTT_PASSWORD or ..._FILE.")
    ],
    store: Store = Path("sumpbench-watchman"),
    ca: Annotated[Path | None, typer.Option(help="Certificate file that the broker is checked with.")] = None,
    name: Annotated[str, typer.Option(help="Name on the broker; two watchmen need two names.")] = "watchman",
    seconds: Annotated[float | None, typer.Option(help="Stop after this many seconds; at Ctrl-C if left out.")] = None,
):
    """Watch pits from outside the house: alarms and silence go to people, until somebody acknowledges."""
    from hil.remote.watchman.run import run

    run(config, broker, store, ca, name, seconds)


def acknowledge(
    pit: Annotated[str, typer.Argument(help="Pit that you take charge of.")],
    who: Annotated[str, typer.Option(help="Your name.")],
    store: Store = Path("sumpbench-watchman"),
):
    """Take charge of a pit: nobody else is called until something new happens."""
    from hil.remote.watchman.run import acknowledge as work

    work(store, pit, who)
    print(f"{who} is in charge of pit {pit}; nobody else is called until something new happens")


def told(store: Store = Path("sumpbench-watchman")):
    """List who was told what, and when it went."""
    from hil.remote import words
    from hil.remote.watchman.run import told as work

    for at, who, pit, title, fate, sent_at in work(store):
        went = f"sent {words.moment(sent_at)}" if sent_at else fate or "waiting"
        print(f"{words.moment(at)}  {who:12} {pit:12} {title}  [{went}]")


def add_to(app):
    """Put the commands into the command line."""
    app.command()(watchman)
    app.command()(acknowledge)
    app.command("who-was-told")(told)
