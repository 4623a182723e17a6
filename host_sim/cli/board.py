"""The commands for a board: registers, wiring, settings, line, watch, journal, virtual, deploy."""

import tempfile
import time
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli import consent
from host_sim.cli.options import UnitSystem
from host_sim.errors import InputError

Port = Annotated[str, typer.Option(help="The serial port that the board is on, such as /dev/ttyACM0 or COM3.")]


class BoardName(StrEnum):
    """The boards that the firmware knows."""

    pico = "pico"
    esp32 = "esp32"
    posix = "posix"


Expander = Annotated[bool, typer.Option("--expander", help="With the I2C expander: every signal on one board.")]
Framed = Annotated[
    str, typer.Option(help="ascii as on USB, rtu as on RS-485; where `sumpbench line` changed it, as in rtu:9600:none.")
]
Unit = Annotated[int, typer.Option(min=1, max=247, help="The board's Modbus address.")]


def _client(port, framing="ascii", unit=1):
    from host_sim.board.client import connect

    return connect(port, framing, unit)


def registers(as_csv: Annotated[bool, typer.Option("--csv", help="Print CSV instead of Markdown.")] = False):
    """Print the Modbus register map and how the ports speak, from the tables that the board itself answers from."""
    from host_sim.board import register_list

    print(register_list.as_csv() if as_csv else register_list.as_markdown(), end="")


def wiring(
    board: Annotated[BoardName, typer.Argument(help="Which board.")] = BoardName.pico,
    settings: Annotated[Path | None, typer.Option(help="Settings or site file: checks that this board can read all it "
                                                  "asks for, and shows its sensor ranges.")] = None,
    expander: Expander = False,
):  # fmt: skip
    """Print a board's wiring list, with the cautions for mains and relays."""
    from duplexsump.control import settings as s
    from rich.text import Text

    from host_sim.board import settings_file, signals, wiring_list
    from host_sim.report.console import console, table_of

    values = None
    if settings is not None:
        values = settings_file.from_file(settings, s.defaults())
        wiring_list.check(board.value, values, expander)
    screen = console()
    rows = signals.signals(board.value, expander)
    columns = (("signal", "left", 16), ("GPIO", "left", 11), ("pin", "right", 3), ("terminal", "left", 5),
               ("what the pin does", "left", 20), ("at rest", "left", 14), ("to", "left", 30))  # fmt: skip
    table = table_of(wiring_list.title(board.value, expander), columns)
    for row, old in zip(rows, wiring_list.table(board.value, expander, values), strict=True):
        position = row.position or "none"
        table.add_row(row.name, row.pin_text, position, row.terminal, wiring_list.how(old), row.rest, old["to"])
    if rows:
        screen.print(table)
        screen.print(Text(f"pin: the position on the board's header.  {wiring_list.ground(board.value)}"))
        if expander:
            screen.print(Text(wiring_list.bus(board.value)))
        else:
            screen.print(Text("The guide of `sumpbench build` is with the expander by default: see --expander."))
        if values is None:
            screen.print(Text("Sensor ranges are the defaults: with --settings FILE the list shows those of your pit."))
    else:
        screen.print("The virtual board has no pins.")
    screen.print("\nCautions", style="bold")
    for caution in wiring_list.CAUTIONS:
        screen.print(Text(f"- {caution}"))


def settings_push(
    file: Annotated[Path, typer.Argument(help="A file of `settings pull`, part of one, or a site file.")],
    port: Port,
    framing: Framed = "ascii",
    unit: Unit = 1,
    yes: consent.Yes = False,
):
    """Check settings as a set and put them in force on the board; one bad value and nothing is changed."""
    from host_sim.board import settings_file

    with _client(port, framing, unit) as client:
        before = client.settings()
        values = settings_file.from_file(file, before)
        changed = settings_file.changes(before, values)
        if not changed:
            print("no change: the board already has these settings")
            return
        consent.ask(consent.RESTS, yes)
        client.put_settings(values)
    for name, old, new in changed:
        print(f"{name}: {old} -> {new}")
    print(f"{len(changed)} settings changed, now in force; the pumps rest as after a power-up")


def settings_pull(
    port: Port,
    out: Annotated[Path | None, typer.Option(help="File to write; printed if left out.")] = None,
    framing: Framed = "ascii",
    unit: Unit = 1,
):
    """Read the settings that are in force on the board."""
    from host_sim.board import settings_file

    with _client(port, framing, unit) as client:
        text = settings_file.to_text(client.settings())
    if out is None:
        print(text, end="")
    else:
        _write(out, text.encode())
        print(f"written to {out}")


def line(
    port: Port,
    baud: Annotated[str | None, typer.Option(help="Of RS-485: 1200 to 115200.")] = None,
    parity: Annotated[str | None, typer.Option(help="Of RS-485: even, odd, none.")] = None,
    new_unit: Annotated[str | None, typer.Option(help="The board's Modbus address from now on: 1 to 247.")] = None,
    new_framing: Annotated[str | None, typer.Option(help="Of RS-485: rtu or ascii.")] = None,
    usb: Annotated[str | None, typer.Option(help="When USB may write: always, jumper, never.")] = None,
    rs485: Annotated[str | None, typer.Option(help="When RS-485 may write: always, jumper, never.")] = None,
    unit: Unit = 1,
    yes: consent.Yes = False,
):
    """Set how a board's ports speak and which may write; pumps stop for some seconds, and the board resets."""
    from host_sim.board import line_file

    given = {"baud": baud, "parity": parity, "unit": new_unit, "framing": new_framing, "usb": usb, "rs485": rs485}
    wanted = {name: value for name, value in given.items() if value is not None}
    if not wanted:
        raise InputError("nothing to set: give --baud, --parity, --new-unit, --new-framing, --usb or --rs485", "line")
    line_file.changed("", wanted)
    consent.ask(consent.STOPS, yes)
    before, after = line_file.put(port, wanted, unit)
    for name in line_file.ROWS:
        same = before[name] == after[name]
        print(f"{name}: {after[name]}" if same else f"{name}: {before[name]} -> {after[name]}")
    if after["usb"] != "always":
        print(line_file.UNDO)


ActiveLow = Annotated[
    str | None,
    typer.Option(help="Outputs whose relay is on at 0 V, as most relay modules: all, none, or names such as "
                 "pump_1,pump_2."),
]  # fmt: skip
Fitted = Annotated[bool | None, typer.Option("--expander/--no-expander", help="Whether the I2C expander is fitted.")]


def hardware(
    port: Port, active_low: ActiveLow = None, expander: Fitted = None, unit: Unit = 1, yes: consent.Yes = False
):
    """Tell a board what its wiring is: active-low outputs, I2C expander; pumps stop for some seconds, and it resets."""
    from host_sim.board import hardware_file

    if active_low is None and expander is None:
        raise InputError("nothing to set: give --active-low, --expander or --no-expander", "hardware")
    low = None if active_low is None else hardware_file.mask(active_low)
    consent.ask(f"{consent.STOPS} {hardware_file.CAUTION}", yes)
    before, after = hardware_file.put(port, low, expander, unit)
    print(f"before: {hardware_file.shown(*before)}")
    print(f"now: {hardware_file.shown(*after)}")


def _write(path, data):
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    except OSError as error:
        raise InputError(f"cannot be written: {error}", str(path)) from error


def watch(
    port: Port,
    once: Annotated[bool, typer.Option("--once", help="Print one screen and exit.")] = False,
    units: Annotated[UnitSystem, typer.Option(help="Units of the screen.")] = UnitSystem.us,
    framing: Framed = "ascii",
    unit: Unit = 1,
):
    """Show a running board on one screen, refreshed every second, until Ctrl-C."""
    from rich.live import Live

    from host_sim.board import screen
    from host_sim.report.console import console

    with _client(port, framing, unit) as client:
        recent = screen.Recent(client)

        def page():
            parts = screen.read(client)
            return screen.build(*parts, port, units.value, recent.see(parts[0], parts[1], time.time()))

        if once:
            console().print(page())
            return
        try:
            with Live(page(), console=console(), screen=True) as live:
                while True:
                    time.sleep(1.0)
                    live.update(page())
        except KeyboardInterrupt:
            return


def journal(
    port: Port,
    out: Annotated[Path | None, typer.Option(help="Folder for the segments and the simulator's JSON lines.")] = None,
    framing: Framed = "ascii",
    unit: Unit = 1,
):
    """Download the journal of a board, tell what happened, and replay it bit for bit through the controller here."""
    from host_sim.board import history, readback
    from host_sim.run.journal import firmware_checksum

    with _client(port, framing, unit) as client:
        data = readback.fetch(client)
    segments = [readback.read_segment(piece) for piece in data]
    for line in history.lines(history.happenings(segments)):
        print(line)
    found = readback.replay(segments)
    for number, checksum in found.foreign.items():
        print(f"segment {number} was written by firmware {checksum:08x}; this one is {firmware_checksum():08x}")
    for line in found.differences[:20]:
        print(f"  differs: {line}")
    same = "bit for bit the same" if not found.differences else f"{len(found.differences)} differences"
    print(f"replayed {found.records} steps of {found.segments} segments, {found.snapshots} snapshots compared: {same}")
    if out is not None:
        for segment, piece in zip(segments, data, strict=True):
            _write(out / f"{segment.number:08d}.seg", piece)
        for number, converted in enumerate(readback.to_journals(segments), 1):
            converted.write(out / f"journal-{number}.jsonl")
        print(f"written to {out}")


def alarm_history(port, framing, unit, as_json):
    """Print the alarms in a board's journal with dates, as text or JSON.  Raises InputError."""
    import dataclasses
    import json

    from host_sim.board import history, readback

    with _client(port, framing, unit) as client:
        segments = [readback.read_segment(piece) for piece in readback.fetch(client)]
    found = [h for h in history.happenings(segments) if h.kind in ("alarm", "cleared", "acknowledged", "power-up")]
    if as_json:
        print(json.dumps([dataclasses.asdict(happening) for happening in found], indent=1))
        return
    for line in history.lines(found):
        print(line)
    if not any(happening.kind == "alarm" for happening in found):
        print("no alarm in the journal")


def virtual(
    site: Annotated[str | None, typer.Argument(help="A site file or packaged scenario; the demo if left out.")] = None,
    speed: Annotated[int, typer.Option(min=0, help="How many times real time; 0: as fast as possible.")] = 1,
    fault: Annotated[list[str] | None, typer.Option(help="A fault to add; may be given again.")] = None,
    flash: Annotated[Path | None, typer.Option(help="Flash image to use and keep; a new one if left out.")] = None,
    seconds: Annotated[float | None, typer.Option(help="Stop after this many seconds; at Ctrl-C if left out.")] = None,
):
    """Start a virtual board: the firmware on real MicroPython, its USB port a pty, its pins in a simulated pit."""
    from host_sim.board.virtual import VirtualBoard
    from host_sim.site.chosen import read

    loaded, faults, _seed = read(site, fault or [], None)
    folder = tempfile.TemporaryDirectory(prefix="sumpbench-board-")
    image = flash or Path(folder.name) / "flash.img"
    fresh = not image.exists()
    with folder, VirtualBoard(loaded, image, speed, faults) as board:
        print(f"port: {board.port} (Modbus ASCII), {board.port_485} (Modbus RTU)")
        print(f"site: {loaded.name}; flash: {image}; next: sumpbench watch --port {board.port}", flush=True)
        if fresh:
            _first_settings(board, loaded)
        try:
            _stay(board, seconds)
        except KeyboardInterrupt:
            print("power off")


def _first_settings(board, site):
    # A new board has the default settings: give it those that follow from the site.
    from host_sim.board.client import Client

    until = time.monotonic() + 20.0
    while True:
        try:
            with Client(board.port) as client:
                client.identify()
                client.put_settings(site.settings)
            print("settings of the site in force", flush=True)
            return
        except InputError:
            if time.monotonic() > until:
                raise
            time.sleep(0.2)


def _stay(board, seconds):
    # Print a line at every switching of a pump and every power-up.
    until = None if seconds is None else time.monotonic() + seconds
    told = None
    while until is None or time.monotonic() < until:
        now = (board.outputs & 3, board.lives)
        if now != told:
            told = now
            pumps = " and ".join(str(n + 1) for n in range(2) if now[0] >> n & 1) or "none"
            level = board.pit.plant.level_m() * 1000.0
            seconds_now = board.pit.now_ms / 1000.0
            print(f"{seconds_now:10.1f} s  level {level:4.0f} mm  pumps on: {pumps}  power-up {now[1]}", flush=True)
        time.sleep(0.05)


def deploy(
    port: Port,
    board: Annotated[BoardName, typer.Option(help="Which kind of board.")],
    settings: Annotated[Path | None, typer.Option(help="Settings or site file to put in force.")] = None,
    active_low: ActiveLow = None,
    expander: Fitted = None,
    yes: consent.Yes = False,
):
    """Install this firmware on a board and leave the controller running; its settings and journal are kept."""
    from duplexsump.control import settings as s

    from host_sim.board import deploy as work
    from host_sim.board import hardware_file, settings_file, wiring_list
    from host_sim.board.virtual import FIRMWARE, NO_FIRMWARE

    if not FIRMWARE.is_dir():
        raise InputError(NO_FIRMWARE, "deploy")
    values = settings_file.from_file(settings, s.defaults()) if settings else None
    if values is not None:
        wiring_list.check(board.value, values, bool(expander))
    low = None if active_low is None else hardware_file.mask(active_low)
    consent.ask(consent.STOPS, yes)
    with tempfile.TemporaryDirectory(prefix="sumpbench-build-") as folder:
        work.deploy(port, board.value, FIRMWARE, Path(folder) / "duplexsump", values,
                    at_prompt=lambda repl: hardware_file.merge(repl, low, expander))  # fmt: skip


def maintain(
    port: Port,
    commands: Annotated[
        list[str] | None, typer.Argument(help="What mpremote is to do, such as: fs ls. None: it says how to go on.")
    ] = None,
    unit: Unit = 1,
    yes: consent.Yes = False,
):
    """Take a running controller into maintenance (pumps stop) and hand over to mpremote."""
    from host_sim.board import maintain as work

    consent.ask(consent.MAINTAIN, yes)
    raise typer.Exit(work.maintain(port, commands or (), unit))


def shelve(
    port: Port,
    alarm: Annotated[str, typer.Argument(help="Name of the alarm, as `sumpbench alarms` has it; none: end shelving.")],
    framing: Framed = "ascii",
    unit: Unit = 1,
):
    """Shelve one alarm: no sound and no call for it until `shelve_time` is over.  High water cannot be shelved."""
    from duplexsump.control.alarm_table import TABLE
    from duplexsump.control.records import SHELVE_END
    from duplexsump.station.registers import SHELVE_AT

    names = [row[0] for row in TABLE][1:]
    if alarm != "none" and alarm not in names:
        raise InputError(f'"{alarm}" cannot be shelved: one of {", ".join(names)}, or none', "shelve")
    with _client(port, framing, unit) as client:
        client.write_words(SHELVE_AT, [SHELVE_END if alarm == "none" else 2 + names.index(alarm)])
    print("no alarm is shelved" if alarm == "none" else f"{alarm} is shelved; it stays listed")


def command(
    port: Port,
    name: Annotated[str, typer.Argument(help="silence, reset, inspected, test or battery_replaced.")],
    framing: Framed = "ascii",
    unit: Unit = 1,
):
    """Give a running board a command, as its buttons do."""
    from duplexsump.station.registers import COMMANDS

    names = [row[0] for row in COMMANDS]
    if name not in names:
        raise InputError(f'"{name}" is no command: one of {", ".join(names)}', "command")
    with _client(port, framing, unit) as client:
        client.write_bits(0, [int(name == each) for each in names])
    print(f"{name}: given")


def add_to(app, settings_app):
    """Add the commands to the command line: `app`, and below `settings` push and pull."""
    for each in (registers, wiring, line, hardware, watch, journal, virtual, deploy, maintain, shelve, command):
        app.command()(each)
    settings_app.command("push")(settings_push)
    settings_app.command("pull")(settings_pull)


