"""Keeps the journal beside the running controller: what is recorded when, and what happens when the flash does not.

A file error never stops the control: it is counted, the oldest segment is
dropped once when the flash is full, and the journal is tried again later.
"""

import os

from ..control.alarm_table import COUNT
from ..control.records import IN_BATTERY, IN_CURRENT_1, IN_CURRENT_2, IN_LEVEL
from ..control.ticks import add, const, diff
from . import journal as j

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Controller, Station

CHANNELS = (IN_CURRENT_1, IN_CURRENT_2, IN_LEVEL, IN_BATTERY)
MINUTE_MS = const(60000)
TRY_AGAIN_MS = const(60000)
RETAIN_MIN = const(60)  # J4: at least so often is written what survives a reset
TRIES = const(4)  # of a write, an old segment given up before each but the first
NO_RESET = const(-1)
_MOST = const(1000000)
_SHARE = const(32)  # a minute is recorded when a mean has moved by more than 1 part in so many


class Minute:
    """Least, mean and most of the analog channels over the running minute."""

    def __init__(self) -> None:
        self.sums = [0] * len(CHANNELS)
        self.values = [0] * 12
        self.told = [0] * len(CHANNELS)
        self.readings = 0
        self.pumped = 0

    def add(self, raw: list[int], out: list[int]) -> None:
        """Take one reading; values are clipped to 1,000,000 so that a sum stays a small integer."""
        for i in range(4):
            self._add(i, raw[CHANNELS[i]])
        self.readings += 1
        self.pumped |= out[0] | out[1]

    def _add(self, i: int, value: int) -> None:
        value = min(value, _MOST)
        self.sums[i] += value
        values = self.values
        if not self.readings or value < values[3 * i]:
            values[3 * i] = value
        if not self.readings or value > values[3 * i + 2]:
            values[3 * i + 2] = value

    def close(self) -> int:
        """Fill the means, begin the next minute; tell whether this one says anything new.  A minute has a reading."""
        news = self.pumped
        for i in range(4):
            mean = self.sums[i] // self.readings
            self.values[3 * i + 1] = mean
            self.sums[i] = 0
            if abs(mean - self.told[i]) * _SHARE > abs(self.told[i]) + 320:
                news = 1
        if news:
            for i in range(4):
                self.told[i] = self.values[3 * i + 1]
        self.readings = 0
        self.pumped = 0
        return news


class Recorder:
    """The journal of a station.  `folder` None: nothing is recorded (M5)."""

    def __init__(self, folder: "str | None", checksum: int) -> None:
        self.journal = j.Journal(str(folder), checksum)
        self.on = folder is not None
        self.minute = Minute()
        self.alarms = bytearray(COUNT)
        self.faults = 0
        self.told_faults = 0
        self.failing = False
        self.litter = False  # something was allocated; collect at a quiet instant

    def recall(self, places: list[int]) -> "tuple[list[int] | None, list[tuple[int, int, str]]]":
        """Return what survived the life before (J4), or None; also numbers this life and names damaged segments.

        `places` are those of a snapshot that survive (`Controller.retained_places`).
        """
        book = self.journal
        if not self.on:
            return None, []
        notes = []
        try:
            numbers = book.survey()
        except OSError:
            numbers = []
            self._make_folder(book.folder)
        for number in reversed(numbers[-4:]):
            try:
                life, checksum, retained = self._recall(j.path_of(book.folder, number), places)
            except (OSError, ValueError) as error:
                notes.append((j.DAMAGED, number, str(error)))
                continue
            book.life = life
            if checksum != book.checksum:
                # The same number of places need not be the same places.
                words = "segment %d is of another firmware: lockouts, latched alarms and counters begin anew"
                notes.append((j.FIRMWARE, checksum, words % number))
                return None, notes
            return retained, notes
        return None, notes

    def _make_folder(self, folder: str) -> None:
        # A board that nothing was ever deployed to has neither; where they cannot be made there is no journal.
        for path in (folder.rsplit("/", 1)[0], folder):
            try:
                os.mkdir(path)
            except OSError:
                pass

    def _recall(self, path: str, places: list[int]) -> tuple[int, int, list[int]]:
        if os.stat(path)[6] > j.LONGEST_SEGMENT:
            raise ValueError("longer than a segment may be")
        with open(path, "rb") as file:
            return j.recall(file.read(), places)

    def begin(
        self, controller: "Controller", now_ms: int, wall_s: int, retained: "list[int] | None", cause: int
    ) -> None:
        """Open the segment of a new life; `cause` of the reset, or NO_RESET for new settings."""
        self.minute_due_ms = add(now_ms, MINUTE_MS)
        self.retained_min = 0  # uptime when what survives a reset was last written
        if not self.on:
            return
        self.journal.life += 1
        self._open(controller, now_ms, wall_s, retained or [])
        if cause >= 0 and self.journal.file is not None:
            self.journal.event(now_ms, j.POWER_UP, cause)

    def _open(
        self, controller: "Controller", now_ms: int, wall_s: int, retained: "list[int] | None" = None
    ) -> None:
        self.litter = True
        for _ in range(TRIES):
            try:
                self.journal.open(controller, now_ms, wall_s, retained)
                self.failing = False
                return
            except OSError as error:
                self._make_room(error)
        self._give_up(now_ms)

    def event(self, now_ms: int, code: int, value: int = 0, text: str = "") -> None:
        """Record an event; it is flushed in this pass."""
        if self.journal.file is not None:
            self.journal.event(now_ms, code, value, text)
            self.flush(now_ms)

    def _copy_alarms(self, controller: "Controller") -> bool:
        # Tell whether any alarm changed its state.
        changed = False
        state = controller.alarms.state
        mine = self.alarms
        for i in range(COUNT):
            if state[i] != mine[i]:
                mine[i] = state[i]
                changed = True
        return changed

    def step(self, station: "Station", late_ms: int, first: bool) -> None:
        """Record the step that `station` has just taken, after its outputs have been written (J1)."""
        out = station.controller.out
        self.minute.add(station.raw, out)
        if not self.on or (self.journal.file is None and not self._again(station)):
            return
        if self._note(station, late_ms, first) or self.journal.due(station.controller.now):
            self.flush(station.controller.now)
        if self.journal.full() and not (self.journal.waiting() or out[0] or out[1]):
            self._open(station.controller, station.controller.now, station.wall_now_s())

    def _again(self, station: "Station") -> bool:
        # The steps that were missed are in the snapshot of the new segment.
        now_ms = station.controller.now
        if diff(now_ms, self.try_again_ms) >= 0:
            self._open(station.controller, now_ms, station.wall_now_s())
        return self.journal.file is not None

    def _note(self, station: "Station", late_ms: int, first: bool) -> bool:
        # Tell whether what was recorded must be flushed in this pass.
        urgent = self.journal.step(station.controller, station.inputs, late_ms, first)
        urgent = self._copy_alarms(station.controller) or first or urgent
        if urgent or self._long_quiet(station.controller):
            self._retain(station.controller)
        self._note_more(station.controller.now)
        return urgent

    def _long_quiet(self, controller: "Controller") -> bool:
        # What survives a reset changes in quiet hours as well: times run on, and power-ups come to lie far back.
        return controller.uptime_min - self.retained_min >= RETAIN_MIN

    def _retain(self, controller: "Controller") -> None:
        self.retained_min = controller.uptime_min
        self.journal.retain(controller.now, controller.retain())

    def _note_more(self, now_ms: int) -> None:
        if diff(now_ms, self.minute_due_ms) >= 0:
            self.minute_due_ms = add(now_ms, MINUTE_MS)
            if self.minute.close():
                self.journal.minute(now_ms, self.minute.values)
        if self.faults != self.told_faults:
            self.told_faults = self.faults
            self.journal.event(now_ms, j.STORAGE, self.faults, self.fault)

    def flush(self, now_ms: int) -> None:
        """Have everything that waits on flash."""
        self.litter = True
        for _ in range(TRIES):
            try:
                self.journal.flush()
                return
            except OSError as error:
                self._make_room(error)
        self._give_up(now_ms)

    def _make_room(self, error: OSError) -> None:
        # A full flash gives up the oldest segment.
        self.faults += 1
        self.fault = str(error)  # what the last one was
        self.journal.abandon()
        try:
            self.journal.drop()
        except OSError:
            pass

    def _give_up(self, now_ms: int) -> None:
        # What waited is lost; later a new segment opens with a snapshot of its own.
        self.journal.batch.clear()
        self.try_again_ms = add(now_ms, TRY_AGAIN_MS)
        self.failing = True

    def close(self, now_ms: int) -> None:
        """Flush and close, for a reset that was asked for."""
        self.flush(now_ms)
        try:
            self.journal.close()
        except OSError:
            self.faults += 1
