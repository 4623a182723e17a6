"""A virtual board: MicroPython on a PC, its pins carried over a byte stream to a virtual bench.

The bench hands over a stream as an inherited file descriptor.  The board asks:

    'R', time (4 bytes), outputs (1 byte, a bit each)   -> answer: N_INPUTS numbers of 4 bytes, low byte first
    'W', time, outputs                                  -> no answer
    'D' (watchdog fed), 'X' (reset me now), each with time and outputs, no answer
    'T' (reset me after a time), with that time in ms instead
    'K' (keep this word until the power goes), with the word instead

so the bench's pit follows the board's clock.  In lockstep the bench owns the time, and the board asks for it:

    'L', the longest rest it wants in ms, outputs (bit 7: the watchdog was fed)
                            -> answer: the time granted in ms (4 bytes), then a raw record as for 'R'

A grant of 0 lets it look at its links while time stands still.  Between two grants
no input can change, so that the record that came with a grant is the reading.  A
grant of more than it wants lasts for several rests; a change of its outputs ends
it, and what is left is given back: the bench knows the time of 'W'.  A negative
grant is one rest of so many ms.

The environment says which descriptor (DUPLEXSUMP_PINS; DUPLEXSUMP_RS485 for a second serial port), what the chip says
of the reset (DUPLEXSUMP_CAUSE), the word kept (DUPLEXSUMP_KEPT), and how fast
time goes (DUPLEXSUMP_SPEED: a whole number; 0: as fast as it can; -1: in lockstep).
"""

import os
import sys
import time
from array import array

from .. import marks
from ..control.records import N_INPUTS, OUT_LATE, const
from .stream import Stream

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Stream as AnyStream

_MASK = 0x3FFFFFFF
TICK_MS = 100

WIRING = ()  # a virtual board has no pins
_open = []  # what is collected would be closed, for the last resort too


class Board:
    """See `boards/__init__.py`.  Raises OSError when no bench is there."""

    PASS_MS = 5
    REACH = 100

    def __init__(self) -> None:
        descriptor = os.getenv("DUPLEXSUMP_PINS")
        if descriptor is None:
            raise OSError("no virtual bench: DUPLEXSUMP_PINS names no descriptor; start it with `sumpbench virtual`")
        self.pins = open(int(descriptor), "r+b")
        _open.append(self.pins)
        self.speed = int(os.getenv("DUPLEXSUMP_SPEED") or "1")
        self.lockstep = self.speed < 0
        if self.lockstep:
            self.PASS_MS = TICK_MS  # it is woken whenever there is something on its link
        self.word = marks.sound(int(os.getenv("DUPLEXSUMP_KEPT") or "0"))
        self.RESET_CAUSE = marks.cause(self.word, int(os.getenv("DUPLEXSUMP_CAUSE") or "0") == marks.WATCHDOG)
        self.request = bytearray(6)
        self.answer = array("i", [0] * N_INPUTS)
        self.grant = array("i", [0] * (1 + N_INPUTS))
        self.granted = False
        self.left_ms = 0  # of the last grant
        self.outputs = 0
        self.free_ms = 0
        self.began_ms = time.ticks_ms()
        self.fed_ms = self.began_ms
        self.fed = self.started = False
        self.keep(self.word & ~3)
        self.safe()

    def fit(self, range_1_ma: int, range_2_ma: int, transmitter: int) -> None:
        """Nothing to do: a bench hands over currents in mA."""

    def inputs(self) -> None:
        """Return None: a bench hands over every reading."""

    def now_ms(self) -> int:
        """Return milliseconds since the reset, in a 30-bit ring; `ticks_ms` does not wrap there by itself."""
        if self.speed <= 0:
            return self.free_ms & _MASK
        return (time.ticks_diff(time.ticks_ms(), self.began_ms) * self.speed) & _MASK

    def _ask(self, letter: int) -> None:
        self._send(letter, self.now_ms(), self.outputs)

    def _send(self, letter: int, value: int, outputs: int) -> None:
        request = self.request
        request[0] = letter
        for i in range(4):
            request[1 + i] = value & 255
            value >>= 8
        request[5] = outputs
        self.pins.write(request)

    def read(self, raw: list[int]) -> None:
        """Fill a raw record from the bench."""
        if self.granted:
            for i in range(N_INPUTS):
                raw[i] = self.grant[1 + i]
            return
        self._ask(82)
        self.pins.readinto(self.answer)
        for i in range(N_INPUTS):
            raw[i] = self.answer[i]

    def write(self, outputs: list[int]) -> None:
        """Set the outputs."""
        packed = 0
        for i in range(OUT_LATE):
            packed |= outputs[i] << i
        if packed != self.outputs:
            self.outputs = packed
            self.left_ms = 0
            self._ask(87)

    def safe(self) -> None:
        """Everything off; alarm relay and service relay drop."""
        self.outputs = 0
        self.left_ms = 0
        self._ask(87)

    def feed_watchdog(self) -> None:
        """Tell the bench, which ends this process when it hears nothing for 8.388 s, at most ten times a second."""
        now = time.ticks_ms()
        if self.lockstep and self.started:
            self.fed = True  # told with the next rest
        elif not self.started or time.ticks_diff(now, self.fed_ms) >= 100:
            self.fed = self.started = True
            self.fed_ms = now
            self._ask(68)

    def rest(self, ms: int) -> None:
        """Let time pass; as fast as it can where the bench wants that."""
        if self.lockstep:
            if not self.left_ms:
                self._send(76, ms, self.outputs | 128 if self.fed else self.outputs)
                self.fed = False
                self.pins.readinto(self.grant)
                self.granted = True
                self.left_ms = abs(self.grant[0])
                if self.grant[0] <= 0:
                    ms = self.left_ms
            ms = min(max(1, ms), self.left_ms)
            self.left_ms -= ms
            self.free_ms += ms
        elif self.speed:
            time.sleep_ms(ms // self.speed)
        else:
            self.free_ms += max(1, ms)

    def open_link(self, baud: int, parity: int) -> "list[tuple[AnyStream, str, int]]":
        """Return ASCII on standard input and output, and RTU where the bench has it.  Ctrl-C is data from now on.

        A descriptor has neither baud nor parity.
        """
        import micropython

        micropython.kbd_intr(-1)
        links: "list[tuple[AnyStream, str, int]]" = [(Stream(sys.stdin.buffer, sys.stdout.buffer), "ascii", 0)]
        descriptor = os.getenv("DUPLEXSUMP_RS485")
        if descriptor is not None:
            line = open(int(descriptor), "r+b")
            links.append((Stream(line, line), "rtu", 5))
        return links

    def files(self) -> str:
        """Return the folder for settings and journal."""
        return "/pit"

    def firmware(self) -> str:
        """Return the folder that holds the firmware."""
        return "/lib/duplexsump"

    def kept(self) -> int:
        """Return the word that outlives a reset but no power cut (`marks.py`)."""
        return self.word

    def keep(self, word: int) -> None:
        """Have the bench keep that word for the next life."""
        self.word = word
        self._send(75, word, 0)

    def reset(self, mark: int = marks.ASKED) -> None:
        """Have the bench end this process and start it anew; `mark` is what the next life is told."""
        self.keep(marks.marked(self.word, mark))
        self.outputs = 0
        self._ask(88)
        while True:
            time.sleep_ms(1000)

    def reset_after(self, ms: int) -> None:
        """Ask the bench to reset this board after a time (at most 16,777 s), whatever it is doing."""
        self._send(84, ms, 0)
