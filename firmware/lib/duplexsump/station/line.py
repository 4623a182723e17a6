"""How the board's ports speak, and who may write through them: the file `line` beside the settings.

    baud 19200
    parity even
    unit 1
    framing rtu
    usb always
    rs485 jumper

Each line may be left out.  Modbus over Serial Line V1.02, 2.5.1, wants 8 bits and
even parity as the default; without parity two stop bits keep a character at 11
bits.  `framing` is that of RS-485: rtu or ascii (USB always speaks ASCII).  `usb`
and `rs485` say when a port may write: always, never, or while the
test jumper is made.  A port that may not write reads everything, the journal too.

At a power-up with the test jumper made the file counts for nothing: both ports
speak as by default, and may write while the jumper is made.  So nobody at the
board is ever shut out by what was written into the file.
"""

from ..control.records import IN_JUMPER
from ..control.ticks import const
from . import modbus as m
from . import registers as r

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Registers, Station

BAUDS = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)
PARITIES = ("even", "odd", "none")
FRAMINGS = ("rtu", "ascii")
WRITES = ("always", "jumper", "never")
ALWAYS = const(0)
JUMPER = const(1)
_MOST_TEXT = const(500)


class Line:
    """The file's values, the defaults where it says nothing or nothing sound; `notes` is what was amiss.

    `jumper`: the test jumper was made at the power-up.
    """

    def __init__(self, folder: str, jumper: int = 0) -> None:
        self.baud = 19200
        self.parity = 0  # place in PARITIES
        self.unit = 1
        self.framing = 0  # place in FRAMINGS
        self.usb = ALWAYS  # place in WRITES
        self.rs485 = ALWAYS
        self.notes = []
        if jumper:
            self.usb = self.rs485 = JUMPER
            self.notes.append("line: left aside, for the test jumper was made at the power-up")
            return
        try:
            with open(folder + "/line") as file:
                text = file.read(_MOST_TEXT)
        except OSError:
            return
        except ValueError:
            text = "?"
        for row in text.split("\n"):
            if row.strip():
                self._take(row.split())

    def _take(self, words: list[str]) -> None:
        name = words[0]
        value = words[1] if len(words) == 2 else ""
        if name == "baud" and value.isdigit() and int(value) in BAUDS:
            self.baud = int(value)
        elif name == "unit" and value.isdigit() and 1 <= int(value) <= 247:
            self.unit = int(value)
        elif name == "parity" and value in PARITIES:
            self.parity = PARITIES.index(value)
        elif name == "framing" and value in FRAMINGS:
            self.framing = FRAMINGS.index(value)
        elif name == "usb" and value in WRITES:
            self.usb = WRITES.index(value)
        elif name == "rs485" and value in WRITES:
            self.rs485 = WRITES.index(value)
        else:
            self.notes.append("line: %s is not understood, see station/line.py" % " ".join(words)[:60])


class Guarded:
    """The registers behind a port that may write `when` (a place in WRITES); what it may not is ILLEGAL FUNCTION."""

    def __init__(self, model: "Registers", station: "Station", when: int) -> None:
        self.model = model
        self.station = station
        self.when = when

    def _open(self) -> bool:
        return self.when == ALWAYS or (self.when == JUMPER and self.station.raw[IN_JUMPER] != 0)

    def read_bits(self, function: int, at: int, count: int, reply: bytearray, place: int) -> int:
        """Read as ever."""
        return self.model.read_bits(function, at, count, reply, place)

    def read_words(self, function: int, at: int, count: int, reply: bytearray, place: int) -> int:
        """Read as ever."""
        return self.model.read_words(function, at, count, reply, place)

    def write_bits(self, at: int, count: int, data: bytearray, place: int) -> int:
        """Give commands and force inputs, where that is open."""
        return self.model.write_bits(at, count, data, place) if self._open() else m.FUNCTION

    def write_words(self, at: int, count: int, data: bytearray, place: int) -> int:
        """Write, where that is open; moving the journal's window is part of reading."""
        window = r.WINDOW_AT <= at and at + count <= r.WINDOW_AT + 4
        return self.model.write_words(at, count, data, place) if window or self._open() else m.FUNCTION
