"""J1 on the real LittleFS: the power goes at every block write of a journal and settings workload.

MicroPython's own LittleFS writes, `littlefs-python` reads what is left.  What a
marker promised before the cut must be there; what came after may be there or
not, but never anything else.
"""

import functools
import struct
from dataclasses import dataclass, field

import pytest
from duplexsump.station import codec, store
from littlefs import LittleFS, LittleFSError, UserContext

from tests.micropython.places import mp64

BLOCK = 4096
BLOCKS = 28
PROGRAM, ERASE, MARKER = 1, 2, 3


@dataclass
class Promise:
    """What holds at some moment: the settings' sequence, flushed bytes of each segment."""

    sequence: int = 0
    flushed: dict = field(default_factory=dict)


@dataclass
class Cut:
    """What is left after a cut: the segments' bytes, and the settings' sequence that a board would start with."""

    segments: dict
    sequence: int


def entries(path):
    """Yield (kind, block, offset, data) of a log, after the image it begins with."""
    with open(path, "rb") as log:
        yield "image", 0, 0, log.read(BLOCK * BLOCKS)
        while head := log.read(11):
            kind, block, offset, length = struct.unpack("<BIIH", head)
            yield kind, block, offset, log.read(length)


class Image(UserContext):
    """A flash image that is only read."""

    def __init__(self, image):
        self.image = bytes(image)

    def read(self, cfg, block, off, size):
        return self.image[block * BLOCK + off : block * BLOCK + off + size]

    def prog(self, cfg, block, off, data):
        raise AssertionError("reading wrote to the flash")

    def erase(self, cfg, block):
        raise AssertionError("reading erased a block")


@functools.lru_cache(maxsize=64)
def sequence_of(data):
    """Return the sequence of a settings slot's bytes, 0 for a damaged one."""
    try:
        return store.parse(data)[0]
    except ValueError:
        return 0


def look(image):
    """Mount an image and read what J1 is about.  Raises LittleFSError when it cannot be mounted."""
    context = Image(image)
    files = LittleFS(context=context, block_size=BLOCK, block_count=BLOCKS, read_size=32, prog_size=32,
                     cache_size=BLOCK)
    segments, sequence = {}, 0
    names = files.listdir("/")
    if "journal" in names:
        for name in files.listdir("/journal"):
            with files.open("/journal/" + name, "rb") as file:
                segments[int(name[:8])] = file.read()
    for name in ("settings.a", "settings.b"):
        if name in names:
            with files.open("/" + name, "rb") as file:
                sequence = max(sequence, sequence_of(file.read()))
    return Cut(segments, sequence)


@functools.lru_cache(maxsize=256)
def sound_bytes(data):
    """Return how many bytes at the head of a segment are whole, sound batches."""
    return sum(codec.HEAD + len(payload) for payload in codec.payloads(data))


def judge(cut, promise, final):
    """Return what a cut lost that had been promised, in words; `final` are segments' bytes as they ended."""
    lost = []
    if cut.sequence not in (promise.sequence, promise.sequence + 1):
        lost.append(f"settings {cut.sequence} instead of {promise.sequence}")
    newest = max(promise.flushed, default=0)
    for number, size in promise.flushed.items():
        data = cut.segments.get(number)
        if data is None:
            # The oldest may be given up while room is made; the newest never.
            if number == newest or any(older in cut.segments for older in promise.flushed if older < number):
                lost.append(f"segment {number} is gone")
        elif sound_bytes(data) < size:
            lost.append(f"segment {number}: {sound_bytes(data)} sound bytes of {size} flushed")
        elif number in final and data[:size] != final[number][:size]:
            lost.append(f"segment {number}: not what was written")
    return lost


def after(promise, text):
    """Return the promise that holds after a marker."""
    words = text.split()
    if words[0] == "settings":
        return Promise(int(words[1]), promise.flushed)
    return Promise(promise.sequence, {**promise.flushed, int(words[1]): int(words[2])})


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """Give the log of the workload under MicroPython."""
    path = tmp_path_factory.mktemp("cut") / "log"
    said = mp64("power_cut.py", BLOCKS, path, "write")
    assert "dropped" in said
    dropped = int(said.split()[1])
    assert dropped >= 2, "the workload is to fill the flash, so that old segments are given up"
    return path


def replay(log, torn, every=1):
    """Cut after each `every`th write, `torn` with half of the next; return (cuts, losses)."""
    image, promise, cuts, losses, writes = bytearray(), Promise(), 0, [], 0
    final = last_bytes(log)
    for kind, block, offset, data in entries(log):
        if kind == "image":
            image[:] = data
            continue
        if kind == MARKER:
            promise = after(promise, data.decode())
            for number in [n for n in promise.flushed if n not in final]:
                del promise.flushed[number]
            continue
        writes += 1
        at = block * BLOCK + offset
        before = image[at : at + (BLOCK if kind == ERASE else len(data))]
        new = b"\xff" * BLOCK if kind == ERASE else data
        half = len(new) // 2
        image[at : at + len(new)] = (new[:half] + before[half:]) if torn else new
        if writes % every == 0:
            cuts += 1
            try:
                losses += [f"write {writes}: {words}" for words in judge(look(image), promise, final)]
            except LittleFSError as error:
                losses.append(f"write {writes}: cannot be mounted: {error}")
        image[at : at + len(new)] = new
    return cuts, losses


def last_bytes(log):
    """Return the bytes of each segment when it was last seen whole."""
    image, found = bytearray(), {}
    count = 0
    for kind, block, offset, data in entries(log):
        if kind == "image":
            image[:] = data
        elif kind == MARKER:
            count += 1
            if count % 20 == 0:
                found.update(look(image).segments)
        else:
            new = b"\xff" * BLOCK if kind == ERASE else data
            at = block * BLOCK + offset
            image[at : at + len(new)] = new
    found.update(look(image).segments)
    return found


@pytest.mark.long
@pytest.mark.parametrize("torn", [False, True], ids=["between two writes", "in the middle of a write"])
def test_a_power_cut_loses_nothing_that_was_flushed(log, torn):
    cuts, losses = replay(log, torn)
    assert cuts > 3000
    assert losses == []


def test_a_lost_flush_would_be_found(log):
    # A marker set too early is a broken promise: the judge must say so.
    image = next(data for kind, _, _, data in entries(log) if kind == "image")
    found = judge(look(image), Promise(3, {1: 500}), {1: b"x" * 500})
    assert found == ["settings 0 instead of 3", "segment 1 is gone"]


@pytest.mark.long
def test_the_board_goes_on_from_every_cut(log):
    said = mp64("power_cut.py", BLOCKS, log, "restart", 11)
    restarts = int(said.split()[1])
    assert restarts > 300
