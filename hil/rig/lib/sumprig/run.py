"""The rig's loop, and every way out of it with all wires released."""

import gc

from duplexsump.control.ticks import add, const, diff
from duplexsump.station.checksum import firmware_checksum
from duplexsump.station.framing import AsciiPort
from duplexsump.station.modbus import Handler

from . import registers as r
from .core import Rig
from .model import Model

_LINGER_MS = const(300)  # the reply to the request for a restart leaves before the restart


class Watched:
    """A stream that has the rig look at its relays at every byte, so that a long request hides no edge."""

    def __init__(self, stream, rig):
        self.stream = stream
        self.rig = rig

    def ready(self):
        """Return the next byte, -1 when there is none."""
        self.rig.look()
        return self.stream.ready()

    def takes(self):
        """Tell whether it can be written without waiting."""
        return self.stream.takes()

    def put(self, buffer, at, count):
        """Write `count` bytes of `buffer` from `at` on."""
        self.stream.put(buffer, at, count)


def build(board):
    """Return the model of the rig on `board`, its links open."""
    rig = Rig(board)
    model = Model(rig, firmware_checksum(board.firmware()))
    for stream, unit in board.open_link():
        model.links.append(AsciiPort(Watched(stream, rig), Handler(model), unit))
    gc.collect()
    rig.look()
    rig.longest_look_ms = 0  # the start itself hides no edge: nothing is driven yet
    return model


def once(model):
    """Make one pass."""
    rig = model.rig
    now = rig.look()
    for link in model.links:
        link.serve(now)
    rig.judge(now)
    model.passes = (model.passes + 1) & r.COUNT_MASK
    rig.board.feed_watchdog()


def run(board):
    """Run the rig until it is restarted."""
    try:
        model = build(board)
        while not model.rig.wish:
            once(model)
            board.rest(1)
        _leave(board, model)
    finally:
        board.release()


def _leave(board, model):
    model.rig.release()
    if model.rig.wish == r.MAINTENANCE_KEY:
        with open(board.files() + "/maintenance", "w") as file:
            file.write("maintenance\n")
    until = add(board.now_ms(), _LINGER_MS)
    while diff(until, board.now_ms()) > 0:
        once(model)
        board.rest(1)
    board.reset()
