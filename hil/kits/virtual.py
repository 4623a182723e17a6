"""The virtual board as a kit, in lockstep: the bench owns the time, so a rule of twenty minutes takes seconds.

The harness is the rig: every wire can be driven and read, the power cut, the firmware hung.
"""

import shutil
import subprocess
import tempfile
from pathlib import Path

from duplexsump.control import settings as s

from hil.kits import base as kit
from hil.kits import wires
from host_sim.board.client import Client
from host_sim.board.lockstep import WAIT_MS, LockstepBoard, make_flash
from host_sim.board.virtual import FIRMWARE
from host_sim.errors import InputError

ANSWER_MS = 30000  # a board that has not answered by then does not answer


def bench_settings():
    """Return the settings record that a fresh kit's board has: the defaults, with motor current sensed."""
    values = s.defaults()
    values[s.SENSING] = s.SENSE_CURRENT
    return values


class VirtualKit(kit.Kit):
    """A virtual board in lockstep.  `settings` is a settings record; `firmware` the folder its flash is made from."""

    place = "virtual"
    wires = frozenset(wires.WIRES)
    abilities = frozenset(kit.ABILITIES)
    exact = True
    forgets = True
    may_change_settings = True

    def __init__(self, settings=None, firmware=FIRMWARE, seed=0):
        super().__init__()
        self.seed = seed
        self.settings = list(settings or bench_settings())
        self.folder = tempfile.TemporaryDirectory(prefix="sumpbench-kit-")
        self.flash = Path(self.folder.name) / "flash.img"
        self.fresh = Path(self.folder.name) / "fresh.img"
        self.errors = open(Path(self.folder.name) / "stderr.txt", "w+b")  # noqa: SIM115 - as long as the kit
        self.rest = wires.rest_values(self.settings)
        self.driven = dict(self.rest)
        self.raw = wires.raw_record(self.driven)
        self.registers = {}
        try:
            make_flash(self.fresh, Path(firmware), self.settings)
            self.board = LockstepBoard(self.flash, self._record, self._written, Path(firmware), log=self.errors)
        except BaseException:
            self._tidy()
            raise
        self.link = Client(self.board.line)

    def _record(self):
        return self.raw

    def _written(self, outputs):
        for name in wires.OUTPUTS:
            self.saw(name, outputs >> wires.WIRES[name].place & 1)

    def _wait(self):
        # Let time pass until the board answers on its link.
        until = self.now_ms() + ANSWER_MS
        while not self.board.resting and self.now_ms() < until:
            self.board.advance(WAIT_MS)
        while True:
            try:
                self.link.identify()
                return
            except InputError:
                if self.now_ms() >= until:
                    raise

    # A kit.

    def now_ms(self):
        """Return the board's time in ms since the kit was opened, its dead times counted."""
        return self.board.now_ms

    def run_ms(self, ms):
        """Let `ms` pass."""
        self.board.advance(ms)

    def run_until_edge(self, predicate, limit_ms):
        """Let time pass from one change of an output to the next until `predicate()` holds or the limit is reached."""
        until = self.now_ms() + limit_ms
        while not predicate():
            if self.now_ms() >= until:
                return False
            self.run_to_move(until - self.now_ms())
        return True

    def run_to_move(self, limit_ms):
        """Let time pass until an output changes, at most `limit_ms`."""
        self.board.advance(limit_ms, to_move=True)

    def _step_ms(self, left_ms):
        """Return the step in which `run_until` looks: the board asks for its next rest at every tick."""
        wish = self.board.wish_ms if self.board.resting else WAIT_MS
        return max(1, min(wish, left_ms))

    def _put(self, name, value):
        row = wires.WIRES[name]
        if row.bit:
            self.raw[row.place] = self.raw[row.place] & ~row.bit | (row.bit if value else 0)
        else:
            self.raw[row.place] = value

    def client(self):
        """Return the client on the link; while it waits, time stands still as long as the board has something to do."""
        return self.link

    def power(self, on):
        """Cut or give the controller's power."""
        self.board.power(on)

    def stride_ms(self, ms):
        """Let up to 23 h pass in one stride: the board's next step comes late by that much."""
        self.board.stride(ms)

    def hang(self):
        """Stop the firmware dead; the watchdog is left to it."""
        self.board.hang()

    def reset(self):
        """Make a fresh start: rest values, a flash that has seen nothing but its settings, power, an answer."""
        self.board.power(False)
        self.to_rest()
        self.cold_start()
        self._wait()

    def cold_start(self):
        """Begin with a flash that holds the firmware and the settings, and has seen nothing yet."""
        self.board.power(False)
        shutil.copyfile(self.fresh, self.flash)
        self.board.power(True)

    def describe(self):
        """Return what is under test; the board must have started."""
        self.registers = self.registers or self.link.values()
        return description(self)

    def log(self):
        """Return what came over the board's USB port, what MicroPython said besides, and the pin trace."""
        self.errors.flush()
        self.errors.seek(0)
        said = self.errors.read().decode("utf-8", "replace").strip()
        head = f"starts for reasons {self.board.causes} (0 power-up, 1 watchdog, 2 asked for)"
        link = self.board.said.decode("ascii", "replace").replace("\r\n", "\n").strip()
        return "\n".join(part for part in (head, link, said[-4000:], self.trace()) if part)

    def close(self):
        """End the board: its outputs drop with its power."""
        self.board.close()
        self._tidy()

    def _tidy(self):
        self.errors.close()
        self.folder.cleanup()


def description(kit):
    """Return what is under test on a virtual kit whose registers have been read."""
    return {
        "board": kit.place,
        "firmware": f"{kit.registers['firmware']:08x}",
        "wiring": f"all {len(kit.wires)} wires{f' of {kit.stands_for}' if kit.stands_for else ''} by the harness",
        "micropython": micropython_version(kit.board.executable),
        "seed": kit.seed,
    }


def micropython_version(executable):
    """Return the version of a `micropython` executable as text."""
    ask = "import sys; print(*sys.implementation[1][:3], sep='.')"
    done = subprocess.run([executable, "-c", ask], capture_output=True, text=True, check=False)
    return (done.stdout or done.stderr).strip() or "unknown"
