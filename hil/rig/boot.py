"""The rig lets go of every wire first, then looks for the one-shot flag for maintenance (it asks for the prompt)."""

import os

from sumprig.boards import pick

MAINTENANCE_MS = 600000  # it ends by itself


def take_flag(board):
    """Tell whether maintenance was asked for; the flag holds for one start only."""
    try:
        os.remove(board.files() + "/maintenance")
        return True
    except OSError:
        return False


board = pick()
board.release()
board.maintenance = take_flag(board)
if board.maintenance:
    board.reset_after(MAINTENANCE_MS)
