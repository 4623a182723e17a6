"""A virtual board in lockstep: the bench owns the time, the firmware asks for it, nothing runs by itself.

The real firmware on the real MicroPython, as in `virtual.py`, but in the
caller's thread and by the caller's clock: `advance(ms)` grants the time, the
link is served while time stands still, and the same run gives the same edges
and the same journal, bit for bit.  The watchdog counts in board time.
"""

import contextlib
import os
import select
import socket
import struct
import subprocess
import tempfile
import time

from duplexsump.control.records import N_INPUTS
from duplexsump.station.store import Store

from host_sim.board.virtual import (
    ASKED,
    FIRMWARE,
    MASK,
    MESSAGE,
    NO_FIRMWARE,
    POWER_ON,
    START,
    WATCHDOG,
    find_micropython,
)
from host_sim.errors import InputError

WATCHDOG_MS = 8388  # the longest an RP2040's watchdog reaches
BOOT_MS = 200  # from power or reset to the first pass, unless the bench wants another
BLOCKS = 352  # of 4096 bytes, as much as a Pico's file system has
HANG_CPU_S = 20.0  # a pass that computes for so long does not end
ASLEEP_LOOKS = 10  # seconds in a row in which a process that asks for nothing was found asleep: at its REPL, say
HANG_S = 300.0  # the limit where the system does not report a process's state
IDLE_PASSES = 12  # after so many passes without an answer time must pass on the board
WAIT_MS = 10
SAID_BYTES = 2000
MOST_MS = 1000  # of one grant; a pass that does not end is timed no better
STILL_MS = 5  # what a pass takes on a board whose clock stands still and whose rests end all the same
GOES, STANDS, STANDS_IN_REST = "goes", "stands", "stands, and no rest ends"
_NONE, _RESTING, _HUNG, _REPL = "no process", "resting", "hung", "at the REPL"
_GRANT = struct.Struct(f"<{1 + N_INPUTS}i")
_RAW = struct.Struct(f"<{N_INPUTS}i")
_REQUEST = struct.Struct("<cIB")


def make_flash(flash, firmware=FIRMWARE, settings=None, blocks=BLOCKS):
    """Make a new flash image that holds the firmware and, where given, a settings record; no board has run on it.

    Raises InputError where the settings are refused or the image cannot be made.
    """
    if not firmware.is_dir():
        raise InputError(NO_FIRMWARE, "virtual board")
    flash.unlink(missing_ok=True)
    with tempfile.TemporaryDirectory(prefix="sumpbench-pit-") as folder:
        if settings is not None:
            try:
                Store(folder).save(list(settings))
            except ValueError as error:
                raise InputError(str(error), "settings of the virtual board") from error
        environment = {**os.environ, "BENCH_MAKE": "1", "BENCH_PIT": folder, **_image(flash, firmware, blocks)}
        command = [find_micropython(), str(START)]
        done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if done.returncode or not flash.exists():
        raise InputError(f"the flash image cannot be made: {(done.stdout + done.stderr).strip()}", str(flash))


def _image(flash, firmware, blocks):
    return {"BENCH_FLASH": str(flash), "BENCH_FIRMWARE": str(firmware), "BENCH_BLOCKS": str(blocks)}


class Line:
    """The board's USB port as a client sees it: what a pyserial port offers, in the board's own time."""

    def __init__(self, board):
        self.board = board
        self.received = bytearray()
        self.idle = 0

    @property
    def in_waiting(self):
        """The number of bytes that can be read at once."""
        return len(self.received)

    def clock_s(self):
        """Return the time by which a client's patience is measured, in s."""
        return self.board.now_ms / 1000.0

    def reset_input_buffer(self):
        """Discard what has been received."""
        self.received.clear()

    def write(self, data):
        """Send bytes to the board."""
        self.board.ours.sendall(data)
        self.idle = 0

    def read(self, count):
        """Return up to `count` bytes; where there are none, let the board look at its link, at last let time pass."""
        if not self.received:
            if self.idle < IDLE_PASSES:
                self.board.look()
            else:
                self.board.advance(WAIT_MS)
            self.idle = 0 if self.received else self.idle + 1
        data = bytes(self.received[:count])
        del self.received[:count]
        return data

    def close(self):
        """Keep the line: it is the board's, and lives as long as that."""


class LockstepBoard:
    """`board = LockstepBoard(flash, read, written)`, then `power(True)`, `advance(ms)`, and at last `close()`.

    `flash` is the path of the flash image, made from the folder `firmware` where
    it is not there and kept from run to run.  `read()` returns the raw record at
    the pins now; `written(outputs)` is called at each change of the outputs, one bit each.  `heap` is the board's
    heap in bytes, as MicroPython's option heapsize wants it ("400k"); words are twice as long as on a chip.
    """

    def __init__(self, flash, read, written, firmware=FIRMWARE, blocks=BLOCKS, log=None, heap=""):
        self.executable = find_micropython()
        self.flash, self.firmware, self.blocks, self.log = flash.resolve(), firmware, blocks, log
        self.options = ["-X", f"heapsize={heap}"] if heap else []
        self.read, self.written = read, written
        self.now_ms = 0
        self.outputs = 0
        self.boot_ms = self.reset_boot_ms = BOOT_MS
        self.asleep_looks = ASLEEP_LOOKS
        self.lives = 0
        self.causes = []
        self.said = b""  # the last that came over its USB port
        self.hangs = 0  # passes that did not end by themselves
        self.state = _NONE
        self.powered = False
        self.clock = GOES
        self.start_ms = 0
        self.next_cause = POWER_ON
        self.kept = 0  # the word that outlives a reset but no power cut
        self.fed_ms = None  # of this life, None until the first feed
        self.reset_ms = None
        self.wish_ms = 0
        self.life_ms = self.end_ms = 0  # when this life began; when the grant in force ends
        self.process = self.pins = None
        self.buffer = b""
        self.ours, self.theirs = socket.socketpair()
        self.ours.setblocking(True)
        self.line = Line(self)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        """End the process, as with the power; may be called twice."""
        self._end()
        self.powered = False
        self.ours.close()
        self.theirs.close()

    # What a bench does to the board.

    def power(self, on):
        """Cut or give the power, now."""
        if on and not self.powered:
            self.next_cause, self.kept = POWER_ON, 0
            self.start_ms = self.now_ms + self.boot_ms
        elif not on:
            self._end()
        self.powered = bool(on)

    def hang(self):
        """Stop the firmware dead where it is: its outputs stay, it asks for nothing any more."""
        if self.state == _RESTING:
            self.state = _HUNG

    def stop_clock(self, how=STANDS_IN_REST):
        """Have the clock stand still for good, in every life: `STANDS`, while passes go on, or `STANDS_IN_REST`.

        The watchdog has a clock of its own.  `GOES` lets it go again, from the next reset on where a rest never ended.
        """
        self.clock = how
        if how == STANDS_IN_REST:
            self.hang()

    def advance(self, ms, to_move=False):
        """Let `ms` of the board's time pass; with `to_move` only until its outputs change, if they do."""
        until = self.now_ms + ms
        before = self.outputs
        while self.now_ms < until and not (to_move and self.outputs != before):
            step = self._next_ms(until) - self.now_ms
            if self.state != _RESTING:
                self.now_ms += step
            elif self.clock == STANDS:
                self.now_ms += min(step, STILL_MS)
                self._grant(0)
            else:
                self._grant(min(step, MOST_MS))
            self._due()

    def stride(self, ms):
        """Let `ms` pass in one rest of the board, watchdog or no; its next step comes late by as much."""
        if self.state != _RESTING:
            self.advance(ms)
            return
        if self.fed_ms is not None:
            self.fed_ms += ms
        self._grant(-ms)

    @property
    def resting(self):
        """Whether a board is there that waits for its next grant."""
        return self.state == _RESTING

    def look(self):
        """Let the board look at its link once, while time stands still."""
        if self.state == _RESTING:
            self._grant(0)
        else:
            self.advance(WAIT_MS)

    # Time.

    def _next_ms(self, until):
        # The next instant at which something is due, or `until`.
        if self.powered and self.state == _NONE:
            until = min(until, max(self.now_ms, self.start_ms))
        if self.fed_ms is not None:
            until = min(until, self.fed_ms + WATCHDOG_MS)
        if self.reset_ms is not None:
            until = min(until, self.reset_ms)
        return max(until, self.now_ms)

    def _due(self):
        if self.state == _NONE:
            if self.powered and self.now_ms >= self.start_ms:
                self._start()
        elif self.fed_ms is not None and self.now_ms >= self.fed_ms + WATCHDOG_MS:
            self._reset(WATCHDOG)
        elif self.reset_ms is not None and self.now_ms >= self.reset_ms:
            self._reset(ASKED)

    def _grant(self, ms):
        # No input changes before the board asks again: it does as soon as its outputs have changed.
        self.end_ms = self.now_ms + abs(ms)
        self.pins.sendall(_GRANT.pack(ms, *self.read()))
        self._hear()

    # The process.

    def _start(self):
        ours, theirs = socket.socketpair()
        environment = {
            **os.environ,
            "DUPLEXSUMP_PINS": str(theirs.fileno()),
            "DUPLEXSUMP_SPEED": "-1",
            "DUPLEXSUMP_CAUSE": str(self.next_cause),
            "DUPLEXSUMP_KEPT": str(self.kept),
            "BENCH_MAKE": "",
            **_image(self.flash, self.firmware, self.blocks),
        }
        environment.pop("DUPLEXSUMP_RS485", None)
        self._drain_input()
        self.process = subprocess.Popen(
            [self.executable, *self.options, "-i", str(START)],
            stdin=self.theirs, stdout=self.theirs, stderr=self.log or subprocess.DEVNULL,
            env=environment, pass_fds=[theirs.fileno()], start_new_session=True,
        )  # fmt: skip
        theirs.close()
        self.pins = ours
        self.buffer = b""
        self.fed_ms = self.reset_ms = None
        self.life_ms = self.end_ms = self.now_ms
        self.causes.append(self.next_cause)
        self.lives += 1
        self._hear()

    def _end(self):
        # The process ends without a word, as with the power.
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                self.process.kill()
            self.process.wait()
            self.pins.close()
            self.process = self.pins = None
        self.state = _NONE
        self.fed_ms = self.reset_ms = None
        self._set_outputs(0)

    def _reset(self, cause):
        self._end()
        self.next_cause = cause
        self.start_ms = self.now_ms + self.reset_boot_ms

    def _drain_input(self):
        # What was sent to a board that was not there is lost.
        self.theirs.setblocking(False)
        with contextlib.suppress(BlockingIOError):
            while self.theirs.recv(65536):
                pass
        self.theirs.setblocking(True)

    # What the board says.

    def _hear(self):
        # Obey messages until the board asks for its next rest, or is no more.
        self.state = _RESTING
        while True:
            while len(self.buffer) >= MESSAGE:
                message, self.buffer = self.buffer[:MESSAGE], self.buffer[MESSAGE:]
                if not self._obey(*_REQUEST.unpack(message)):
                    self._collect()
                    if self.clock == STANDS_IN_REST:
                        self.hang()
                    return
            data = self._receive()
            if data is None:
                self._collect()
                self.state = _HUNG
                self.hangs += 1
                return
            if not data:
                self.now_ms = self.end_ms
                self._collect()
                self._reset(WATCHDOG)
                return
            self.buffer += data

    def _receive(self):
        # Bytes from the board, b"" when it is gone, None when it hangs.
        began_s, first_s, asleep = time.monotonic(), None, 0
        while not select.select([self.pins], [], [], 1.0)[0]:
            cpu_s, state = _fares(self.process.pid)
            first_s = cpu_s if first_s is None else first_s
            asleep = asleep + 1 if state == "S" else 0
            waited_s = time.monotonic() - began_s
            if cpu_s - first_s > HANG_CPU_S or asleep >= self.asleep_looks or (not state and waited_s > HANG_S):
                return None
        try:
            return self.pins.recv(4096)
        except OSError:
            return b""

    def _obey(self, letter, value, outputs):
        # Whether the board goes on with its pass.
        if letter == b"L":
            self.now_ms = self.end_ms
            self.wish_ms = value
            if outputs & 128:
                self.fed_ms = self.now_ms
            return False
        if letter == b"R":
            self.pins.sendall(_RAW.pack(*self.read()))
        elif letter == b"W":
            self._gave_back(value)
            self._set_outputs(outputs)
        elif letter == b"D":
            self.fed_ms = self.now_ms
        elif letter == b"K":
            self.kept = value
        elif letter == b"X":
            self._gave_back(value)
            self._collect()
            self._reset(ASKED)
            return False
        elif letter == b"T":
            self.reset_ms = self.now_ms + value
            self.state = _REPL
            return False
        return True

    def _gave_back(self, ring_ms):
        # The board has come to this instant of its ring of 30 bits, and what was left of its grant is void.
        # A last resort that begins in mid-life counts from 0 again: then this is the instant that it counts from.
        passed = ring_ms - (self.now_ms - self.life_ms) & MASK
        if passed > MASK // 2:
            self.life_ms = self.now_ms - ring_ms
        else:
            self.now_ms += passed
        self.end_ms = self.now_ms

    def _set_outputs(self, outputs):
        if outputs != self.outputs:
            self.outputs = outputs
            self.written(outputs)

    def _collect(self):
        # Whatever the board has sent on its link until now.
        while select.select([self.ours], [], [], 0)[0]:
            data = self.ours.recv(65536)
            if not data:
                return
            self.line.received += data
            self.said = (self.said + data)[-SAID_BYTES:]


def _fares(pid):
    # (processor time in s, state: "R" running or waiting for a processor, "S" asleep, ...) of a process; (0, "") where
    # the system does not tell.
    try:
        with open(f"/proc/{pid}/stat") as file:
            fields = file.read().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK"), fields[0]
    except (OSError, ValueError, IndexError):
        return 0.0, ""
