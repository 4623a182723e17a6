"""The boards: one file and one wiring table each; no pin number stands anywhere else.

Whatever differs between boards is behind the methods of one object:

    now_ms()         milliseconds in a 30-bit ring
    read(raw)        fill a raw record (`control.records`)
    fit(range_1_ma, range_2_ma, transmitter)  what the settings say of the analog inputs
    inputs()         rows of (place, pin, full scale; 0 for a contact), None: every reading is handed over
    write(outputs)   set the outputs
    safe()           all outputs to their safe value, at any time
    feed_watchdog()  the first call starts it
    rest(ms)         let at least some time pass, at most `ms`
    open_link(baud, parity)  rows of (stream, "ascii" or "rtu", silence in ms); parity 0 even, 1 odd, 2 none
    files()          folder for settings and journal
    firmware()       folder that holds the firmware
    reset(mark)      reset the board; does not return; the mark is for the next life (`marks.py`)
    kept(), keep(w)  the word that outlives a reset but no power cut
    reset_after(ms)  reset the board then, whatever it is doing
    REACH            how much of an analog input's full scale is read, in percent
    PASS_MS          the longest rest between two looks at the link
    RESET_CAUSE      0 power-up, 1 watchdog, 2 asked for

A stream has ready() -> the next byte or -1, takes() -> whether it can be
written without waiting, put(buffer, at, count): for RTU a whole frame at once.
"""

import sys

from ..control.records import const

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Board as AnyBoard
    from . import esp32, pico, posix

    _all: "tuple[AnyBoard, ...]" = (pico.Board(), esp32.Board(), posix.Board())

_picked: "list[AnyBoard]" = []


def pick() -> "AnyBoard":
    """Return the one board object of this machine; making it puts the outputs at their safe values."""
    if not _picked:
        if sys.platform == "rp2":
            from .pico import Board
        elif sys.platform == "esp32":
            from .esp32 import Board
        else:
            from .posix import Board
        _picked.append(Board())
    return _picked[0]
