"""The last resort on the virtual board: its messages to the bench, byte by byte, and whose clock it lives by."""

from types import SimpleNamespace

import pytest
from duplexsump.station import minimal as m


class Wire:
    """The bench's end: what was written, and arrays of whole numbers to be read."""

    def __init__(self):
        self.written, self.answers = [], []

    def write(self, data):
        self.written.append(bytes(data))
        return len(data)

    def readinto(self, numbers):
        found = self.answers.pop(0)
        numbers[: len(found)] = type(numbers)("i", found)
        self.length = len(numbers)

    def taken(self):
        found, self.written = self.written, []
        return found


def message(letter, value, out=0):
    return letter.encode() + (value & 0xFFFFFFFF).to_bytes(4, "little") + bytes([out])


@pytest.fixture
def make(monkeypatch):
    """Make BenchPins of a speed and a kept word; time is `make.ms`."""

    def made(speed=None, kept=None, pins="7"):
        for name, value in (("PINS", pins), ("SPEED", speed), ("KEPT", kept)):
            if value is None:
                monkeypatch.delenv(f"DUPLEXSUMP_{name}", raising=False)
            else:
                monkeypatch.setenv(f"DUPLEXSUMP_{name}", str(value))
        made.opened = []

        def opened(descriptor, mode):
            made.opened.append((descriptor, mode))
            return made.wire

        monkeypatch.setattr(m, "open", opened, raising=False)
        made.board = m.BenchPins()
        return made.board

    made.wire, made.ms, made.slept = Wire(), 1000, []
    clock = SimpleNamespace(ticks_ms=lambda: made.ms, ticks_diff=lambda a, b: a - b, sleep_ms=made.slept.append)
    monkeypatch.setattr(m, "time", clock)
    return made


def test_without_a_bench_there_are_no_pins(make):
    with pytest.raises(OSError, match="no virtual bench"):
        make(pins=None)
    assert make.opened == []


@pytest.mark.parametrize(("kept", "word"), [(None, m.MAGIC), ("0", m.MAGIC), (m.MAGIC | 0x102, m.MAGIC | 0x102)])
def test_it_drops_every_output_first_thing_and_knows_the_word_that_was_kept(make, kept, word):
    board = make(kept=kept)
    assert make.opened == [(7, "r+b")]
    assert make.wire.taken() == [message("W", 0)]
    assert board.kept() == word
    board.keep(0x2D3CFF03)
    assert board.kept() == 0x2D3CFF03 and make.wire.taken() == [message("K", 0x2D3CFF03)]


@pytest.mark.parametrize(("speed", "factor"), [(None, 1), ("1", 1), ("20", 20)])
def test_in_real_time_the_clock_is_the_machines_times_the_speed(make, speed, factor):
    board = make(speed)
    assert board.now_ms() == 0
    make.ms = 1150
    assert board.now_ms() == 150 * factor
    make.ms = 1000 + (m._MASK + 1) // factor + 2
    assert board.now_ms() == (((m._MASK + 1) // factor + 2) * factor) & m._MASK
    board.rest(100)
    assert make.slept == [100 // factor]


@pytest.mark.parametrize("speed", ["0", "-1"])
def test_otherwise_time_passes_by_its_rests(make, speed):
    board = make(speed)
    make.ms = 99999
    assert board.now_ms() == 0
    board.free_ms = m._MASK
    assert board.now_ms() == m._MASK
    board.free_ms = m._MASK + 3
    assert board.now_ms() == 2


def test_as_fast_as_it_goes_a_rest_is_over_at_once(make):
    board = make("0")
    make.wire.taken()
    board.rest(100)
    board.rest(50)
    assert (board.now_ms(), make.slept, make.wire.taken()) == (150, [], [])


def test_a_reading_is_asked_for_and_each_input_has_its_bit(make):
    board = make("0")
    board.free_ms = 0x01020304
    make.wire.taken()
    make.wire.answers = [[0] * m.BENCH_INPUTS]
    assert board.read() == 0
    assert make.wire.taken() == [message("R", 0x01020304)] and make.wire.length == 25
    for place, value, bits in ((0, 1, 1), (0, 8, 8), (0, 15, 15), (0, 16, 0), (7, 1, m.MAINS), (11, 1, m.SELECT_OFF),
                               (11, 2, 0), (12, 1, 2 * m.SELECT_OFF), (13, 1, m.HOT), (14, 1, 2 * m.HOT),
                               (15, 1, 0)):  # fmt: skip
        raw = [0] * m.BENCH_INPUTS
        raw[place] = value
        make.wire.answers = [raw]
        assert board.read() == bits, (place, value)
    raw = [15, *[1] * (m.BENCH_INPUTS - 1)]
    make.wire.answers = [raw]
    assert board.read() == 511


def test_outputs_are_told_when_they_change_and_dropped_always(make):
    board = make("0")
    board.free_ms = 70000
    make.wire.taken()
    board.write(0)
    assert make.wire.taken() == []
    board.left_ms = 40
    board.write(13)
    assert (make.wire.taken(), board.left_ms) == ([message("W", 70000, 13)], 0)
    board.left_ms = 40
    board.write(13)
    assert (make.wire.taken(), board.left_ms) == ([], 40)
    make.wire.answers = [[0] * m.BENCH_INPUTS]
    board.read()
    assert make.wire.taken() == [message("R", 70000, 13)]
    board.safe()
    assert (make.wire.taken(), board.left_ms, board.out) == ([message("W", 70000)], 0, 0)


def test_outputs_that_could_not_be_told_are_told_again(make, monkeypatch):
    board = make("0")
    board.free_ms = 70000
    make.wire.taken()

    def fails(*_given):
        raise MemoryError

    with monkeypatch.context() as patch:
        patch.setattr(board, "_send", fails)
        with pytest.raises(MemoryError):
            board.write(13)
    board.write(13)
    assert make.wire.taken() == [message("W", 70000, 13)]


@pytest.mark.parametrize(("speed", "told"), [("1", 3), ("0", 3), ("-1", 1)])
def test_the_watchdog_is_fed_by_a_message_in_lockstep_by_the_first_alone(make, speed, told):
    board = make(speed)
    board.write(3)
    make.wire.taken()
    for _ in range(3):
        board.feed_watchdog()
    assert make.wire.taken() == [message("D", 0, 3)] * told


def test_in_lockstep_the_bench_grants_each_rest(make):
    board = make("-1")
    board.write(2)
    make.wire.taken()
    make.wire.answers = [[100], [-250], [30], [0]]
    board.rest(100)
    assert (board.now_ms(), make.wire.taken()) == (100, [message("L", 100, 2)]) and make.wire.length == 26
    board.feed_watchdog()
    make.wire.taken()
    # What is granted beyond the rest that was asked for is used up before the next is asked.
    board.rest(100)
    assert (board.now_ms(), board.left_ms, make.wire.taken()) == (350, 0, [message("L", 100, 130)])
    board.rest(100)
    assert (board.now_ms(), make.wire.taken()) == (380, [message("L", 100, 2)]), "fed once"
    board.rest(100)
    assert (board.now_ms(), make.wire.taken()) == (380, [message("L", 100, 2)]), "nothing is granted"


def test_a_longer_grant_serves_several_rests(make):
    board = make("-1")
    make.wire.taken()
    make.wire.answers = [[250], [100]]
    for now in (100, 200, 250):
        board.rest(100)
        assert board.now_ms() == now
    assert len(make.wire.taken()) == 1
    board.rest(100)
    assert (board.now_ms(), len(make.wire.taken())) == (350, 1)


class OverError(BaseException):
    """The test has seen enough."""


def test_a_reset_leaves_its_mark_and_waits_for_the_end(make):
    board = make("0", m.MAGIC | 0x200)
    make.wire.taken()

    def slept(ms):
        make.slept.append(ms)
        if len(make.slept) == 3:
            raise OverError

    m.time.sleep_ms = slept
    board.free_ms = 5
    with pytest.raises(OverError):
        board.reset(m.FAULT)
    assert make.wire.taken() == [message("K", m.MAGIC | 0x203), message("X", 5)]
    assert make.slept == [1000] * 3
    make.slept.clear()
    with pytest.raises(OverError):
        board.reset()
    assert make.wire.taken()[0] == message("K", m.MAGIC | m.ASKED)


def test_a_reset_after_a_time_is_asked_of_the_bench(make):
    board = make("0")
    make.wire.taken()
    board.reset_after(600000)
    assert make.wire.taken() == [message("T", 600000)]


def test_a_machine_that_is_no_board_has_the_benchs_pins_once(make, monkeypatch):
    monkeypatch.setattr(m, "_made", [])
    real, made = m.BenchPins, []
    make("0")
    make.wire.taken()
    monkeypatch.setattr(m, "BenchPins", lambda: made.append(real()) or made[-1])
    assert m.pins() is m.pins() and len(made) == 1
    assert make.wire.taken() == [message("W", 0)] * 3, "made, and dropped at each look"
