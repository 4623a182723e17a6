"""Runs under MicroPython: what a time of pumping costs the flash, on the real LittleFS of the board's size.

ARGUMENTS: the firmware's lib folder, blocks, cycles an hour, hours, waves (contacts that waver at each turn).
Prints: starts, records, flushes, bytes of journal, erases, bytes programmed, erases of the most worn block,
longest recording in microseconds, segments opened, records a second while recording.
"""

import sys
import time

import vfs

sys.path.insert(0, sys.argv[1])

from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control.controller import Controller
from duplexsump.control.ticks import add
from duplexsump.station.recorder import Recorder

BLOCK = 4096


class Flash:
    """A flash in memory that counts what is done to it."""

    def __init__(self, blocks):
        self.blocks = blocks
        self.data = bytearray(b"\xff" * (blocks * BLOCK))
        self.erases = [0] * blocks
        self.programmed = 0

    def readblocks(self, number, buffer, offset=0):
        at = number * BLOCK + offset
        buffer[:] = self.data[at : at + len(buffer)]

    def writeblocks(self, number, buffer, offset=0):
        at = number * BLOCK + offset
        self.data[at : at + len(buffer)] = buffer
        self.programmed += len(buffer)

    def ioctl(self, operation, argument):
        if operation == 4:
            return self.blocks
        if operation == 5:
            return BLOCK
        if operation == 6:
            self.erases[argument] += 1
            self.data[argument * BLOCK : (argument + 1) * BLOCK] = b"\xff" * BLOCK
        return 0


class Pit:
    """Cycles of one shape: off wet, lead wet, a pump on until off is dry; currents in bands as sensed."""

    def __init__(self, period_ticks, waves):
        self.period = period_ticks
        self.waves = waves
        self.contacts = 0
        self.since = 0
        self.level = 0

    def step(self, out):
        # In millionths of the pit: full in one period without a pump, empty in 12 s with one.
        self.level += 1000000 // self.period - (8300 if out[0] or out[1] else 0)
        self.level = max(0, min(1000000, self.level))
        self.since += 1
        wave = (self.since * 37 % 41) - 20 if self.waves else 0
        level = self.level // 1000 + wave
        contacts = self.contacts
        for bit, wet, dry in ((1, 200, 100), (2, 800, 700)):
            if level >= wet:
                contacts |= bit
            elif level < dry:
                contacts &= ~bit
        self.contacts = contacts
        return contacts


def main():
    blocks, per_hour, hours, waves = [int(word) for word in sys.argv[2:6]]
    flash = Flash(blocks)
    vfs.VfsLfs2.mkfs(flash)
    vfs.mount(vfs.VfsLfs2(flash), "/flash")
    values = s.defaults()
    values[s.SENSING] = s.SENSE_CURRENT
    world = World(values, Pit(36000 // per_hour, waves))
    flash.erases = [0] * blocks
    flash.programmed = 0
    segments = world.run(hours * 36000)
    book = world.recorder.journal
    starts = world.controller.pumps[0].starts + world.controller.pumps[1].starts
    print(starts, book.records, book.flushes, world.bytes, sum(flash.erases), flash.programmed, max(flash.erases),
          world.longest_us, segments, book.records * 1000000 // max(1, world.total_us))


class World:
    """A controller with its recorder in a pit."""

    def __init__(self, values, pit):
        self.pit = pit
        self.controller = Controller(values)
        self.inputs = [0] * r.N_INPUTS
        self.inputs[r.IN_MAINS] = 1
        self.raw = [0] * r.N_INPUTS
        self.recorder = Recorder("/flash/journal", 1)
        self.recorder.recall(self.controller.retained_places())
        self.controller.power_up(0)
        self.recorder.begin(self.controller, 0, 0, None, 0)
        self.bytes = 0
        self.longest_us = 0
        self.total_us = 0

    def wall_now_s(self):
        return 0

    def run(self, ticks):
        now, inputs, c, book = 0, self.inputs, self.controller, self.recorder.journal
        first = book.number
        size = book.size
        for tick in range(ticks):
            inputs[0] = self.pit.step(c.out)
            for n in range(2):
                inputs[2 + n] = 2 * c.out[n]
                self.raw[2 + n] = (7800 + tick % 7) * c.out[n]
            c.step(now, inputs)
            began = time.ticks_us()
            self.recorder.step(self, 0, tick == 0)
            took = time.ticks_diff(time.ticks_us(), began)
            self.longest_us = max(self.longest_us, took)
            self.total_us += took
            self.bytes += book.size - size if book.size > size else 0
            size = book.size
            now = add(now, 100)
        return book.number - first


main()
