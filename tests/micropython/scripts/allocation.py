"""Runs under MicroPython: what steps and idle passes allocate, and how long they take.

ARGUMENTS: the firmware's lib folder, the way to measure: "total" (bytes ever
allocated, 64 bits), "alloc" (bytes in use, true on 32 bits, where nothing is
collected inside a call) or "lock" (any allocation raises).  Prints one line a
case: name, bytes over all steps, steps, microseconds a step.
"""

import gc
import sys
import time

import micropython

try:
    ARGUMENTS
except NameError:
    ARGUMENTS = sys.argv
sys.path.insert(0, ARGUMENTS[1])
WAY = ARGUMENTS[2]

from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control.bands import Bands
from duplexsump.control.controller import Controller
from duplexsump.station.minimal import MAINS, FloatsOnly
from duplexsump.station.recorder import Minute

STEPS = 10000
WORDS = (0, 1, 1, 3, 3, 7, 15, 15, 7, 3, 1, 0)
TEN_YEARS_S = 315360000


def largest():
    """Return settings as large as the check lets them be, one after another."""
    values = s.defaults()
    for i in range(s.N_SETTINGS):
        before = values[i]
        values[i] = s.TABLE[i][s.MOST]
        if s.check(values):
            values[i] = before
    return values


class Case:
    """One controller with its bands, at a time, with old counters or new."""

    def __init__(self, values, start, old=False, always=True, banded=False):
        self.controller = Controller(values)
        self.banded = banded
        self.controller.always = always
        self.bands = Bands(values)
        self.raw = [0] * r.N_INPUTS
        self.raw[r.IN_MAINS] = 1
        self.raw[r.IN_BATTERY] = 12800
        self.inputs = [0] * r.N_INPUTS
        self.now = start
        self.number = 0
        self.nc = values[s.NORMALLY_CLOSED]
        self.minute = Minute()
        self.controller.power_up(start)
        if old:
            history = self.controller.history
            history.run_s[0] = history.run_s[1] = TEN_YEARS_S
            history.rate_ml_min[0] = history.first_rate_ml_min[0] = 131000
            for pump in self.controller.pumps:
                pump.starts = 5000000
            self.controller.uptime_min = 5256000
            self.controller.inspection_min = 5256000

    def run(self, steps):
        """Step through fills, draw-downs and floods; the wave of words is 1200 steps long."""
        for _ in range(steps):
            out = self.controller.out
            word = WORDS[self.number // 100 % 12]
            self.number += 1
            self.raw[0] = word ^ self.nc
            self.raw[2] = 7800 * out[0]
            self.raw[3] = 7800 * out[1]
            self.raw[4] = 6000 + 800 * (self.number // 100 % 12)
            if self.banded:
                self.bands.convert(self.raw, self.inputs, out[0], out[1])
            else:
                self.inputs[0] = word
                self.inputs[r.IN_MAINS] = 1
                self.inputs[2] = 2 * out[0]
                self.inputs[3] = 2 * out[1]
            self.controller.step(self.now, self.inputs)
            self.controller.next_due(self.now)
            self.minute.add(self.raw, out)
            self.now = (self.now - 0x3FFFFFFF - 1 + 100) & 0x3FFFFFFF


class Minimal(Case):
    """The floats-only rule."""

    def __init__(self, start):
        self.floats = FloatsOnly(start)
        self.now = start
        self.number = 0

    def run(self, steps):
        for _ in range(steps):
            bits = WORDS[self.number // 100 % 12] ^ 8 | MAINS
            self.number += 1
            self.floats.step(self.now, bits)
            self.now = (self.now - 0x3FFFFFFF - 1 + 100) & 0x3FFFFFFF


def measure(name, case):
    """Measure one case and print its line."""
    case.run(2400)  # what is allocated once is not a matter of steps
    gc.collect()
    before = micropython.mem_total() if WAY == "total" else gc.mem_alloc()
    began = time.ticks_us()
    if WAY == "lock":
        micropython.heap_lock()
    try:
        case.run(STEPS)
    finally:
        if WAY == "lock":
            micropython.heap_unlock()
    took = time.ticks_diff(time.ticks_us(), began)
    after = micropython.mem_total() if WAY == "total" else gc.mem_alloc()
    print(name, 0 if WAY == "lock" else after - before, STEPS, took // STEPS)


def sensed(kind):
    """Return defaults with another sensing."""
    values = s.defaults()
    values[s.SENSING] = kind
    return values


NEAR = 0x3FFFFFFF - 600000
measure("early,every-step", Case(sensed(2), 1000))
measure("wrapping,ten-years,largest-settings,every-step", Case(largest(), NEAR, True))
measure("wrapping,due-steps", Case(sensed(2), NEAR, always=False))
measure("wrapping,floats-only", Minimal(NEAR))
measure("wrapping,with-bands,due-steps", Case(sensed(2), NEAR, always=False, banded=True))
if WAY == "total":
    measure("wrapping,feedback,every-step", Case(sensed(1), NEAR))
    measure("wrapping,nothing-sensed,every-step", Case(sensed(0), NEAR))
