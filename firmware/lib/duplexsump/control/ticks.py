"""Wrap-safe time: milliseconds in a 30-bit ring.

A time is an integer in 0 .. 2**30 - 1 and wraps every 12.4 days.  The forms
below stay within +-2**30, so they never become a big integer on a 32-bit
MicroPython and allocate nothing.  A deadline field holds a time, or NEVER
while it is not armed.
"""

try:
    from micropython import const
except ImportError:  # CPython

    def const(value: int) -> int:
        return value


MASK = const(0x3FFFFFFF)
HALF = const(0x20000000)
NEVER = const(-1)  # a deadline that is not armed
TICK_MS = const(100)  # the grid on which the controller is stepped
DAY_MS = const(86400000)  # no deadline lies further ahead than this


def add(time_ms: int, delay_ms: int) -> int:
    """Return the time `delay_ms` (0 .. 24 h, or a small negative number) after `time_ms`."""
    return (time_ms - 0x3FFFFFFF - 1 + delay_ms) & 0x3FFFFFFF


def diff(a_ms: int, b_ms: int) -> int:
    """Return a - b in milliseconds, signed, for times less than 6.2 days apart."""
    x = (a_ms - b_ms) & 0x3FFFFFFF
    if x >= 0x20000000:
        x -= 0x3FFFFFFF
        x -= 1
    return x

