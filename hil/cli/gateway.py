"""`sumpbench gateway` and `sumpbench topics`: the process beside the board, and the list of what it publishes."""

from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.board import Framed, Unit
from host_sim.cli.options import UnitSystem


def gateway(
    port: Annotated[str, typer.Option(help="Serial port of the controller, such as /dev/ttyACM0 or COM3.")],
    site: Annotated[
        str | None, typer.Option(help="Site file or packaged scenario: what time to floor is worked out from.")
    ] = None,
    broker: Annotated[
        str | None,
        typer.Option(help="MQTT broker: mqtts://user@host:8883. Password: SUMPBENCH_MQTT_PASSWORD or ..._FILE."),
    ] = None,
    pit: Annotated[str, typer.Option(help="Name of the pit in the topics.")] = "pit",
    ca: Annotated[
        Path | None, typer.Option(help="Certificate file that the broker is checked with; the system's if left out.")
    ] = None,
    store: Annotated[Path, typer.Option(help="Folder for what the gateway keeps.")] = Path("sumpbench-gateway"),
    serve: Annotated[
        str, typer.Option(help='Where others reach the controller: host:port, "" nowhere.')
    ] = "127.0.0.1:7502",
    page: Annotated[str, typer.Option(help='Where the page is served: host:port, "" nowhere.')] = "127.0.0.1:8502",
    allow: Annotated[
        list[str] | None, typer.Option(help="What others may do: silence, inspect, clock; may be given again.")
    ] = None,
    receipt: Annotated[
        list[str] | None, typer.Option(help="Keep records until this reader has stored them; may be given again.")
    ] = None,
    keep_clock: Annotated[bool, typer.Option("--keep-clock", help="Leave the board's clock as it is.")] = False,
    describe: Annotated[
        bool, typer.Option("--describe", help="Publish the topic list itself too, for programs that set themselves up.")
    ] = False,
    units: Annotated[UnitSystem, typer.Option(help="Units of the page.")] = UnitSystem.us,
    framing: Framed = "ascii",
    unit: Unit = 1,
    seconds: Annotated[float | None, typer.Option(help="Stop after this many seconds; at Ctrl-C if left out.")] = None,
):
    """Read a board once a second, keep and publish what it does, serve it to others; read-only without --allow."""
    from hil.remote.gateway.run import Options, run
    from host_sim.site.chosen import read

    loaded = read(site, [], None)[0] if site else None
    run(
        Options(port, pit, store, loaded, broker, ca, serve or None, page or None, tuple(allow or ()),
                tuple(receipt or ()), framing, unit, units.value, not keep_clock, describe),
        seconds,
    )  # fmt: skip


def list_topics():
    """Print the published topic list, from the table that gateway and readers share."""
    from hil.remote import topics

    print(topics.as_markdown(), end="")


def add_to(app):
    """Put the commands into the command line."""
    app.command()(gateway)
    app.command("topics")(list_topics)
