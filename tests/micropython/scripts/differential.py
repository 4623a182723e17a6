"""Runs in every place: random steps through bands and controller; prints what must be the same everywhere.

ARGUMENTS: the firmware's lib folder, steps, seed.  Prints a CRC-32 of the
outputs and due times of each block of 500 steps, the final snapshot, what is
retained, and the time taken.  The generator stays within 30 bits.
"""

import binascii
import sys
import time

try:
    ARGUMENTS
except NameError:
    ARGUMENTS = sys.argv
sys.path.insert(0, ARGUMENTS[1])

from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control.bands import Bands
from duplexsump.control.controller import Controller
from duplexsump.control.ticks import add, diff

STEPS = int(ARGUMENTS[2])
BLOCK = 500
# Each life of the controller takes the next of these, as {place: value} over the defaults.
VARIANTS = (
    {},
    {s.SENSING: s.SENSE_CURRENT},
    {s.SENSING: s.SENSE_FEEDBACK, s.DUTY: s.RUN_TIME},
    {s.SENSING: s.SENSE_CURRENT, s.DUTY: s.FIXED, s.SUPPLY_2: s.BATTERY, s.CHARGER_FITTED: 1},
    {s.TRANSMITTER: 1, s.SENSING: s.SENSE_CURRENT, s.SUPPLY_1: s.EITHER, s.SUPPLY_2: s.EITHER},
    {s.TRANSMITTER: 1, s.FITTED: 8},
    {s.FITTED: 14, s.NORMALLY_CLOSED: 10, s.SENSING: s.SENSE_CURRENT, s.MOISTURE_TRIPS: 1},
)
WORDS = (0, 0, 1, 1, 3, 3, 3, 7, 7, 15)


class Draw:
    """A generator of two 15-bit words: no product leaves 30 bits."""

    def __init__(self, seed):
        self.a = seed & 0x7FFF or 1
        self.b = (seed * 7 + 1) & 0x7FFF

    def below(self, n):
        """Return a whole number from 0 to n - 1, n at most 32768."""
        self.a = (self.a * 16333 + 25887) & 0x7FFF
        self.b = (self.b * 8121 + 28411) & 0x7FFF
        return (self.a ^ self.b >> 3) * n >> 15


class Life:
    """Raw readings that wander as a pit's do, with faults, people and a failing mains."""

    def __init__(self, draw):
        self.draw = draw
        self.raw = [0] * r.N_INPUTS
        self.raw[r.IN_MAINS] = 1
        self.raw[r.IN_CHARGER] = 1
        self.raw[r.IN_BATTERY] = 12800
        self.raw[r.IN_LEVEL] = 6000
        self.level = 0
        self.stuck = 0
        self.hung = 0
        self.flow = 0
        self.begin()

    def begin(self):
        """The settings of a new life."""
        values = s.defaults()
        for place, value in VARIANTS[self.draw.below(len(VARIANTS))].items():
            values[place] = value
        self.settings = values
        self.bands = Bands(values)
        return values

    def change(self, out):
        """Let a few readings change."""
        draw, raw = self.draw, self.raw
        if not draw.below(50):
            self.flow = draw.below(3)  # a flood brings more than one pump takes
        level = self.level + draw.below(3) - 1 + self.flow * draw.below(2) - (out[0] + out[1]) * draw.below(2)
        self.level = max(0, min(9, level))
        if not draw.below(90):
            self.stuck = draw.below(16) if draw.below(2) else 0
            self.hung = draw.below(16)
        wet = (WORDS[self.level] & ~self.stuck) | (self.hung & self.stuck)
        raw[r.IN_CONTACTS] = wet ^ self.settings[s.NORMALLY_CLOSED]
        raw[r.IN_LEVEL] = 4000 + self.level * 900 + draw.below(60) if draw.below(60) else draw.below(24000)
        for n in range(2):
            sound = 7800 if draw.below(12) else draw.below(30000)
            raw[r.IN_CURRENT_1 + n] = sound * out[n] if draw.below(200) else draw.below(9000)
        kind = draw.below(40)
        if kind == 0:
            raw[r.IN_MAINS] = 1 if draw.below(3) else 0
        elif kind == 1:
            raw[r.IN_BATTERY] = 9000 + draw.below(5000)
        elif kind == 2:
            raw[r.IN_SELECTOR_1 + draw.below(2)] = draw.below(3) if not draw.below(5) else 0
        elif kind == 3:
            raw[r.IN_THERMAL_1 + draw.below(2)] = 0 if draw.below(6) else 1
        elif kind == 4:
            raw[r.IN_MOISTURE_1 + draw.below(2)] = 0 if draw.below(4) else 1
        elif kind == 5:
            raw[r.IN_SILENCE + draw.below(2)] ^= 1
        elif kind == 6:
            raw[r.IN_COMMAND] = draw.below(16)
        elif kind == 7:
            raw[r.IN_JUMPER] ^= 1
            raw[r.IN_FORCE_MASK] = draw.below(512)
            raw[r.IN_FORCE_VALUE] = draw.below(512)
            raw[r.IN_FORCE_REFRESH] = (raw[r.IN_FORCE_REFRESH] + 1) & 0xFFFF
        elif kind == 8:
            raw[r.IN_GENERATOR] ^= 1
            raw[r.IN_CHARGER] ^= 1


def advance(draw, controller, now):
    """Return the next instant: mostly the next tick, often the next due one, seldom far ahead or back."""
    kind = draw.below(400)
    if kind < 150:
        return add(now, 100)
    if kind < 340:
        return controller.next_due(now)
    if kind < 390:
        return add(now, 100 * (1 + draw.below(600)))
    if kind < 398:
        return add(now, 60000 * (1 + draw.below(1400)))
    return add(now, -1000)


def text(values):
    """Return numbers as one line."""
    return " ".join([str(value) for value in values])


def main():
    draw = Draw(int(ARGUMENTS[3]))
    life = Life(draw)
    inputs = [0] * r.N_INPUTS
    now = 0x3FFFFFFF - 400000
    controller = Controller(life.settings)
    controller.power_up(now)
    crc = 0
    block = bytearray(2 * r.N_OUTPUTS)
    ran = [0] * 4
    began = time.time()
    for step in range(STEPS):
        if draw.below(4) == 0:
            life.change(controller.out)
        life.bands.convert(life.raw, inputs, controller.out[0], controller.out[1])
        out = controller.step(now, inputs)
        for i in range(r.N_OUTPUTS):
            block[i] = out[i]
        ahead = diff(controller.next_due(now), now)
        for i in range(4):
            block[8 + i] = ahead & 255
            ahead >>= 8
        block[12] = inputs[r.IN_CONTACTS]
        block[13] = inputs[r.IN_CHATTER]
        crc = binascii.crc32(block, crc)
        ran[out[0] + 2 * out[1]] += 1
        if step % BLOCK == BLOCK - 1:
            print("block", step, crc, text(out))
        if step % 4000 == 3999:
            # A reset, with what survives it; every other time a restored snapshot instead.
            if step % 8000 == 3999:
                again = Controller(life.settings)
                again.restore(controller.snapshot())
            else:
                retained = controller.retain()
                print("retained", binascii.crc32(text(retained).encode()))
                again = Controller(life.begin())
                again.power_up(now, retained)
            controller = again
        now = advance(draw, controller, now)
    print("snapshot", text(controller.snapshot()))
    print("retained", text(controller.retain()))
    print("ran", text(ran))
    print("alarms", text(controller.alarms.raised))
    print("seconds", time.time() - began)


main()
