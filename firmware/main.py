"""Starts the station; whatever comes of that, two pumps follow their floats.

The last resort is imported first, by itself, and the watchdog runs before
anything else is tried (M3, M5).  In maintenance the board is left to the REPL
(M6).
"""

import binascii
import gc
import sys

# Collect often from the first module on: what is left lying between them cuts a Pico's heap into pieces, and the
# 2.8 kB of a snapshot then find no room although 70 kB are free.
gc.threshold(20000)

MAINTENANCE_MS = 600000  # M6: it ends by itself
held = None  # by `forget`
begun = False  # whether the station has
EARLY = 4  # M5: so many lives running that ended within a minute lead to floats only
counted = "minimal" in sys.modules  # boot.py has counted this one


def alone(name: str, sealed: bool = False):
    """Import a module of the station without its packages; a sealed one only while its seal holds (ValueError)."""
    if sealed:
        with open("/lib/duplexsump/station/%s.py" % name, "rb") as file:
            text = file.read(32768)
        end = text.rfind(b"# sum ")
        if end < 0 or int(text[end + 6 :], 16) != binascii.crc32(text[:end]):
            raise ValueError("%s.py is damaged" % name)
        del text
    sys.path.insert(0, "/lib/duplexsump/station")
    try:
        return __import__(name)
    finally:
        sys.path.pop(0)


_TYPES = 0  # true to the type check alone
if _TYPES:
    last = board = alone("minimal")


def start(word: int) -> str:
    """Run the station until a reset; return why that cannot be."""
    if word >> 8 & 15 > EARLY:
        return "%d lives ended within a minute of their start" % EARLY
    try:
        checksum = alone("checksum")
        manifest = checksum.Manifest("/lib/duplexsump")
        damaged = manifest.damaged()
        needed = checksum.needed(damaged)
    except Exception:  # what checks is damaged itself: nothing is known
        manifest, damaged, needed = None, ["/station/checksum"], []
    else:
        sys.modules["duplexsump.station.checksum"] = checksum  # the heap needs no second one
    if needed:
        return "damaged: %s" % ", ".join(needed)
    from duplexsump.boards import pick
    from duplexsump.station.run import run

    forget(pick())
    return run(board, manifest, damaged)


def forget(ours) -> None:
    """Let go of the last resort's heap: from here on the station ends in a reset, or says that it must not run."""
    global last, board, held, begun
    begun = True
    held = getattr(board, "pins", None)  # a virtual bench's stream: what is collected is closed
    last, board = None, ours
    sys.modules.pop("minimal", None)


def resort(why: str) -> None:
    """Keep the pit by its floats for good; where that cannot be, reset."""
    global last
    board.safe()
    try:
        if last is None:
            last = alone("minimal", True)
        last.run(last.pins(), why)
    finally:
        board.reset(3)


def begin() -> None:
    """Begin a life: outputs safe, then maintenance or the watchdog and the station."""
    global last, board
    try:
        last = alone("minimal", True)
        board = last.pins()
    except Exception:  # the last resort itself is damaged: there is still the station
        last = None
        from duplexsump.boards import pick

        board = pick()
    board.safe()
    word = board.kept()
    if word & 3 == 2:
        board.keep(word & 0x3FFF0000 | 1)  # whatever ends maintenance was asked for
        board.reset_after(MAINTENANCE_MS)
        return
    board.feed_watchdog()
    if not counted:
        word = min(word + 256, word | 0xF00)
        board.keep(word)
    try:
        why = start(word)
    except BaseException as error:
        why = "%s: %s" % (type(error).__name__, error)
        if begun:  # a fresh heap is worth more than what it left of this one
            board.reset(3)
    resort(why)


begin()
# sum 593d5cf8
