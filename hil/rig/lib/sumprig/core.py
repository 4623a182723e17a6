"""What the rig does, apart from pins and frames: drive, look, log edges by its own clock, let go when left alone."""

from array import array

from duplexsump.control.ticks import const, diff

from . import registers as r
from . import wires as w

_MASK = const(0xFFFFFFF)


class EdgeLog:
    """The last `registers.LOG_ROOM` edges; `count` is how many there have been, a ring of 28 bits."""

    def __init__(self):
        self.times = array("i", [0] * r.LOG_ROOM)
        self.values = array("H", [0] * r.LOG_ROOM)
        self.wires = bytearray(r.LOG_ROOM)
        self.count = 0

    def add(self, now_ms, wire, value):
        """Log that `wire` (a place in `wires.NAMES`) took `value` (0 to 65535)."""
        slot = self.count % r.LOG_ROOM
        self.times[slot] = now_ms
        self.wires[slot] = wire
        self.values[slot] = value
        self.count = (self.count + 1) & _MASK

    def word(self, at):
        """Return word `at` of the log, counted from its first register."""
        slot, part = at // r.LOG_WORDS, at % r.LOG_WORDS
        if part == 0:
            return self.times[slot] >> 16
        if part == 1:
            return self.times[slot] & 0xFFFF
        return self.wires[slot] if part == 2 else self.values[slot]


class Rig:
    """The rig on a board, which has now_ms(), relays() -> bits, put(coils, analog) and release()."""

    def __init__(self, board):
        self.board = board
        self.log = EdgeLog()
        self.coils = 0
        self.analog = [0] * w.N_ANALOG  # mV
        self.relays = board.relays()
        self.silence_ms = r.SILENCE_MS
        self.looked_ms = board.now_ms()
        self.heard_ms = self.looked_ms
        self.longest_look_ms = 0
        self.releases = 0
        self.wish = 0  # the key of a register that asks for a restart
        for i in range(w.N_RELAYS):
            self.log.add(self.looked_ms, w.FIRST_RELAY + i, self.relays >> i & 1)

    def look(self):
        """Look at the relays and log what has changed; return the time of this look."""
        now = self.board.now_ms()
        gap = diff(now, self.looked_ms)
        if gap > self.longest_look_ms:
            self.longest_look_ms = min(gap, 65535)
        self.looked_ms = now
        relays = self.board.relays()
        if relays != self.relays:
            self._log(now, self.relays, relays, w.FIRST_RELAY, w.N_RELAYS)
            self.relays = relays
        return now

    def _log(self, now, old, new, first, count):
        for i in range(count):
            if (old ^ new) >> i & 1:
                self.log.add(now, first + i, new >> i & 1)

    def drive(self, coils):
        """Drive all coils at once, a bit each; what changes is logged."""
        if coils == self.coils:
            return
        old, self.coils = self.coils, coils
        self.board.put(coils, self.analog)
        self._log(self.board.now_ms(), old, coils, 0, w.N_COILS)

    def give(self, place, millivolts):
        """Set analog output `place` to 0 .. 3300 mV."""
        if self.analog[place] != millivolts:
            self.analog[place] = millivolts
            self.board.put(self.coils, self.analog)
            self.log.add(self.board.now_ms(), w.FIRST_ANALOG + place, millivolts)

    def release(self):
        """Let go of every wire."""
        self.board.release()
        self.drive(0)
        for i in range(w.N_ANALOG):
            self.give(i, 0)

    def heard(self):
        """Note that the bench is there."""
        self.heard_ms = self.board.now_ms()

    def judge(self, now):
        """Let go once the bench has been silent for too long while anything is driven."""
        if diff(now, self.heard_ms) <= self.silence_ms:
            return
        self.heard_ms = now
        if self.coils or max(self.analog):
            self.releases = (self.releases + 1) & 0xFFFF
            self.release()
