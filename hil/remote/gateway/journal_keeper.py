"""Fetches the journal segments that the gateway does not have yet, a little in each pass, so that readings go on.

A board keeps at most some 40 segments; whatever was written during an outage of the gateway is fetched after it.
"""

from duplexsump.station import registers as r

from host_sim.board.client import window
from host_sim.board.readback import read_segment
from host_sim.errors import InputError

WINDOWS = 4  # read in one pass
OPEN_S = 600.0  # the open segment is fetched again after so long


class JournalKeeper:
    """Keeps the segments of one controller in a `book.Book`."""

    def __init__(self):
        self.number = None  # the segment being fetched
        self.data = b""
        self.was_open = False  # when fetching began: what comes after a power cut may not go on from what was read
        self.opened_at = 0.0
        self.done = set()
        self.on_segment = None  # called with each `readback.Segment` fetched
        self.settled = None  # (first, last) for which nothing was missing

    def once(self, port, book, reading, now):
        """Fetch a few windows.  A board that goes away meanwhile only ends the pass."""
        try:
            for _ in range(WINDOWS):
                if self.number is None and not self._choose(book, reading.values, now):
                    return
                piece = port.use(lambda client: window(client, self.number, len(self.data)))
                self.data += piece
                if len(piece) < 2 * r.WINDOW_WORDS:
                    self._finish(book, reading.values, now)
        except InputError:
            self.number = None

    def _choose(self, book, values, now):
        first, last = values["journal_first"], values["journal_last"]
        if self.settled == (first, last) and now - self.opened_at < OPEN_S:
            return False
        board = self._board(book, last)
        sizes = book.segment_sizes(board)
        for number in range(first, last):
            if number not in self.done and (number not in sizes or number == book.kept("open_segment")):
                self.number, self.data, self.was_open = number, b"", False
                return True
            self.done.add(number)
        if now - self.opened_at >= OPEN_S and values["journal_bytes"] > sizes.get(last, 0):
            self.number, self.data, self.was_open, self.opened_at = last, b"", True, now
            return True
        self.settled = first, last
        if now - self.opened_at >= OPEN_S:
            self.opened_at = now
        return False

    def _board(self, book, last):
        # A journal whose numbers have gone back is that of another board, or of one whose flash was erased.
        kept = book.kept("board", [1, 0])
        if last < kept[1]:
            self.done.clear()
            kept = [kept[0] + 1, 0]
        if last != kept[1]:
            book.keep("board", [kept[0], last])
        return str(kept[0])

    def _finish(self, book, values, now):
        number, data = self.number, self.data
        self.number, self.data = None, b""
        if not self.was_open:
            self.done.add(number)
        if not data:
            return
        try:
            segment = read_segment(data)
        except InputError:
            segment = None
        life = -1 if segment is None else segment.life
        if self.was_open:  # said first: a gateway that dies in between must not take a part for the whole
            book.keep("open_segment", number)
        book.segment(self._board(book, values["journal_last"]), number, life, data, now)
        if segment is not None and self.on_segment is not None:
            self.on_segment(segment)
        if not self.was_open and book.kept("open_segment") == number:
            book.keep("open_segment", None)
