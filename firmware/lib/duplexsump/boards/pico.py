"""Raspberry Pi Pico and Pico W: the wiring table and what differs from other boards.

Not fitted here for want of pins: moisture probes and the generator's contact.
GP28 takes the level transmitter or the battery, whichever the settings name; with a
transmitter no pump may be on the battery, and settings that ask for both are refused.
"""

import machine

from .. import marks
from ..control.records import (
    HIGH,
    IN_BATTERY,
    IN_CHARGER,
    IN_CONTACTS,
    IN_CURRENT_1,
    IN_CURRENT_2,
    IN_JUMPER,
    IN_LEVEL,
    IN_MAINS,
    IN_RESET,
    IN_SELECTOR_1,
    IN_SELECTOR_2,
    IN_SILENCE,
    IN_THERMAL_1,
    IN_THERMAL_2,
    LAG,
    LEAD,
    OFF,
    OUT_BEACON,
    OUT_HORN,
    OUT_LIGHT,
    OUT_PUMP_1,
    OUT_PUMP_2,
    OUT_RELAY,
    OUT_SERVICE,
    const,
)
from .wired import ANALOG, CLOSED, OUTPUT, SERIAL, Rs485, Usb, WiredBoard, silence_ms, uart_of

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Stream

_TX, _RX = 0, 1
_SCRATCH_0 = 0x4005800C  # RP2040 data sheet, 4.7.6: outlives the watchdog's and every software reset

# kind, pin, place, bit or level or full scale, signal; `host_sim/board/tables` says the rest of each
WIRING = (
    (OUTPUT, 18, OUT_PUMP_1, 1, "pump 1"),
    (OUTPUT, 19, OUT_PUMP_2, 1, "pump 2"),
    (OUTPUT, 20, OUT_HORN, 1, "horn"),
    (OUTPUT, 21, OUT_BEACON, 1, "beacon"),
    (OUTPUT, 22, OUT_RELAY, 1, "alarm relay"),
    (OUTPUT, 2, OUT_SERVICE, 1, "service relay"),
    (OUTPUT, "LED", OUT_LIGHT, 1, "status light"),
    (CLOSED, 3, IN_CONTACTS, OFF, "float off"),
    (CLOSED, 4, IN_CONTACTS, LEAD, "float lead"),
    (CLOSED, 5, IN_CONTACTS, LAG, "float lag"),
    (CLOSED, 6, IN_CONTACTS, HIGH, "float high"),
    (CLOSED, 7, IN_SELECTOR_1, 1, "selector 1 OFF"),
    (CLOSED, 8, IN_SELECTOR_1, 2, "selector 1 HAND"),
    (CLOSED, 9, IN_SELECTOR_2, 1, "selector 2 OFF"),
    (CLOSED, 10, IN_SELECTOR_2, 2, "selector 2 HAND"),
    (CLOSED, 11, IN_THERMAL_1, 1, "thermal 1"),
    (CLOSED, 12, IN_THERMAL_2, 1, "thermal 2"),
    (CLOSED, 13, IN_SILENCE, 1, "silence"),
    (CLOSED, 14, IN_RESET, 1, "reset"),
    (CLOSED, 15, IN_JUMPER, 1, "test jumper"),
    (CLOSED, 16, IN_MAINS, 1, "mains present"),
    (CLOSED, 17, IN_CHARGER, 1, "charging"),
    (ANALOG, 26, IN_CURRENT_1, 30000, "current 1"),
    (ANALOG, 27, IN_CURRENT_2, 30000, "current 2"),
    (ANALOG, 28, IN_LEVEL, 22000, "level loop"),
    (ANALOG, 28, IN_BATTERY, 33000, "battery"),
    (SERIAL, _TX, -1, 0, "RS-485 driver"),
    (SERIAL, _RX, -1, 0, "RS-485 receiver"),
)  # fmt: skip

BUS = (0, 8, 13, 1, 17)  # where the expander is fitted: number, SDA, SCL, converter, status light


class Board(WiredBoard):
    """See `boards/__init__.py`."""

    def __init__(self) -> None:
        super().__init__(WIRING, BUS)

    def kept(self) -> int:
        """Return the word that outlives a reset but no power cut: the watchdog's first scratch register."""
        return marks.sound(machine.mem32[_SCRATCH_0])

    def keep(self, word: int) -> None:
        """Leave that word for the next life."""
        machine.mem32[_SCRATCH_0] = word

    def open_link(self, baud: int, parity: int) -> "list[tuple[Stream, str, int]]":
        """Return ASCII on USB and RTU on RS-485.  Ctrl-C is data from now on."""
        import micropython

        micropython.kbd_intr(-1)
        uart = uart_of(0, baud, parity, _TX, _RX)
        return [(Usb(), "ascii", 0), (Rs485(uart, baud), "rtu", silence_ms(baud))]
