"""From reset to reset: how far to start up, the loop, and every way out of it with the outputs safe."""

from .. import marks
from ..control.ticks import add, const, diff
from . import health as h
from . import link as k
from .loop import Station

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Board
    from .checksum import Manifest

_LINGER_MS = const(500)  # the reply to the request for a reset leaves before the reset


def run(board: "Board", manifest: "Manifest | None" = None, damaged: "list[str] | tuple" = ()) -> str:
    """Run the station on a board until a reset; return why only where floats only are wanted (M5).

    `manifest`: what was installed; `damaged`: names of files that are no longer
    so.  Outputs are safe on every way out.  After an exception the reset follows
    at once (M3): with the water high there is no time to wait for the watchdog.
    """
    health = h.Health(board.files(), board.RESET_CAUSE)
    try:
        mode = health.begin()
        if mode == h.MINIMAL:
            return "%d watchdog resets within %d min" % (len(health.ages), h.WINDOW_MIN)
        _full(board, health, mode, manifest, damaged)
    except BaseException as error:  # whatever it is: outputs first, then the reason, then the reset
        board.safe()
        health.record("%s: %s" % (type(error).__name__, error))
    finally:
        board.safe()
    board.reset(marks.FAULT)
    return "no reset follows"


def _full(
    board: "Board", health: h.Health, mode: int, manifest: "Manifest | None", damaged: "list[str] | tuple"
) -> None:
    station = Station(board, mode, manifest)
    for name in damaged:
        station.damage(name)
    station.begin(board.RESET_CAUSE, health.reason)
    if mode == h.FULL:
        station.connect()
    while True:
        left_ms = station.once()
        if health.minutes(station.controller.uptime_min):
            board.keep(marks.MAGIC)
        if station.wish == k.WISH_RENEW:
            station.wish = 0
            station.renew()
        elif station.wish:
            _leave(board, station)
        board.rest(left_ms)


def _leave(board: "Board", station: Station) -> None:
    # A reset that was asked for: pumps off, records safe, then the last reply, the mark with the reset.
    board.safe()
    now = board.now_ms()
    station.recorder.close(now)
    until = add(now, _LINGER_MS)
    while diff(until, board.now_ms()) > 0:
        for link in station.links:
            link.serve(board.now_ms())
        board.rest(5)
    board.reset(marks.MAINTENANCE if station.wish == k.WISH_MAINTENANCE else marks.ASKED)
