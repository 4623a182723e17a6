"""Runs under MicroPython: a journal and settings workload on the real LittleFS, every block write told to a log.

argv: the firmware's lib folder, blocks, a file for the log, "restart" or "write".

    write    do the workload and log every erase, program and marker
    restart  rebuild the flash as it was after every so many writes of the log (argv 5), power up on it and go on

Log entries: kind, block, offset, length (1 + 4 + 4 + 2 bytes), then the data.
Markers name what is promised from then on: "settings N", "flushed SEGMENT SIZE".
"""

import struct
import sys

import vfs

sys.path.insert(0, sys.argv[1])

from duplexsump.control import settings as s  # noqa: E402
from duplexsump.control.controller import Controller  # noqa: E402
from duplexsump.control.records import IN_CURRENT_1, IN_MAINS, N_INPUTS  # noqa: E402
from duplexsump.control.ticks import add  # noqa: E402
from duplexsump.station.recorder import Recorder  # noqa: E402
from duplexsump.station.store import Store  # noqa: E402

BLOCK = 4096
PROGRAM, ERASE, MARKER = 1, 2, 3
WORDS = (0, 1, 1, 3, 3, 1, 1, 0, 0, 1, 3, 7, 15, 7, 3, 1)


class Ram:
    """A NOR flash in memory that tells what is done to it."""

    def __init__(self, blocks, log):
        self.blocks = blocks
        self.data = bytearray(b"\xff" * (blocks * BLOCK))
        self.log = log

    def readblocks(self, number, buffer, offset=0):
        at = number * BLOCK + offset
        buffer[:] = self.data[at : at + len(buffer)]

    def writeblocks(self, number, buffer, offset=0):
        at = number * BLOCK + offset
        self.data[at : at + len(buffer)] = buffer
        if self.log:
            self.log.write(struct.pack("<BIIH", PROGRAM, number, offset, len(buffer)))
            self.log.write(buffer)

    def ioctl(self, operation, argument):
        if operation == 4:
            return self.blocks
        if operation == 5:
            return BLOCK
        if operation == 6:
            self.data[argument * BLOCK : (argument + 1) * BLOCK] = b"\xff" * BLOCK
            if self.log:
                self.log.write(struct.pack("<BIIH", ERASE, argument, 0, 0))
        return 0


class Work:
    """A controller with its recorder and store, driven by hand."""

    def __init__(self, log):
        self.log = log
        self.now = 0x3FFFFFFF - 100000  # the clock's ring wraps in the middle
        self.inputs = [0] * N_INPUTS
        self.raw = [0] * N_INPUTS
        self.ticks = 0
        self.told = None
        self.flushed_records = 0
        self.most_at_risk = 0

    def mark(self, text):
        if self.log:
            data = text.encode()
            self.log.write(struct.pack("<BIIH", MARKER, 0, 0, len(data)))
            self.log.write(data)

    def start(self):
        self.store = Store("/flash")
        values = list(self.store.load())
        values[s.SENSING] = s.SENSE_CURRENT
        self.recorder = Recorder("/flash/journal", 0x1234)
        self.flushed_records = 0
        self.controller = Controller(values)
        retained, _ = self.recorder.recall(self.controller.retained_places())
        self.controller.power_up(self.now, retained)
        self.recorder.begin(self.controller, self.now, 0, retained, 0)
        self.tick(True)
        return retained

    def wall_now_s(self):
        return 0

    def promise(self):
        book = self.recorder.journal
        now = (book.number, book.size)
        self.most_at_risk = max(self.most_at_risk, book.records - self.flushed_records)
        if now != self.told and book.file is not None:
            self.told = now
            self.flushed_records = book.records
            self.mark("flushed %d %d" % now)

    def tick(self, first=False):
        c, inputs = self.controller, self.inputs
        inputs[0] = WORDS[self.ticks // 60 % len(WORDS)]
        inputs[IN_MAINS] = 1
        inputs[IN_CURRENT_1] = 2 * c.out[0]
        inputs[IN_CURRENT_1 + 1] = 2 * c.out[1]
        self.raw[IN_CURRENT_1] = 7000 * c.out[0] + self.ticks % 50
        c.step(self.now, inputs)
        self.recorder.step(self, 0, first)
        self.promise()
        self.now = add(self.now, 100)
        self.ticks += 1

    def save(self, debounce_ms):
        values = list(self.store.values)
        values[s.DEBOUNCE_MS] = debounce_ms
        self.store.save(values)
        self.mark("settings %d" % self.store.sequence)


def workload(work):
    """Two lives with pumping, settings written between, then events until the flash is full twice over."""
    for life in range(2):
        work.start()
        for n in range(4):
            for _ in range(260):
                work.tick()
            work.save(1000 + 100 * (4 * life + n))
    text = "an event whose words take up room, so that the flash is full before long. " * 3
    for n in range(130):
        for _ in range(4):  # five to a flush
            work.recorder.journal.event(work.now, 3, n, text)
        work.recorder.event(work.now, 3, n, text)
        work.promise()
        work.tick()
        if n % 10 == 0:
            work.save(1000 + 100 * (n % 20))
    print("dropped", work.recorder.journal.dropped, "faults", work.recorder.faults, "at risk", work.most_at_risk)


def write(blocks, path):
    with open(path, "wb") as log:
        flash = Ram(blocks, None)
        vfs.VfsLfs2.mkfs(flash)
        flash.log = log
        log.write(flash.data)
        vfs.mount(vfs.VfsLfs2(flash), "/flash")
        workload(Work(log))


def restart(blocks, path, every):
    """Power up on the flash as it was after each `every`th write: it must mount, recall, record and save."""
    tried = 0
    with open(path, "rb") as log:
        flash = Ram(blocks, None)
        log.readinto(flash.data)
        image = flash.data
        writes = 0
        while True:
            head = log.read(11)
            if not head:
                break
            kind, block, offset, length = struct.unpack("<BIIH", head)
            data = log.read(length)
            if kind == MARKER:
                continue
            writes += 1
            if kind == ERASE:
                image[block * BLOCK : (block + 1) * BLOCK] = b"\xff" * BLOCK
            else:
                image[block * BLOCK + offset : block * BLOCK + offset + length] = data
            if writes % every == 0:
                again = Ram(blocks, None)
                again.data[:] = image
                go_on(again)
                tried += 1
    print("restarts", tried, "of", writes)


def go_on(flash):
    vfs.mount(vfs.VfsLfs2(flash), "/flash")
    work = Work(None)
    work.start()
    for _ in range(130):
        work.tick()
    work.save(2000)
    if work.recorder.faults > 1 or work.recorder.journal.file is None:
        raise ValueError("the journal does not go on: %d faults" % work.recorder.faults)
    work.recorder.close(work.now)
    vfs.umount("/flash")
    vfs.mount(vfs.VfsLfs2(flash), "/flash")
    if Store("/flash").load()[s.DEBOUNCE_MS] != 2000:
        raise ValueError("the settings do not go on")
    vfs.umount("/flash")


if sys.argv[4] == "write":
    write(int(sys.argv[2]), sys.argv[3])
else:
    restart(int(sys.argv[2]), sys.argv[3], int(sys.argv[5]))
