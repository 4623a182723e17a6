"""M4: what a board has no input for, or reads only in part, is refused by the board itself and on the PC before it."""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.station import health
from duplexsump.station.fitting import refusal
from duplexsump.station.loop import Station

from host_sim.board import wiring_list
from host_sim.errors import InputError
from tests.station_rig import Board

LONGEST = 120  # letters that the refusal registers hold


def inputs(name):
    return wiring_list.inputs(wiring_list.table(name))


def changed(**values):
    record = s.defaults()
    for name, value in values.items():
        record[s.index(name)] = value
    assert s.check(record) == [], "sound but for the board"
    return record


BACKUP = {"supply_2": s.BATTERY, "duty": s.FIXED}
LOOP = {"transmitter": 1}


@pytest.mark.parametrize(
    ("board", "values", "words"),
    [
        ("pico", {}, ""),
        ("pico", BACKUP, ""),
        ("pico", LOOP, ""),
        ("pico", {**LOOP, **BACKUP}, "both read at GP28"),
        ("pico", {**LOOP, "supply_1": s.EITHER}, "both read at GP28"),
        ("esp32", {**LOOP, **BACKUP}, ""),
        ("pico", {"charger_fitted": 1}, ""),
        ("esp32", {"charger_fitted": 1}, "charger_fitted = 1: this board has no input"),
        ("pico", {"moisture_trips": 1}, "moisture_trips = 1: this board has no input"),
        ("esp32", {"moisture_trips": 1}, "moisture_trips = 1: this board has no input"),
        ("pico", {"sensing": s.SENSE_CURRENT, "sensor_range_1": 24000}, ""),
        ("esp32", {"sensing": s.SENSE_CURRENT}, ""),
        ("esp32", {"sensing": s.SENSE_CURRENT, "sensor_range_2": 25800}, "sensor_range_2: this board reads 23994 mA"),
        ("esp32", {"sensing": s.SENSE_CURRENT, "sensor_range_2": 25900}, ""),
        ("esp32", {"sensor_range_2": 24000}, ""),
        ("pico", {**BACKUP, "battery_low": 32800, "battery_loaded": 30000}, ""),
        ("pico", {**BACKUP, "battery_low": 32801, "battery_loaded": 30000}, "this board reads up to 33000 mV"),
        ("pico", {"battery_low": 48000}, ""),
        ("esp32", {**BACKUP, "battery_low": 30490, "battery_loaded": 30000}, ""),
        ("esp32", {**BACKUP, "battery_low": 30491, "battery_loaded": 30000}, "this board reads up to 30690 mV"),
    ],
)  # fmt: skip
def test_m4_settings_that_a_board_cannot_read_are_refused_in_words(board, values, words):
    record = changed(**values)
    if not words:
        wiring_list.check(board, record)
        return
    with pytest.raises(InputError, match=words) as caught:
        wiring_list.check(board, record)
    assert len(caught.value.problems[0]) <= LONGEST


def test_every_reading_is_handed_to_a_virtual_board():
    record = changed(**LOOP, **BACKUP, moisture_trips=1, charger_fitted=1)
    wiring_list.check("posix", record)
    assert refusal(record, None, 100) == ""


@pytest.mark.parametrize(
    ("place", "values", "words"),
    [
        (r.IN_LEVEL, LOOP, "transmitter = 1"),
        (r.IN_MAINS, {}, "mains_fitted = 1"),
        (r.IN_BATTERY, BACKUP, "no input for its voltage"),
        (r.IN_CURRENT_1, {"sensing": s.SENSE_FEEDBACK}, "sensing = 1"),
        (r.IN_CURRENT_2, {"sensing": s.SENSE_CURRENT}, "sensing = 2"),
    ],
)
def test_an_input_that_is_not_in_the_table_is_missed_by_name(place, values, words):
    rows = inputs("esp32")
    assert refusal(changed(**values), rows, 100) == ""
    assert words in refusal(changed(**values), [row for row in rows if row[0] != place], 100)


def test_m4_the_board_refuses_and_keeps_what_it_has(tmp_path):
    board = Board(tmp_path / "pit")
    board.wired = inputs("pico")
    station = Station(board, health.FULL)
    station.begin(0)
    station.model.staged = changed(**LOOP, **BACKUP)
    assert station.model._commit() != 0
    assert b"GP28" in bytes(station.model.refusal)
    assert station.store.values == s.defaults() and station.wish == 0
    assert not list((tmp_path / "pit").glob("settings.*"))


def test_a_slot_that_was_written_before_holds_and_is_told(tmp_path):
    board = Board(tmp_path / "pit")
    Station(board, health.FULL).store.save(changed(**LOOP, **BACKUP))
    board.wired = inputs("pico")
    station = Station(board, health.FULL)
    assert station.store.values == changed(**LOOP, **BACKUP)
    assert [note for note in station.store.notes if "GP28" in note]
    assert board.transmitter == 1


def without(rows, *places):
    return [row for row in rows if row[0] not in places]


def test_what_is_not_asked_for_may_be_missing():
    rows = inputs("esp32")
    bare = changed(sensing=0, transmitter=0)
    assert refusal(bare, without(rows, r.IN_CURRENT_1, r.IN_CURRENT_2, r.IN_LEVEL, r.IN_BATTERY), 100) == ""
    assert refusal(changed(sensing=s.SENSE_FEEDBACK, transmitter=0), without(rows, r.IN_LEVEL), 100) == ""


@pytest.mark.parametrize("n", [0, 1])
def test_a_sensor_too_small_is_told_with_what_the_board_reads_and_what_a_locked_rotor_draws(n):
    values = changed(sensing=s.SENSE_CURRENT)
    most = values[s.SENSOR_RANGE_1_MA + n] // 2
    values[s.RATED_1_MA + n] = most // 3 + 1
    values[s.RATED_1_MA + 1 - n] = 1000
    words = "sensor_range_%d: this board reads %d mA of it, a locked rotor draws %d: fit a larger sensor"
    assert refusal(values, inputs("esp32"), 50) == words % (n + 1, most, 3 * (most // 3 + 1))
    values[s.RATED_1_MA + n] = most // 3
    assert refusal(values, inputs("esp32"), 50) == ""
