"""Frames of either kind, byte by byte, with a handler that keeps what it is given: where they begin, end and are lost.

The checksums are written down once more here; test_link_frames.py holds them against published values.
"""

from collections import deque

import pytest
from duplexsump.station import framing as f

NOW = 0x3FFFFFF0  # the ring wraps within every test
UNIT = 17


class Stream:
    """Bytes to be read, and pieces that were written, with the instant of the pass."""

    def __init__(self):
        self.coming, self.pieces, self.open = deque(), [], True

    def ready(self):
        return self.coming.popleft() if self.coming else -1

    def takes(self):
        return self.open

    def put(self, buffer, at, count):
        self.pieces.append(bytes(buffer[at : at + count]))

    def taken(self):
        found, self.pieces = b"".join(self.pieces), []
        return found


class Handler:
    """Answers every PDU with `reply`, and keeps it."""

    def __init__(self, reply):
        self.reply, self.asked, self.answers = bytearray(reply), [], len(reply)

    def answer(self, pdu, at, length):
        self.asked.append(bytes(pdu[at : at + length]))
        return self.answers


def crc(data):
    word = 0xFFFF
    for byte in data:
        word ^= byte
        for _ in range(8):
            word = word >> 1 ^ (0xA001 if word & 1 else 0)
    return data + bytes((word & 255, word >> 8))


def hexed(data):
    return b":" + (data + bytes((-sum(data) & 255,))).hex().upper().encode() + b"\r\n"


class Line:
    """A port of a kind with its stream and handler; time is told by the test."""

    def __init__(self, kind, reply=b"\x03\x02\xab\xcd", silence_ms=5):
        self.stream, self.handler = Stream(), Handler(reply)
        more = {} if kind is f.AsciiPort else {"silence_ms": silence_ms}
        self.port = kind(self.stream, self.handler, UNIT, **more)
        self.ms = NOW

    def pass_(self, data=b"", ms=1):
        self.stream.coming.extend(data)
        self.ms = self.ms + ms & 0x3FFFFFFF
        self.port.serve(self.ms)
        return self.stream.taken()

    def send(self, data, passes=12):
        """Send bytes and let passes follow; return what was answered."""
        return self.pass_(data) + b"".join(self.pass_() for _ in range(passes))

    @property
    def counts(self):
        return self.port.good, self.port.bad


REPLY = bytes([UNIT]) + b"\x03\x02\xab\xcd"
KINDS = {"ascii": (f.AsciiPort, hexed), "rtu": (f.RtuPort, crc)}


@pytest.fixture(params=list(KINDS))
def kind(request):
    return KINDS[request.param]


@pytest.mark.parametrize("pdu", [b"\x03", b"\x03\0\0\0\1", bytes(range(1, 200))])
def test_a_frame_for_this_unit_is_handed_over_and_its_reply_framed(kind, pdu):
    port, framed = kind
    line = Line(port)
    assert line.send(framed(bytes([UNIT]) + pdu)) == framed(REPLY)
    assert (line.handler.asked, line.counts) == ([pdu], (1, 0))


@pytest.mark.parametrize(("unit", "good"), [(0, 1), (1, 0), (16, 0), (18, 0), (247, 0)])
def test_what_is_for_all_is_done_and_what_is_for_another_is_let_pass(kind, unit, good):
    port, framed = kind
    line = Line(port)
    assert line.send(framed(bytes([unit]) + b"\x06\0\1\0\2")) == b""
    assert (len(line.handler.asked), line.counts) == (good, (good, 0))


def test_a_handler_without_an_answer_leaves_the_line_silent(kind):
    port, framed = kind
    line = Line(port, b"")
    assert line.send(framed(bytes([UNIT]) + b"\x03")) == b""
    assert line.counts == (1, 0)


def test_every_single_bit_of_a_frame_counts(kind):
    port, framed = kind
    whole = framed(bytes([UNIT]) + b"\x03\x10\0\0\1")
    for place in range(len(whole)):
        for bit in range(8):
            spoilt = bytearray(whole)
            spoilt[place] ^= 1 << bit
            line = Line(port)
            line.send(bytes(spoilt))
            assert not line.handler.asked, (place, bit)


def test_the_shortest_frame_has_a_unit_and_a_function(kind):
    port, framed = kind
    line = Line(port)
    assert line.send(framed(bytes([UNIT]))) == b""
    assert (line.handler.asked, line.counts) == ([], (0, 1))
    assert line.send(framed(bytes([UNIT, 3]))) == framed(REPLY)


# A reply leaves in pieces on the one, in one piece on the other.


@pytest.mark.parametrize(("port", "framed", "most"), [(f.AsciiPort, hexed, f.WRITE_A_PASS), (f.RtuPort, crc, 256)])
def test_a_long_reply(port, framed, most):
    reply = bytes(range(1, 251))
    line = Line(port, reply)
    line.stream.coming.extend(framed(bytes([UNIT, 3])))
    pieces = []
    for _ in range(40):
        pieces.append(line.pass_())
    found = [piece for piece in pieces if piece]
    assert b"".join(found) == framed(bytes([UNIT]) + reply)
    assert max(map(len, found)) <= most and len(found) == -(-len(framed(bytes([UNIT]) + reply)) // most)


def test_a_stream_that_takes_nothing_is_waited_for_and_given_up_in_the_end(kind):
    port, framed = kind
    for wait_ms, left in ((f.GIVE_UP_MS, True), (f.GIVE_UP_MS + 1, False)):
        for now_ms in (NOW, 100000):
            line = Line(port)
            line.ms = now_ms
            line.stream.open = False
            assert line.pass_(framed(bytes([UNIT, 3]))) == b""
            made_ms = line.ms
            if port is f.RtuPort:  # after the silence
                line.pass_(ms=5)
                made_ms = line.ms
            assert line.pass_(ms=made_ms + wait_ms - line.ms & 0x3FFFFFFF) == b""
            line.stream.open = True
            assert line.send(b"") == (framed(REPLY) if left else b"")


def test_a_piece_that_has_left_begins_the_wait_anew():
    line = Line(f.AsciiPort, bytes(range(1, 101)))
    first = line.pass_(hexed(bytes([UNIT, 3])))
    assert len(first) == f.WRITE_A_PASS
    line.stream.open = False
    line.pass_(ms=f.GIVE_UP_MS)
    line.stream.open = True
    second = line.pass_(ms=0)
    assert len(second) == f.WRITE_A_PASS, "it was not given up"
    line.stream.open = False
    line.pass_(ms=f.GIVE_UP_MS)
    line.stream.open = True
    assert line.pass_(ms=0), "nor after the second"


def test_at_most_so_many_bytes_are_read_in_a_pass(kind):
    port, _framed = kind
    line = Line(port)
    line.pass_(bytes(3 * f.READ_A_PASS))
    assert len(line.stream.coming) == 2 * f.READ_A_PASS
    line.pass_()
    assert len(line.stream.coming) == f.READ_A_PASS


def test_without_a_reply_nothing_is_written_not_even_nothing(kind):
    port, framed = kind
    line = Line(port)
    for _ in range(3):
        line.port.serve(line.ms)
    assert line.stream.pieces == []
    line.send(framed(bytes([UNIT, 3])))
    line.port.serve(line.ms)
    assert line.stream.pieces == []


# ASCII alone.


def test_a_colon_begins_anew_and_drops_what_was_begun():
    line = Line(f.AsciiPort)
    whole = hexed(bytes([UNIT, 3]))
    assert line.send(b":" + whole) == hexed(REPLY)
    assert line.counts == (1, 0), "an empty one is none"
    for begun in (b":0", b":1", b":11", b":1103"):
        line = Line(f.AsciiPort)
        assert line.send(begun + whole) == hexed(REPLY)
        assert line.counts == (1, 1), begun


@pytest.mark.parametrize("noise", [b"1103EC\r\n", b"\r\n", b"\n", b"\xff\x00junk\r\n"])
def test_what_stands_outside_a_frame_is_passed_over(noise):
    line = Line(f.AsciiPort)
    assert line.send(noise) == b""
    assert line.counts == (0, 0)
    assert line.send(noise + hexed(bytes([UNIT, 3])) + noise) == hexed(REPLY)
    assert line.counts == (1, 0)


@pytest.mark.parametrize("frame", [b":\r\n", b":11\r\n", b":11EF\r\n", b":1103E\r\n", b":1103EC0\r\n", b":1103ED\r\n"])
def test_a_frame_that_is_too_short_odd_or_wrong_is_dropped(frame):
    line = Line(f.AsciiPort)
    assert line.send(frame) == b""
    assert (line.counts, line.handler.asked) == ((0, 1), [])


@pytest.mark.parametrize("letter", [*b"/@G`agf!~ ", 0, 0x80])
def test_a_letter_that_is_no_digit_ends_the_frame(letter):
    line = Line(f.AsciiPort)
    whole = hexed(bytes([UNIT, 3]))
    assert line.send(whole[:3] + bytes([letter]) + whole[3:]) == b""
    assert line.counts == (0, 1)
    assert line.send(whole) == hexed(REPLY)


def test_every_digit_is_read_and_written():
    line = Line(f.AsciiPort, b"\x01\x23\x45\x67\x89\xab\xcd\xef")
    pdu = b"\xfe\xdc\xba\x98\x76\x54\x32\x10"
    assert line.send(hexed(bytes([UNIT]) + pdu)) == hexed(bytes([UNIT]) + bytes(line.handler.reply))
    assert line.handler.asked == [pdu]


def test_no_frame_is_longer_than_256_bytes():
    for length, taken in ((255, True), (256, False)):
        line = Line(f.AsciiPort)
        data = bytes([UNIT]) + bytes(length - 1)
        for at in range(0, 600, 60):
            line.pass_(hexed(data)[at : at + 60])
        line.send(b"")
        assert line.counts == ((1, 0) if taken else (0, 1)), length
        assert len(line.handler.asked) == taken


# RTU alone.


@pytest.mark.parametrize("silence_ms", [4, 5, 9])
def test_a_silence_ends_a_frame_and_not_a_millisecond_sooner(silence_ms):
    line = Line(f.RtuPort, silence_ms=silence_ms)
    assert line.pass_(crc(bytes([UNIT, 3]))) == b""
    assert line.pass_(ms=silence_ms - 1) == b""
    assert line.pass_() == crc(REPLY)


def test_a_pause_inside_a_frame_spoils_it_and_a_shorter_one_does_not():
    whole = crc(bytes([UNIT]) + b"\x03\0\0\0\1")
    line = Line(f.RtuPort)
    line.pass_(whole[:3])
    assert line.pass_(whole[3:], ms=4) + line.send(b"") == crc(REPLY)
    line = Line(f.RtuPort)
    line.pass_(whole[:3])
    line.pass_(ms=5)
    assert line.send(whole[3:]) == b""
    assert (line.counts, line.handler.asked) == ((0, 2), [])


def test_two_frames_in_a_row_are_two():
    line = Line(f.RtuPort)
    assert line.send(crc(bytes([UNIT, 3]))) == crc(REPLY) and line.send(crc(bytes([UNIT, 4]))) == crc(REPLY)
    assert line.handler.asked == [b"\3", b"\4"]


@pytest.mark.parametrize("frame", [b"\x11", b"\x11\x03", b"\x11\x03\x00", crc(bytes([UNIT])), crc(b"")])
def test_an_rtu_frame_that_is_too_short_is_dropped(frame):
    line = Line(f.RtuPort)
    assert line.send(frame) == b""
    assert (line.counts, line.handler.asked) == ((0, 1), [])


@pytest.mark.parametrize(("length", "taken"), [(255, True), (256, True), (257, False), (300, False)])
def test_more_than_a_frame_may_hold_is_dropped_whole_and_the_next_one_taken(length, taken):
    line = Line(f.RtuPort)
    data = crc(bytes([UNIT]) + bytes(length - 3))
    for at in range(0, length, 60):
        line.pass_(data[at : at + 60])
    line.send(b"")
    assert line.counts == ((1, 0) if taken else (0, 1))
    assert line.send(crc(bytes([UNIT, 3]))) == crc(REPLY)


def test_a_whole_frame_with_more_behind_it_and_no_silence_between_is_none():
    line = Line(f.RtuPort)
    whole = crc(bytes([UNIT]) + bytes(253))
    assert len(whole) == f.RTU_ROOM
    for at in range(0, 256, 64):
        line.pass_(whole[at : at + 64])
    line.pass_(b"\0")
    line.send(b"")
    assert (line.counts, line.handler.asked) == ((0, 1), [])


def test_the_table_of_the_crc_is_that_of_the_polynomial():
    table = f._crc_table()
    assert list(table) == list(f._CRC) and len(table) == 256
    for byte in range(256):
        # One byte through the sum, bit by bit.
        word = byte
        for _ in range(8):
            word = word >> 1 ^ (0xA001 if word & 1 else 0)
        assert table[byte] == word
