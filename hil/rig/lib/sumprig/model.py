"""The rig's registers as `duplexsump.station.modbus.Handler` wants them; a request is checked as a whole first."""

from duplexsump.control.ticks import const
from duplexsump.station import modbus as m

from . import registers as r
from . import wires as w

_LOG_END = const(1124)  # LOG_AT + LOG_ROOM * LOG_WORDS


class Model:
    """The registers of `rig` (a `core.Rig`); `checksum` is the firmware's, `bad_frames()` counts what links dropped."""

    def __init__(self, rig, checksum=0):
        self.rig = rig
        self.checksum = checksum
        self.links = []
        self.passes = 0

    def bad_frames(self):
        """Return how many frames all links have dropped."""
        total = 0
        for link in self.links:
            total += link.bad
        return total

    def read_bits(self, function, at, count, reply, place):
        """Fill `reply` with coils as driven, or with relays as they are now."""
        self.rig.heard()
        coils = function == m.READ_COILS
        if at + count > (w.N_COILS if coils else w.N_RELAYS):
            return m.ADDRESS
        word = self.rig.coils if coils else self.rig.relays
        for i in range(count):
            if word >> (at + i) & 1:
                reply[place + (i >> 3)] |= 1 << (i & 7)
        return 0

    def write_bits(self, at, count, data, place):
        """Drive coils, all of a request at once."""
        self.rig.heard()
        if at + count > w.N_COILS:
            return m.ADDRESS
        word = self.rig.coils
        for i in range(count):
            one = 1 << (at + i)
            word = word | one if data[place + (i >> 3)] >> (i & 7) & 1 else word & ~one
        self.rig.drive(word)
        return 0

    def read_words(self, function, at, count, reply, place):
        """Fill `reply` with holding registers, the state, or a piece of the edge log."""
        self.rig.heard()
        if function == m.READ_INPUT and at >= r.LOG_AT:
            return self._log(at, count, reply, place)
        words = self._holding() if function == m.READ_HOLDING else self._state()
        if at + count > len(words):
            return m.ADDRESS
        for i in range(count):
            self._put(reply, place + 2 * i, words[at + i])
        return 0

    def _put(self, reply, place, word):
        reply[place] = word >> 8 & 255
        reply[place + 1] = word & 255

    def _log(self, at, count, reply, place):
        if at + count > _LOG_END:
            return m.ADDRESS
        for i in range(count):
            self._put(reply, place + 2 * i, self.rig.log.word(at - r.LOG_AT + i))
        return 0

    def _holding(self):
        return list(self.rig.analog) + [self.rig.silence_ms, 0, 0]

    def _state(self):
        # In the order of registers.WORDS.
        rig = self.rig
        now = self.rig.looked_ms
        words = [r.SIGNATURE, r.MAP_VERSION]
        for value in (self.checksum, now, rig.log.count):
            words.append(value >> 16 & 0xFFFF)
            words.append(value & 0xFFFF)
        words += [rig.relays, rig.coils >> 16, rig.coils & 0xFFFF, rig.releases, rig.longest_look_ms]
        for value in (self.passes, self.bad_frames()):
            words.append(value >> 16 & 0xFFFF)
            words.append(value & 0xFFFF)
        return words

    def write_words(self, at, count, data, place):
        """Set analog outputs and the time of silence, or ask for a restart."""
        self.rig.heard()
        if at + count > r.N_HOLDING:
            return m.ADDRESS
        values = [data[place + 2 * i] << 8 | data[place + 2 * i + 1] for i in range(count)]
        for i in range(count):
            if not self._allowed(at + i, values[i]):
                return m.VALUE
        for i in range(count):
            self._set(at + i, values[i])
        return 0

    def _allowed(self, at, value):
        if at < w.N_ANALOG:
            return value <= w.FULL_MV
        if at == r.SILENCE_AT:
            return r.SILENCE_LEAST_MS <= value <= r.SILENCE_MOST_MS
        return value == (r.MAINTENANCE_KEY if at == r.MAINTENANCE_AT else r.RESTART_KEY)

    def _set(self, at, value):
        if at < w.N_ANALOG:
            self.rig.give(at, value)
        elif at == r.SILENCE_AT:
            self.rig.silence_ms = value
        else:
            self.rig.wish = value
