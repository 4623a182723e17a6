"""M7: who may write through which port, and how the line is set: the file `line` beside the settings."""

import pytest
from duplexsump.control.records import IN_JUMPER
from duplexsump.station import health, journal, line, modbus
from duplexsump.station import registers as r
from duplexsump.station.loop import Station

from host_sim.board import line_file
from host_sim.errors import InputError
from tests.station_rig import Board, run
from tests.unit.test_link_frames import ascii_frame, ask_ascii, ask_rtu, rtu

READ = bytes.fromhex("0400000001")
COMMAND = bytes.fromhex("050000FF00")
SETTING = bytes.fromhex("0600000020")
RESTART = b"\6" + r.RESET_AT.to_bytes(2, "big") + r.RESET_KEY.to_bytes(2, "big")
MAINTENANCE = b"\6" + r.MAINTENANCE_AT.to_bytes(2, "big") + r.MAINTENANCE_KEY.to_bytes(2, "big")
WINDOW = b"\x10" + r.WINDOW_AT.to_bytes(2, "big") + bytes.fromhex("0004080000000100000000")
READ_WINDOW = bytes.fromhex("0403E80005")
PAST_WINDOW = b"\x10" + r.WINDOW_AT.to_bytes(2, "big") + bytes.fromhex("0007" "0E" "0000000100000000" "00004D365253")
LONG = bytes.fromhex("040000003D")  # 61 words: 127 bytes with address and checksum


def linked(folder, text):
    """Return (board, station) with such a line file, run for a second."""
    board = Board(folder)
    if text is not None:
        (folder / "line").write_bytes(text.encode())
    station = Station(board, health.FULL)
    station.begin(0)
    station.connect()
    run(board, station, 1000)
    return board, station


def refused(pdu):
    return bytes([pdu[0] | 0x80, modbus.FUNCTION])


def test_m7_by_default_the_line_is_8e1_at_19200_and_both_ports_may_write(tmp_path):
    board, station = linked(tmp_path / "pit", None)
    assert board.line == (19200, 0)
    for pdu in (COMMAND, SETTING):
        assert ask_ascii(board, station, ascii_frame(pdu)) == ascii_frame(pdu)
        assert ask_rtu(board, station, rtu(pdu)) == rtu(pdu)


def test_m7_a_port_that_never_writes_reads_everything_and_changes_nothing(tmp_path):
    board, station = linked(tmp_path / "pit", "rs485 never\nparity none\nbaud 9600\n")
    assert board.line == (9600, 2)
    board.raw[IN_JUMPER] = 1
    run(board, station, 1000)
    before = list(station.model.staged)
    for pdu in (COMMAND, SETTING, RESTART, MAINTENANCE, PAST_WINDOW, bytes.fromhex("0F00000001" "0101")):
        assert ask_rtu(board, station, rtu(pdu)) == rtu(refused(pdu)), pdu.hex()
    assert (station.wish, station.command, station.model.staged) == (0, 0, before)
    assert ask_rtu(board, station, rtu(READ)) == rtu(bytes.fromhex("0402") + r.SIGNATURE.to_bytes(2, "big"))
    assert ask_rtu(board, station, rtu(WINDOW)) == rtu(WINDOW[:5]), "reading the journal moves its window"
    assert ask_rtu(board, station, rtu(READ_WINDOW))[5:7] == b"\0\1"
    assert ask_ascii(board, station, ascii_frame(SETTING)) == ascii_frame(SETTING), "the other port may"


def test_m7_a_port_that_writes_by_the_jumper_does_so_while_it_is_made(tmp_path):
    board, station = linked(tmp_path / "pit", "usb jumper\n")
    assert ask_ascii(board, station, ascii_frame(SETTING)) == ascii_frame(refused(SETTING))
    board.raw[IN_JUMPER] = 1
    run(board, station, 1000)
    assert ask_ascii(board, station, ascii_frame(SETTING)) == ascii_frame(SETTING)
    board.raw[IN_JUMPER] = 0
    run(board, station, 1000)
    assert ask_ascii(board, station, ascii_frame(SETTING)) == ascii_frame(refused(SETTING))


@pytest.mark.parametrize(
    "text", ["baud 12345", "parity maybe", "unit 0", "unit 248", "usb", "rs485 often", "?", "baud\t9600 1", "x" * 3000]
)
def test_m7_what_is_not_understood_is_told_and_the_default_holds(tmp_path, text):
    board, station = linked(tmp_path / "pit", text)
    assert board.line == (19200, 0)
    assert [port.unit for port in station.links] == [1, 1]
    notes = line.Line(str(board.folder)).notes
    assert len(notes) == 1 and "is not understood" in notes[0]
    segment = (board.folder / "journal" / "00000001.seg").read_bytes()
    assert b"is not understood" in segment
    assert journal.SETTINGS_SLOT == 2


def test_a_unit_of_its_own(tmp_path):
    board, station = linked(tmp_path / "pit", "unit 17\n")
    assert ask_rtu(board, station, rtu(READ, unit=17)) == rtu(bytes.fromhex("04025342"), unit=17)
    assert ask_rtu(board, station, rtu(READ, unit=1)) == b""


def test_m7_an_rtu_reply_is_put_in_one_piece_and_an_ascii_one_is_not(tmp_path):
    board, station = linked(tmp_path / "pit", None)
    board.rs485.pieces = board.usb.pieces = 0
    assert len(ask_rtu(board, station, rtu(LONG))) == 127
    assert board.rs485.pieces == 1
    assert len(ask_ascii(board, station, ascii_frame(LONG))) == 255
    assert board.usb.pieces == 4


def test_m7_at_a_power_up_with_the_jumper_made_the_file_is_left_aside_and_that_is_told(tmp_path):
    board = Board(tmp_path / "pit")
    (board.folder / "line").write_text("baud 1200\nparity none\nunit 17\nusb never\nrs485 never\n")
    board.raw[IN_JUMPER] = 1
    station = Station(board, health.FULL)
    station.begin(0)
    station.connect()
    run(board, station, 1000)
    assert board.line == (19200, 0)
    for ask, frame in ((ask_ascii, ascii_frame), (ask_rtu, rtu)):
        assert ask(board, station, frame(SETTING)) == frame(SETTING)
    board.raw[IN_JUMPER] = 0
    run(board, station, 1000)
    for ask, frame in ((ask_ascii, ascii_frame), (ask_rtu, rtu)):
        assert ask(board, station, frame(SETTING)) == frame(refused(SETTING)), "once it is out nobody writes"
    assert b"left aside" in (board.folder / "journal" / "00000001.seg").read_bytes()


def test_m7_a_jumper_made_later_leaves_the_file_in_force(tmp_path):
    board, station = linked(tmp_path / "pit", "usb never\n")
    board.raw[IN_JUMPER] = 1
    run(board, station, 1000)
    assert ask_ascii(board, station, ascii_frame(SETTING)) == ascii_frame(refused(SETTING))


DEFAULTS = {"baud": "19200", "parity": "even", "unit": "1", "framing": "rtu", "usb": "always", "rs485": "always"}


def test_the_pc_reads_and_writes_the_file_by_the_boards_own_rules(tmp_path):
    assert line_file.read("") == (DEFAULTS, [])
    text = line_file.changed("baud 9600\nwhat\n", {"rs485": "never", "unit": "17"})
    assert line_file.read(text) == ({**DEFAULTS, "baud": "9600", "rs485": "never", "unit": "17"}, [])
    board, station = linked(tmp_path / "pit", text)
    assert board.line == (9600, 0) and [port.unit for port in station.links] == [17, 17]


@pytest.mark.parametrize("wanted", [{"baud": "9601"}, {"parity": "8N1"}, {"unit": "0"}, {"usb": "", "baud": "1200"}])
def test_what_no_board_takes_is_refused_before_the_board_is_touched(wanted):
    name = next(name for name in wanted if name != "baud" or len(wanted) == 1)
    with pytest.raises(InputError, match=f"{name} .*: there are baud 1200"):
        line_file.put("/no/such/port", wanted)


def test_m7_rs485_may_speak_ascii_and_with_the_jumper_it_is_rtu_again(tmp_path):
    board, station = linked(tmp_path / "pit", "framing ascii\nunit 5\n")
    answer = bytes.fromhex("0402") + r.SIGNATURE.to_bytes(2, "big")
    assert ask_rtu(board, station, ascii_frame(READ, unit=5)) == ascii_frame(answer, unit=5)
    board = Board(tmp_path / "other")
    (board.folder / "line").write_text("framing ascii\nunit 5\n")
    board.raw[IN_JUMPER] = 1
    station = Station(board, health.FULL)
    station.begin(0)
    station.connect()
    run(board, station, 1000)
    assert ask_rtu(board, station, rtu(READ)) == rtu(bytes.fromhex("0402") + r.SIGNATURE.to_bytes(2, "big"))


def told(folder, text):
    """Return the Line of a file with that text."""
    (folder / "line").write_bytes(text if isinstance(text, bytes) else text.encode())
    return line.Line(str(folder))


FIELDS = (19200, 0, 1, 0, line.ALWAYS, line.ALWAYS)


def fields(found):
    return found.baud, found.parity, found.unit, found.framing, found.usb, found.rs485


@pytest.mark.parametrize("row", ["speed 9600", "foo 7", "foo odd", "foo ascii", "foo never", "framing 3", "unit x",
                                 "unit 0", "unit 248", "baud 9601", "baud x", "parity 1", "rs485 2",
                                 "usb perhaps"])  # fmt: skip
def test_m7_a_row_counts_by_its_name_and_its_value_both(tmp_path, row):
    found = told(tmp_path, row + "\n")
    assert fields(found) == FIELDS
    assert found.notes == [f"line: {row} is not understood, see station/line.py"]


@pytest.mark.parametrize("unit", [1, 2, 246, 247])
def test_m7_every_unit_of_the_standard_may_be_had(tmp_path, unit):
    found = told(tmp_path, f"unit {unit}\n")
    assert (found.unit, found.notes) == (unit, [])


def test_m7_a_file_that_is_no_text_is_told(tmp_path):
    found = told(tmp_path, b"\xff\xfe\xff")
    assert (fields(found), found.notes) == (FIELDS, ["line: ? is not understood, see station/line.py"])


def test_m7_a_long_row_is_told_by_its_first_sixty_letters(tmp_path):
    found = told(tmp_path, "z" * 80)
    assert found.notes == [f"line: {'z' * 60} is not understood, see station/line.py"]


def test_m7_behind_a_closed_port_everything_is_read_and_the_window_moved_and_no_more():
    class Model:
        def read_bits(self, *asked):
            return asked

        read_words = write_words = write_bits = read_bits

    guarded = line.Guarded(Model(), None, line.WRITES.index("never"))
    assert guarded.read_bits(1, 2, 3, b"", 4) == (1, 2, 3, b"", 4)
    assert guarded.read_words(3, 2, 1, b"", 4) == (3, 2, 1, b"", 4)
    assert guarded.write_bits(0, 1, b"", 0) == modbus.FUNCTION
    for at, count, let in ((0, 4, True), (0, 5, False), (1, 3, True), (1, 4, False), (-1, 4, False), (3, 1, True),
                           (4, 1, False)):  # fmt: skip
        found = guarded.write_words(r.WINDOW_AT + at, count, b"", 0)
        assert found == ((r.WINDOW_AT + at, count, b"", 0) if let else modbus.FUNCTION), (at, count)
