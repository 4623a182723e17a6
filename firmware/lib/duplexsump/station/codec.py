"""Batches of journal records as bytes: whole numbers of variable length, sealed by a checksum.

A batch is 0xD5, the length of its payload (2 bytes), the CRC-32 of the payload
(4 bytes), the payload; all numbers low byte first.  A payload is a row of
records, each of which begins with its kind (see `journal.py`).  A batch is read
whole or not at all.
"""

import binascii

from ..control.ticks import const

MARK = const(0xD5)
HEAD = const(7)
LONGEST = const(8192)  # no payload is longer


class Batch:
    """A batch in the making, in one buffer that is allocated once.  `room` is the longest payload in bytes."""

    def __init__(self, room: int) -> None:
        self.data = bytearray(HEAD + room)
        self.view = memoryview(self.data)
        self.end = HEAD

    def clear(self) -> None:
        """Begin an empty batch."""
        self.end = HEAD

    def byte(self, value: int) -> None:
        """Add one byte."""
        self.data[self.end] = value
        self.end += 1

    def count(self, value: int) -> None:
        """Add a whole number from 0 up, 7 bits a byte, low bits first."""
        data = self.data
        end = self.end
        while value > 127:
            data[end] = 128 | (value & 127)
            value >>= 7
            end += 1
        data[end] = value
        self.end = end + 1

    def number(self, value: int) -> None:
        """Add a whole number of either sign, near zero the shortest."""
        self.count(value << 1 if value >= 0 else (-1 - value) << 1 | 1)

    def text(self, words: str) -> None:
        """Add a text of at most 200 bytes, its length first."""
        data = words.encode()[:200]
        self.count(len(data))
        self.data[self.end : self.end + len(data)] = data
        self.end += len(data)

    def seal(self) -> int:
        """Write mark, length and checksum; return the length of the whole batch in bytes."""
        length = self.end - HEAD
        crc = binascii.crc32(self.view[HEAD : self.end])
        data = self.data
        data[0] = MARK
        data[1] = length & 255
        data[2] = length >> 8
        for i in range(4):
            data[3 + i] = crc & 255
            crc >>= 8
        return self.end


class Reader:
    """Reads numbers and texts from a payload.  Raises ValueError where it ends too soon."""

    def __init__(self, payload: bytes) -> None:
        self.payload = payload
        self.at = 0

    def more(self) -> bool:
        """Tell whether anything is left."""
        return self.at < len(self.payload)

    def byte(self) -> int:
        """Return the next byte."""
        if self.at >= len(self.payload):
            raise ValueError("a record ends in the middle")
        self.at += 1
        return self.payload[self.at - 1]

    def count(self) -> int:
        """Return the next whole number from 0 up."""
        value = 0
        shift = 0
        while True:
            byte = self.byte()
            value |= (byte & 127) << shift
            if byte < 128:
                return value
            shift += 7

    def number(self) -> int:
        """Return the next whole number of either sign."""
        value = self.count()
        return -1 - (value >> 1) if value & 1 else value >> 1

    def text(self) -> str:
        """Return the next text."""
        length = self.count()
        if self.at + length > len(self.payload):
            raise ValueError("a text ends in the middle")
        self.at += length
        return bytes(self.payload[self.at - length : self.at]).decode()


def payload_length(data: bytes, at: int) -> int:
    """Return the payload's length of the batch at `at` in `data`, or -1 when there is no whole and sound one."""
    if at + HEAD > len(data) or data[at] != MARK:
        return -1
    length = data[at + 1] | data[at + 2] << 8
    if at + HEAD + length > len(data) or length > LONGEST:
        return -1
    crc = data[at + 3] | data[at + 4] << 8 | data[at + 5] << 16 | data[at + 6] << 24
    return length if binascii.crc32(memoryview(data)[at + HEAD : at + HEAD + length]) == crc else -1


def payloads(data: bytes) -> list[bytes]:
    """Return the payloads of all sound batches at the head of `data`, as a list of bytes."""
    found = []
    at = 0
    while True:
        length = payload_length(data, at)
        if length < 0:
            return found
        found.append(bytes(data[at + HEAD : at + HEAD + length]))
        at += HEAD + length
