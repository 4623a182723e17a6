"""A board with real pins, its `machine` a stand-in: what a converter's noise, contacts and selectors read as."""

import importlib
import sys
import types
from typing import ClassVar

import pytest
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
    readings: ClassVar[dict] = {}

    def __init__(self, pin):
        self.number = pin.number

    def read_u16(self):
        return self.readings.get(self.number, 0) << 4


@pytest.fixture
def board(monkeypatch):
    machine = types.SimpleNamespace(Pin=Pin, ADC=Adc, WDT_RESET=3, PWRON_RESET=1, reset_cause=lambda: 1,
                                    mem32={0x4005800C: 0xFFFFFFFF})
    monkeypatch.setitem(sys.modules, "machine", machine)
    for name in ("wired", "pico"):
        monkeypatch.delitem(sys.modules, f"duplexsump.boards.{name}", raising=False)
    pico = importlib.import_module("duplexsump.boards.pico")
    monkeypatch.setattr(Adc, "readings", {})
    made = pico.Board()
    yield made
    for name in ("wired", "pico"):
        sys.modules.pop(f"duplexsump.boards.{name}", None)


def read(board):
    raw = [0] * r.N_INPUTS
    board.read(raw)
    return raw


@pytest.mark.parametrize(("counts", "milliamps"), [(0, 0), (1, 0), (40, 0), (41, 300), (4095, 30000)])
def test_what_is_no_more_than_noise_of_the_converter_is_no_current(board, counts, milliamps):
    Adc.readings[26] = counts
    assert read(board)[r.IN_CURRENT_1] == milliamps


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


def test_every_output_is_off_at_once_and_safe_drops_them_all(board):
    assert all(pin.level == 1 - level for pin, _place, level in board.outputs)
    board.write([1] * r.N_OUTPUTS)
    assert all(pin.level == level for pin, _place, level in board.outputs)
    board.safe()
    assert all(pin.level == 1 - level for pin, _place, level in board.outputs)
