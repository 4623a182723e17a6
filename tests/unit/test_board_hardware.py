"""Which relays are on at 0 V: the three copies of the file, what a board does by them, what a person is asked."""

import os
import sys

import pytest
from duplexsump.boards import hardware
from duplexsump.control import records as r
from duplexsump.station import minimal

from host_sim.board import client, hardware_file, register_list
from host_sim.errors import InputError
from tests.unit.test_board_wired import made

ALL = hardware_file.mask("all")


def keep(folder, low, expander, copies="abc"):
    for copy in copies:
        (folder / f"hardware.{copy}").write_bytes(hardware_file.text(low, expander))


@pytest.mark.parametrize(("low", "expander"), [(0, 0), (1, 0), (63, 1), (127, 1)])
def test_m8_station_and_last_resort_read_the_same_from_any_sound_copy(tmp_path, low, expander):
    assert (hardware.read(str(tmp_path)), minimal.on_at_zero(str(tmp_path))) == ((0, 0), 0), "no file: active high"
    for copies in ("abc", "bc", "c"):
        for old in tmp_path.iterdir():
            old.unlink()
        keep(tmp_path, low, expander, copies)
        assert hardware.read(str(tmp_path)) == (low, expander)
        assert minimal.on_at_zero(str(tmp_path)) == low


def test_m8_two_copies_may_be_damaged_at_any_byte(tmp_path):
    good = hardware_file.text(63, 1)
    for at in range(len(good)):
        flipped = [good[:at] + bytes([good[at] ^ bit]) + good[at + 1 :] for bit in (0x10, 0x01)]
        for spoilt in (good[:at], *flipped, b"\xff" * len(good)):
            keep(tmp_path, 63, 1, "c")
            for copy in "ab":
                (tmp_path / f"hardware.{copy}").write_bytes(spoilt)
            found = hardware.read(str(tmp_path)), minimal.on_at_zero(str(tmp_path))
            assert found == ((63, 1), 63), (at, spoilt)


@pytest.mark.parametrize("body", [b"low 128\nexpander 0\n", b"low 1\nexpander 2\n", b"low -1\nexpander 0\n", b"low 1\n",
                                  b"", b"low\nexpander 0\n"])  # fmt: skip
def test_a_copy_that_is_sound_but_says_nonsense_is_none(body):
    import binascii

    with pytest.raises((ValueError, KeyError)):
        hardware.parse(body + b"sum %08x\n" % binascii.crc32(body))


@pytest.mark.parametrize("name", ["pico", "esp32"])
def test_m8_an_active_low_output_is_at_3_3_v_from_the_first_and_at_0_v_when_on(tmp_path, monkeypatch, name):
    keep(tmp_path, ALL, 0)
    usual = made(monkeypatch, name)
    monkeypatch.setattr(sys.modules["duplexsump.boards.wired"].WiredBoard, "files", lambda self: str(tmp_path))
    board = type(usual)()
    levels = lambda: {place: pin.level for pin, place, _ in board.outputs}  # noqa: E731
    off = dict.fromkeys(range(r.OUT_LIGHT), 1) | {r.OUT_LIGHT: 0}
    assert levels() == off
    out = [0] * r.N_OUTPUTS
    out[r.OUT_PUMP_2] = out[r.OUT_RELAY] = out[r.OUT_LIGHT] = 1
    board.write(out)
    assert levels() == off | {r.OUT_PUMP_2: 0, r.OUT_RELAY: 0, r.OUT_LIGHT: 1}
    board.safe()
    assert levels() == off


def test_m8_the_last_resort_does_the_same(monkeypatch):
    from tests.unit import test_station_minimal_pins as pins

    machine = type("machine", (), {"Pin": pins.Pin})
    monkeypatch.setitem(sys.modules, "machine", machine)
    board = minimal.WiredPins(*minimal.PINS["rp2"], 0b00110)
    levels = lambda: [pin.level for pin in board.outputs]  # noqa: E731
    assert levels() == [0, 1, 1, 0, 0], "off from the first"
    board.write(1 | 4)
    assert levels() == [1, 1, 0, 0, 0]
    board.safe()
    assert levels() == [0, 1, 1, 0, 0]


def test_the_script_writes_copies_that_the_board_reads(tmp_path, monkeypatch):
    class Prompt:
        port = "here"

        def lines(self, script):
            printed = []
            place = {"print": printed.append}
            exec(script.replace("/pit/", f"{tmp_path}/"), place)
            return printed

    repl = Prompt()
    assert hardware_file.there(repl) == (0, 0)
    assert hardware_file.merge(repl, 63, None) == ((0, 0), (63, 0))
    assert hardware_file.merge(repl, None, True) == ((63, 0), (63, 1))
    assert hardware.read(str(tmp_path)) == (63, 1)
    # A power cut at any rename: what is read is the old or the new, whole.
    for after in range(3):
        keep(tmp_path, 63, 1)
        count = [0]

        def rename(a, b, count=count, after=after, whole=os.rename):
            if count[0] == after:
                raise InterruptedError
            count[0] += 1
            whole(a, b)

        with monkeypatch.context() as patch:
            patch.setattr(os, "rename", rename)
            with pytest.raises(InterruptedError):
                hardware_file.write(repl, 0, 0)
        assert hardware.read(str(tmp_path)) == ((63, 1) if after == 0 else (0, 0))


def test_what_a_person_may_name():
    assert hardware_file.mask("none") == 0
    assert hardware_file.mask("all") == 63, "the relays, not the light"
    assert hardware_file.mask("pump_1, horn") == 5
    for wrong in ("", "pump", "pump_1,pump_3", "late"):
        with pytest.raises(InputError, match="all, none, or of pump_1"):
            hardware_file.mask(wrong)
    assert "active-low outputs: all relays; I2C expander: yes" in hardware_file.shown(63, 1)
    assert "active-low outputs: none; I2C expander: no" in hardware_file.shown(0, 0)
    assert "pump_2, light" in hardware_file.shown(66, 0)


@pytest.mark.parametrize(("text", "found"), [
    ("ascii", ("ascii", 115200, "N")), ("rtu", ("rtu", 19200, "E")), ("rtu:9600", ("rtu", 9600, "E")),
    ("rtu:9600:none", ("rtu", 9600, "N")), ("ascii:9600:odd", ("ascii", 9600, "O")),
])  # fmt: skip
def test_a_client_is_told_baud_and_parity_where_they_were_changed(text, found):
    assert client.line_of(text) == found


@pytest.mark.parametrize("text", ["", "tcp", "rtu:fast", "rtu:9600:maybe", "rtu:9600:even:1", "rtu:12345"])
def test_a_framing_that_is_none_is_refused_with_what_there_is(text):
    with pytest.raises(InputError, match="rtu:9600:none"):
        client.line_of(text)


def test_m7_the_register_list_says_how_the_ports_speak():
    text = register_list.as_markdown()
    assert "- RS-485: Modbus RTU, 19200 baud, even parity (8, even, 1 stop), address 1" in text
    assert "- USB serial: Modbus ASCII, any baud" in text
    for words in ("Nobody is locked out", "test jumper", "two stop bits", "--active-low"):
        assert words in text
    row = register_list.ports({"framing": "ascii", "baud": "9600", "parity": "none", "unit": "17"})[1]
    assert row == ("RS-485", "ASCII", "9600", "none", "8, none, 2 stop", "17")
