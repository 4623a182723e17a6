"""The Modbus handler against the protocol's own text (Modbus Application Protocol V1.1b3, section 6), model aside."""

import pytest
from duplexsump.station import modbus as m

READS, WRITES = (1, 2, 3, 4), (5, 6, 15, 16)
BEFORE = b"\xaa\xbb\xcc"  # what lies in the buffer before a PDU, and after it
AFTER = b"\xee" * 8


class Model:
    """Keeps what it is asked, answers with `refusal`, and writes nothing into a reply but a mark at its first place."""

    def __init__(self, refusal=0):
        self.refusal, self.asked, self.mark = refusal, [], None

    def _read(self, name, function, at, count, reply, place):
        self.asked.append((name, function, at, count, place))
        if self.mark is not None:
            reply[place] = self.mark
        return self.refusal

    def read_bits(self, *asked):
        return self._read("bits", *asked)

    def read_words(self, *asked):
        return self._read("words", *asked)

    def write_bits(self, at, count, data, place):
        self.asked.append(("bits", at, count, bytes(data[place : place + (count + 7) // 8]), len(data) - place))
        return self.refusal

    def write_words(self, at, count, data, place):
        self.asked.append(("words", at, count, bytes(data[place : place + 2 * count])))
        return self.refusal


def answer(pdu, refusal=0, mark=None):
    """Return (the answer, what the model was asked); whatever is not written of the reply reads 0x77."""
    model = Model(refusal)
    model.mark = mark
    handler = m.Handler(model)
    handler.reply[:] = b"\x77" * len(handler.reply)
    buffer = bytearray(BEFORE + pdu + AFTER)
    length = handler.answer(buffer, len(BEFORE), len(pdu))
    assert bytes(buffer) == BEFORE + pdu + AFTER
    if not refusal:
        assert bytes(handler.reply[length:]) == b"\x77" * (len(handler.reply) - length), "nothing behind the answer"
    return bytes(handler.reply[:length]), model.asked


def read(function, count, at=0x0102):
    return bytes([function]) + at.to_bytes(2, "big") + count.to_bytes(2, "big")


def test_nothing_is_answered_to_nothing():
    assert answer(b"") == (b"", [])


@pytest.mark.parametrize("length", [1, 2, 3, 4])
def test_a_request_that_is_too_short_is_refused_by_its_function(length):
    for function in range(256):
        pdu = (bytes([function]) + b"\0\0\0\1")[:length]
        exception = m.VALUE if function in READS + WRITES else m.FUNCTION
        assert answer(pdu) == (bytes([function | 0x80, exception]), []), function


def test_an_unknown_function_is_refused():
    for function in set(range(256)) - set(READS + WRITES):
        assert answer(read(function, 1)) == (bytes([function | 0x80, m.FUNCTION]), [])


@pytest.mark.parametrize("function", [1, 2])
@pytest.mark.parametrize(("count", "size"), [(1, 1), (8, 1), (9, 2), (17, 3), (2000, 250)])
def test_bits_that_the_model_leaves_alone_read_0(function, count, size):
    found, asked = answer(read(function, count))
    assert found == bytes([function, size]) + bytes(size)
    assert asked == [("bits", function, 0x0102, count, 2)]


@pytest.mark.parametrize("function", [3, 4])
@pytest.mark.parametrize("count", [1, 2, 125])
def test_words_are_asked_of_the_model_and_stand_after_their_number(function, count):
    found, asked = answer(read(function, count), mark=0x55)
    assert found[:3] == bytes([function, 2 * count, 0x55]) and len(found) == 2 + 2 * count
    assert asked == [("words", function, 0x0102, count, 2)]


@pytest.mark.parametrize("function", READS)
def test_a_read_of_none_of_too_many_or_of_another_length_is_refused(function):
    most = 2000 if function < 3 else 125
    refused = (bytes([function | 0x80, m.VALUE]), [])
    for pdu in (read(function, 0), read(function, most + 1), read(function, 65535), read(function, 1) + b"\0"):
        assert answer(pdu) == refused


@pytest.mark.parametrize("function", READS)
@pytest.mark.parametrize("exception", [m.ADDRESS, m.FAILURE])
def test_what_the_model_refuses_to_read_is_told(function, exception):
    assert answer(read(function, 1), exception)[0] == bytes([function | 0x80, exception])


@pytest.mark.parametrize(("value", "bit"), [(0xFF00, 1), (0, 0)])
def test_one_coil(value, bit):
    pdu = read(5, value)
    assert answer(pdu) == (pdu, [("bits", 0x0102, 1, bytes([bit]), 1)])
    assert answer(pdu, m.ADDRESS)[0] == bytes([0x85, m.ADDRESS])


@pytest.mark.parametrize("value", [1, 0xFF, 0xFF01, 0xFE00, 0x0100])
def test_a_coil_is_on_or_off_and_nothing_else(value):
    assert answer(read(5, value)) == (bytes([0x85, m.VALUE]), [])


@pytest.mark.parametrize("value", [0xFF00, 0])
def test_one_coil_and_a_byte_is_refused(value):
    assert answer(read(5, value) + b"\0") == (bytes([0x85, m.VALUE]), [])


def test_one_register():
    pdu = read(6, 0xABCD)
    assert answer(pdu) == (pdu, [("words", 0x0102, 1, b"\xab\xcd")])
    assert answer(pdu, m.VALUE)[0] == bytes([0x86, m.VALUE])
    assert answer(pdu + b"\0") == (bytes([0x86, m.VALUE]), [])


@pytest.mark.parametrize(("function", "name", "count", "size"), [
    (15, "bits", 1, 1), (15, "bits", 8, 1), (15, "bits", 9, 2), (15, "bits", 1968, 246),
    (16, "words", 1, 2), (16, "words", 7, 14), (16, "words", 123, 246),
])  # fmt: skip
def test_many_at_once(function, name, count, size):
    data = bytes(range(1, size + 1)) if size < 255 else b""
    pdu = read(function, count) + bytes([size]) + data
    found, asked = answer(pdu)
    assert found == pdu[:5]
    assert asked[0][:4] == (name, 0x0102, count, data) and len(asked) == 1
    assert answer(pdu, m.FAILURE)[0] == bytes([function | 0x80, m.FAILURE])
    for wrong in (pdu + b"\0", pdu[:-1], pdu[:5] + bytes([size + 1 & 255]) + pdu[6:], pdu[:5]):
        assert answer(wrong) == (bytes([function | 0x80, m.VALUE]), []), wrong


@pytest.mark.parametrize(("function", "count", "size"), [(15, 0, 0), (15, 1969, 247), (16, 0, 0), (16, 124, 248)])
def test_none_or_too_many_at_once_are_refused(function, count, size):
    pdu = read(function, count) + bytes([size]) + bytes(size)
    assert answer(pdu) == (bytes([function | 0x80, m.VALUE]), [])
