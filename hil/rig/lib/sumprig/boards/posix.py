"""The rig as MicroPython on a PC, its pins carried over a byte stream to whoever plays the loom of wires.

The environment names the stream's descriptor (SUMPRIG_PINS) and how fast time
goes (SUMPRIG_SPEED, a whole number).  The rig sends messages of 13 bytes, low
byte first: a letter and

    'W', coils (4 bytes), four analog outputs in mV (2 bytes each)
    'D' (watchdog fed), 'X' (reset me now), 'T' (reset me after a time, ms in the place of the coils)

and is sent one byte whenever the relays change: a bit each, as they are then.
"""

import os
import select
import sys
import time

from duplexsump.boards.stream import Stream

from .. import wires as w

WIRING = ()  # no pins
_MASK = 0x3FFFFFFF
_FEED_MS = 100


class Board:
    """See `boards/__init__.py`.  Raises OSError when nobody carries the wires."""

    def __init__(self):
        descriptor = os.getenv("SUMPRIG_PINS")
        if descriptor is None:
            raise OSError("no wires: SUMPRIG_PINS names no descriptor")
        self.pins = open(int(descriptor), "r+b")
        self.speed = int(os.getenv("SUMPRIG_SPEED") or "1")
        self.message = bytearray(13)
        self.one = bytearray(1)
        self.bits = 0
        self.waiting = select.poll()
        self.waiting.register(self.pins, select.POLLIN)
        self.resting = select.poll()
        self.resting.register(self.pins, select.POLLIN)
        self.resting.register(sys.stdin.buffer, select.POLLIN)
        self.began_ms = time.ticks_ms()
        self.fed_ms = self.began_ms
        self.fed = False
        self.maintenance = False
        self.release()

    def now_ms(self):
        """Return milliseconds since the start, in a 30-bit ring."""
        return (time.ticks_diff(time.ticks_ms(), self.began_ms) * self.speed) & _MASK

    def relays(self):
        """Return the relays as last told; at most one change is taken at a time, so that none is missed."""
        for event in self.waiting.ipoll(0):
            if event[1] & select.POLLIN and self.pins.readinto(self.one):
                self.bits = self.one[0]
        return self.bits

    def _send(self, letter, word, analog=None):
        message = self.message
        message[0] = letter
        for i in range(4):
            message[1 + i] = word >> 8 * i & 255
        for i in range(w.N_ANALOG):
            value = analog[i] if analog else 0
            message[5 + 2 * i] = value & 255
            message[6 + 2 * i] = value >> 8
        self.pins.write(message)

    def put(self, coils, analog):
        """Drive the coils and the analog outputs."""
        self._send(87, coils, analog)

    def release(self):
        """Let go of every wire."""
        self._send(87, 0)

    def feed_watchdog(self):
        """Tell that the loop is alive, at most ten times a second."""
        now = time.ticks_ms()
        if not self.fed or time.ticks_diff(now, self.fed_ms) >= _FEED_MS:
            self.fed = True
            self.fed_ms = now
            self._send(68, 0)

    def rest(self, ms):
        """Rest until a wire changes or the bench speaks, a few ms at the most: a PC has other things to do."""
        self.resting.poll(5 * ms)

    def open_link(self):
        """Return ASCII on standard input and output.  Ctrl-C is data from now on."""
        import micropython

        micropython.kbd_intr(-1)
        return [(Stream(sys.stdin.buffer, sys.stdout.buffer), 1)]

    def files(self):
        """Return the folder for the flag."""
        return ""

    def firmware(self):
        """Return the folder that holds the firmware."""
        return "/lib/sumprig"

    def reset(self):
        """Have whoever carries the wires end this process and start it anew."""
        self._send(88, 0)
        while True:
            time.sleep_ms(1000)

    def reset_after(self, ms):
        """Ask to be reset after a time, whatever it is doing."""
        self._send(84, ms)
