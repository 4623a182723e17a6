"""Wiring lists, register map and package.json: what people and tools read of the boards, held to the tables."""

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

import pytest
from duplexsump.control import alarm_table, records
from duplexsump.control import settings as s
from duplexsump.station import link
from duplexsump.station import registers as r

from host_sim.board import package, register_list, wiring_list
from host_sim.errors import InputError
from tests.station_rig import start

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("board", ["pico", "esp32"])
def test_every_output_is_wired_once_and_off_at_boot(board):
    rows = wiring_list.table(board)
    outputs = [row["place"] for row in rows if row["kind"] == "output"]
    assert sorted(outputs) == list(range(records.OUT_LIGHT + 1))
    assert all("off at boot" in wiring_list.how(row) for row in rows if row["kind"] == "output")


@pytest.mark.parametrize("board", ["pico", "esp32"])
def test_no_pin_serves_two_wires_but_the_shared_analog_one(board):
    rows = wiring_list.table(board)
    pins = [row["pin"] for row in rows]
    twice = {pin for pin in pins if pins.count(pin) > 1}
    assert twice == ({28} if board == "pico" else set())


# RP2040 datasheet: GPIO 0 to 22 and 26 to 28 are free on the board, 26 to 28 are analog.  ESP32-S3 datasheet, from
# memory: ADC1 is GPIO 1 to 10; 26 to 37 belong to flash and memory, 19 and 20 to USB, 43 and 44 to the console.
# 48 also drives the RGB light of many boards, which no steady level disturbs.
def test_the_pins_can_do_what_they_are_given():
    for row in wiring_list.table("pico"):
        assert row["pin"] == "LED" or row["pin"] in range(23) or row["pin"] in (26, 27, 28)
        assert (row["pin"] in (26, 27, 28)) == (row["kind"] == "0 to 3.3 V")
    for row in wiring_list.table("esp32"):
        assert row["pin"] not in {0, 19, 20, *range(22, 38), 43, 44, 45}
        assert row["kind"] != "0 to 3.3 V" or row["pin"] in range(1, 11)


@pytest.mark.parametrize("board", ["pico", "esp32"])
def test_floats_selectors_and_buttons_are_wired(board):
    wires = {row["wire"] for row in wiring_list.table(board)}
    assert {f"float {name}" for name in records.CONTACT_NAMES} <= wires
    assert {f"selector {n} {word}" for n in (1, 2) for word in ("OFF", "HAND")} <= wires
    assert {"silence", "reset", "test jumper", "mains present", "thermal 1", "thermal 2"} <= wires


def test_the_cautions_say_what_matters():
    text = " ".join(wiring_list.CAUTIONS)
    for words in ("rated in horsepower", "fuse or breaker", "Ground-fault protection (GFCI)", "OFF opens the coil",
                  "breaker switched off and tagged", "licensed electrician", "explosive gas",
                  "energized while all is well"):
        assert words in text
    with pytest.raises(InputError, match="pico, esp32, posix"):
        wiring_list.table("toaster")


def test_no_pin_number_stands_outside_the_wiring_tables():
    # A pin is made from a name or a row everywhere: never from a number in place.
    import re

    for path in (ROOT / "firmware").rglob("*.py"):
        assert not re.search(r"\bPin\(\s*\d", path.read_text(encoding="utf-8")), path


def test_the_register_list_covers_every_setting_and_alarm_and_overlaps_nowhere():
    rows = register_list.rows()
    taken = {}
    for space, address, width, name, *_ in rows:
        for at in range(address, address + width):
            assert (space, at) not in taken, (name, taken.get((space, at)))
            taken[(space, at)] = name
    names = {row[3] for row in rows}
    assert {row[s.NAME] for row in s.TABLE} <= names
    assert {f"alarm_{row[alarm_table.NAME]}" for row in alarm_table.TABLE} <= names
    assert all(row[6] for row in rows)


def test_the_board_answers_at_every_address_of_the_list_and_nowhere_else(tmp_path):
    _, station = start(tmp_path / "pit")
    model = station.model
    listed = {(row[0], row[1] + i) for row in register_list.rows() for i in range(row[2])}
    reply = bytearray(260)
    for space, function, read in (("input register", 4, model.read_words), ("holding register", 3, model.read_words),
                                  ("coil", 1, model.read_bits), ("discrete input", 2, model.read_bits)):
        answered = {at for at in range(1200) if not read(function, at, 1, reply, 2)}
        wanted = {at for kind, at in listed if kind == space}
        assert wanted <= answered
        gaps = {"holding register": set(range(r.N_SETTING_WORDS, r.RESET_AT)), "coil": set(range(41)),
                "discrete input": set(range(r.N_BITS))}.get(space, set())
        assert answered - wanted <= gaps, space
    assert isinstance(model, link.Model)


def test_csv_and_markdown_say_the_same():
    rows = list(csv.reader(io.StringIO(register_list.as_csv())))
    assert tuple(rows[0]) == register_list.COLUMNS
    assert len(rows) == len(register_list.rows()) + 1
    text = register_list.as_markdown()
    assert sum(line.startswith("| ") for line in text.splitlines()) == len(rows) - 1 + 2 * 4


def test_package_json_names_every_file_of_the_library():
    assert json.loads((ROOT / "package.json").read_text()) == package.content(), (
        "renew it: python -m host_sim.board.package"
    )
    for target, source in package.content()["urls"]:
        assert (ROOT / source).is_file()
        assert target.startswith("duplexsump/")


COMMANDS = [("registers",), ("registers", "--csv"), ("wiring", "pico"), ("settings", "--json")]


@pytest.mark.parametrize("arguments", COMMANDS)
def test_the_commands_print(arguments):
    done = subprocess.run([sys.executable, "-m", "host_sim", *arguments], capture_output=True, text=True, cwd=ROOT,
                          env={"PYTHONPATH": f"{ROOT / 'firmware/lib'}:{ROOT}"}, check=False)
    assert done.returncode == 0, done.stderr
    assert len(done.stdout) > 1000


def test_the_wiring_list_shows_the_sensor_ranges_of_the_pit():
    # Both sensors stood there with the default of 30 A, whatever the sizing had found.
    values = s.defaults()
    values[s.SENSOR_RANGE_1_MA + 1] = 75000
    rows = {row["wire"]: row for row in wiring_list.table("pico", values=values)}
    assert "sensor_range_2 (75 A)" in rows["current 2"]["to"] and "75 A" in wiring_list.how(rows["current 2"])
    assert "sensor_range_1 (30 A)" in rows["current 1"]["to"] and "30 A" in wiring_list.how(rows["current 1"])
