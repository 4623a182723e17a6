"""The gateway's journal keeper on a board that writes, loses its power, and comes back: what is kept is what it has."""

import random
from types import SimpleNamespace

import pytest
from duplexsump.station import registers as r

from hil.remote.gateway.book import Book
from hil.remote.gateway.journal_keeper import OPEN_S, JournalKeeper
from host_sim.errors import InputError

WINDOW = 2 * r.WINDOW_WORDS


class Flash:
    """A board's segments behind the journal window, {number: bytes}; `up` or not."""

    def __init__(self):
        self.files, self.up, self.place = {1: b""}, True, (1, 0)
        self.resets = random.Random(0)

    def use(self, work):
        return work(self)

    def write_words(self, at, words):
        self._heard()
        assert at == r.WINDOW_AT
        self.place = words[0] << 16 | words[1], words[2] << 16 | words[3]

    def words(self, at, count):
        self._heard()
        if self.resets.random() < 0.05:
            self.place = (0, 0)  # a reset closes the window
        number, offset = self.place
        piece = self.files.get(number, b"")[offset : offset + WINDOW]
        held = piece + bytes(WINDOW - len(piece))
        words = [number >> 16, number & 0xFFFF, offset >> 16, offset & 0xFFFF, len(piece)]
        words += [int.from_bytes(held[i : i + 2], "big") for i in range(0, WINDOW, 2)]
        return words[at - r.WINDOW_HEAD_AT :][:count]

    def _heard(self):
        if not self.up:
            raise InputError("nobody answers", "p")

    def reading(self):
        last = max(self.files)
        values = {"journal_first": 1, "journal_last": last, "journal_bytes": len(self.files[last])}
        return SimpleNamespace(values=values)

    def cut(self, rng):
        """Lose the power: the end of the open segment may be torn, in its first write too; the next life opens one."""
        last = max(self.files)
        whole = self.files[last]
        self.files[last] = whole[: rng.randrange(len(whole) + 1)] + rng.randbytes(rng.choice([0, 40, 480]))
        self.files[last + 1] = rng.randbytes(300)


@pytest.mark.parametrize("seed", range(4))
def test_what_is_kept_of_closed_segments_is_what_the_board_has(tmp_path, seed):
    rng = random.Random(seed)
    flash, now = Flash(), OPEN_S
    book, keeper = Book(tmp_path / "book"), JournalKeeper()
    book.base.execute("pragma synchronous=off")
    for _ in range(300):
        now += rng.choice([1.0, 1.0, OPEN_S])
        flash.files[max(flash.files)] += rng.randbytes(rng.randrange(900))
        stale = flash.reading()
        if rng.random() < 0.1:
            flash.cut(rng)
        flash.up = rng.random() < 0.9
        keeper.once(flash, book, rng.choice([stale, flash.reading()]), now)
        if rng.random() < 0.05:  # the gateway itself is started again
            keeper = JournalKeeper()
    flash.up = True
    for _ in range(400):
        now += 1.0
        keeper.once(flash, book, flash.reading(), now)
    last = max(flash.files)
    kept = {number: body for number, body in book.segments("1") if number < last}
    assert last > 10 and kept == {n: body for n, body in flash.files.items() if n < last and body}
    book.close()
