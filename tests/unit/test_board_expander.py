"""The I2C expander and its converter on a stand-in bus: what is read, what it costs, what a silent bus does."""

import importlib
import sys

import pytest
from duplexsump.control import records as r

from host_sim.board import hardware_file, signals
from tests.unit.test_board_signals import rows_of
from tests.unit.test_board_wired import Adc, Pin, made, read


class Bus:
    """A bus with both parts; `fault` raises as MicroPython does; counts attempts and bits."""

    attempts = 0
    opened = 0
    bits = 0
    ports = bytearray(b"\xff\xff")
    counts = 0
    held = False
    fault = None
    begun = 0
    stuck = None
    ground, rail = 0xFFF0, 26400  # counts that AIN3 and AIN2 read
    started = ()  # what the converter was told to convert, one by one
    asked_ms = ()  # when the converter was spoken to

    def __init__(self, number, sda, scl, freq, timeout):
        type(self).opened += 1
        self.number, self.sda, self.scl, self.freq, self.timeout = number, sda.number, scl.number, freq, timeout

    def _speak(self, byte_count):
        cls = type(self)
        cls.attempts += 1
        if cls.fault is not None:
            cls.begun = 0  # it has lost its supply, and its registers with it
            raise OSError(cls.fault)
        cls.bits += 9 * byte_count + 2  # start and stop, or a repeated start

    def readfrom_mem_into(self, address, register, buffer):
        self._speak(3 + len(buffer))
        type(self).bits += 1  # the repeated start
        assert register == 0
        if address == 0x20:
            buffer[:] = type(self).ports
        else:
            cls = type(self)
            assert address == 0x48 and cls.begun
            counts = {0xC3: cls.counts, 0xE3: cls.rail, 0xF3: cls.ground}[cls.begun]
            buffer[:] = (counts if cls.stuck is None else cls.stuck).to_bytes(2, "big")

    def writeto(self, address, data):
        self._speak(1 + len(data))
        assert (address, data[0], data[2]) == (0x48, 1, 0x83)
        type(self).begun = data[1]
        type(self).started += (data[1],)
        type(self).asked_ms += (Clock.now,)
        return len(data)


class Clock:
    now = 0
    us = 0  # slept

    @classmethod
    def sleep_us(cls, us):
        cls.us += us


@pytest.fixture(params=["pico", "esp32"])
def board(request, monkeypatch, tmp_path):
    for name, value in (("attempts", 0), ("opened", 0), ("bits", 0), ("ports", bytearray(b"\xff\xff")), ("counts", 0),
                        ("fault", None), ("begun", 0), ("stuck", None), ("ground", 0xFFF0), ("rail", 26400),
                        ("started", ()), ("asked_ms", ())):  # fmt: skip
        monkeypatch.setattr(Bus, name, value)
    for copy in "abc":
        (tmp_path / f"hardware.{copy}").write_bytes(hardware_file.text(0, 1))
    before = sys.modules.get("duplexsump.boards.expander")
    monkeypatch.delitem(sys.modules, "duplexsump.boards.expander", raising=False)
    usual = made(monkeypatch, request.param)
    assert usual.extra is None and "duplexsump.boards.expander" not in sys.modules, "loaded only where it is fitted"
    machine = sys.modules["machine"]
    machine.I2C = Bus
    monkeypatch.setattr(Pin, "OPEN_DRAIN", 2, raising=False)
    wired = sys.modules["duplexsump.boards.wired"]
    monkeypatch.setattr(wired.WiredBoard, "files", lambda self: str(tmp_path))
    if before is not None:
        sys.modules["duplexsump.boards.expander"] = before  # the one module, whose mutants are live
    expander = importlib.import_module("duplexsump.boards.expander")
    monkeypatch.setattr(expander, "machine", machine)
    monkeypatch.setattr(Clock, "now", 0)
    monkeypatch.setattr(Clock, "us", 0)
    fake = type("time", (), {"ticks_ms": staticmethod(lambda: Clock.now), "sleep_us": staticmethod(Clock.sleep_us),
                             "ticks_diff": staticmethod(lambda a, b: a - b)})  # fmt: skip
    monkeypatch.setattr(expander, "time", fake)
    made_board = type(usual)()
    made_board.name = request.param
    yield made_board
    sys.modules.pop("duplexsump.boards.expander", None)


@pytest.mark.parametrize("name", ["pico", "esp32"])
def test_the_firmwares_expanded_wiring_is_the_tables(name):
    table = signals.signals(name, True)
    bus = rows_of("expander", "ROWS")
    there = [one for one in table if not one.on_board and one.kind == signals.CONTACT]
    assert {(f"A{bit}", place, level, signal) for bit, place, level, signal in bus} == {
        (one.pin, one.place, one.level, one.name) for one in there}  # fmt: skip


def test_the_board_with_it_has_every_input_and_its_own_pins_are_the_tables(board):
    table = signals.signals(board.name, True)
    data = signals.board(board.name)["expander"]
    own = {(one.name, one.pin) for one in table if one.on_board}
    assert {(row[4], row[1]) for row in board.wiring} == own
    assert (board.extra.sda, board.extra.scl) == (data["sda"], data["scl"])
    opened = board.extra.i2c
    assert (opened.number, opened.sda, opened.scl, opened.freq) == (0, data["sda"], data["scl"], 400_000)
    places = {row[0] for row in board.inputs()}
    assert {one.place for one in table if one.kind in (signals.CONTACT, signals.ANALOG)} == places
    assert not board.shared, "level loop and battery together"
    on_bus = [(one.place, -1, 0) for one in table if not one.on_board and one.kind == signals.CONTACT]
    battery = [(r.IN_BATTERY, -1, 33000)] if board.name == "pico" else []
    assert sorted(board.extra.inputs()) == sorted(on_bus + battery), "none of them on a pin of the board"


def test_each_contact_of_the_bus_is_read_and_the_battery_beside_the_loop(board):
    Adc.readings[28] = 2048
    for one in signals.signals(board.name, True):
        if one.on_board or one.kind != signals.CONTACT:
            continue
        Bus.ports = bytearray([0xFF & ~(1 << int(one.pin[1])), 0xFF])
        raw = read(board)
        wanted = r.SELECT_HAND if one.place in (r.IN_SELECTOR_1, r.IN_SELECTOR_2) else 1
        assert raw[one.place] == wanted, one.name
        Bus.ports = bytearray(b"\xff\xff")
        assert read(board)[one.place] == 0, one.name
    if board.name == "pico":
        # 12.8 V through 9 to 1 is 1.28 V: 10,240 counts of 125 uV.
        Bus.counts = 10240
        raw = [read(board) for _ in range(4)][-1]
        assert raw[r.IN_BATTERY] == 12800 and raw[r.IN_LEVEL] == 2048 * 22000 // 4095
        Bus.counts = 0xFFF0
        assert read(board)[r.IN_BATTERY] == 0, "a little below ground is none"
        Bus.counts = 0x8000
        assert read(board)[r.IN_BATTERY] == 0, "so is the least that it can tell"
        Bus.counts = 0x7FFF
        assert read(board)[r.IN_BATTERY] == 33000


def test_only_contacts_move_to_the_bus_and_only_the_light_changes_its_pin(board):
    wired = sys.modules["duplexsump.boards.wired"]
    rows = ((0, r.IN_SELECTOR_1, 2, "selector 1 HAND"),)
    for kind, moves in ((wired.CLOSED, True), (wired.OUTPUT, False)):
        assert board._moves((kind, 8, r.IN_SELECTOR_1, 2, ""), (0, 8, 13, 1, 17), rows) is moves
    assert board._stays((wired.CLOSED, 8, r.OUT_LIGHT, 1, ""), (0, 8, 13, 1, 17), rows)[1] == 8
    assert board._stays((wired.OUTPUT, 8, r.OUT_LIGHT, 1, ""), (0, 8, 13, 1, 17), rows)[1] == 17
    bare = object.__new__(type(board))
    wired.WiredBoard.__init__(bare, ())
    assert bare.extra is None, "fitted by the file, but this board has no place for it"


def test_a_pass_costs_a_third_of_a_millisecond_on_the_bus(board):
    read(board)
    Bus.bits = 0
    read(board)
    wanted = {"pico": 132, "esp32": 48}[board.name]
    assert abs(Bus.bits - wanted) <= 4
    assert Bus.bits / 400_000 < 0.00035


def passes(board, count):
    """The raw records of so many passes, 100 ms apart."""
    found = []
    for _ in range(count):
        found.append(read(board))
        Clock.now += 100
    return found


def test_m8_one_or_two_passes_without_an_answer_change_nothing(board):
    Bus.ports, Bus.counts = bytearray([0x00, 0xFF]), 10240
    before = passes(board, 5)[-1]
    for _ in range(20):
        Bus.fault = 5
        held = passes(board, 2)
        assert all(raw[r.IN_SELECTOR_1] == r.SELECT_HAND and raw[r.IN_CHARGER] == 1 for raw in held)
        Bus.fault = None
        assert passes(board, 4)[-1] == before
    assert before[r.IN_BOARD] == 0


@pytest.mark.parametrize("fault", [5, 110], ids=["not acknowledged", "held low until the timeout"])
def test_m8_a_silent_bus_is_told_takes_its_safe_reading_and_never_stalls(board, fault):
    Bus.ports = bytearray([0x00, 0xFF])
    Bus.counts = 10240
    passes(board, 4)
    Bus.fault = fault
    told = [raw[r.IN_BOARD] for raw in passes(board, 3)]
    whole = r.FAULT_EXPANDER | (r.FAULT_CONVERTER if board.name == "pico" else 0)
    assert told == [0, 0, whole], "in the third pass"
    before = Bus.attempts
    for raw in passes(board, 100):  # ten seconds
        assert raw[r.IN_BOARD] == whole
        assert raw[r.IN_SILENCE] == raw[r.IN_RESET] == raw[r.IN_GENERATOR] == raw[r.IN_CHARGER] == 0
        assert raw[r.IN_MOISTURE_1] == raw[r.IN_MOISTURE_2] == 0
        assert r.SELECT_HAND not in (raw[r.IN_SELECTOR_1], raw[r.IN_SELECTOR_2])
        assert board.name == "esp32" or raw[r.IN_BATTERY] == 33000, "no pump is kept off by a bus"
    tries = (Bus.attempts - before) / (2 if board.name == "pico" else 1)
    assert tries == 10, "each part once a second, in the tenth pass"
    assert board.extra.i2c.timeout <= 1000, "us: what one attempt may take"
    # It comes back by itself, the bus clocked free and opened anew.
    Bus.fault = None
    opened = Bus.opened
    raws = passes(board, 40)
    assert Bus.opened == opened + 1
    assert raws[-1][r.IN_BOARD] == 0 and raws[-1][r.IN_SILENCE] == raws[-1][r.IN_CHARGER] == 1
    assert board.name == "esp32" or raws[-1][r.IN_BATTERY] == 12800


@pytest.mark.parametrize("board", ["pico"], indirect=True)
@pytest.mark.parametrize("stuck", [0, 159, 161, 10240, 21999, 22001, 26400, 0x7FFF, 0x8000, 0xFFFF])
def test_m8_a_converter_stuck_at_any_reading_is_told_within_seven_seconds_and_the_expander_goes_on(board, stuck):
    Bus.ports, Bus.counts = bytearray([0x00, 0xFF]), 10240
    assert {raw[r.IN_BOARD] for raw in passes(board, 200)} == {0}, "a sound one never"
    Bus.stuck = stuck
    raws = passes(board, 70)
    assert raws[-1][r.IN_BOARD] == r.FAULT_CONVERTER and raws[-1][r.IN_BATTERY] == 33000
    assert raws[-1][r.IN_SELECTOR_1] == r.SELECT_HAND and raws[-1][r.IN_CHARGER] == 1
    assert {raw[r.IN_BOARD] for raw in passes(board, 100)} == {r.FAULT_CONVERTER}, "and stays told"
    Bus.stuck = None
    assert passes(board, 40)[-1][r.IN_BATTERY] == 12800


def test_m8_a_power_up_into_a_bus_that_does_not_answer_at_once_tells_nothing_for_two_passes(board):
    Bus.fault = 5
    whole = r.FAULT_EXPANDER | (r.FAULT_CONVERTER if board.name == "pico" else 0)
    raws = passes(board, 3)
    assert [raw[r.IN_BOARD] for raw in raws] == [0, 0, whole]
    assert all(raw[r.IN_SILENCE] == raw[r.IN_SELECTOR_1] == 0 for raw in raws)


@pytest.mark.parametrize("board", ["pico"], indirect=True)
def test_m8_the_converter_proves_itself_at_power_up_and_then_every_64_readings(board):
    battery, rail, ground = 0xC3, 0xE3, 0xF3
    passes(board, 140)
    proof = (ground, rail)
    assert Bus.started == (proof + (battery,) * 63) * 2 + proof + (battery,) * 8
    assert 65 * 0.1 < 7, "seconds"


@pytest.mark.parametrize("board", ["pico"], indirect=True)
@pytest.mark.parametrize(("name", "counts", "sound"), [
    ("ground", 0, True), ("ground", 160, True), ("ground", 161, False), ("ground", 0x8000, True),
    ("rail", 21999, False), ("rail", 22000, True), ("rail", 0x7FFF, True), ("rail", 0x8000, False),
])  # fmt: skip
def test_m8_either_proof_alone_condemns_and_from_which_count_on(board, monkeypatch, name, counts, sound):
    monkeypatch.setattr(Bus, name, counts)
    Bus.counts = 10240
    raws = passes(board, 200)
    assert {raw[r.IN_BOARD] for raw in raws[4:]} == {0 if sound else r.FAULT_CONVERTER}
    assert raws[-1][r.IN_BATTERY] == (12800 if sound else 33000)


@pytest.mark.parametrize("board", ["pico"], indirect=True)
@pytest.mark.parametrize("stuck", [0, 10240])
def test_m8_a_converter_that_answers_nonsense_is_asked_once_a_second_too(board, stuck):
    Bus.stuck = stuck
    passes(board, 10)
    Bus.asked_ms = ()
    passes(board, 100)
    assert [b - a for a, b in zip(Bus.asked_ms, Bus.asked_ms[1:], strict=False)] == [1000] * 9


def test_a_data_line_that_is_held_is_clocked_free_with_nine_pulses_at_100_kilohertz(board, monkeypatch):
    edges = []

    class Clocked(Pin):
        OPEN_DRAIN = 2

        def __init__(self, number, mode=None, value=1):
            super().__init__(number, mode, value=value)
            edges.append((number, mode, value, Clock.us))

        def value(self, level=None):
            edges.append(level)
            edges.append(Clock.us)

    monkeypatch.setattr(sys.modules["machine"], "Pin", Clocked)
    opened = Bus.opened
    monkeypatch.setattr(Bus, "__init__", lambda *_, **__: setattr(Bus, "opened", opened + 1))
    board.extra._free()
    # Never driven high: the part may still hold the line.  100 kHz is what every part follows (UM10204, table 10).
    clock = [edge for edge in edges if not isinstance(edge, tuple)]
    pulses = [value for k in range(9) for value in (0, 10 * k, 1, 10 * k + 5)]
    assert clock == pulses and Clock.us == 90
    assert next(edge for edge in edges if isinstance(edge, tuple)) == (board.extra.scl, 2, 1, 0)
    assert Bus.opened == opened + 1
