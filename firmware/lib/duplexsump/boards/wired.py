"""What boards with real pins share: reading and writing by a wiring table, the serial ports, the watchdog.

A row of a wiring table is (kind, pin, place, bit or level, wire, where to).
Kinds: CLOSED, a dry contact to ground that makes `bit` in the raw record's
place; ANALOG, a voltage of 0 to 3.3 V that stands for 0 to `level`; OUTPUT, a
relay that is on at `level`, off at boot and whenever in doubt; which relays are on at
the other level the file `hardware` says (`hardware.py`).  Where the level
transmitter and the battery have one pin, the settings say which of them is on it;
a battery that is not wired reads as a full one, as mains and charger do.
"""

import sys
import time

import machine

from .. import marks
from ..control.records import (
    IN_BATTERY,
    IN_CHARGER,
    IN_CURRENT_1,
    IN_CURRENT_2,
    IN_LEVEL,
    IN_MAINS,
    IN_SELECTOR_1,
    IN_SELECTOR_2,
    IN_THERMAL_1,
    IN_THERMAL_2,
    N_INPUTS,
    OUT_LIGHT,
    SELECT_AUTO,
    SELECT_HAND,
    SELECT_OFF,
    const,
)
from .hardware import read as hardware
from .stream import Stream

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from .expander import Expander

CLOSED = "contact to ground"
ANALOG = "0 to 3.3 V"
OUTPUT = "output"
SERIAL = "serial"

BITS = 11  # of a character: start, 8, parity and stop, or two stops
FRAME = 260  # bytes that a UART must take at once: the longest frame is 256

_MASK = 0x3FFFFFFF
READINGS = 8  # of each analog channel, averaged
_NOISE = 41  # counts, 1 % of full scale: offset and noise of the converter (common practice, no source)
WATCHDOG_MS = 8000  # the RP2040's reaches 8388 ms


class Usb(Stream):
    """USB serial, which carries the REPL too."""

    def __init__(self) -> None:
        super().__init__(sys.stdin.buffer, sys.stdout.buffer, sys.stdin, sys.stdout)


class Rs485:
    """A UART with an RS-485 transceiver; `direction` is the pin that is on while sending, None where none is needed.

    Whether it sends is a flag: a pin's own reading is that of the line, not of what was asked.  A port may say "done"
    with the last character still in its shift register, so the line is held for the frame's own time as well.
    """

    def __init__(self, uart: "machine.UART", baud: int, direction: "machine.Pin | None" = None) -> None:
        self.uart = uart
        self.baud = baud
        self.direction = direction
        self.one = bytearray(1)
        self.sending = False
        self.until_ms = time.ticks_ms()

    def _turn_back(self) -> None:
        if self.uart.txdone() and time.ticks_diff(time.ticks_ms(), self.until_ms) >= 0:
            self.sending = False
            if self.direction is not None:
                self.direction.value(0)

    def ready(self) -> int:
        """Return the next byte, -1 when there is none; the line is turned back once all is sent."""
        if self.sending:
            self._turn_back()
        if self.uart.any() and self.uart.readinto(self.one):
            return self.one[0]
        return -1

    def takes(self) -> int:
        """Tell whether it can be written: once the frame before is sent."""
        return 0 if self.sending else 1

    def put(self, buffer: bytearray, at: int, count: int) -> None:
        """Write `count` bytes of `buffer` from `at` on."""
        self.sending = True
        self.until_ms = time.ticks_add(time.ticks_ms(), 1 + count * BITS * 1000 // self.baud)
        if self.direction is not None:
            self.direction.value(1)
        self.uart.write(memoryview(buffer)[at : at + count])


def uart_of(number: int, baud: int, parity: int, tx: int, rx: int) -> "machine.UART":
    """Return a UART of 11 bits a character that takes a whole frame at once; `parity` 0 even, 1 odd, 2 none."""
    return machine.UART(
        number, baud, bits=8, parity=None if parity == 2 else parity, stop=2 if parity == 2 else 1,
        tx=machine.Pin(tx), rx=machine.Pin(rx), timeout=0, txbuf=FRAME,
    )  # fmt: skip


def silence_ms(baud: int) -> int:
    """Return the silence between frames in ms: 3.5 characters, above 19200 baud 1.75 (V1.02, 2.5.1.1), and 3."""
    return (1750 if baud > 19200 else 3500000 * BITS // baud) // 1000 + 3


class WiredBoard:
    """A board by its wiring table.  Making it puts every output at its safe value first thing."""

    PASS_MS = 5
    REACH = 100

    def __init__(self, wiring: tuple, bus: tuple = ()) -> None:
        """`bus`: number, SDA, SCL, whether the converter is there, the status light's pin where the expander is."""
        low, fitted = hardware(self.files())
        self.extra: "Expander | None" = None
        if fitted and bus:
            from .expander import ROWS, Expander

            self.extra = Expander(bus[0], bus[1], bus[2], bus[3])
            wiring = tuple(self._stays(row, bus, ROWS) for row in wiring if not self._moves(row, bus, ROWS))
        self.wiring = wiring
        self.outputs = []
        for row in wiring:
            if row[0] == OUTPUT:
                level = row[3] ^ (low >> row[2] & 1)
                self.outputs.append((machine.Pin(row[1], machine.Pin.OUT, value=1 - level), row[2], level))
        self.contacts = []
        self.analog: list[tuple[machine.ADC, int, int]] = []
        for row in wiring:
            if row[0] == CLOSED:
                self.contacts.append((machine.Pin(row[1], machine.Pin.IN, machine.Pin.PULL_UP), row[2], row[3]))
            elif row[0] == ANALOG:
                self.analog.append((self.adc(row[1]), row[2], row[3]))
        pins = [row[1] for row in wiring if row[0] == ANALOG and row[2] in (IN_LEVEL, IN_BATTERY)]
        self.shared = len(pins) == 2 and pins[0] == pins[1]  # level transmitter and battery
        self.absent = IN_LEVEL if self.shared else -1  # of these the one that is not on the pin
        places = [row[0] for row in self.inputs()]
        # What is not wired reads as healthy: mains there, charging.
        self.mains = 0 if IN_MAINS in places else 1
        self.charger = 0 if IN_CHARGER in places else 1
        self.watchdog: machine.WDT | None = None
        word = self.kept()
        self.RESET_CAUSE = marks.cause(word, machine.reset_cause() == machine.WDT_RESET)
        self.keep(word & ~3)

    def _moves(self, row: tuple, bus: tuple, rows: tuple) -> bool:
        # Whether a row of the wiring is on the expander or the converter where these are fitted.
        if row[0] == ANALOG:
            return bool(row[2] == IN_BATTERY and bus[3])
        return row[0] == CLOSED and any(row[2] == one[1] and row[3] == one[2] for one in rows)

    def _stays(self, row: tuple, bus: tuple, rows: tuple) -> tuple:
        return row[:1] + (bus[4],) + row[2:] if row[0] == OUTPUT and row[2] == OUT_LIGHT else row

    def inputs(self) -> "list[tuple[int, int, int]]":
        """Return what is wired: see `boards/__init__.py`."""
        rows = [row for row in self.wiring if row[0] in (CLOSED, ANALOG)]
        found = [(row[2], row[1], row[3] if row[0] == ANALOG else 0) for row in rows]
        return found + self.extra.inputs() if self.extra is not None else found

    def fit(self, range_1_ma: int, range_2_ma: int, transmitter: int) -> None:
        """Take over what current drives each motor's sensor to full scale, and whether there is a transmitter."""
        if self.shared:
            self.absent = IN_BATTERY if transmitter else IN_LEVEL
        for i in range(len(self.analog)):
            adc, place, _level = self.analog[i]
            if place == IN_CURRENT_1:
                self.analog[i] = (adc, place, range_1_ma)
            elif place == IN_CURRENT_2:
                self.analog[i] = (adc, place, range_2_ma)

    def adc(self, pin: int) -> "machine.ADC":
        """Return the ADC of a pin."""
        return machine.ADC(machine.Pin(pin))

    def kept(self) -> int:
        """Return the word that outlives a reset but no power cut (`marks.py`), here in RTC memory."""
        data = machine.RTC().memory()
        return marks.sound(int.from_bytes(data, "little") if len(data) == 4 else 0)

    def keep(self, word: int) -> None:
        """Leave that word for the next life."""
        machine.RTC().memory(word.to_bytes(4, "little"))

    def now_ms(self) -> int:
        """Return milliseconds in a 30-bit ring."""
        return time.ticks_ms() & _MASK  # type: ignore[operator]

    def read(self, raw: list[int]) -> None:
        """Fill a raw record; a contact closed to ground reads 0 on its pin."""
        for i in range(N_INPUTS):
            raw[i] = 0
        raw[IN_MAINS] = self.mains
        raw[IN_CHARGER] = self.charger
        self._contacts(raw)
        self._channels(raw)
        if self.extra is not None:
            self.extra.read(raw)
        self._selectors(raw)

    def _contacts(self, raw: list[int]) -> None:
        for row in self.contacts:
            self._contact(row, raw)

    def _contact(self, row: "tuple[machine.Pin, int, int]", raw: list[int]) -> None:
        if not row[0].value():
            raw[row[1]] |= row[2]

    def _channels(self, raw: list[int]) -> None:
        for channel in self.analog:
            if channel[1] != self.absent:
                raw[channel[1]] = self._of(channel)
            elif channel[1] == IN_BATTERY:
                raw[IN_BATTERY] = channel[2]

    def _of(self, channel: tuple) -> int:
        return self.measured(channel[0], channel[2])

    def measured(self, adc: "machine.ADC", level: int) -> int:
        """Return the reading of a channel whose full scale stands for `level`; 12 bits times 200,000 is a small int."""
        return self._counts(adc) * level // 4095

    def _counts(self, adc: "machine.ADC") -> int:
        # The mean of a few readings, 0 to 4095; what is no more than noise is 0, lest a run feedback seem made.
        total = 0
        for _ in range(READINGS):
            total += adc.read_u16() >> 4
        return total // READINGS if total >= _NOISE * READINGS else 0

    def _selectors(self, raw: list[int]) -> None:
        # Two contacts each: OFF as bit 1, HAND as bit 2.  A thermal contact opens when hot.
        for place in (IN_SELECTOR_1, IN_SELECTOR_2):
            word = raw[place]
            raw[place] = SELECT_OFF if word & 1 else (SELECT_HAND if word & 2 else SELECT_AUTO)
        raw[IN_THERMAL_1] = 1 - raw[IN_THERMAL_1]
        raw[IN_THERMAL_2] = 1 - raw[IN_THERMAL_2]

    def write(self, outputs: list[int]) -> None:
        """Set the outputs."""
        for row in self.outputs:
            row[0].value(row[2] if outputs[row[1]] else 1 - row[2])

    def safe(self) -> None:
        """Everything off; alarm relay and service relay drop."""
        for row in self.outputs:
            row[0].value(1 - row[2])

    def feed_watchdog(self) -> None:
        """Feed the watchdog; the first call starts it, and nothing stops it again."""
        if self.watchdog is None:
            self.watchdog = machine.WDT(timeout=WATCHDOG_MS)
        self.watchdog.feed()

    def rest(self, ms: int) -> None:
        """Let time pass."""
        time.sleep_ms(ms)

    def files(self) -> str:
        """Return the folder for settings and journal."""
        return "/pit"

    def firmware(self) -> str:
        """Return the folder that holds the firmware."""
        return "/lib/duplexsump"

    def reset(self, mark: int = marks.ASKED) -> None:
        """Reset the board; `mark` is what the next life is told."""
        self.keep(marks.marked(self.kept(), mark))
        machine.reset()

    def reset_after(self, ms: int) -> None:
        """Reset the board after a time, whatever it is doing."""
        self.timer = machine.Timer(self.timer_id())
        self.timer.init(mode=machine.Timer.ONE_SHOT, period=ms, callback=lambda timer: machine.reset())

    def timer_id(self) -> int:
        """Return the number of a timer that is free."""
        return -1


