"""ESP32-S3 (a development board with 38 pins or more): the wiring table and what differs from other boards.

The S3 is taken because a plain ESP32 has too few pins that are free at boot.
Not fitted here for want of pins: moisture probes, the charger's and the
generator's contact.  The REPL and the link are on the S3's own USB port.

The converter ends at 3.1 V (ESP-IDF Programming Guide v4.4, ESP32-S3, ADC
attenuation: 0 to 3100 mV at 11 dB), and its raw counts are neither linear nor the
same from chip to chip: what is read is the voltage by the calibration in the chip.
"""

import machine

from ..control.records import (
    HIGH,
    IN_BATTERY,
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
from .wired import ANALOG, CLOSED, OUTPUT, READINGS, SERIAL, Rs485, Usb, WiredBoard, silence_ms, uart_of

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Stream

_FULL_MV = const(3300)  # what a row's full scale stands for
_NOISE_MV = const(33)  # 1 % of it: what is no more is 0 (common practice, no source)
_TX, _RX = 47, 38

# kind, pin, place, bit or level or full scale, signal; `host_sim/board/tables` says the rest of each
WIRING = (
    (OUTPUT, 6, OUT_PUMP_1, 1, "pump 1"),
    (OUTPUT, 7, OUT_PUMP_2, 1, "pump 2"),
    (OUTPUT, 15, OUT_HORN, 1, "horn"),
    (OUTPUT, 16, OUT_BEACON, 1, "beacon"),
    (OUTPUT, 17, OUT_RELAY, 1, "alarm relay"),
    (OUTPUT, 18, OUT_SERVICE, 1, "service relay"),
    (OUTPUT, 48, OUT_LIGHT, 1, "status light"),
    (CLOSED, 8, IN_CONTACTS, OFF, "float off"),
    (CLOSED, 9, IN_CONTACTS, LEAD, "float lead"),
    (CLOSED, 10, IN_CONTACTS, LAG, "float lag"),
    (CLOSED, 11, IN_CONTACTS, HIGH, "float high"),
    (CLOSED, 12, IN_SELECTOR_1, 1, "selector 1 OFF"),
    (CLOSED, 13, IN_SELECTOR_1, 2, "selector 1 HAND"),
    (CLOSED, 14, IN_SELECTOR_2, 1, "selector 2 OFF"),
    (CLOSED, 21, IN_SELECTOR_2, 2, "selector 2 HAND"),
    (CLOSED, 39, IN_THERMAL_1, 1, "thermal 1"),
    (CLOSED, 40, IN_THERMAL_2, 1, "thermal 2"),
    (CLOSED, 41, IN_SILENCE, 1, "silence"),
    (CLOSED, 42, IN_RESET, 1, "reset"),
    (CLOSED, 46, IN_JUMPER, 1, "test jumper"),
    (CLOSED, 3, IN_MAINS, 1, "mains present"),
    (ANALOG, 1, IN_CURRENT_1, 30000, "current 1"),
    (ANALOG, 2, IN_CURRENT_2, 30000, "current 2"),
    (ANALOG, 4, IN_LEVEL, 27500, "level loop"),
    (ANALOG, 5, IN_BATTERY, 33000, "battery"),
    (SERIAL, _TX, -1, 0, "RS-485 driver"),
    (SERIAL, _RX, -1, 0, "RS-485 receiver"),
)  # fmt: skip

BUS = (0, 13, 41, 0, 48)  # where the expander is fitted: number, SDA, SCL, converter, status light


class Board(WiredBoard):
    """See `boards/__init__.py`."""

    REACH = 93  # 3.1 V of 3.3, rounded down

    def __init__(self) -> None:
        super().__init__(WIRING, BUS)

    def adc(self, pin: int) -> "machine.ADC":
        """Return the ADC of a pin, for 0 to 3.1 V."""
        return machine.ADC(machine.Pin(pin), atten=machine.ADC.ATTN_11DB)

    def measured(self, adc: "machine.ADC", level: int) -> int:
        """Return the reading of a channel whose 3.3 V stand for `level`; 3300 times 200,000 is a small integer."""
        total = 0
        for _ in range(READINGS):
            total += adc.read_uv() // 100  # type: ignore[attr-defined,unused-ignore]
        millivolts = (total + 5 * READINGS) // (10 * READINGS)
        return millivolts * level // _FULL_MV if millivolts >= _NOISE_MV else 0

    def timer_id(self) -> int:
        """Return the number of a hardware timer."""
        return 0

    def open_link(self, baud: int, parity: int) -> "list[tuple[Stream, str, int]]":
        """Return ASCII on USB and RTU on RS-485.  Ctrl-C is data from now on."""
        import micropython

        micropython.kbd_intr(-1)
        uart = uart_of(1, baud, parity, _TX, _RX)
        return [(Usb(), "ascii", 0), (Rs485(uart, baud), "rtu", silence_ms(baud))]
