"""An installation on a flash image, damage to it, and what a board with that image does in a flood.

The firmware is the compiled one, as `sumpbench deploy` lays it down; the board is
real MicroPython in lockstep, so that a case takes the same course every time.
"""

import random
import shutil
from dataclasses import dataclass
from pathlib import Path

from duplexsump.control.records import IN_CHARGER, IN_MAINS, N_INPUTS
from littlefs import LittleFS, UserContext

from host_sim.board import deploy
from host_sim.board.lockstep import LockstepBoard, make_flash
from host_sim.board.virtual import FIRMWARE
from tests.micropython.places import micropython

BLOCK, BLOCKS = 4096, 352
ALL_WET = 7  # off, lead, lag closed; high, normally closed, open
LIMIT_MS = 60000
PUMPS, HORN, RELAY = 3, 4, 16


def installation(folder, source=FIRMWARE, more=()):
    """Return the path of a flash image with the compiled firmware, its manifest and an empty /pit.

    `more` are names of files beside main.py that go below /lib.
    """
    micropython()
    build, image = folder / "installed", folder / "sound.img"
    deploy.compile_firmware(source, build / "lib" / "duplexsump", "posix")
    for name in ("boot.py", "main.py"):
        shutil.copy(Path(source) / name, build / name)
    for name in more:
        shutil.copy(Path(source) / name, build / "lib" / name)
    make_flash(image, build, blocks=BLOCKS)
    return image


class Disk(UserContext):
    """A flash image in memory."""

    def __init__(self, image):
        self.image = bytearray(image)

    def read(self, cfg, block, off, size):
        return self.image[block * BLOCK + off : block * BLOCK + off + size]

    def prog(self, cfg, block, off, data):
        self.image[block * BLOCK + off : block * BLOCK + off + len(data)] = data
        return 0

    def erase(self, cfg, block):
        self.image[block * BLOCK : (block + 1) * BLOCK] = b"\xff" * BLOCK
        return 0

    def sync(self, cfg):
        return 0


class Files:
    """The files on a flash image: `with Files(path) as files:` - what is changed is written back at the end."""

    def __init__(self, path):
        self.path = Path(path)
        self.disk = Disk(self.path.read_bytes())
        self.fs = LittleFS(context=self.disk, block_size=BLOCK, block_count=BLOCKS, read_size=32, prog_size=32,
                           cache_size=BLOCK, lookahead_size=32)  # fmt: skip

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.fs.unmount()
        self.path.write_bytes(bytes(self.disk.image))

    def names(self):
        """Return the paths of all files, in order."""
        return sorted(f"{top.rstrip('/')}/{name}" for top, _, files in self.fs.walk("/") for name in files)

    def get(self, name):
        """Return a file's bytes."""
        with self.fs.open(name, "rb") as file:
            return file.read()

    def put(self, name, data):
        """Write a file."""
        with self.fs.open(name, "wb") as file:
            file.write(data)

    def fill(self):
        """Leave one block free at most: neither a folder nor a file finds room."""
        self.put("/filler", bytes(BLOCK * (BLOCKS - self.fs.used_block_count - 6)))
        number = 0
        while self.fs.used_block_count < BLOCKS - 1:
            number += 1
            self.put(f"/filler{number}", bytes(BLOCK))


def missing(files, name, draw):
    """The file is gone."""
    files.fs.remove(name)


def truncated(files, name, draw):
    """The file ends somewhere, at its first byte or just before its last at the extremes."""
    data = files.get(name)
    files.put(name, data[: draw.randrange(len(data))] if data else b"")


def zeroed(files, name, draw):
    """Every byte reads 0."""
    files.put(name, bytes(len(files.get(name))))


def flipped(files, name, draw):
    """One bit is the other way round."""
    data = bytearray(files.get(name))
    if data:
        data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
    files.put(name, bytes(data))


@dataclass
class Flood:
    """What a board did with all floats wet: ms until a pump ran and until the horn sounded (None: never), and the end.

    `running` is whether a pump and the horn were on then; `lives` how often it started; `said` what it printed; `mode`
    which part of the firmware kept the pit, the "station" or "floats only".
    """

    pump_ms: int | None = None
    horn_ms: int | None = None
    relay: bool = False
    lives: int = 0
    running: bool = False
    said: str = ""
    mode: str = "station"
    edges: tuple = ()  # (ms, outputs) at each change

    @property
    def good(self):
        """Whether the pit is kept: a pump and the horn came, both are on and the relay is dropped at the end."""
        return None not in (self.pump_ms, self.horn_ms) and self.running and not self.relay

    @property
    def in_time(self):
        """Whether a pump ran and the horn sounded within the minute."""
        return all(ms is not None and ms <= LIMIT_MS for ms in (self.pump_ms, self.horn_ms))

    def saw(self, ms, outputs):
        """Note the outputs from an instant on."""
        self.edges += ((ms, outputs),)
        if outputs & PUMPS and self.pump_ms is None:
            self.pump_ms = ms
        if outputs & HORN and self.horn_ms is None:
            self.horn_ms = ms

    def words(self):
        """Return it as a line."""
        first = {what: "never" if ms is None else f"{ms / 1000:.1f} s" for what, ms in
                 (("pump", self.pump_ms), ("horn", self.horn_ms))}  # fmt: skip
        relay = "energized" if self.relay else "dropped"
        return f"pump {first['pump']}, horn {first['horn']}, relay {relay}, {self.mode}, lives {self.lives}"


def flood(image, scratch, heap="", kept=0, lasts_ms=LIMIT_MS):
    """Power a board up with all floats wet, on a copy of `image`, and watch it; `kept` is the word that a life left."""
    flash = scratch / "case.img"
    shutil.copy(image, flash)
    found = Flood()
    raw = [0] * N_INPUTS
    raw[0], raw[IN_MAINS], raw[IN_CHARGER] = ALL_WET, 1, 1

    with LockstepBoard(flash, lambda: raw, lambda outputs: found.saw(board.now_ms, outputs), heap=heap) as board:
        board.asleep_looks = 2
        board.power(True)
        board.kept = kept
        board.advance(lasts_ms)
        found.running = bool(board.outputs & PUMPS and board.outputs & HORN)
        found.relay = bool(board.outputs & RELAY)
        found.lives, found.said = board.lives, board.said.decode(errors="replace")
        found.mode = "floats only" if "floats only:" in found.said else "station"
    return found


def damaged(image, scratch, how, name, seed):
    """Return what a board does in a flood with file `name` of its installation damaged."""
    copy = scratch / "damaged.img"
    shutil.copy(image, copy)
    with Files(copy) as files:
        how(files, name, random.Random(seed))
    return flood(copy, scratch)
