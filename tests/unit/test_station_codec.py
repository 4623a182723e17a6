"""Batches of the journal, byte by byte: what a number, a text and a seal look like, and what is no sound batch."""

import binascii

import pytest
from duplexsump.station import codec

NUMBERS = {0: "00", 1: "02", -1: "01", 63: "7e", -64: "7f", 64: "8001", -65: "8101", 8191: "fe7f", -8192: "ff7f"}
COUNTS = {0: "00", 1: "01", 127: "7f", 128: "8001", 255: "ff01", 16383: "ff7f", 16384: "808001"}


def made(fill, room=64):
    """Return the sealed batch that `fill(batch)` fills, as bytes."""
    batch = codec.Batch(room)
    fill(batch)
    return bytes(batch.data[: batch.seal()])


def sealed(payload):
    """Return a batch by its description, written down once more here."""
    return b"\xd5" + len(payload).to_bytes(2, "little") + binascii.crc32(payload).to_bytes(4, "little") + payload


@pytest.mark.parametrize(("value", "written"), NUMBERS.items())
def test_a_number_of_either_sign_is_written_and_read(value, written):
    assert made(lambda batch: batch.number(value)) == sealed(bytes.fromhex(written))
    assert codec.Reader(bytes.fromhex(written)).number() == value


@pytest.mark.parametrize(("value", "written"), COUNTS.items())
def test_a_count_is_written_and_read(value, written):
    assert made(lambda batch: batch.count(value)) == sealed(bytes.fromhex(written))
    reader = codec.Reader(bytes.fromhex(written))
    assert (reader.count(), reader.more()) == (value, False)


@pytest.mark.parametrize("length", [0, 1, 127, 128, 199, 200])
def test_a_text_is_written_and_read_whole(length):
    words = "x" * length
    data = made(lambda batch: batch.text(words), 256)
    reader = codec.Reader(codec.payloads(data)[0])
    assert (reader.text(), reader.more()) == (words, False)


def test_of_a_longer_text_two_hundred_bytes_are_kept():
    data = made(lambda batch: batch.text("y" * 201), 256)
    assert data == sealed(b"\xc8\x01" + b"y" * 200)


@pytest.mark.parametrize("payload", ["", "80", "ff80"])
def test_a_record_that_ends_in_the_middle_is_refused(payload):
    with pytest.raises(ValueError, match="a record ends in the middle"):
        codec.Reader(bytes.fromhex(payload)).count()


@pytest.mark.parametrize("payload", [b"\x01", b"\x05abcd", b"\x02a"])
def test_a_text_that_ends_in_the_middle_is_refused(payload):
    with pytest.raises(ValueError, match="a text ends in the middle"):
        codec.Reader(payload).text()


def test_a_second_text_is_measured_from_where_it_begins():
    reader = codec.Reader(b"\x02ab\x03cde")
    assert (reader.text(), reader.text(), reader.more()) == ("ab", "cde", False)
    reader = codec.Reader(b"\x02ab\x04cde")
    reader.text()
    with pytest.raises(ValueError, match="a text ends in the middle"):
        reader.text()


@pytest.mark.parametrize("payload", [b"", b"\x00", b"records"])
@pytest.mark.parametrize("before", [b"", b"\xd5\x00"])
def test_a_sound_batch_gives_its_length_and_one_cut_short_anywhere_none(payload, before):
    at, whole = len(before), before + sealed(payload)
    assert codec.payload_length(whole, at) == len(payload)
    assert codec.payload_length(whole + b"more", at) == len(payload)
    for end in range(at, len(whole)):
        assert codec.payload_length(whole[:end], at) == -1


def test_a_batch_with_another_mark_or_a_wrong_sum_is_none():
    whole = sealed(b"records")
    for place in range(len(whole)):
        for bit in range(8):
            spoilt = bytearray(whole + bytes(70000))
            spoilt[place] ^= 1 << bit
            assert codec.payload_length(bytes(spoilt), 0) == -1, (place, bit)


def test_a_batch_is_whole_or_none_even_where_the_sum_of_what_is_there_would_hold():
    head = b"\xd5\x05\x00" + binascii.crc32(b"").to_bytes(4, "little")
    assert codec.payload_length(head, 0) == -1
    assert codec.payload_length(b"........" + head, 8) == -1
    part = b"\xd5\x05\x00" + binascii.crc32(b"abcd").to_bytes(4, "little") + b"abcd"
    assert codec.payload_length(part, 0) == -1


def test_no_payload_is_longer_than_said():
    longest = bytes(codec.LONGEST)
    assert codec.payload_length(sealed(longest), 0) == 8192
    assert codec.payload_length(sealed(longest + b"\0"), 0) == -1


def test_all_sound_batches_at_the_head_are_read_an_empty_one_too():
    data = sealed(b"one") + sealed(b"") + sealed(b"two")
    assert codec.payloads(data) == [b"one", b"", b"two"]
    assert codec.payloads(data + sealed(b"three")[:-1]) == [b"one", b"", b"two"]
    assert codec.payloads(b"?" + data) == []
