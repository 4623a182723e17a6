"""`sumpbench build`: the building guide of a controller, and the check of what was built."""

import json
import os
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from host_sim.errors import InputError


class Wired(StrEnum):
    """Boards with pins."""

    pico = "pico"
    esp32 = "esp32"


def build(
    board: Annotated[Wired, typer.Option(help="Board of the controller.")] = Wired.pico,
    expander: Annotated[
        bool, typer.Option("--expander/--no-expander", help="With the I2C expander: every signal on one board.")
    ] = True,
    active_low: Annotated[bool, typer.Option("--active-low", help="The relay module switches on at 0 V.")] = False,
    thermal: Annotated[
        list[int] | None,
        typer.Option(min=1, max=2, help="Pump whose motor brings its thermal contact out: relay KT; may be repeated."),
    ] = None,
    site: Annotated[
        Path | None, typer.Option(help="Site file: its pumps and battery; an invented one if omitted.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder for build.html; sumpbench-build-BOARD if left out.", show_default=False)
    ] = None,
    check: Annotated[bool, typer.Option("--check", help="Prove each input and output of what was built.")] = False,
    port: Annotated[str | None, typer.Option(help="With --check: serial port of the controller.")] = None,
    virtual: Annotated[
        bool, typer.Option("--virtual", help="With --check: a simulated person at a simulated controller.")
    ] = False,
    framing: Annotated[str, typer.Option(help="With --check: ascii on USB, rtu on RS-485.")] = "ascii",
    unit: Annotated[int, typer.Option(min=1, max=247, help="With --check: Modbus address.")] = 1,
    only: Annotated[
        list[str] | None, typer.Option(help="With --check: only this connector, X1 to X6; may be repeated.")
    ] = None,
    line: Annotated[
        str | None, typer.Option(help="With --check: port of the USB adapter at the RS-485 line's far end; proves X6.")
    ] = None,
    record: Annotated[Path, typer.Option(help="With --check: record (JSON); its page goes beside it.")] = Path(
        "build-check.json"
    ),
):
    """Guide to build a controller, as one page to print: schematic, power side, parts, assembly; --check proves it."""
    if not check and (port or virtual or line):
        raise InputError("--port, --virtual and --line go with --check", "build")
    if check:
        chosen = [one.upper() for one in only or ()]
        raise typer.Exit(_check(board.value, expander, port, virtual, (framing, unit, line), record, chosen))
    plain = f"sumpbench-build-{board.value}{'' if expander else '-no-expander'}"
    _guide(board.value, expander, active_low, sorted(set(thermal or ())), site, out or Path(plain))


def _guide(board, expander, active_low, thermal, site, out):
    from host_sim.board import wiring_list
    from host_sim.guide import page
    from host_sim.report import files
    from host_sim.site.load import load_site, packaged, refuse_unsized

    files.check(out, (page.NAME, page.SUMMARY), page.SUMMARY, {"made_by": page.MADE_BY}, "guide")
    _refuse_other(out / page.SUMMARY, board, expander)
    if site is not None:
        refuse_unsized(site)
    plan = load_site(site or packaged("demo"))
    if site is not None:
        # What this board cannot read of the site is said before anybody buys it.
        wiring_list.check(board, plan.settings, expander)
    sized = _sizing(site)
    html = page.as_html(plan, board, expander, active_low, date.today().isoformat(), thermal, sized)
    path = files.write(out, page.NAME, html)
    about = {"made_by": page.MADE_BY, "board": board, "expander": expander, "site": plan.name}
    files.write(out, page.SUMMARY, json.dumps(about, indent=1) + "\n")
    if site is None:
        typer.echo(f"no --site: sized for {plan.name}; give your own site file before you buy anything")
    if sized:
        typer.echo(f"sizing: {sized}")
    typer.echo(f"guide: {path}; print it, letter or A4")
    typer.echo("Line voltage is a licensed electrician's work, with a permit; the cautions are on its first sheet.")


def _sizing(site):
    # What `sumpbench size` said of the site, from its report beside the sized site; "" where it lies elsewhere.
    if site is None or site.name != "site.toml":
        return ""
    try:
        report = json.loads(site.with_name("sizing.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return ""
    made = isinstance(report, dict) and report.get("made_by") == "sumpbench size"
    return str(report.get("headline", "")) if made else ""


def _refuse_other(summary, board, expander):
    # A guide lies in the workshop for weeks: that of another board is not written over.
    if not summary.exists():
        return
    found = json.loads(summary.read_text(encoding="utf-8"))
    if (found.get("board"), found.get("expander")) != (board, expander):
        which = f"{found.get('board')}{'' if found.get('expander') else ', no expander'}"
        raise InputError(f"{summary.parent} holds the guide for {which}: name another folder", "--out")


def _check(board, expander, port, virtual, link, record, only):
    if bool(port) == virtual:
        raise InputError("--check needs either --port of the controller, or --virtual", "build")
    from hil.checkout.checkout import Checkout

    if virtual:
        if link[2]:
            raise InputError("--line is a real RS-485 line's: it goes with --port", "build")
        return _check_virtual(board, expander, record, only)
    from hil.commission.terminal import Terminal
    from host_sim.board.client import connect

    framing, unit, line = link
    # A port that a program made, as `sumpbench virtual` does, has no terminals.
    hardware = not os.path.realpath(port).startswith("/dev/pts/")
    far = (lambda: connect(line, "rtu", unit)) if line else None
    with connect(port, framing, unit) as client:
        test = Checkout(client, board, expander, Terminal(), record, only=only, line=far, hardware=hardware)
        if not hardware:
            typer.echo("This port belongs to a program: NO HARDWARE IS TESTED.")
        try:
            passed = test.run()
        except (KeyboardInterrupt, EOFError):
            test.save()
            path = _page(test, record)
            typer.echo(f"\nstopped; kept in {record} and {path}, the same command resumes")
            return 1
        return _end(test, record, passed)


def _check_virtual(board, expander, record, only):
    from hil.checkout.checkout import Checkout
    from hil.checkout.person import Handy, KitClock, everything
    from hil.kits import select

    choice = select.Choice(virtual=True, board=board, expander=expander)
    with select.open_kit(choice, everything()) as kit:
        kit.reset()
        person = Handy(kit, board, expander, told=typer.echo)
        test = Checkout(kit.client(), board, expander, person, record, KitClock(kit), only, hardware=False)
        return _end(test, record, test.run())


def _page(test, record):
    from hil.checkout import page
    from host_sim.report import files

    return files.write(record.parent, f"{record.stem}.html", page.as_html(test.document), "--record")


def _end(test, record, passed):
    from hil.checkout.checkout import BRIDGED
    from host_sim.report.prompt import show

    path = _page(test, record)
    left = test.left
    here = [one.name for one in left if not test.only or one.terminal.split(":")[0] in test.only]
    if not left:
        show("every signal is proved")
    elif passed:
        places = sorted({one.terminal.split(":")[0] for one in left})
        show(f"every signal of {', '.join(test.only)} is proved; still to prove: {len(left)} of {', '.join(places)}")
    else:
        items = test.document["items"]
        bridged = [name for name in here if items.get(name, {}).get("verdict") == BRIDGED]
        if set(here) - set(bridged):
            show(f"not proved: {', '.join(name for name in here if name not in bridged)}")
        if bridged:
            show(f"proved on a bridge: {', '.join(bridged)}; the same command asks again once the relays are wired")
    if test.document["hardware"]:
        typer.echo("Take the test jumper out, turn both selectors to AUTO.")
    else:
        typer.echo("NO HARDWARE WAS TESTED: simulated controller and person")
    typer.echo(f"record: {record} and {path}")
    return 0 if passed else 1


def add_to(app):
    """Put the command into the command line."""
    app.command()(build)
