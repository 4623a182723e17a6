"""The I2C expander and the converter beside it: what a board has too few pins for.  Imported only where it is fitted.

Expander: 16 bits at 0x20, register model of the 9535/9555 type: registers 0 and 1
are the input ports, every pin is an input at power-up, so that nothing need be set up
again after a dip of its supply.  Converter: at 0x48, model of the 1015/1115 type: a
conversion of AIN0 is started by writing register 1 and read from register 0 at the
next pass.  (Data sheets of both types; a count is 125 uV, 32768 are 4.096 V.)

A pass reads 48 bits of the expander and 84 of the converter, 0.33 ms at 400 kHz.  A
bus that is held low ends each attempt after TIMEOUT_US.  A part that has not answered
MISSES times running is silent (M8): it is asked again once in RETRY_MS, so that a
pass takes at most 3 ms more, and what it reads takes its safe reading: no HAND,
nothing pressed, no moisture, not charging, mains from the utility; the battery as a
full one.  Until then the last readings hold.

AIN3 is wired to 0 V and AIN2 to 3.3 V: each PROOF passes the converter must read
both so, or it is stuck at some reading and counts as silent until it does.
"""

import time

import machine

from ..control.records import (
    FAULT_CONVERTER,
    FAULT_EXPANDER,
    IN_BATTERY,
    IN_BOARD,
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
MISSES = const(3)
PROOF = const(64)
_GROUND = const(160)  # counts, 20 mV: the most that AIN3 may read, and 2.75 V the least of AIN2 (our own choice)
_RAIL = const(22000)
_AIN0 = const(0xC3)  # start one conversion, 4.096 V
_AIN2 = const(0xE3)
_AIN3 = const(0xF3)
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
    """The bus at (number, SDA, SCL); `converter` 1 where the battery is read there.  `silent`: SILENT_ bits."""

    def __init__(self, number: int, sda: int, scl: int, converter: int) -> None:
        self.number = number
        self.sda = sda
        self.scl = scl
        self.converter = converter
        self.ports = bytearray(b"\xff\xff")  # nothing closed
        self.word = bytearray(2)
        self.conversion = bytearray(b"\x01\xc3\x83")  # comparator off
        self.battery = BATTERY_MV
        self.silent = 0
        self.begun = 0  # the input whose conversion has been started, 0: none
        self.turn = 0  # passes until the converter has to prove itself
        self.missed = [0, 0]  # running, of the expander and of the converter
        self.tried_ms = [time.ticks_ms(), time.ticks_ms()]
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
        """Add to a raw record what is closed, the battery, and what is silent; never raises, never waits long."""
        if self._may(0):
            self._contacts()
        if not self.silent & FAULT_EXPANDER:
            self._take(raw)
        if self.converter:
            if self._may(1):
                self._convert()
            raw[IN_BATTERY] = self.battery
        raw[IN_BOARD] = self.silent

    def _may(self, part: int) -> bool:
        waits = self.silent >> part & 1
        return not waits or time.ticks_diff(time.ticks_ms(), self.tried_ms[part]) >= RETRY_MS

    def _take(self, raw: list[int]) -> None:
        low = self.ports[0]
        for row in ROWS:
            if not low >> row[0] & 1:
                raw[row[1]] |= row[2]

    def _contacts(self) -> None:
        try:
            if self.silent & FAULT_EXPANDER:
                self._free()
            self.i2c.readfrom_mem_into(EXPANDER, 0, self.ports)
            self._heard(0)
        except OSError:
            self._miss(0, 1)

    def _heard(self, part: int) -> None:
        self.missed[part] = 0
        self.silent &= ~(1 << part)

    def _miss(self, part: int, count: int) -> None:
        self.tried_ms[part] = time.ticks_ms()
        self.missed[part] = min(MISSES, self.missed[part] + count)
        if self.missed[part] == MISSES:
            self.silent |= 1 << part

    def _convert(self) -> None:
        self.tried_ms[1] = time.ticks_ms()
        try:
            if self.begun:
                self.i2c.readfrom_mem_into(CONVERTER, 0, self.word)
                self._judge(self.word[0] << 8 | self.word[1])
            self._start()
        except OSError:
            self.begun = 0
            self._miss(1, 1)
        if self.silent & FAULT_CONVERTER:
            self.battery = BATTERY_MV

    def _start(self) -> None:
        source = _AIN0
        if self.begun == _AIN3:
            source = _AIN2
        elif self.turn == 0 or self.silent & FAULT_CONVERTER:
            source = _AIN3
        self.turn = PROOF if source == _AIN3 else max(0, self.turn - 1)
        self.conversion[1] = source
        self.i2c.writeto(CONVERTER, self.conversion)
        self.begun = source

    def _judge(self, counts: int) -> None:
        # What is a little below ground reads as 0xFF..
        if counts >= 0x8000:
            counts = 0
        if self.begun == _AIN0:
            self.battery = min(counts, _TOP) * 5 // 4
            self.missed[1] = 0
        elif counts > _GROUND if self.begun == _AIN3 else counts < _RAIL:
            self._miss(1, MISSES)
            self.begun = 0  # the proof begins anew
        elif self.begun == _AIN2:
            self._heard(1)

    def _free(self) -> None:
        # A part that was cut off in mid-byte holds the data line until it has been clocked through.
        clock = machine.Pin(self.scl, machine.Pin.OPEN_DRAIN, value=1)
        for _ in range(_CLEAR):
            clock.value(0)
            time.sleep_us(5)
            clock.value(1)
            time.sleep_us(5)
        self._open()
