"""From reset to reset: how far to start up, the loop, and every way out of it with the outputs safe."""

from ..control.records import N_INPUTS
from ..control.ticks import TICK_MS, add, const, diff
from . import health as h
from . import link as k
from .loop import Station
from .minimal import FloatsOnly
from .store import Store

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Board

_LINGER_MS = const(500)  # the reply to the request for a reset leaves before the reset


def flag_path(board: "Board") -> str:
    """Return the path of the one-shot flag that asks the next start for maintenance (M6)."""
    return board.files() + "/maintenance"


def run(board: "Board") -> None:
    """Run the station on a board until a reset.  Outputs are safe on every way out (M3)."""
    health = h.Health(board.files(), board.RESET_CAUSE)
    try:
        mode = health.begin()
        if mode == h.MINIMAL:
            _floats_only(board)
        _full(board, health, mode)
    except BaseException as error:  # whatever it is: outputs first, then the reason, then the watchdog
        board.safe()
        health.record("%s: %s" % (type(error).__name__, error))
    finally:
        board.safe()
    board.feed_watchdog()  # what went wrong may have come before the first feed, which starts it
    while True:
        board.rest(TICK_MS)  # nobody feeds the watchdog any more


def _full(board: "Board", health: h.Health, mode: int) -> None:
    station = Station(board, mode)
    station.begin(board.RESET_CAUSE, health.reason)
    if mode == h.FULL:
        station.connect()
    while True:
        left_ms = station.once()
        health.minutes(station.controller.uptime_min)
        if station.wish == k.WISH_RENEW:
            station.wish = 0
            station.renew()
        elif station.wish:
            _leave(board, station)
        board.rest(left_ms)


def _leave(board: "Board", station: Station) -> None:
    # A reset that was asked for: pumps off, records safe, the flag set, then the last reply.
    board.safe()
    now = board.now_ms()
    station.recorder.close(now)
    if station.wish == k.WISH_MAINTENANCE:
        with open(flag_path(board), "w") as file:
            file.write("maintenance\n")
    until = add(now, _LINGER_MS)
    while diff(until, board.now_ms()) > 0:
        for link in station.links:
            link.serve(board.now_ms())
        board.rest(5)
    board.reset()


def _floats_only(board: "Board") -> None:
    store = Store(board.files())
    raw = [0] * N_INPUTS
    now = board.now_ms()
    floats = FloatsOnly(store.load(), now)
    due = now
    while True:
        if diff(board.now_ms(), due) >= 0:
            now = add(due, diff(board.now_ms(), due) // TICK_MS * TICK_MS)
            board.read(raw)
            board.write(floats.step(now, raw))
            due = add(now, TICK_MS)
        board.feed_watchdog()
        board.rest(5)
