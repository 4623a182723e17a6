"""Segments of the board's journal written and read from its description alone, with nothing of the firmware's own code.

A batch: 0xD5, length of the payload in 2 bytes, CRC-32 of the payload in 4, the
payload; numbers low byte first.  In a payload a whole number from 0 up takes 7
bits a byte, the high bit set in all but the last; one of either sign is doubled,
a negative one as 2 * (-1 - n) + 1.
"""

import zlib


def count(value):
    """Return a whole number from 0 up as bytes."""
    found = bytearray()
    while value >= 128:
        found.append(value % 128 + 128)
        value //= 128
    found.append(value)
    return bytes(found)


def number(value):
    """Return a whole number of either sign as bytes."""
    return count(2 * value if value >= 0 else 2 * (-1 - value) + 1)


def text(words):
    """Return a text as bytes, its length first."""
    return count(len(words.encode())) + words.encode()


def row(values):
    """Return a list of numbers of either sign as bytes, its length first."""
    return count(len(values)) + b"".join(number(value) for value in values)


def batch(payload):
    """Return a payload as a sealed batch."""
    return b"\xd5" + len(payload).to_bytes(2, "little") + zlib.crc32(payload).to_bytes(4, "little") + payload


def opening(number_=1, life=1, checksum=7, wall_s=0, at_ms=0, settings=(), retained=None, snapshot=(), version=3):
    """Return an OPEN record; `retained` None: the life goes on."""
    head = b"\x01" + b"".join(map(count, (version, number_, life, checksum, wall_s, int(retained is not None), at_ms)))
    return head + row(settings) + (b"" if retained is None else row(retained)) + row(snapshot)


def step(ticks, late, packed, inputs):
    """Return a STEP record; `inputs`: {place: value} of those that differ."""
    mask = sum(1 << place for place in inputs)
    head = b"\x02" + b"".join(map(count, (ticks, late, packed, mask)))
    return head + b"".join(number(inputs[i]) for i in sorted(inputs))


def retained(changes):
    """Return a RETAINED record; `changes`: {place: value}."""
    found, before = b"\x03" + count(len(changes)), -1
    for place in sorted(changes):
        found += count(place - before - 1) + number(changes[place])
        before = place
    return found


def minute(values):
    """Return a MINUTE record of 12 numbers."""
    return b"\x04" + b"".join(map(number, values))


def event(code, value, words):
    """Return an EVENT record."""
    return b"\x05" + count(code) + number(value) + text(words)


class Payload:
    """What one payload says, record by record."""

    def __init__(self, data):
        self.data, self.at = data, 0

    def _count(self):
        value, place = 0, 1
        while True:
            byte = self.data[self.at]
            self.at += 1
            value += byte % 128 * place
            place *= 128
            if byte < 128:
                return value

    def _number(self):
        value = self._count()
        return -1 - value // 2 if value % 2 else value // 2

    def _row(self):
        return [self._number() for _ in range(self._count())]

    def records(self):
        """Return the records as tuples, the kind's name first."""
        found = []
        while self.at < len(self.data):
            kind = self._count()
            found.append((None, self._open, self._step, self._retained, self._minute, self._event)[kind]())
        return found

    def _open(self):
        version, number_, life, checksum, wall_s, begins, at_ms = [self._count() for _ in range(7)]
        assert begins in (0, 1)
        settings, kept = self._row(), self._row() if begins else None
        return "open", version, number_, life, checksum, wall_s, at_ms, settings, kept, self._row()

    def _step(self):
        ticks, late, packed, mask = [self._count() for _ in range(4)]
        return "step", ticks, late, packed, {i: self._number() for i in range(64) if mask >> i & 1}

    def _retained(self):
        changes, place = {}, -1
        for _ in range(self._count()):
            place += self._count() + 1
            changes[place] = self._number()
        return "retained", changes

    def _minute(self):
        return "minute", [self._number() for _ in range(12)]

    def _event(self):
        code, value, length = self._count(), self._number(), self._count()
        self.at += length
        return "event", code, value, self.data[self.at - length : self.at].decode()


def batches(data):
    """Return the records of a segment's bytes, a list for each batch.  Every byte must belong to a sound batch."""
    found, at = [], 0
    while at < len(data):
        length = int.from_bytes(data[at + 1 : at + 3], "little")
        payload = data[at + 7 : at + 7 + length]
        assert data[at : at + 7 + length] == batch(payload), f"no sound batch at byte {at}"
        found.append(Payload(payload).records())
        at += 7 + length
    return found
