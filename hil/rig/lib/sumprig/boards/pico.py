"""The rig on a Raspberry Pi Pico: the wiring table and what differs from other boards.

All 26 pins of the header are used.  The moisture probes and the generator's
contact are not wired, since a Pico as controller has no pins for them either; nor
are the service relay and the status light, for which the rig has none left.
"""

import time

import machine
from duplexsump.boards.wired import Usb

from .. import wires as w

NAME = "Raspberry Pi Pico as the bench's rig"
CONTACT = "open drain"
SUPPLY = "relay"
ANALOG = "PWM with a filter"
RELAY = "input"

# kind, pin, wire, where to
WIRING = (
    (CONTACT, 0, "off", "the controller's input `float off`, through 100 ohm"),
    (CONTACT, 1, "lead", "the controller's input `float lead`, through 100 ohm"),
    (CONTACT, 2, "lag", "the controller's input `float lag`, through 100 ohm"),
    (CONTACT, 3, "high", "the controller's input `float high`, through 100 ohm"),
    (CONTACT, 4, "selector_1_off", "the controller's input `selector 1 OFF`, through 100 ohm"),
    (CONTACT, 5, "selector_1_hand", "the controller's input `selector 1 HAND`, through 100 ohm"),
    (CONTACT, 6, "selector_2_off", "the controller's input `selector 2 OFF`, through 100 ohm"),
    (CONTACT, 7, "selector_2_hand", "the controller's input `selector 2 HAND`, through 100 ohm"),
    (CONTACT, 8, "thermal_1", "the controller's input `thermal 1`, through 100 ohm; its jumper out"),
    (CONTACT, 9, "thermal_2", "the controller's input `thermal 2`, through 100 ohm; its jumper out"),
    (CONTACT, 10, "silence", "the controller's input `silence`, through 100 ohm"),
    (CONTACT, 11, "reset", "the controller's input `reset`, through 100 ohm"),
    (CONTACT, 12, "jumper", "the controller's input `test jumper`, through 100 ohm; the jumper itself out"),
    (CONTACT, 13, "mains", "the controller's input `mains present`, through 100 ohm; never line voltage"),
    (CONTACT, 14, "charger", "the controller's input `charging`, through 100 ohm; its jumper out"),
    (SUPPLY, 15, "power_cut", "relay module, energized by 3.3 V; its normally closed contact in the controller's 5 V"),
    (CONTACT, 16, "run_held", "the controller's RUN pin (a Pico's pin 30; EN on an ESP32), through 100 ohm"),
    (ANALOG, 17, "current_1", "1 kohm in series, then 10 uF to ground and the controller's `current 1`"),
    (ANALOG, 18, "current_2", "1 kohm in series, then 10 uF to ground and the controller's `current 2`"),
    (ANALOG, 19, "level", "1 kohm in series, then 10 uF to ground and `level loop`, the loop's 150 ohm removed"),
    (ANALOG, 28, "battery", "1 kohm in series, then 10 uF to ground and `battery`, its divider removed"),
    (RELAY, 20, "pump_1", "the controller's output `pump 1` at its pin, through 1 kohm"),
    (RELAY, 21, "pump_2", "the controller's output `pump 2` at its pin, through 1 kohm"),
    (RELAY, 22, "horn", "the controller's output `horn` at its pin, through 1 kohm"),
    (RELAY, 26, "beacon", "the controller's output `beacon` at its pin, through 1 kohm"),
    (RELAY, 27, "relay", "the controller's output `alarm relay` at its pin, through 1 kohm"),
)  # fmt: skip

_MASK = 0x3FFFFFFF
PWM_HZ = 30000  # with 1 kohm and 10 uF (10 ms) the ripple is 3 mV, and 50 ms after a change 1 % is left of it
WATCHDOG_MS = 8000


class Board:
    """See `boards/__init__.py`."""

    def __init__(self):
        drain, out, pull = machine.Pin.OPEN_DRAIN, machine.Pin.OUT, machine.Pin.PULL_DOWN
        self.coils = []
        self.relay_pins = []
        self.pwm = []
        for kind, pin, wire, _to in WIRING:
            if kind == CONTACT:
                self.coils.append((machine.Pin(pin, drain, value=1), w.COILS.index(wire), 0))
            elif kind == SUPPLY:
                self.coils.append((machine.Pin(pin, out, value=0), w.COILS.index(wire), 1))
            elif kind == RELAY:
                self.relay_pins.append(machine.Pin(pin, machine.Pin.IN, pull))
            else:
                self.pwm.append(machine.PWM(machine.Pin(pin), freq=PWM_HZ, duty_u16=0))
        self.watchdog = None
        self.maintenance = False

    def now_ms(self):
        """Return milliseconds in a 30-bit ring."""
        return time.ticks_ms() & _MASK  # type: ignore[operator]

    def relays(self):
        """Return the controller's relay outputs, a bit each."""
        word = 0
        bit = 1
        for pin in self.relay_pins:
            if pin.value():
                word |= bit
            bit <<= 1
        return word

    def put(self, coils, analog):
        """Drive the coils and the analog outputs."""
        for pin, place, level in self.coils:
            pin.value(level if coils >> place & 1 else 1 - level)
        for i in range(w.N_ANALOG):
            self.pwm[i].duty_u16(analog[i] * 65535 // w.FULL_MV)

    def release(self):
        """Let go of every wire."""
        self.put(0, (0, 0, 0, 0))

    def feed_watchdog(self):
        """Feed the watchdog; the first call starts it, and nothing stops it again."""
        if self.watchdog is None:
            self.watchdog = machine.WDT(timeout=WATCHDOG_MS)
        self.watchdog.feed()

    def rest(self, ms):
        """Do not rest: a look more is an edge better timed."""

    def open_link(self):
        """Return ASCII on USB.  Ctrl-C is data from now on."""
        import micropython

        micropython.kbd_intr(-1)
        return [(Usb(), 1)]

    def files(self):
        """Return the folder for the flag."""
        return ""

    def firmware(self):
        """Return the folder that holds the firmware."""
        return "/lib/sumprig"

    def reset(self):
        """Reset the board."""
        machine.reset()

    def reset_after(self, ms):
        """Reset the board after a time, whatever it is doing."""
        self.timer = machine.Timer(-1)
        self.timer.init(mode=machine.Timer.ONE_SHOT, period=ms, callback=lambda timer: machine.reset())
