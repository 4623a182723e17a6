"""Outputs safe first, then the one-shot flag for maintenance (M6).

A soft reset leaves pins as they were and may skip main.py; this file runs all
the same, and picking the board puts every output at its safe value.
"""

import gc
import os

# Collect often from the first module on: what is left lying between them cuts a Pico's heap into pieces, and the
# 2.8 kB of a snapshot then find no room although 70 kB are free.
gc.threshold(20000)

from duplexsump.boards import pick  # noqa: E402

_TYPES = False  # true to the type check alone
if _TYPES:
    from duplexsump.shapes import Board

MAINTENANCE_MS = 600000  # M6: it ends by itself


def take_flag(board: "Board") -> bool:
    """Tell whether maintenance was asked for; the flag holds for one start only."""
    try:
        os.remove(board.files() + "/maintenance")
        return True
    except OSError:
        return False


board = pick()
board.safe()
board.maintenance = take_flag(board)
if board.maintenance:
    board.reset_after(MAINTENANCE_MS)
