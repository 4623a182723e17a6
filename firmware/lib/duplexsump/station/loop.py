"""The station: read, bands, step, gate, write, record, link, watchdog, again and again.

The board is handed over by main: an object with `now_ms()`, `read(raw)`,
`write(outputs)`, `feed_watchdog()`, `open_link()`, `files()`, `safe()`,
`rest(ms)`, `reset()`, `PASS_MS` and `RESET_CAUSE`.  Outputs are written before anything
is recorded, and only a healthy pass feeds the watchdog (M3).
"""

import gc

from ..control import settings as s
from ..control.bands import Bands
from ..control.controller import Controller
from ..control.records import (
    FAULT_STORAGE,
    IN_BOARD,
    IN_COMMAND,
    IN_FORCE_MASK,
    IN_FORCE_REFRESH,
    IN_FORCE_VALUE,
    IN_JUMPER,
    N_INPUTS,
    OUT_RELAY,
    OUT_SERVICE,
)
from ..control.ticks import TICK_MS, add, const, diff
from . import health as h
from . import journal as j
from .checksum import Manifest, firmware_checksum
from .framing import AsciiPort, RtuPort
from .line import Guarded, Line
from .link import Model
from .modbus import Handler
from .recorder import NO_RESET, Recorder
from .store import Store

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Board

OVERRUN_MS = const(500)  # a pass that takes longer is counted
STILL = const(1000)  # passes without a tick; 21 are usual between two


class Station:
    """One controller in its surroundings.  Raises OSError when the board has no place for files."""

    def __init__(self, board: "Board", mode: int = h.FULL, manifest: "Manifest | None" = None) -> None:
        self.board = board
        self.manifest = manifest
        self.checked_min = 0
        self.damaged = []  # names of files that are not as they were installed
        self.mode = mode
        self.store = Store(board.files(), board)
        self.store.load()
        self.checksum = firmware_checksum(board.firmware(), manifest is not None and manifest.sound)
        self.recorder = Recorder(board.files() + "/journal" if mode == h.FULL else None, self.checksum)
        self.raw = [0] * N_INPUTS
        self.inputs = list(self.raw)
        self.command = 0  # CMD_ bits for the next step
        self.force_mask = 0
        self.force_value = 0
        self.force_refresh = 0
        self.wall_s = 0  # clock time at `wall_mark_min` of uptime, 0: not set
        self.wish = 0  # what to do after this pass: one of the WISH_ values
        self.overruns = 0
        self.longest_pass_ms = 0
        self.passes = 0
        self.still = 0  # passes since the last tick: on a clock that stands still the watchdog is not fed for ever
        self.heap_free = 0  # bytes after the last collection at a quiet instant
        self.heap_told = 0  # and what it was when that was last told
        self.links = []
        self.controller = Controller(list(self.store.values))
        self.bands = Bands(self.controller.settings)
        self._fit()
        self.model = Model(self)

    def _fit(self) -> None:
        values = self.controller.settings
        self.board.fit(values[s.SENSOR_RANGE_1_MA], values[s.SENSOR_RANGE_2_MA], values[s.TRANSMITTER])

    def connect(self) -> None:
        """Open the board's links: rows of (stream, "ascii" or "rtu", silence in ms)."""
        line = Line(self.board.files(), self.raw[IN_JUMPER])
        for note in line.notes:
            self.recorder.event(self.controller.now, j.SETTINGS_SLOT, 0, note)
        for stream, framing, silence_ms in self.board.open_link(line.baud, line.parity):
            if framing == "ascii":
                handler = Handler(Guarded(self.model, self, line.usb))
                self.links.append(AsciiPort(stream, handler, line.unit))
            else:
                handler = Handler(Guarded(self.model, self, line.rs485))
                if line.framing:
                    self.links.append(AsciiPort(stream, handler, line.unit))
                else:
                    self.links.append(RtuPort(stream, handler, line.unit, silence_ms))

    def staging(self) -> int:
        """Tell whether settings are staged that are not in force."""
        return self.model.differs()

    def bad_frames(self) -> int:
        """Return how many frames all links have dropped."""
        total = 0
        for link in self.links:
            total += link.bad
        return total

    def begin(self, cause: int, reason: str = "") -> None:
        """Power up: recall what survived, take the first step, open the journal."""
        self.reason = reason
        retained, notes = self.recorder.recall(self.controller.retained_places())
        now = self.board.now_ms()
        self._life(now, retained, cause)
        for code, value, text in notes:
            self.recorder.event(now, code, value, text)
        for note in self.store.notes:
            self.recorder.event(now, j.SETTINGS_SLOT, self.store.slot, note)
        if self.manifest is not None and self.manifest.note:
            self.recorder.event(now, j.DAMAGED_FILE, 0, self.manifest.note)
        for name in self.damaged:
            self._tell_damage(now, name)
        if reason:
            self.recorder.event(now, j.EXCEPTION, 0, reason)
        gc.collect()

    def _life(self, now: int, retained: "list[int] | None", cause: int) -> None:
        if retained and cause:
            retained[0] = 0  # a reset is no loss of power
        try:
            self.controller.power_up(now, retained)
        except ValueError:  # written by another firmware: a life without a past
            retained = None
            self.controller = Controller(self.controller.settings)
            self.controller.power_up(now)
        self.recorder.begin(self.controller, now, self.wall_now_s(), retained, cause)
        self.due_ms = now
        self._tick(now, True)

    def damage(self, name: str) -> None:
        """Take note that a file is not as it was installed; it is told once, by name."""
        if name not in self.damaged:
            self.damaged.append(name)

    def _tell_damage(self, now: int, name: str) -> None:
        self.recorder.event(now, j.DAMAGED_FILE, len(self.damaged), name)
        if not self.reason:
            self.reason = "damaged on flash: " + name

    def _check_next(self, manifest: Manifest) -> None:
        # One file a minute, so that each is read again at least once a day.
        self.checked_min = self.controller.uptime_min
        self.recorder.litter = True
        name = manifest.next()
        if name and name not in self.damaged:
            self.damaged.append(name)
            self._tell_damage(self.controller.now, name)

    def wall_now_s(self) -> int:
        """Return the clock time in seconds, 0 while it is not set."""
        if not self.wall_s:
            return 0
        return self.wall_s + 60 * (self.controller.uptime_min - self.wall_mark_min)

    def set_clock(self, seconds: int) -> None:
        """Set the clock time; 0 unsets it.  The control knows no clock: this is for readers of the journal."""
        self.wall_s = seconds
        self.wall_mark_min = self.controller.uptime_min
        self.recorder.event(self.controller.now, j.CLOCK_SET, seconds)

    def _tick(self, instant: int, first: bool) -> None:
        self._inputs(self.inputs, self.controller.out)
        due = self.controller.due
        out = self.controller.step(instant, self.inputs)
        if self.mode != h.FULL:
            out[OUT_RELAY] = 0
            out[OUT_SERVICE] = 0
        self.board.write(out)
        self.command = 0
        late_ms = max(0, diff(instant, due))
        self.recorder.step(self, late_ms, first)

    def _inputs(self, inputs: list[int], out: list[int]) -> None:
        # Readings, through the bands, and what the link asks for.
        self.board.read(self.raw)
        if self.recorder.failing:
            self.raw[IN_BOARD] |= FAULT_STORAGE
        self.bands.convert(self.raw, inputs, out[0], out[1])
        inputs[IN_COMMAND] = self.command
        inputs[IN_FORCE_MASK] = self.force_mask
        inputs[IN_FORCE_VALUE] = self.force_value
        inputs[IN_FORCE_REFRESH] = self.force_refresh

    def once(self) -> int:
        """Make one pass; return the time in ms that the loop may rest before the next."""
        now = self.board.now_ms()
        self._step(diff(now, self.due_ms))
        for link in self.links:
            link.serve(now)
        self._judge(diff(self.board.now_ms(), now))
        if self.still < STILL:
            self.board.feed_watchdog()
        left = diff(self.due_ms, self.board.now_ms())
        if left > TICK_MS // 2:
            self._quiet(self.controller.out)
        return max(0, min(self.board.PASS_MS, left))

    def _step(self, behind: int) -> None:
        # The grid is relative: an instant that was missed is left out, the next is on the grid again.
        self.still += 1
        if behind >= 0:
            self.still = 0
            instant = add(self.due_ms, behind // TICK_MS * TICK_MS)
            self.due_ms = add(instant, TICK_MS)
            self._tick(instant, False)

    def _judge(self, took_ms: int) -> None:
        # M3: how long the pass took.
        self.longest_pass_ms = max(took_ms, self.longest_pass_ms)
        if took_ms > OVERRUN_MS:
            self.overruns += 1
        self.passes = (self.passes + 1) & 0xFFFFFFF

    def _quiet(self, out: list[int]) -> None:
        # The next tick is far: unless a pump runs, garbage is collected, and once a minute a file is checked.
        if out[0] or out[1]:
            return
        if self.recorder.litter:
            self.recorder.litter = False
            self._sweep()
        if self.manifest is not None and self.controller.uptime_min != self.checked_min:
            self._check_next(self.manifest)

    def _sweep(self) -> None:
        # What is free after a collection must not shrink; every eighth of it that is lost is told.
        gc.collect()
        self.heap_free = gc.mem_free()
        if not self.heap_told:
            self.heap_told = self.heap_free
        elif self.heap_free < self.heap_told - self.heap_told // 8:
            self.recorder.event(self.controller.now, j.HEAP, self.heap_free, "of %d" % self.heap_told)
            self.heap_told = self.heap_free
            self.reason = self.reason or "the heap shrinks"

    def renew(self) -> None:
        """Begin a new life of the control part with the settings in the store; pumps rest as after a power-up (S4)."""
        now = self.due_ms
        retained = self.controller.retain()
        self.recorder.flush(now)
        self.wall_s = self.wall_now_s()
        self.wall_mark_min = 0
        self.controller = Controller(list(self.store.values))
        self.bands = Bands(self.controller.settings)
        self._fit()
        self._life(now, retained, NO_RESET)
        self.due_ms = add(now, TICK_MS)
        self.recorder.event(now, j.SETTINGS, self.store.sequence)
        gc.collect()
