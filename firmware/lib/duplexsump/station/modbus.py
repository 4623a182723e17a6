"""Modbus, one handler for whatever carries the frames: function codes 1 to 6, 15 and 16.

Modbus Application Protocol V1.1b3: a request is checked as a whole before
anything changes; a bad one is answered with function + 0x80 and an exception.
Requests and replies are PDUs, without address and checksum.
"""

from ..control.ticks import const

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Registers

READ_COILS = const(1)
READ_BITS = const(2)
READ_HOLDING = const(3)
READ_INPUT = const(4)
WRITE_COIL = const(5)
WRITE_HOLDING = const(6)
WRITE_COILS = const(15)
WRITE_HOLDINGS = const(16)

# Exceptions.
FUNCTION = const(1)
ADDRESS = const(2)
VALUE = const(3)
FAILURE = const(4)

LONGEST = const(253)  # bytes of a PDU
_MOST_BITS = const(2000)
_MOST_WORDS = const(125)
_MOST_COILS = const(1968)
_MOST_HOLDINGS = const(123)


class Handler:
    """Answers PDUs.  `model` has

    read_bits(function, at, count, reply, place), read_words(function, at, count, reply, place),
    write_bits(at, count, data, place) and write_words(at, count, data, place),
    each of which returns 0 or an exception and changes nothing when it returns one.
    """

    def __init__(self, model: "Registers") -> None:
        self.model = model
        self.reply = bytearray(LONGEST)
        self.bit = bytearray(1)

    def answer(self, pdu: bytearray, at: int, length: int) -> int:
        """Handle the PDU that lies in `pdu` from `at` on; return the length of the answer in `reply`."""
        if length < 1:
            return 0
        function = pdu[at]
        if length < 5:
            known = 1 <= function <= 6 or function == WRITE_COILS or function == WRITE_HOLDINGS
            return self._refuse(function, VALUE if known else FUNCTION)
        first = pdu[at + 1] << 8 | pdu[at + 2]
        count = pdu[at + 3] << 8 | pdu[at + 4]
        if function <= READ_INPUT and function >= READ_COILS:
            return self._read(function, first, count, length)
        if function == WRITE_COIL:
            return self._write_coil(pdu, at, first, count, length)
        if function == WRITE_HOLDING:
            refusal = VALUE if length != 5 else self.model.write_words(first, 1, pdu, at + 3)
            return self._echo(pdu, at, refusal)
        if function == WRITE_COILS or function == WRITE_HOLDINGS:
            return self._write_many(pdu, at, first, count, length)
        return self._refuse(function, FUNCTION)

    def _refuse(self, function: int, exception: int) -> int:
        self.reply[0] = (function | 0x80) & 255
        self.reply[1] = exception
        return 2

    def _echo(self, pdu: bytearray, at: int, refusal: int) -> int:
        if refusal:
            return self._refuse(pdu[at], refusal)
        for i in range(5):
            self.reply[i] = pdu[at + i]
        return 5

    def _read(self, function: int, first: int, count: int, length: int) -> int:
        bits = function <= READ_BITS
        if length != 5 or not 1 <= count <= (_MOST_BITS if bits else _MOST_WORDS):
            return self._refuse(function, VALUE)
        size = (count + 7) >> 3 if bits else 2 * count
        reply = self.reply
        if bits:
            for i in range(size):
                reply[2 + i] = 0
            refusal = self.model.read_bits(function, first, count, reply, 2)
        else:
            refusal = self.model.read_words(function, first, count, reply, 2)
        if refusal:
            return self._refuse(function, refusal)
        reply[0] = function
        reply[1] = size
        return 2 + size

    def _write_coil(self, pdu: bytearray, at: int, first: int, value: int, length: int) -> int:
        if length != 5 or (value != 0xFF00 and value != 0):
            return self._refuse(WRITE_COIL, VALUE)
        self.bit[0] = 1 if value else 0
        return self._echo(pdu, at, self.model.write_bits(first, 1, self.bit, 0))

    def _write_many(self, pdu: bytearray, at: int, first: int, count: int, length: int) -> int:
        function = pdu[at]
        bits = function == WRITE_COILS
        size = (count + 7) >> 3 if bits else 2 * count
        most = _MOST_COILS if bits else _MOST_HOLDINGS
        if not 1 <= count <= most or length != 6 + size or pdu[at + 5] != size:
            return self._refuse(function, VALUE)
        if bits:
            refusal = self.model.write_bits(first, count, pdu, at + 6)
        else:
            refusal = self.model.write_words(first, count, pdu, at + 6)
        return self._echo(pdu, at, refusal)
