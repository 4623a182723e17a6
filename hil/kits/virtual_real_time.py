"""The virtual board in real time as a kit: the same firmware at the pace of the clock, its USB port a pty.

Slower than lockstep and never twice quite the same: what it adds is that the
firmware keeps its times by itself, beside everything else a computer does.
"""

import os
import queue
import shutil
import signal
import tempfile
import time
from pathlib import Path

from duplexsump.control import settings as s

from hil.kits import base, wires
from hil.kits.virtual import bench_settings, description
from host_sim.board.client import Client
from host_sim.board.lockstep import make_flash
from host_sim.board.virtual import FIRMWARE, VirtualBoard
from host_sim.errors import InputError

ANSWER_S = 60.0
POLL_S = 0.002
# Shorter rules, so that a person need not wait; each within its range and the set sound.
SHORT = {
    "debounce": 500,
    "boot_hold": 2000,
    "min_off": 10000,
    "lag_min_off": 5000,
    "flood_min_off": 3000,
    "start_proof": 1000,
    "start_spacing": 1000,
    "generator_spacing": 3000,
    "min_run": 1000,
    "dry_run": 2000,
    "sequence_time": 5000,
    "mains_settle": 3000,
    "flood_settle": 1000,
    "retry": 60000,
    "flood_retry": 60000,
}


def short_settings():
    """Return the settings record of a fresh kit's board: the bench's, with short rules."""
    values = bench_settings()
    for name, value in SHORT.items():
        values[s.index(name)] = value
    return values


class Pins:
    """What is at the board's pins in place of a pit: the raw record that the kit holds, read by the board's thread."""

    def __init__(self, raw):
        self.raw = raw
        self.now_ms = 0
        self.jumper = 0

    def read(self, now_ms):
        """Return the raw record."""
        self.now_ms = max(self.now_ms, now_ms)
        return self.raw

    def advance(self, now_ms):
        """Nothing moves by itself here."""
        self.now_ms = max(self.now_ms, now_ms)

    def write(self, pump_1, pump_2):
        """No pump hangs on these relays."""

    def powered(self):
        """The bench's power is always there unless it is cut."""
        return True


class RealTimeKit(base.Kit):
    """A virtual board in real time; `settings` is a settings record, `firmware` the folder its flash is made from."""

    place = "virtual, real time"
    wires = frozenset(wires.WIRES)
    abilities = frozenset(set(base.ABILITIES) - {"stride"})
    forgets = True
    may_change_settings = True
    timing_ms = 250  # what an ordinary computer with other work to do may keep a process waiting; from memory

    def __init__(self, settings=None, firmware=FIRMWARE, seed=0):
        super().__init__()
        self.seed = seed
        self.settings = list(settings or short_settings())
        self.rest = wires.rest_values(self.settings)
        self.driven = dict(self.rest)
        self.folder = tempfile.TemporaryDirectory(prefix="sumpbench-kit-")
        self.flash = Path(self.folder.name) / "flash.img"
        self.fresh = Path(self.folder.name) / "fresh.img"
        self.errors = open(Path(self.folder.name) / "stderr.txt", "w+b")  # noqa: SIM115 - as long as the kit
        self.pins = Pins(wires.raw_record(self.driven))
        self.heard = queue.SimpleQueue()  # (ms, outputs) from the board's thread
        self.began_s = time.monotonic()
        self.board = self.link = None
        self.registers = {}
        try:
            make_flash(self.fresh, Path(firmware), self.settings)
            self.board = VirtualBoard(
                None, self.flash, 1, firmware=firmware, log=self.errors, pit=self.pins, on_outputs=self._told
            )
            self.board.off = True
            self.board.__enter__()
        except BaseException:
            self.close()
            raise

    def _told(self, outputs):
        self.heard.put((self.now_ms(), outputs))

    def _hear(self):
        # In the caller's thread, so that whoever listens may drive wires.
        while not self.heard.empty():
            ms, outputs = self.heard.get()
            for name in wires.OUTPUTS:
                self.saw(name, outputs >> wires.WIRES[name].place & 1, ms)

    def now_ms(self):
        """Return the time in ms since the kit was opened."""
        return int((time.monotonic() - self.began_s) * 1000.0)

    def run_ms(self, ms):
        """Let `ms` pass by the clock."""
        until = time.monotonic() + ms / 1000.0
        while True:
            self._hear()
            left = until - time.monotonic()
            if left <= 0.0:
                return
            time.sleep(min(left, POLL_S))

    def read(self, name):
        """Return the value at a pin, now."""
        self._hear()
        return super().read(name)

    def _put(self, name, value):
        # A new record takes the place of the old one at once: the board's thread never sees half a change.
        self.pins.raw = wires.raw_record({**self.driven, name: value})

    def client(self):
        """Return the client on the board's USB port."""
        if self.link is None:
            self.link = Client(self.board.port)
        return self.link

    def power(self, on):
        """Cut or give the controller's power."""
        if on:
            self.board.power_on()
        else:
            self.board.power_cut()
        self._hear()

    def hang(self):
        """Stop the firmware's process dead; the watchdog, which the bench plays, does the rest."""
        with self.board.lock:
            if self.board.process is not None:
                os.kill(self.board.process.pid, signal.SIGSTOP)

    def cold_start(self):
        """Begin with a flash that holds the firmware and the settings, and has seen nothing yet."""
        self.power(False)
        shutil.copyfile(self.fresh, self.flash)
        self.power(True)

    def reset(self):
        """Make a fresh start: rest values, an empty memory, power, an answer."""
        self.power(False)
        self.to_rest()
        self.cold_start()
        until = time.monotonic() + ANSWER_S
        while True:
            try:
                self.client().identify()
                self._hear()
                return
            except InputError:
                if time.monotonic() >= until:
                    raise

    def describe(self):
        """Return what is under test; the board must have started."""
        self.registers = self.registers or self.client().values()
        return description(self)

    def log(self):
        """Return what MicroPython said and the pin trace."""
        self.errors.flush()
        self.errors.seek(0)
        said = self.errors.read().decode("utf-8", "replace").strip()
        head = f"starts for reasons {self.board.causes} (0 power-up, 1 watchdog, 2 asked for)"
        return "\n".join(part for part in (head, said[-4000:], self.trace()) if part)

    def close(self):
        """End the board: its outputs drop with its power."""
        if self.link is not None:
            self.link.close()
        if self.board is not None and self.board.thread is not None:
            self.board.__exit__()
            self.board.thread = None
        self.errors.close()
        self.folder.cleanup()
