"""A station on CPython: a board made of plain attributes, so that link, loop and journal are driven by hand."""

from collections import deque

from duplexsump import marks
from duplexsump.control.records import IN_MAINS, N_INPUTS, N_OUTPUTS
from duplexsump.station import health, loop
from duplexsump.station.loop import Station


class Heap:
    """Stands for `gc` in the loop: a collection of all that the tests have loaded takes far longer than a board's."""

    collections = 0
    free = 100_000  # bytes

    @classmethod
    def collect(cls):
        cls.collections += 1

    @classmethod
    def mem_free(cls):
        return cls.free


loop.gc = Heap


class Wire:
    """Both ends of a byte stream: what a client sent, and what the board answered."""

    def __init__(self, most):
        self.most, self.pieces = most, 0
        self.sent = deque()
        self.answered = bytearray()
        self.stuck = False

    def ready(self):
        return self.sent.popleft() if self.sent else -1

    def takes(self):
        return not self.stuck

    def put(self, buffer, at, count):
        assert not self.stuck, "written although it would have waited"
        assert count <= self.most
        self.pieces += 1
        self.answered += buffer[at : at + count]


class Board:
    """A board whose inputs, clock and files a test sets."""

    RESET_CAUSE = 0
    PASS_MS = 5

    def __init__(self, folder, start_ms=0x3FFFFFFF - 5000):
        self.folder = folder
        folder.mkdir(exist_ok=True)
        self.time_ms = start_ms
        self.raw = [0] * N_INPUTS
        self.raw[IN_MAINS] = 1
        self.raw[0] = 8  # high is normally closed
        self.outputs = [0] * N_OUTPUTS
        self.usb, self.rs485 = Wire(64), Wire(256)
        self.word = marks.MAGIC
        self.fed = 0
        self.made_safe = 0
        self.wrote = []

    REACH = 100
    wired = None  # rows of (place, pin, full scale); None: every reading is handed over

    def fit(self, range_1_ma, range_2_ma, transmitter):
        self.ranges_ma = (range_1_ma, range_2_ma)
        self.transmitter = transmitter

    def inputs(self):
        return self.wired

    def now_ms(self):
        return self.time_ms

    def read(self, raw):
        raw[:] = self.raw

    def write(self, outputs):
        if list(outputs[:6]) != self.outputs[:6]:
            self.wrote.append((self.time_ms, list(outputs[:6])))
        self.outputs = list(outputs)

    def safe(self):
        self.made_safe += 1
        self.outputs = [0] * N_OUTPUTS

    def feed_watchdog(self):
        self.fed += 1

    def rest(self, ms):
        self.time_ms = (self.time_ms + max(1, ms)) & 0x3FFFFFFF

    def open_link(self, baud, parity):
        self.line = baud, parity
        return [(self.usb, "ascii", 0), (self.rs485, "rtu", 5)]

    def files(self):
        return str(self.folder)

    def firmware(self):
        return str(self.folder)

    def kept(self):
        return self.word

    def keep(self, word):
        self.word = word

    def reset(self, mark=marks.ASKED):
        self.word = marks.marked(self.word, mark)
        raise SystemExit("reset")


def start(folder, **raw):
    """Return (board, station) after a power-up in `folder`, linked."""
    board = Board(folder)
    station = Station(board, health.FULL)
    station.begin(0)
    station.connect()
    return board, station


def run(board, station, ms):
    """Let the station run for a time."""
    while ms > 0:
        left = max(1, min(station.once(), ms))
        if station.wish == 1:
            station.wish = 0
            station.renew()
        board.rest(left)
        ms -= left
