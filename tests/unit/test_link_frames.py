"""Frames of the link: the standard's vectors, both framings, and every way a frame can be wrong."""

import pytest
from duplexsump.station import framing, modbus
from duplexsump.station import registers as r

from tests.station_rig import run, start


def crc(data):
    return framing.crc16(data, 0, len(data))


def rtu(pdu, unit=1):
    frame = bytes([unit]) + pdu
    return frame + crc(frame).to_bytes(2, "little")


def ascii_frame(pdu, unit=1):
    frame = bytes([unit]) + pdu
    return b":" + (frame + bytes([framing.lrc(frame, 0, len(frame))])).hex().upper().encode() + b"\r\n"


# Modbus over Serial Line V1.02 and the CRC catalogue's check value for CRC-16/MODBUS.
def test_the_check_value_of_the_crc():
    assert crc(b"123456789") == 0x4B37


# The example of a read request that many manuals print: 01 03 00 00 00 02 ends C4 0B.
def test_the_crc_of_a_read_request():
    assert rtu(bytes.fromhex("0300000002")) == bytes.fromhex("010300000002C40B")


# Modbus over Serial Line V1.02, appendix: the LRC is the two's complement of the sum of the bytes.
def test_the_lrc_of_a_frame():
    assert framing.lrc(bytes.fromhex("1103006B0003"), 0, 6) == 0x7E
    assert ascii_frame(bytes.fromhex("03006B0003"), 0x11) == b":1103006B00037E\r\n"


@pytest.fixture
def linked(tmp_path):
    board, station = start(tmp_path / "pit")
    return board, station


def ask_ascii(board, station, data, ms=60):
    board.usb.answered.clear()
    board.usb.sent.extend(data)
    run(board, station, ms)
    return bytes(board.usb.answered)


def ask_rtu(board, station, data, ms=60):
    board.rs485.answered.clear()
    board.rs485.sent.extend(data)
    run(board, station, ms)
    return bytes(board.rs485.answered)


READ_SIGNATURE = bytes.fromhex("0400000001")


def test_both_framings_answer_the_same(linked):
    answer = bytes.fromhex("0402") + r.SIGNATURE.to_bytes(2, "big")
    assert ask_ascii(*linked, ascii_frame(READ_SIGNATURE)) == ascii_frame(answer)
    assert ask_rtu(*linked, rtu(READ_SIGNATURE)) == rtu(answer)


# Modbus Application Protocol V1.1b3, section 7: exception codes.
@pytest.mark.parametrize(
    ("pdu", "exception"),
    [
        ("2B0E0100", modbus.FUNCTION),
        ("0700000000", modbus.FUNCTION),
        ("0403800001", modbus.ADDRESS),
        ("04FFFF0001", modbus.ADDRESS),
        ("0300000000", modbus.VALUE),
        ("030000007E", modbus.VALUE),
        ("0100000000", modbus.VALUE),
        ("050000FF01", modbus.VALUE),
        ("0500FFFF00", modbus.ADDRESS),
        ("0F00000001020100", modbus.VALUE),
        ("0F0000000100", modbus.VALUE),
        ("100000000103000000", modbus.VALUE),
        ("1000000002020000", modbus.VALUE),
        ("0600AA0000", modbus.VALUE),
        ("0600AB0000", modbus.VALUE),
        ("0600AB0001", modbus.VALUE),
        ("0600AB00FF", modbus.VALUE),
        ("0600AC0000", modbus.ADDRESS),
        ("0601F40000", modbus.ADDRESS),
        ("0600B40001", modbus.VALUE),
        ("0600000020", 0),
        ("0600002000", modbus.VALUE),
        ("050010FF00", modbus.FAILURE),
        ("04", modbus.VALUE),
    ],
)
def test_a_bad_request_is_answered_with_its_exception(linked, pdu, exception):
    board, station = linked
    request = bytes.fromhex(pdu)
    answer = ask_ascii(board, station, ascii_frame(request))
    if exception:
        assert answer == ascii_frame(bytes([request[0] | 0x80, exception]))
    else:
        assert answer == ascii_frame(request)


GOOD = ascii_frame(READ_SIGNATURE)


@pytest.mark.parametrize(
    "data",
    [
        GOOD[:-4] + b"00\r\n",
        GOOD.lower(),
        GOOD[1:],
        GOOD.replace(b"\r\n", b""),
        b":" + b"01" * 400 + b"\r\n",
        b":0\r\n",
        b":\r\n",
        ascii_frame(READ_SIGNATURE, unit=2),
        ascii_frame(READ_SIGNATURE, unit=248),
        b"\x03\x03\x03\x04",
    ],
    ids=["wrong LRC", "lower case", "no colon", "no end", "too long", "half a byte", "empty", "another unit",
         "reserved unit", "Ctrl-C"],
)  # fmt: skip
def test_a_bad_ascii_frame_is_not_answered_and_the_next_one_is(linked, data):
    assert ask_ascii(*linked, data, 200) == b""
    assert ask_ascii(*linked, GOOD, 200).startswith(b":0104")


def test_a_colon_begins_a_frame_anew(linked):
    assert ask_ascii(*linked, GOOD[:7] + GOOD).startswith(b":0104")


def test_ctrl_c_in_the_middle_spoils_that_frame_only(linked):
    board, station = linked
    assert ask_ascii(board, station, GOOD[:7] + b"\x03" + GOOD[7:]) == b""
    assert ask_ascii(board, station, GOOD).startswith(b":0104")
    assert station.bad_frames() == 1


@pytest.mark.parametrize(
    "data",
    [rtu(READ_SIGNATURE)[:-1] + b"\0", rtu(READ_SIGNATURE)[:5], rtu(READ_SIGNATURE, 9), b"\xff" * 400, b"\x01"],
    ids=["wrong CRC", "cut short", "another unit", "too long", "one byte"],
)
def test_a_bad_rtu_frame_is_not_answered_and_the_next_one_is(linked, data):
    assert ask_rtu(*linked, data, 200) == b""
    assert ask_rtu(*linked, rtu(READ_SIGNATURE), 200)[:2] == b"\x01\x04"


def test_a_silence_inside_an_rtu_frame_ends_it(linked):
    board, station = linked
    frame = rtu(READ_SIGNATURE)
    assert ask_rtu(board, station, frame[:4], 30) == b""
    assert ask_rtu(board, station, frame[4:], 30) == b""
    assert station.bad_frames() == 2


def test_a_broadcast_is_done_and_not_answered(linked):
    board, station = linked
    board.usb.sent.extend(ascii_frame(bytes.fromhex("06000101F4"), unit=0))
    run(board, station, 60)
    assert bytes(board.usb.answered) == b""
    assert station.model.staged[0] == 500


def test_a_client_that_never_reads_stops_nothing(linked):
    board, station = linked
    board.usb.stuck = True
    fed = board.fed
    for _ in range(40):
        board.usb.sent.extend(ascii_frame(bytes.fromhex("0400000040")))
        run(board, station, 500)
    assert board.fed > fed + 1000
    board.usb.stuck = False
    run(board, station, 4000)
    assert ask_ascii(board, station, GOOD).startswith(b":0104")


def test_at_most_64_bytes_are_read_and_written_in_a_pass(linked):
    board, station = linked
    board.usb.sent.extend(b"x" * 1000)
    station.once()
    assert len(board.usb.sent) == 936
    board.usb.sent.clear()
    board.usb.sent.extend(ascii_frame(bytes.fromhex("0400000040")))
    station.once()
    assert len(board.usb.answered) == 64


def test_an_alarm_is_shelved_and_a_new_battery_recorded_over_the_link(linked):
    board, station = linked
    station.controller.battery_min = 77
    for word, shelved in ((12, 12), (63, 0), (2, 2), (42, 42)):
        request = bytes.fromhex(f"0600AB{word:04X}")
        assert ask_ascii(board, station, ascii_frame(request)) == ascii_frame(request)
        run(board, station, 300)
        assert station.controller.alarms.shelved == shelved
        read = ask_ascii(board, station, ascii_frame(bytes.fromhex("0300AB0001")))
        assert read == ascii_frame(bytes.fromhex(f"0302{shelved:04X}"))
    assert station.controller.battery_min == 77
    request = bytes.fromhex("050004FF00")
    assert ask_ascii(board, station, ascii_frame(request)) == ascii_frame(request)
    run(board, station, 300)
    assert station.controller.battery_min == 0
    assert station.controller.alarms.shelved == 42, "another command leaves it"
