"""The boards that the rig runs on; no pin number stands anywhere else.

    now_ms()             milliseconds in a 30-bit ring
    relays()             the controller's relay outputs, a bit each in the order of `wires.RELAYS`
    put(coils, analog)   drive the coils (bits) and the analog outputs (list of mV)
    release()            let go of every wire, at any time
    feed_watchdog()      the first call starts it
    rest(ms)             let at most `ms` pass
    open_link()          rows of (stream, unit), Modbus ASCII
    files()              folder for the flag that asks for maintenance
    firmware()           folder that holds the rig's firmware
    reset()              reset the board; does not return
    reset_after(ms)      reset the board then, whatever it is doing
"""

import sys

_picked = []


def pick():
    """Return the one board object of this machine; making it releases every wire."""
    if not _picked:
        if sys.platform == "rp2":
            from .pico import Board
        else:
            from .posix import Board
        _picked.append(Board())
    return _picked[0]
