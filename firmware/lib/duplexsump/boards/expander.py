"""The I2C expander and the converter beside it: what a board has too few pins for.  Imported only where it is fitted.

Expander: 16 bits at 0x20, register model of the 9535/9555 type: registers 0 and 1
are the input ports, every pin is an input at power-up, so that nothing need be set up
again after a dip of its supply.  Converter: at 0x48, model of the 1015/1115 type: a
conversion of AIN0 is started by writing register 1 and read from register 0 at the
next pass.  (Data sheets of both types; a count is 125 uV, 32768 are 4.096 V.)

A pass reads 48 bits of the expander and 84 of the converter, 0.33 ms at 400 kHz.  A
bus that is held low ends each attempt after TIMEOUT_US; then nothing is asked for
RETRY_MS, so that the pass takes at most 3 ms more, once a second.  Meanwhile what is
on the bus takes its safe reading: no HAND, nothing pressed, no moisture, not
charging, mains from the utility, the battery as a full one; service relay and
status light are off, which calls somebody.
"""

import time

import machine

from ..control.records import (
    IN_BATTERY,
    IN_CHARGER,
    IN_GENERATOR,
    IN_MOISTURE_1,
    IN_MOISTURE_2,
    IN_RESET,
    IN_SELECTOR_1,
    IN_SELECTOR_2,
    IN_SILENCE,
    const,
)

EXPANDER = const(0x20)
CONVERTER = const(0x48)
HERTZ = const(400000)
TIMEOUT_US = const(1000)
RETRY_MS = const(1000)
_CLEAR = const(9)  # clock pulses that free a bus whose data line is held (UM10204, 3.1.16)
BATTERY_MV = const(33000)  # that 3.3 V stand for
_TOP = const(26400)  # counts of 3.3 V

# Bit of port A, place, bit or level, signal.  A pin reads 0 while its contact is closed.
ROWS = (
    (0, IN_SELECTOR_1, 2, "selector 1 HAND"),
    (1, IN_SELECTOR_2, 2, "selector 2 HAND"),
    (2, IN_SILENCE, 1, "silence"),
    (3, IN_RESET, 1, "reset"),
    (4, IN_CHARGER, 1, "charging"),
    (5, IN_GENERATOR, 1, "generator"),
    (6, IN_MOISTURE_1, 1, "moisture 1"),
    (7, IN_MOISTURE_2, 1, "moisture 2"),
)


class Expander:
    """The bus at (number, SDA, SCL); `converter` 1 where the battery is read there.  `silent`: it does not answer."""

    def __init__(self, number: int, sda: int, scl: int, converter: int) -> None:
        self.number = number
        self.sda = sda
        self.scl = scl
        self.converter = converter
        self.ports = bytearray(b"\xff\xff")  # nothing closed
        self.word = bytearray(2)
        self.conversion = bytearray(b"\x01\xc3\x83")  # one conversion of AIN0, 4.096 V, comparator off
        self.battery = BATTERY_MV
        self.silent = False
        self.begun = False  # whether a conversion has been started
        self.tried_ms = time.ticks_ms()
        self.failures = 0
        self._open()

    def _open(self) -> None:
        self.i2c = machine.I2C(
            self.number, sda=machine.Pin(self.sda), scl=machine.Pin(self.scl), freq=HERTZ, timeout=TIMEOUT_US
        )

    def inputs(self) -> "list[tuple[int, int, int]]":
        """Return what is read here, as a board's `inputs()`; no pin of the board, so -1."""
        found = [(row[1], -1, 0) for row in ROWS]
        return found + [(IN_BATTERY, -1, BATTERY_MV)] if self.converter else found

    def read(self, raw: list[int]) -> None:
        """Add to a raw record what is closed on the bus, and the battery; never raises, never waits long."""
        if not self.silent or time.ticks_diff(time.ticks_ms(), self.tried_ms) >= RETRY_MS:
            self._ask()
        if not self.silent:
            self._take(raw)
        if self.converter:
            raw[IN_BATTERY] = self.battery

    def _take(self, raw: list[int]) -> None:
        low = self.ports[0]
        for row in ROWS:
            if not low >> row[0] & 1:
                raw[row[1]] |= row[2]

    def _ask(self) -> None:
        try:
            if self.silent:
                self._free()
            self.i2c.readfrom_mem_into(EXPANDER, 0, self.ports)
            if self.converter:
                self._convert()
            self.silent = False
        except OSError:
            self.silent = True
            self.begun = False
            self.battery = BATTERY_MV
            self.failures = (self.failures + 1) & 0xFFFFFFF
            self.tried_ms = time.ticks_ms()

    def _convert(self) -> None:
        if self.begun:
            self.i2c.readfrom_mem_into(CONVERTER, 0, self.word)
            counts = self.word[0] << 8 | self.word[1]
            self.battery = 0 if counts >= 0x8000 else min(counts, _TOP) * 5 // 4
        self.i2c.writeto(CONVERTER, self.conversion)
        self.begun = True

    def _free(self) -> None:
        # A part that was cut off in mid-byte holds the data line until it has been clocked through.
        clock = machine.Pin(self.scl, machine.Pin.OPEN_DRAIN, value=1)
        for _ in range(_CLEAR):
            clock.value(0)
            time.sleep_us(5)
            clock.value(1)
            time.sleep_us(5)
        self._open()
