"""The word that outlives a reset but no power cut: how the firmware tells the resets that it made itself (M5, M6).

A chip may call every reset by software a watchdog reset (the RP2040 does).  So
whoever resets leaves a mark first, and the next life reads it.  Bits: magic
(16 to 29), lives running that ended within a minute (8 to 11), mark (0, 1).
The last resort has the same words of its own (`station/minimal.py`).
"""

from .control.records import const

MAGIC = const(0x2D3C0000)
ASKED = const(1)
MAINTENANCE = const(2)
FAULT = const(3)  # after an exception; counts as the watchdog's

POWER_ON = const(0)
WATCHDOG = const(1)
REQUESTED = const(2)


def sound(word: int) -> int:
    """Return the word, or a fresh one when there was a power cut."""
    return word if word & 0x3FFF0000 == MAGIC else MAGIC


def marked(word: int, mark: int) -> int:
    """Return the word with another mark; a reset that was asked for ends the count of lives that ended early."""
    return word & ~3 | FAULT if mark == FAULT else MAGIC | mark


def cause(word: int, watchdog: bool) -> int:
    """Return what a reset was for (`RESET_CAUSE`): the mark, where there is none what the chip says."""
    if word & 3 == FAULT:
        return WATCHDOG
    if word & 3:
        return REQUESTED
    return WATCHDOG if watchdog else POWER_ON
