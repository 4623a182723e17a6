"""J1, J2: what went into and came out of the core, on change, in segments on flash.

A segment is a file of batches (`codec.py`).  Its first batch holds one OPEN
record: firmware checksum, settings, snapshot, so a replay may start at any
segment.  Records:

    OPEN      version, segment, life, checksum, wall clock in s (0: not set), begins a life (1) or goes on (0),
              instant, settings, retained (only where a life begins), snapshot
    STEP      ticks since the record before, ticks late, outputs packed, mask of the inputs that differ, these inputs
    RETAINED  what survives a reset, as it differs: count, then (gap, value) pairs
    MINUTE    least, mean and most of each analog channel over a minute
    EVENT     code, value, text

The inputs of a life's first STEP are told against zeros, those of a segment
that goes on against the `last` record in its snapshot.
"""

import os

from ..control.records import N_INPUTS, OUT_CLOCK, OUT_LATE
from ..control.ticks import TICK_MS, const, diff
from .codec import HEAD, Batch, Reader, payloads

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Controller, File

VERSION = const(3)  # 3: faults of the board's own parts among the inputs; alarms of the same release
OPEN = const(1)
STEP = const(2)
RETAINED = const(3)
MINUTE = const(4)
EVENT = const(5)

EVENTS = (
    "power-up", "settings", "settings slot", "exception", "storage", "clock set", "maintenance", "reset asked for",
    "firmware changed", "journal damaged", "file damaged", "heap shrinks",
)  # fmt: skip
POWER_UP = const(0)  # value: reset cause
SETTINGS = const(1)  # value: sequence of the set
SETTINGS_SLOT = const(2)
EXCEPTION = const(3)
STORAGE = const(4)
CLOCK_SET = const(5)
MAINTENANCE = const(6)
RESET_ASKED = const(7)
FIRMWARE = const(8)
DAMAGED = const(9)
DAMAGED_FILE = const(10)  # text: the file that is not as it was installed
HEAP = const(11)  # value: bytes free after a collection; text: how many were free when it was last told

SEGMENT_BYTES = const(12288)  # a segment is closed once it is longer
LONGEST_SEGMENT = const(24576)  # no segment grows longer: what is, is none
MOST_SEGMENTS = const(40)
RESERVE_BLOCKS = const(8)  # free blocks of the file system below which the oldest segment goes
ROOM = const(1900)  # payload of a batch; RETAINED takes 1130 bytes at the most, STEP 150, MINUTE 70, EVENT 210
NUMBER = const(5)  # bytes that one takes at the most
MORE = const(1200)  # of an OPEN record, for what survives and the head
FULL = const(360)  # a batch that is longer is flushed at once
HELD_MS = const(900)  # J1: input-only records wait at most 1 s, one tick of it for the flush itself
QUIET_MS = const(43200000)  # no two records lie further apart


def pack(out: list[int]) -> int:
    """Return the outputs as one byte, a bit each; whether the step was late stands elsewhere."""
    value = 0
    for i in range(OUT_LATE):
        value |= out[i] << i
    return value | out[OUT_CLOCK] << 7


def segments(folder: str) -> list[int]:
    """Return the numbers of the segments in a folder, in order."""
    names = [name[:8] for name in os.listdir(folder) if len(name) == 12 and name.endswith(".seg")]
    return sorted([int(name) for name in names if name.isdigit()])


def path_of(folder: str, number: int) -> str:
    """Return the path of a segment."""
    return "%s/%08d.seg" % (folder, number)


def recall(data: bytes, retained_places: list[int]) -> tuple[int, int, list[int]]:
    """Return (life, checksum, retained) as the segment `data` leaves them.  Raises ValueError for a damaged one.

    `retained_places`: the places of a snapshot that survive a reset.
    """
    batches = payloads(data)
    if not batches:
        raise ValueError("no sound batch")
    reader = Reader(batches[0])
    opened = read_open(reader)
    snapshot = opened[8]
    retained = [snapshot[i] for i in retained_places] if len(snapshot) > retained_places[-1] else []
    for batch in batches:
        reader = Reader(batch)
        while reader.more():
            _skip(reader, retained)
    return opened[1], opened[2], retained


def read_open(reader: Reader) -> list:
    """Return the fields of an OPEN record as a list:

    segment, life, checksum, wall clock, begins, instant, settings, retained or None, snapshot.
    """
    if reader.byte() != OPEN:
        raise ValueError("no OPEN record: not the beginning of a segment")
    version = reader.count()
    if version != VERSION:
        raise ValueError("journal of version %d, this firmware reads %d: use the release that wrote it"
                         % (version, VERSION))
    head = [reader.count() for _ in range(6)]
    lists = []
    for wanted in (True, head[4], True):
        lists.append([reader.number() for _ in range(reader.count())] if wanted else None)
    return head + lists


def _skip(reader: Reader, retained: list[int]) -> None:
    kind = reader.byte()
    if kind == OPEN:
        reader.at -= 1
        read_open(reader)
    elif kind == RETAINED:
        read_retained(reader, retained)
    elif kind == STEP:
        for _ in range(3):
            reader.count()
        mask = reader.count()
        while mask:
            if mask & 1:
                reader.number()
            mask >>= 1
    elif kind == MINUTE:
        for _ in range(12):
            reader.number()
    elif kind == EVENT:
        reader.count()
        reader.number()
        reader.text()
    else:
        raise ValueError("unknown record %d" % kind)


def read_retained(reader: Reader, retained: list[int]) -> None:
    """Bring the list `retained` up to date with a RETAINED record whose kind has been read."""
    place = -1
    for _ in range(reader.count()):
        place += reader.count() + 1
        value = reader.number()
        if place < len(retained):
            retained[place] = value


class Journal:
    """The open segment and its neighbours in `folder`.  File errors are left to the caller (`recorder.py`)."""

    def __init__(self, folder: str, checksum: int) -> None:
        self.folder = folder
        self.checksum = checksum
        self.batch = Batch(ROOM)
        self.file: "File | None" = None
        self.number = 0
        self.size = 0
        self.life = 0
        self.first = 0
        self.count = 0
        self.flushes = 0
        self.records = 0
        self.dropped = 0

    def survey(self) -> list[int]:
        """Find what is there; return its segment numbers."""
        numbers = segments(self.folder)
        self.count = len(numbers)
        self.first = numbers[0] if numbers else 0
        self.number = numbers[-1] if numbers else 0
        return numbers

    def open(
        self,
        controller: "Controller",
        now_ms: int,
        wall_s: int,
        retained: "list[int] | None" = None,
    ) -> None:
        """Close the segment and open the next with the controller's snapshot; drop the oldest beyond MOST_SEGMENTS.

        `retained`: what survived, where a life begins; None where it goes on.
        """
        begins = retained is not None
        self.close()
        while self.count >= MOST_SEGMENTS or (self.count > 1 and self.scarce()):
            self.drop()
        snapshot = controller.snapshot()
        batch = Batch(NUMBER * (len(snapshot) + len(controller.settings)) + MORE)
        batch.byte(OPEN)
        for value in (VERSION, self.number + 1, self.life, self.checksum, wall_s, 1 if begins else 0, now_ms):
            batch.count(value)
        for values in (controller.settings, retained, snapshot):
            if values is not None:
                batch.count(len(values))
                for value in values:
                    batch.number(value)
        self._create(batch)
        self.at_ms = now_ms  # instant of the last STEP
        self.retained = controller.retain()
        self.last = [0] * N_INPUTS if begins else list(controller.last)
        self.out = pack(controller.out)

    def _create(self, batch: Batch) -> None:
        # The file of the next segment with its first batch; nothing is left of it when that fails.
        length = batch.seal()
        path = path_of(self.folder, self.number + 1)
        try:
            self.file = open(path, "wb")
            self.file.write(batch.view[:length])
            self.file.flush()
        except OSError:
            self.abandon()
            try:
                os.remove(path)
            except OSError:
                pass
            raise
        self.number += 1
        self.count += 1
        if self.count == 1:
            self.first = self.number
        self.size = length
        self.flushes += 1

    def close(self) -> None:
        """Close the segment, if one is open."""
        if self.file is not None:
            self.file.close()
            self.file = None

    def abandon(self) -> None:
        """Let go of the file after an error; what was flushed stays."""
        try:
            self.close()
        except OSError:
            self.file = None

    def scarce(self) -> bool:
        """Tell whether so little is free that a segment and both settings slots might not find room."""
        return os.statvfs(self.folder)[3] < RESERVE_BLOCKS

    def drop(self) -> None:
        """Remove the oldest segment; raises OSError when there is none but the open one."""
        numbers = [number for number in segments(self.folder) if number != self.number]
        if not numbers:
            raise OSError("no segment is left to drop")
        os.remove(path_of(self.folder, numbers[0]))
        self.dropped += 1
        self.count -= 1
        self.first = numbers[1] if len(numbers) > 1 else self.number

    def _begin(self, now_ms: int) -> None:
        if self.batch.end == HEAD:
            self.since_ms = now_ms  # instant of the oldest record that is not flushed
        self.records += 1

    def step(self, controller: "Controller", inputs: list[int], late_ms: int, always: bool) -> bool:
        """Record a step if inputs or outputs differ, it was late, or `always`; tell whether the outputs differ."""
        mask = self._differ(inputs)
        edge = self._turned(controller.out)
        if not (mask or late_ms or always or edge or diff(controller.now, self.at_ms) >= QUIET_MS):
            return False
        self._head(controller.now, late_ms)
        self._inputs(mask, inputs)
        return edge

    def _head(self, now_ms: int, late_ms: int) -> None:
        self._begin(now_ms)
        self.batch.byte(STEP)
        self.batch.count(diff(now_ms, self.at_ms) // TICK_MS)
        self.batch.count(late_ms // TICK_MS)
        self.batch.count(self.out)
        self.at_ms = now_ms

    def _turned(self, out: list[int]) -> bool:
        # Tell whether the outputs differ from those of the last step, and keep them.
        packed = pack(out)
        turned = packed != self.out
        self.out = packed
        return turned

    def _differ(self, inputs: list[int]) -> int:
        # The places of the inputs that differ from those of the last step, a bit each.
        mask = 0
        for i in range(N_INPUTS):
            if inputs[i] != self.last[i]:
                mask |= 1 << i
        return mask

    def _inputs(self, mask: int, inputs: list[int]) -> None:
        self.batch.count(mask)
        for i in range(N_INPUTS):
            if mask & (1 << i):
                self.batch.number(inputs[i])
                self.last[i] = inputs[i]

    def retain(self, now_ms: int, retained: list[int]) -> None:
        """Record how what survives a reset differs from what stands in the journal."""
        changed = 0
        for i in range(len(retained)):
            if retained[i] != self.retained[i]:
                changed += 1
        if not changed:
            return
        self._begin(now_ms)
        batch = self.batch
        batch.byte(RETAINED)
        batch.count(changed)
        place = -1
        for i in range(len(retained)):
            if retained[i] != self.retained[i]:
                batch.count(i - place - 1)
                batch.number(retained[i])
                place = i
        self.retained = retained

    def minute(self, now_ms: int, values: list[int]) -> None:
        """Record least, mean and most of the four analog channels: a list of 12 numbers."""
        self._begin(now_ms)
        self.batch.byte(MINUTE)
        for value in values:
            self.batch.number(value)

    def event(self, now_ms: int, code: int, value: int = 0, text: str = "") -> None:
        """Record an event of EVENTS; one that finds no room in the batch is left out."""
        if self.batch.end > ROOM - 200:
            return
        self._begin(now_ms)
        self.batch.byte(EVENT)
        self.batch.count(code)
        self.batch.number(value)
        self.batch.text(text)

    def waiting(self) -> bool:
        """Tell whether records wait to be flushed."""
        return self.batch.end > HEAD

    def due(self, now_ms: int) -> bool:
        """Tell whether what waits must be flushed now (J1)."""
        return self.waiting() and (self.batch.end > FULL or diff(now_ms, self.since_ms) >= HELD_MS)

    def flush(self) -> None:
        """Write what waits as one batch and have it on flash when this returns; after an error the segment goes on."""
        if not self.waiting():
            return
        file = self.file = self.file or open(path_of(self.folder, self.number), "ab")
        length = self.batch.seal()
        file.write(self.batch.view[:length])
        file.flush()
        self.size += length
        self.flushes += 1
        self.batch.clear()

    def full(self) -> bool:
        """Tell whether the segment is long enough to be closed."""
        return self.size >= SEGMENT_BYTES

    def window(self, number: int, offset: int, buffer: bytearray) -> int:
        """Read from a segment at `offset` into `buffer`; return the bytes read, 0 for a segment that is not there."""
        try:
            file = open(path_of(self.folder, number), "rb")
        except OSError:
            return 0
        try:
            file.seek(offset)
            return file.readinto(buffer)
        finally:
            file.close()


