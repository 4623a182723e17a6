"""A board with real pins, its `machine` a stand-in: what a converter's noise, contacts and selectors read as."""

import importlib
import sys
import types
from typing import ClassVar

import pytest
from duplexsump import marks
from duplexsump.control import records as r


class Pin:
    IN, OUT, PULL_UP = 0, 1, 2

    def __init__(self, number, *_, value=1):
        self.number, self.level = number, value

    def value(self, level=None):
        if level is not None:
            self.level = level
        return self.level


class Adc:
    ATTN_11DB = 3
    readings: ClassVar[dict] = {}
    volts: ClassVar[dict] = {}

    def __init__(self, pin, atten=None):
        self.number, self.atten = pin.number, atten

    def read_u16(self):
        return self.readings.get(self.number, 0) << 4

    def read_uv(self):
        # An ESP32-S3: calibrated, up to 3.1 V.
        assert self.atten == self.ATTN_11DB
        return min(3_100_000, round(self.volts.get(self.number, 0) * 1e6))


def made(monkeypatch, name):
    """Return the board `name` on a stand-in for `machine`."""
    machine = types.SimpleNamespace(Pin=Pin, ADC=Adc, WDT_RESET=3, PWRON_RESET=1, reset_cause=lambda: 1,
                                    mem32={0x4005800C: 0xFFFFFFFF}, RTC=Rtc)
    monkeypatch.setitem(sys.modules, "machine", machine)
    modules = [importlib.import_module(f"duplexsump.boards.{module}") for module in ("wired", name)]
    for module in modules:
        monkeypatch.setattr(module, "machine", machine)
    monkeypatch.setattr(Adc, "readings", {})
    monkeypatch.setattr(Adc, "volts", {})
    monkeypatch.setattr(Rtc, "data", b"")
    return modules[1].Board()


class Rtc:
    data: ClassVar[bytes] = b""

    def memory(self, data=None):
        if data is not None:
            type(self).data = bytes(data)
        return self.data


@pytest.fixture
def board(monkeypatch):
    return made(monkeypatch, "pico")


@pytest.fixture
def esp32(monkeypatch):
    return made(monkeypatch, "esp32")


def read(board):
    raw = [0] * r.N_INPUTS
    board.read(raw)
    return raw


@pytest.mark.parametrize(("counts", "milliamps"), [(0, 0), (1, 0), (40, 0), (41, 300), (4095, 30000)])
def test_what_is_no_more_than_noise_of_the_converter_is_no_current(board, counts, milliamps):
    Adc.readings[26] = counts
    assert read(board)[r.IN_CURRENT_1] == milliamps


def test_s7_a_motor_s_current_is_read_by_its_own_sensor_range(board):
    Adc.readings.update({26: 4095, 27: 4095, 28: 4095})
    usual = read(board)
    board.fit(20_000, 75_000, 0)
    raw = read(board)
    assert (raw[r.IN_CURRENT_1], raw[r.IN_CURRENT_2]) == (20_000, 75_000)
    assert raw[r.IN_LEVEL] == usual[r.IN_LEVEL]
    assert raw[r.IN_BATTERY] == usual[r.IN_BATTERY] == 33_000


def test_of_level_transmitter_and_battery_on_one_pin_the_settings_say_which_is_there(board):
    Adc.readings[28] = 2048
    assert (read(board)[r.IN_LEVEL], read(board)[r.IN_BATTERY]) == (0, 2048 * 33_000 // 4095)
    board.fit(30_000, 30_000, 1)
    # A battery that is not wired reads as a full one: whatever the level is, no pump is kept off.
    for counts in (0, 2048, 4095):
        Adc.readings[28] = counts
        assert (read(board)[r.IN_LEVEL], read(board)[r.IN_BATTERY]) == (counts * 22_000 // 4095, 33_000)
    board.fit(30_000, 30_000, 0)
    assert (read(board)[r.IN_LEVEL], read(board)[r.IN_BATTERY]) == (0, 33_000)


# 120 ohm in the loop; NAMUR NE 43: 3.6 mA and 21 mA are failures.
@pytest.mark.parametrize("milliamps", [0.5, 3.6, 4.0, 12.0, 19.8, 20.5, 21.0, 22.0])
def test_l5_an_esp32_reads_a_loop_by_the_chips_calibration(esp32, milliamps):
    Adc.volts[4] = milliamps * 0.120
    assert abs(read(esp32)[r.IN_LEVEL] - 1000 * milliamps) <= 9
    assert read(esp32)[r.IN_BATTERY] == 0


def test_an_esp32_reads_a_battery_beside_the_loop_and_currents_up_to_its_reach(esp32):
    esp32.fit(30_000, 200_000, 1)
    Adc.volts.update({1: 1.65, 2: 3.3, 4: 1.0, 5: 1.28})
    raw = read(esp32)
    assert (raw[r.IN_CURRENT_1], raw[r.IN_BATTERY]) == (15_000, 12_800)
    assert raw[r.IN_CURRENT_2] == 3100 * 200_000 // 3300 >= 200_000 * esp32.REACH // 100
    Adc.volts.update({1: 0.032, 2: 0.034})
    raw = read(esp32)
    assert (raw[r.IN_CURRENT_1], raw[r.IN_CURRENT_2]) == (0, 34 * 200_000 // 3300), "noise is no current"


def test_an_esp32_keeps_the_word_in_its_clocks_memory(esp32):
    assert esp32.kept() == marks.MAGIC
    esp32.keep(marks.MAGIC | 0x305)
    assert Rtc.data == (marks.MAGIC | 0x305).to_bytes(4, "little") and esp32.kept() == marks.MAGIC | 0x305
    Rtc.data = b"abc"
    assert esp32.kept() == marks.MAGIC

def test_a_contact_to_ground_is_closed_and_an_open_thermal_contact_is_hot(board):
    for pin, _place, _bit in board.contacts:
        pin.level = 1
    raw = read(board)
    assert raw[r.IN_CONTACTS] == 0
    assert (raw[r.IN_THERMAL_1], raw[r.IN_THERMAL_2]) == (1, 1)
    for pin, place, _bit in board.contacts:
        pin.level = 0 if place in (r.IN_CONTACTS, r.IN_THERMAL_1) else 1
    raw = read(board)
    assert raw[r.IN_CONTACTS] == r.OFF | r.LEAD | r.LAG | r.HIGH
    assert (raw[r.IN_THERMAL_1], raw[r.IN_THERMAL_2]) == (0, 1)
    for pin, place, _bit in board.contacts:
        pin.level = 0 if place == r.IN_THERMAL_2 else 1
    raw = read(board)
    assert (raw[r.IN_THERMAL_1], raw[r.IN_THERMAL_2]) == (1, 0)


def test_every_output_is_off_at_once_and_safe_drops_them_all(board):
    assert all(pin.level == 1 - level for pin, _place, level in board.outputs)
    board.write([1] * r.N_OUTPUTS)
    assert all(pin.level == level for pin, _place, level in board.outputs)
    board.write([0] * r.N_OUTPUTS)
    assert all(pin.level == 1 - level for pin, _place, level in board.outputs)
    board.write([1] * r.N_OUTPUTS)
    board.safe()
    assert all(pin.level == 1 - level for pin, _place, level in board.outputs)


def test_off_wins_where_both_contacts_of_a_selector_are_made(board):
    for places, reads in (((), r.SELECT_AUTO), ((1,), r.SELECT_OFF), ((2,), r.SELECT_HAND), ((1, 2), r.SELECT_OFF)):
        for pin, place, bit in board.contacts:
            pin.level = 0 if place in (r.IN_SELECTOR_1, r.IN_SELECTOR_2) and bit in places else 1
        raw = read(board)
        assert (raw[r.IN_SELECTOR_1], raw[r.IN_SELECTOR_2]) == (reads, reads), places


def test_the_mark_is_read_once_and_written_before_a_reset(board, monkeypatch):
    machine = sys.modules["machine"]
    assert (board.RESET_CAUSE, board.kept()) == (marks.POWER_ON, marks.MAGIC)
    resets = []
    monkeypatch.setattr(machine, "reset", lambda: resets.append(machine.mem32[0x4005800C]), raising=False)
    board.reset()
    board.reset(marks.FAULT)
    board.reset(marks.MAINTENANCE)
    assert [word & 3 for word in resets] == [marks.ASKED, marks.FAULT, marks.MAINTENANCE]
    # An RP2040 calls each of these a watchdog reset.
    monkeypatch.setattr(machine, "reset_cause", lambda: 3)
    causes = []
    for word in (*resets, marks.MAGIC):
        machine.mem32[0x4005800C] = word
        again = type(board)()
        causes.append(again.RESET_CAUSE)
        assert again.kept() & 3 == 0
    assert causes == [marks.REQUESTED, marks.WATCHDOG, marks.REQUESTED, marks.WATCHDOG]


class Uart:
    """A UART that sends a bit at a time by the clock it shares; `done_early_ms`: what it says before the last bit."""

    def __init__(self, clock, baud, done_early_ms=0):
        self.clock, self.baud, self.early = clock, baud, done_early_ms
        self.ends_ms = 0.0
        self.writes = []

    def write(self, data):
        self.writes.append(bytes(data))
        self.ends_ms = self.clock[0] + len(data) * 11 * 1000 / self.baud

    def txdone(self):
        return self.clock[0] >= self.ends_ms - self.early

    def any(self):
        return 0


@pytest.mark.parametrize("baud", [9600, 19200, 115200])
@pytest.mark.parametrize("early_ms", [0, 2])
@pytest.mark.parametrize("size", [1, 5, 64, 65, 256])
def test_the_direction_is_held_until_the_last_bit_has_left(board, monkeypatch, baud, early_ms, size):
    wired = sys.modules["duplexsump.boards.wired"]
    clock = [1000]
    fake = types.SimpleNamespace(ticks_ms=lambda: clock[0], ticks_add=lambda a, b: a + b, ticks_diff=lambda a, b: a - b)
    monkeypatch.setattr(wired, "time", fake)
    direction = Pin(2, value=0)
    uart = Uart(clock, baud, early_ms)
    line = wired.Rs485(uart, baud, direction)
    assert line.takes()
    line.put(bytearray(300), 10, size)
    assert [len(data) for data in uart.writes] == [size], "in one piece"
    while direction.level:
        assert not line.takes()
        clock[0] += 1
        direction.level = 1  # what a pin reads is no memory of what was asked
        assert line.ready() == -1
        assert clock[0] < uart.ends_ms + 5
    assert clock[0] >= uart.ends_ms, "the last bit has left"
    assert line.takes()


@pytest.mark.parametrize(("baud", "ms"), [(1100, 38), (1200, 35), (9600, 7), (19200, 5), (19201, 4), (115200, 4)])
def test_the_silence_is_that_of_the_standard_and_a_pass(board, baud, ms):
    assert sys.modules["duplexsump.boards.wired"].silence_ms(baud) == ms


@pytest.mark.parametrize(("parity", "wanted", "stop"), [(0, 0, 1), (1, 1, 1), (2, None, 2)])
def test_a_character_has_11_bits_whatever_the_parity(board, monkeypatch, parity, wanted, stop):
    machine = sys.modules["machine"]
    monkeypatch.setattr(machine, "UART", lambda *places, **names: (places, names), raising=False)
    places, names = sys.modules["duplexsump.boards.wired"].uart_of(0, 19200, parity, 0, 1)
    assert places == (0, 19200)
    assert (names["bits"], names["parity"], names["stop"]) == (8, wanted, stop)
    assert names["txbuf"] >= 256, "the longest frame at once"
