"""A virtual board: the firmware on real MicroPython, its USB port a pty, its pins in a simulated pit.

The bench stands for the hardware: it drives the pins, resets a board whose
watchdog is not fed, cuts the power, and keeps the flash.  It runs in its own
thread.
"""

import contextlib
import os
import selectors
import shutil
import socket
import struct
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path

from duplexsump.control.records import N_INPUTS

from host_sim.board.firmware_folder import FIRMWARE, INSTALLED
from host_sim.board.pit import Pit
from host_sim.errors import InputError

WATCHDOG_S = 8.388  # the longest an RP2040's watchdog reaches
BOOT_S = 0.2
MASK = 0x3FFFFFFF
POWER_ON, WATCHDOG, ASKED = range(3)
MESSAGE = 6
NO_FIRMWARE = (
    f"the firmware's files are neither beside this package nor in {INSTALLED}.  In the clone, type:  "
    f"{sys.executable} -m pip install --force-reinstall --no-deps ."
)
START = Path(__file__).with_name("start.py")


def find_micropython():
    """Return the path of a `micropython` executable.  Raises InputError saying how to get one."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        raise InputError("no MicroPython for the virtual board is installed.  In the clone, type:  "
                         f'{sys.executable} -m pip install ".[board]"', "virtual board")  # fmt: skip
    return found


class VirtualBoard:
    """`with VirtualBoard(site, flash) as board:` - then `board.port` is its USB port, `board.port_485` its RS-485.

    `flash` is the path of the flash image, kept from run to run.  `speed` is how
    fast time goes, 0 as fast as it can.  `firmware` fills a new image.  `pit`
    takes the place of the site's own where given: something else at the pins
    that has the methods and fields of `host_sim.board.pit.Pit` used here.
    `on_outputs(outputs)`, where given, is called at every change of the outputs.
    """

    def __init__(
        self, site, flash, speed=1, faults=(), firmware=FIRMWARE, blocks=352, log=None, pit=None, on_outputs=None
    ):
        if not FIRMWARE.is_dir():
            raise InputError(NO_FIRMWARE, "virtual board")
        self.executable = find_micropython()
        self.flash = Path(flash).resolve()
        self.speed = speed
        self.firmware = Path(firmware)
        self.blocks = blocks
        self.log = log
        self.lock = threading.RLock()
        self.pit = pit or Pit(site, faults, self._fault_reset)
        self.on_outputs = on_outputs
        self.outputs = 0
        self.lives = 0
        self.causes = []
        self.process = None
        self.pins = None
        self.buffer = b""
        self.fed_s = None  # wall clock of the last feed, None until the first
        self.reset_at_s = None
        self.start_at_s = self.dead_since_s = 0.0
        self.next_cause = POWER_ON
        self.kept = 0  # the word that outlives a reset but no power cut
        self.base_ms = 0
        self.board_ms = 0
        self.off = False
        self.stopping = False
        self.thread = None
        self.watching = selectors.DefaultSelector()
        self.master, self.slave = os.openpty()
        self.master_485, self.slave_485 = os.openpty()
        for end in (self.master, self.slave, self.master_485, self.slave_485):
            tty.setraw(end)
        self.port = os.ttyname(self.slave)
        self.port_485 = os.ttyname(self.slave_485)
        self.wake_read, self.wake_write = os.pipe()
        self.watching.register(self.wake_read, selectors.EVENT_READ)

    def __enter__(self):
        self.thread = threading.Thread(target=self._run, name="bench", daemon=True)
        self.thread.start()
        return self

    def __exit__(self, *_):
        self.stopping = True
        os.write(self.wake_write, b"x")
        self.thread.join()
        self._end()
        ends = (self.master, self.slave, self.master_485, self.slave_485, self.wake_read, self.wake_write)
        for descriptor in ends:
            os.close(descriptor)

    # What a person or a test does at the board.

    def power_cut(self):
        """Cut the power now; `power_on()` restores it."""
        with self.lock:
            self.off = True
            self._end()

    def power_on(self):
        """Restore the power."""
        with self.lock:
            self.off = False
            self.next_cause, self.kept = POWER_ON, 0
            self.start_at_s = time.monotonic()
        os.write(self.wake_write, b"x")

    def set_jumper(self, made):
        """Make or open the test jumper."""
        self.pit.jumper = 1 if made else 0

    # The bench's thread.

    def _run(self):
        while not self.stopping:
            with self.lock:
                self._keep_alive()
            for key, _ in self.watching.select(0.05):
                if key.fd == self.wake_read:
                    os.read(self.wake_read, 64)
                    continue
                with self.lock:
                    if self.pins is not None and key.fileobj is self.pins:
                        self._hear()

    def _keep_alive(self):
        now = time.monotonic()
        if self.process is None:
            dead = (now - self.dead_since_s) if self.lives else 0.0
            self.pit.advance(self.base_ms + int(dead * 1000.0 * (self.speed or 1)))
            if not self.off and now >= self.start_at_s and self.pit.powered():
                self._start()
            return
        starved = self.fed_s is not None and now - self.fed_s > WATCHDOG_S
        if starved or self.process.poll() is not None:
            self._reset(WATCHDOG)
        elif self.reset_at_s is not None and now >= self.reset_at_s:
            self._reset(ASKED)
        elif not self.pit.powered():
            self._end()
            self.next_cause, self.kept = POWER_ON, 0

    def _start(self):
        ours, theirs = socket.socketpair()
        environment = {
            **os.environ,
            "DUPLEXSUMP_PINS": str(theirs.fileno()),
            "DUPLEXSUMP_RS485": str(self.master_485),
            "DUPLEXSUMP_SPEED": str(self.speed),
            "DUPLEXSUMP_CAUSE": str(self.next_cause),
            "DUPLEXSUMP_KEPT": str(self.kept),
            "BENCH_FLASH": str(self.flash),
            "BENCH_FIRMWARE": str(self.firmware),
            "BENCH_BLOCKS": str(self.blocks),
        }
        self.process = subprocess.Popen(
            [self.executable, "-i", str(START)],
            stdin=self.master, stdout=self.master, stderr=self.log or subprocess.DEVNULL,
            env=environment, pass_fds=[theirs.fileno(), self.master_485], start_new_session=True,
        )  # fmt: skip
        theirs.close()
        self.pins = ours
        self.watching.register(ours, selectors.EVENT_READ)
        self.buffer = b""
        self.fed_s = self.reset_at_s = None
        self.causes.append(self.next_cause)
        self.lives += 1
        self.base_ms = self.pit.now_ms
        self.board_ms = 0

    def _end(self):
        # Kill the process, as a power cut would.
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                self.process.kill()
            self.process.wait()
            self.watching.unregister(self.pins)
            self.pins.close()
            self.process = self.pins = None
        self._set(0)
        self.dead_since_s = time.monotonic()
        self.base_ms = self.pit.now_ms
        self.start_at_s = self.dead_since_s + BOOT_S

    def _reset(self, cause):
        self._end()
        self.next_cause = cause

    def _fault_reset(self):
        if self.process is not None:
            self.reset_at_s = 0.0
            self.next_cause = ASKED

    def _hear(self):
        try:
            data = self.pins.recv(4096)
        except OSError:
            data = b""
        if not data:
            self._reset(WATCHDOG)
            return
        self.buffer += data
        while len(self.buffer) >= MESSAGE and self.pins is not None:
            message, self.buffer = self.buffer[:MESSAGE], self.buffer[MESSAGE:]
            self._obey(*struct.unpack("<cIB", message))

    def _obey(self, letter, value, outputs):
        if letter == b"K":
            self.kept = value
            return
        if letter == b"T":
            self.reset_at_s = time.monotonic() + value / 1000.0
            return
        self._time(value)
        if letter == b"R":
            raw = self.pit.read(self.base_ms + self.board_ms)
            self.pins.sendall(struct.pack(f"<{N_INPUTS}i", *raw))
        elif letter == b"W":
            self._set(outputs)
        elif letter == b"D":
            self.fed_s = time.monotonic()
        elif letter == b"X":
            self._reset(ASKED)

    def _set(self, outputs):
        if self.on_outputs is not None and outputs != self.outputs:
            self.on_outputs(outputs)
        self.outputs = outputs
        self.pit.write(outputs & 1, outputs >> 1 & 1)

    def _time(self, ring_ms):
        # The board's ring of 30 bits, unrolled.
        step = (ring_ms - self.board_ms) & MASK
        if step < MASK // 2:
            self.board_ms += step
