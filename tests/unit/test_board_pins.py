"""A board with real pins, its `machine` a stand-in: clock, watchdog, reset timer, serial ports, what is wired."""

import io
import sys
import types

import pytest
from duplexsump import marks
from duplexsump.boards import stream as streams
from duplexsump.control import records as r

from tests.unit.test_board_wired import Adc, Rtc, made

BOARDS = ("pico", "esp32")


@pytest.fixture(params=BOARDS)
def board(request, monkeypatch):
    return made(monkeypatch, request.param)


def wired():
    return sys.modules["duplexsump.boards.wired"]


def machine_of(board):
    return sys.modules[type(board).__module__].machine


def test_the_clock_is_a_ring_of_30_bits(board, monkeypatch):
    clock = types.SimpleNamespace(ticks_ms=lambda: 0x7FFFFFFE)
    monkeypatch.setattr(wired(), "time", clock)
    assert board.now_ms() == 0x3FFFFFFE
    clock.ticks_ms = lambda: 5
    assert board.now_ms() == 5


def test_a_rest_sleeps_as_long_as_it_says(board, monkeypatch):
    slept = []
    monkeypatch.setattr(wired(), "time", types.SimpleNamespace(sleep_ms=slept.append))
    board.rest(5)
    assert slept == [5]


def test_the_watchdog_is_made_once_and_fed_each_time(board, monkeypatch):
    told = []

    class Watchdog:
        def __init__(self, timeout):
            told.append(timeout)

        def feed(self):
            told.append("fed")

    monkeypatch.setattr(machine_of(board), "WDT", Watchdog, raising=False)
    board.feed_watchdog()
    board.feed_watchdog()
    assert told == [8000, "fed", "fed"], "below the 8388 ms that an RP2040 reaches"


def test_m6_a_reset_is_timed_by_a_timer_that_the_board_has_free(board, monkeypatch):
    told = []

    class Timer:
        ONE_SHOT = "once"

        def __init__(self, number):
            self.number = number

        def init(self, mode, period, callback):
            told.append((self.number, mode, period))
            self.callback = callback

    machine = machine_of(board)
    monkeypatch.setattr(machine, "Timer", Timer, raising=False)
    monkeypatch.setattr(machine, "reset", lambda: told.append("reset"), raising=False)
    board.reset_after(600_000)
    assert told == [(0 if type(board).__module__.endswith("esp32") else -1, "once", 600_000)]
    board.timer.callback(board.timer)
    assert told[1:] == ["reset"]


def test_places_on_flash(board):
    assert (board.files(), board.firmware(), board.PASS_MS) == ("/pit", "/lib/duplexsump", 5)


@pytest.mark.parametrize(("name", "number", "tx", "rx"), [("pico", 0, 0, 1), ("esp32", 1, 47, 38)])
def test_m7_two_ports_are_opened_and_ctrl_c_is_data(monkeypatch, name, number, tx, rx):
    board = made(monkeypatch, name)
    told = []
    monkeypatch.setitem(sys.modules, "micropython", types.SimpleNamespace(kbd_intr=told.append))
    monkeypatch.setattr(machine_of(board), "UART", lambda *places, **names: (places, names), raising=False)
    clock = types.SimpleNamespace(ticks_ms=lambda: 0)
    monkeypatch.setattr(wired(), "time", clock)
    with open("/dev/zero", "rb") as source, open("/dev/null", "wb") as sink:
        monkeypatch.setattr(wired().sys, "stdin", types.SimpleNamespace(buffer=source, fileno=source.fileno))
        monkeypatch.setattr(wired().sys, "stdout", types.SimpleNamespace(buffer=sink, fileno=sink.fileno))
        (usb, ascii_name, no_silence), (line, rtu_name, silence) = board.open_link(9600, 1)
    assert told == [-1]
    assert (ascii_name, no_silence, rtu_name, silence) == ("ascii", 0, "rtu", 7)
    places, names = line.uart
    assert places == (number, 9600) and names["parity"] == 1 and names["timeout"] == 0
    assert (names["tx"].number, names["rx"].number) == (tx, rx)
    assert line.baud == 9600 and line.direction is None and line.takes()
    assert (usb.source, usb.sink) == (source, sink)


def test_every_input_is_told_with_its_pin_and_full_scale(board):
    rows = board.inputs()
    kinds = (wired().CLOSED, wired().ANALOG)
    assert rows == [
        (row[2], row[1], row[3] if row[0] == wired().ANALOG else 0) for row in board.wiring if row[0] in kinds
    ]
    full = {place: scale for place, _pin, scale in rows if scale}
    assert set(full) == {r.IN_CURRENT_1, r.IN_CURRENT_2, r.IN_LEVEL, r.IN_BATTERY}


def test_what_is_not_wired_reads_as_healthy_and_what_is_wired_as_it_is(monkeypatch):
    raw = [7] * r.N_INPUTS
    esp32 = made(monkeypatch, "esp32")
    for pin, _place, _bit in esp32.contacts:
        pin.level = 1
    esp32.read(raw)
    assert (raw[r.IN_MAINS], raw[r.IN_CHARGER]) == (0, 1), "its charger has no pin"
    pico = made(monkeypatch, "pico")
    for pin, _place, _bit in pico.contacts:
        pin.level = 1
    pico.read(raw)
    assert (raw[r.IN_MAINS], raw[r.IN_CHARGER]) == (0, 0)
    for pin, _place, _bit in pico.contacts:
        pin.level = 0
    pico.read(raw)
    assert (raw[r.IN_MAINS], raw[r.IN_CHARGER]) == (1, 1)
    assert (raw[r.IN_MOISTURE_1], raw[r.IN_GENERATOR]) == (0, 0), "not wired, and nothing of the reading before stays"


def test_every_pin_is_the_wiring_table_s(board):
    of = lambda kind: [row for row in board.wiring if row[0] == kind]  # noqa: E731
    assert [pin.number for pin, _, _ in board.outputs] == [row[1] for row in of(wired().OUTPUT)]
    assert [(pin.number, place, bit) for pin, place, bit in board.contacts] == [row[1:4] for row in of(wired().CLOSED)]
    assert [(adc.number, place) for adc, place, _ in board.analog] == [row[1:3] for row in of(wired().ANALOG)]


def test_a_board_with_next_to_nothing_wired_reads_mains_and_charging(monkeypatch):
    made(monkeypatch, "pico")
    raw = [7] * r.N_INPUTS
    board = wired().WiredBoard(((wired().ANALOG, 28, r.IN_LEVEL, 22000, "level loop"),))
    board.read(raw)
    assert (raw[r.IN_MAINS], raw[r.IN_CHARGER]) == (1, 1)
    board.fit(30_000, 30_000, 0)
    Adc.readings[28] = 4095
    board.read(raw)
    assert raw[r.IN_LEVEL] == 22000, "it shares its pin with nothing"


def test_a_battery_that_stands_before_the_loop_in_the_table_is_read_as_well(monkeypatch):
    made(monkeypatch, "pico")
    rows = ((wired().ANALOG, 28, r.IN_BATTERY, 33000, "battery"), (wired().ANALOG, 28, r.IN_LEVEL, 22000, "level loop"))
    board = wired().WiredBoard(rows)
    Adc.readings[28] = 2048
    raw = [0] * r.N_INPUTS
    board.read(raw)
    assert (raw[r.IN_BATTERY], raw[r.IN_LEVEL]) == (2048 * 33000 // 4095, 0)


def test_m5_the_count_of_early_lives_outlives_the_mark(monkeypatch):
    board = made(monkeypatch, "pico")
    board.keep(marks.MAGIC | 0x300 | marks.FAULT)
    again = type(board)()
    assert (again.kept(), again.RESET_CAUSE) == (marks.MAGIC | 0x300, marks.WATCHDOG)
    esp32 = made(monkeypatch, "esp32")
    Rtc.data = (marks.MAGIC | 0x300).to_bytes(5, "little")
    assert esp32.kept() == marks.MAGIC, "not as it is left here"


def test_a_reading_is_the_mean_of_several(monkeypatch):
    board = made(monkeypatch, "pico")
    counts = [1000, 1008, 1000, 1008, 1000, 1008, 1000, 1015]
    left = list(counts)
    adc = types.SimpleNamespace(read_u16=lambda: left.pop(0) << 4 | 15)
    assert board.measured(adc, 4095) == sum(counts) // 8
    assert left == []


def test_an_esp32_rounds_the_mean_of_its_millivolts(monkeypatch):
    board = made(monkeypatch, "esp32")
    cases = (
        ([1_000_400] * 8, 1000),
        ([1_000_500] * 8, 1001),
        ([1_000_500] * 7 + [1_000_400], 1000),
        ([33_000] * 8, 33),
        ([32_400] * 8, 0),
        ([1_000_000] * 4 + [1_002_000] * 4, 1001),
    )
    for microvolts, millivolts in cases:
        left = list(microvolts)
        assert board.measured(types.SimpleNamespace(read_uv=lambda left=left: left.pop(0)), 3300) == millivolts
        assert left == []


def test_a_byte_from_rs485_and_none(monkeypatch):
    made(monkeypatch, "pico")
    waiting = bytearray(b"\x01\x00\xff")

    class Uart:
        def any(self):
            return len(waiting)

        def readinto(self, one):
            for i in range(len(one)):
                one[i] = waiting.pop(0)
            return len(one)

        def txdone(self):
            raise AssertionError("nothing was sent")

    monkeypatch.setattr(wired(), "time", types.SimpleNamespace(ticks_ms=lambda: 0))
    line = wired().Rs485(Uart(), 19200)
    assert [line.ready() for _ in range(4)] == [1, 0, 255, -1]
    waiting.append(3)
    line.uart.readinto = lambda one: None  # a port that says it has a byte and gives none
    assert line.ready() == -1


def test_a_frame_is_sent_from_where_it_begins(monkeypatch):
    made(monkeypatch, "pico")
    sent = []
    now = [100]
    uart = types.SimpleNamespace(write=lambda view: sent.append(bytes(view)), txdone=lambda: True, any=lambda: 0)
    monkeypatch.setattr(wired(), "time", types.SimpleNamespace(
        ticks_ms=lambda: now[0], ticks_add=lambda a, b: a + b, ticks_diff=lambda a, b: a - b))  # fmt: skip
    line = wired().Rs485(uart, 9600)
    line.put(bytearray(b"abcdefgh"), 2, 5)
    assert sent == [b"cdefg"] and line.takes() == 0
    now[0] += 5  # 55 bits at 9600 baud: 5.7 ms
    assert line.ready() == -1 and not line.takes()
    now[0] += 1
    assert line.ready() == -1 and line.takes() == 1, "without a direction pin too"


def test_a_line_is_held_for_the_frame_s_own_time_and_while_the_port_still_sends(monkeypatch):
    made(monkeypatch, "pico")
    now, done = [0], [True]
    uart = types.SimpleNamespace(write=lambda view: None, txdone=lambda: done[0], any=lambda: 0)
    monkeypatch.setattr(wired(), "time", types.SimpleNamespace(
        ticks_ms=lambda: now[0], ticks_add=lambda a, b: a + b, ticks_diff=lambda a, b: a - b))  # fmt: skip
    direction = types.SimpleNamespace(levels=[], value=lambda level: direction.levels.append(level))
    line = wired().Rs485(uart, 1200, direction)
    line.put(bytearray(256), 0, 256)
    now[0] = 2346  # 2816 bits at 1200 baud: 2346.7 ms
    assert line.ready() == -1 and line.takes() == 0
    now[0], done[0] = 2347, False
    assert line.ready() == -1 and line.takes() == 0
    done[0] = True
    assert line.ready() == -1 and line.takes() == 1
    assert direction.levels == [1, 0]


class Poll:
    """What `select.poll` gives of MicroPython; `events`: per registered stream."""

    events: dict

    def register(self, what, mask):
        self.what, self.mask = what, mask

    def ipoll(self, patience_ms):
        assert patience_ms == 0
        event = self.events.get(id(self.what), 0)
        return [(self.what, event)] if event else []


@pytest.fixture
def polled(monkeypatch):
    class Mine(Poll):
        events = {}  # noqa: RUF012

    monkeypatch.setattr(streams, "select", types.SimpleNamespace(poll=Mine, POLLIN=1, POLLOUT=4))
    return Mine.events


def test_a_stream_gives_a_byte_only_while_one_is_there(polled):
    source, sink = io.BytesIO(b"\x07\x08"), io.BytesIO()
    one = streams.Stream(source, sink)
    assert one.ready() == -1
    polled[id(source)] = 8  # an error, no byte
    assert one.ready() == -1 and source.tell() == 0
    polled[id(source)] = 9
    assert (one.ready(), one.ready()) == (7, 8), "one at a time"
    assert one.ready() == -1, "the end of the stream"
    assert (one.reading.mask, one.writing.mask) == (1, 4)


def test_a_stream_is_written_where_it_takes_and_from_where_the_frame_begins(polled):
    source, sink, door = io.BytesIO(), io.BytesIO(), object()
    one = streams.Stream(source, sink, None, door)
    assert not one.takes() and one.reading.what is source and one.writing.what is door
    polled[id(door)] = 8
    assert not one.takes()
    polled[id(door)] = 12
    assert one.takes()
    one.put(bytearray(b"abcdefgh"), 2, 3)
    assert sink.getvalue() == b"cde"
    two = streams.Stream(source, sink)
    assert two.takes() == 0 and two.writing.what is sink
    polled[id(sink)] = 4
    assert two.takes()


def test_usb_is_polled_at_the_text_streams_and_read_at_their_bytes(monkeypatch, polled):
    made(monkeypatch, "pico")
    stdin, stdout = (types.SimpleNamespace(buffer=io.BytesIO(text)) for text in (b"x", b""))
    monkeypatch.setattr(wired().sys, "stdin", stdin)
    monkeypatch.setattr(wired().sys, "stdout", stdout)
    usb = wired().Usb()
    assert (usb.reading.what, usb.writing.what, usb.source, usb.sink) == (stdin, stdout, stdin.buffer, stdout.buffer)
