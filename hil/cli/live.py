"""`sumpbench live`: a living pit behind a page of this machine, simulated or as a board reports it."""

import tomllib
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Framing(StrEnum):
    """Modbus framing."""

    ascii = "ascii"
    rtu = "rtu"


def live(
    site: Annotated[str | None, typer.Argument(help="Site file or packaged scenario; the demo if left out.")] = None,
    page: Annotated[
        str, typer.Option(help="Where the page is served: host:port; port 0 takes a free one.")
    ] = "127.0.0.1:8137",
    own: Annotated[bool, typer.Option("--own-night", help="Begin with the scenario's own storm and faults.")] = False,
    port: Annotated[
        str | None,
        typer.Option(help="Show a board instead: its port, such as /dev/ttyACM0, or socket://host:port of a gateway."),
    ] = None,
    framing: Annotated[Framing, typer.Option(help="Modbus framing: ASCII on USB, RTU on RS-485.")] = Framing.ascii,
    unit: Annotated[int, typer.Option(min=1, max=247, help="Modbus address of the controller.")] = 1,
    npm: Annotated[
        Path | None,
        typer.Option(help="Folder into which npm has installed MicroPython, for the proof in the page."),
    ] = None,
):
    """Open a living pit in a browser: set the inflow, break things, and see what the firmware does, and why.

    With --port it shows a real, virtual or emulated board at the pit of the
    site file: what the board reports is drawn, what it cannot know is unknown.
    """
    from host_sim.living import server
    from host_sim.report.console import CAUTIONS_LINE, console

    host, number = _address(page)
    engine, close, what = _board(site, port, framing, unit) if port else _pit(site, own)
    screen = console()
    if host not in server.LOOPBACK:
        screen.print(f"Listening at {host}: every machine that reaches it sees this page.", style="bold")

    def told(url):
        screen.print(f"{what}: open {url} in a browser; Ctrl-C ends it.")
        screen.print(CAUTIONS_LINE)

    try:
        server.serve(engine, host, number, told, npm)
    except KeyboardInterrupt:
        screen.print("Ended.")
    finally:
        close()


def _address(page):
    from host_sim.errors import InputError

    host, _, number = page.rpartition(":")
    if not number.isdecimal() or int(number) > 65535:
        raise InputError(f'"{page}": host:port is wanted, as in 127.0.0.1:8137', "--page")
    return host.strip("[]") or "127.0.0.1", int(number)


def _pit(site, own):
    from host_sim.living.engine import Engine
    from host_sim.living.share import Origin, of_packaged
    from host_sim.site.chosen import read

    plan, _, _ = read(site, [], None)
    if site and (site.endswith(".toml") or Path(site).exists()):
        path = Path(plan.path)
        origin = Origin(str(path), tomllib.loads(path.read_text(encoding="utf-8")), path.parent, own, False)
    else:
        origin = of_packaged(Path(plan.path).stem, own)
    return lambda: Engine(origin), lambda: None, "The living pit"


def _board(site, port, framing, unit):
    from hil.remote.living import Watched
    from hil.remote.living_engine import BoardEngine
    from host_sim.site.chosen import read

    plan = read(site, [], None)[0] if site else None
    watched = Watched(port, framing.value, unit)
    watched.start()
    return lambda: BoardEngine(watched, plan), watched.close, f"The board at {port}"


def add_to(app):
    """Put the command into the command line."""
    app.command()(live)
