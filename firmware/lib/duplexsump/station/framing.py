"""Modbus frames over a byte stream: ASCII (USB) and RTU (RS-485).

Modbus over Serial Line V1.02.  Both read at most 64 bytes a pass and write only
when the stream takes it: ASCII at most 64 bytes, RTU the whole frame, which must
not be broken by a silence of 1.5 characters (2.5.1.1); its stream holds one.  A
reply that nobody reads is given up.
Every byte may come at any time: a frame is only acted upon when its checksum
holds and it is for this unit.
"""

from ..control.ticks import add, const, diff

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Handler, Stream, Words

READ_A_PASS = const(64)
WRITE_A_PASS = const(64)
GIVE_UP_MS = const(3000)  # a reply that is not taken for so long is dropped
ASCII_ROOM = const(513)
RTU_ROOM = const(256)
_COLON = const(58)


def crc16(data: bytearray, at: int, length: int, crc: int = 0xFFFF) -> int:
    """Return the Modbus CRC of `length` bytes of `data` from `at` on (polynomial 0xA001, low byte sent first)."""
    for i in range(at, at + length):
        crc = (crc >> 8) ^ _CRC[(crc ^ data[i]) & 255]
    return crc


def _crc_table() -> "Words":
    from array import array

    table = array("H", [0] * 256)
    for i in range(256):
        crc = i
        for _ in range(8):
            crc = crc >> 1 ^ 0xA001 if crc & 1 else crc >> 1
        table[i] = crc
    return table


_CRC = _crc_table()


def lrc(data: bytearray, at: int, length: int) -> int:
    """Return the LRC of bytes: the two's complement of their sum."""
    total = 0
    for i in range(at, at + length):
        total += data[i]
    return -total & 255


def _nibble(byte: int) -> int:
    # Value of a hexadecimal digit, -1 for anything else; lower case is no Modbus.
    if 48 <= byte <= 57:
        return byte - 48
    if 65 <= byte <= 70:
        return byte - 55
    return -1


def _digit(value: int) -> int:
    return 48 + value if value < 10 else 55 + value


class Port:
    """A stream with its handler; `stream` has ready() -> byte or -1, takes() -> bool and put(buffer, at, count).

    `unit` is this board's Modbus address, 1 to 247; address 0 is for all and is not answered.
    """

    def __init__(self, stream: "Stream", handler: "Handler", unit: int, room: int) -> None:
        self.stream = stream
        self.handler = handler
        self.unit = unit
        self.frame = bytearray(room)
        self.length = 0
        self.out = bytearray(room)
        self.piece = WRITE_A_PASS
        self.out_at = 0
        self.out_end = 0
        self.out_since_ms = 0
        self.bad = 0
        self.good = 0

    def _write(self, now_ms: int) -> None:
        # A piece at most, only when the stream takes it.
        if self.out_at >= self.out_end:
            return
        if self.stream.takes():
            count = min(self.piece, self.out_end - self.out_at)
            self.stream.put(self.out, self.out_at, count)
            self.out_at += count
            self.out_since_ms = now_ms
        elif diff(now_ms, self.out_since_ms) > GIVE_UP_MS:
            self.out_at = self.out_end = 0

    def _dropped(self) -> None:
        self.bad = (self.bad + 1) & 0xFFFFFFF

    def _answer(self, data: bytearray, length: int) -> int:
        # `data` holds address and PDU, checksum already taken off; the length of a reply, 0 for none.
        if length < 2 or (data[0] != self.unit and data[0] != 0):
            return 0
        self.good = (self.good + 1) & 0xFFFFFFF
        count = self.handler.answer(data, 1, length - 1)
        return count if data[0] else 0


class AsciiPort(Port):
    """':' hexadecimal digits CR LF; any ':' begins a frame anew."""

    def __init__(self, stream: "Stream", handler: "Handler", unit: int = 1) -> None:
        super().__init__(stream, handler, unit, ASCII_ROOM)
        self.inside = False
        self.high = -1

    def serve(self, now_ms: int) -> None:
        """Read what has come, act on whole frames, write a piece of the reply."""
        for _ in range(READ_A_PASS):
            byte = self.stream.ready()
            if byte < 0:
                break
            self._take(byte, now_ms)
        self._write(now_ms)

    def _take(self, byte: int, now_ms: int) -> None:
        if byte == _COLON:
            if self.inside and (self.length or self.high >= 0):
                self._dropped()
            self.inside = True
            self.length = 0
            self.high = -1
        elif not self.inside:
            return
        elif byte == 13:
            pass
        elif byte == 10:
            self.inside = False
            self._whole(now_ms)
        else:
            self._digit(_nibble(byte))

    def _digit(self, value: int) -> None:
        if value < 0 or self.length >= 256:
            self.inside = False
            self._dropped()
        elif self.high < 0:
            self.high = value
        else:
            self.frame[self.length] = self.high << 4 | value
            self.length += 1
            self.high = -1

    def _whole(self, now_ms: int) -> None:
        length = self.length
        if length < 3 or self.high >= 0 or lrc(self.frame, 0, length):
            self._dropped()
            return
        count = self._answer(self.frame, length - 1)
        if not count:
            return
        out = self.out
        out[0] = _COLON
        self.out_end = 1
        self._hex(self.unit)
        reply = self.handler.reply
        total = self.unit
        for i in range(count):
            self._hex(reply[i])
            total += reply[i]
        self._hex(-total & 255)
        out[self.out_end] = 13
        out[self.out_end + 1] = 10
        self.out_end += 2
        self.out_at = 0
        self.out_since_ms = now_ms

    def _hex(self, byte: int) -> None:
        self.out[self.out_end] = _digit(byte >> 4)
        self.out[self.out_end + 1] = _digit(byte & 15)
        self.out_end += 2


class RtuPort(Port):
    """Frames parted by a silence of 3.5 characters, `silence_ms` rounded up to whole milliseconds."""

    def __init__(self, stream: "Stream", handler: "Handler", unit: int = 1, silence_ms: int = 5) -> None:
        super().__init__(stream, handler, unit, RTU_ROOM)
        self.piece = RTU_ROOM
        self.silence_ms = silence_ms
        self.last_ms = 0
        self.over = False  # more came than a frame may hold

    def serve(self, now_ms: int) -> None:
        """Read what has come; act on the frame once the line has been silent; write a piece of the reply."""
        for _ in range(READ_A_PASS):
            byte = self.stream.ready()
            if byte < 0:
                break
            self.last_ms = now_ms
            if self.length < RTU_ROOM:
                self.frame[self.length] = byte
                self.length += 1
            else:
                self.over = True
        if self.length and diff(now_ms, add(self.last_ms, self.silence_ms)) >= 0:
            self._whole(now_ms)
            self.length = 0
            self.over = False
        self._write(now_ms)

    def _whole(self, now_ms: int) -> None:
        length = self.length
        if self.over or length < 4 or crc16(self.frame, 0, length):
            self._dropped()
            return
        count = self._answer(self.frame, length - 2)
        if not count:
            return
        out = self.out
        out[0] = self.unit
        reply = self.handler.reply
        for i in range(count):
            out[1 + i] = reply[i]
        crc = crc16(out, 0, 1 + count)
        out[1 + count] = crc & 255
        out[2 + count] = crc >> 8
        self.out_at = 0
        self.out_end = 3 + count
        self.out_since_ms = now_ms
