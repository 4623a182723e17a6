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

NAME = "Raspberry Pi Pico, Pico W"
_TX, _RX = 0, 1
_SCRATCH_0 = 0x4005800C  # RP2040 data sheet, 4.7.6: outlives the watchdog's and every software reset

# kind, pin, place, bit or level or full scale, wire, where to
WIRING = (
    (OUTPUT, 18, OUT_PUMP_1, 1, "pump 1", "relay module, channel 1, to the coil of contactor 1 through selector 1"),
    (OUTPUT, 19, OUT_PUMP_2, 1, "pump 2", "relay module, channel 2, to the coil of contactor 2 through selector 2"),
    (OUTPUT, 20, OUT_HORN, 1, "horn", "relay module, channel 3"),
    (OUTPUT, 21, OUT_BEACON, 1, "beacon", "relay module, channel 4"),
    (OUTPUT, 22, OUT_RELAY, 1, "alarm relay", "relay module, channel 5; energised means healthy"),
    (OUTPUT, 2, OUT_SERVICE, 1, "service relay", "relay module, channel 6; energised means that nobody is needed"),
    (OUTPUT, "LED", OUT_LIGHT, 1, "status light", "the light on the board"),
    (CLOSED, 3, IN_CONTACTS, OFF, "float off", "float switch to ground"),
    (CLOSED, 4, IN_CONTACTS, LEAD, "float lead", "float switch to ground"),
    (CLOSED, 5, IN_CONTACTS, LAG, "float lag", "float switch to ground"),
    (CLOSED, 6, IN_CONTACTS, HIGH, "float high", "float switch to ground, on its own pair of wires"),
    (CLOSED, 7, IN_SELECTOR_1, 1, "selector 1 OFF", "second contact of selector 1, closed in OFF"),
    (CLOSED, 8, IN_SELECTOR_1, 2, "selector 1 HAND", "second contact of selector 1, closed in HAND"),
    (CLOSED, 9, IN_SELECTOR_2, 1, "selector 2 OFF", "second contact of selector 2, closed in OFF"),
    (CLOSED, 10, IN_SELECTOR_2, 2, "selector 2 HAND", "second contact of selector 2, closed in HAND"),
    (CLOSED, 11, IN_THERMAL_1, 1, "thermal 1", "thermal contact of pump 1, opens when hot; else a jumper"),
    (CLOSED, 12, IN_THERMAL_2, 1, "thermal 2", "thermal contact of pump 2, opens when hot; else a jumper"),
    (CLOSED, 13, IN_SILENCE, 1, "silence", "push button to ground"),
    (CLOSED, 14, IN_RESET, 1, "reset", "push button to ground"),
    (CLOSED, 15, IN_JUMPER, 1, "test jumper", "jumper to ground, out in service"),
    (CLOSED, 16, IN_MAINS, 1, "mains present", "contact of a relay that the mains holds in"),
    (CLOSED, 17, IN_CHARGER, 1, "charging", "contact of the charger; a jumper where there is none"),
    (ANALOG, 26, IN_CURRENT_1, 30000, "current 1", "current sensor, pump 1: 0 to sensor_range_1 (30 A) as 0 to 3.3 V"),
    (ANALOG, 27, IN_CURRENT_2, 30000, "current 2", "current sensor, pump 2: 0 to sensor_range_2 (30 A) as 0 to 3.3 V"),
    (ANALOG, 28, IN_LEVEL, 22000, "level loop", "150 ohm in the 4-20 mA loop: 22 mA is 3.3 V"),
    (ANALOG, 28, IN_BATTERY, 33000, "battery", "instead of the loop: divider 9 to 1 from the battery, 33 V is 3.3 V"),
    (SERIAL, _TX, -1, 0, "RS-485 driver", "transceiver that turns the line by itself, DI"),
    (SERIAL, _RX, -1, 0, "RS-485 receiver", "transceiver, RO, through a divider where it is a 5 V part"),
)  # fmt: skip


class Board(WiredBoard):
    """See `boards/__init__.py`."""

    def __init__(self) -> None:
        super().__init__(WIRING)

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
