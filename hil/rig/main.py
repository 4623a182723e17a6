"""Picks the rig's board and runs it; in maintenance it leaves the board to MicroPython's prompt."""

from sumprig.boards import pick

board = pick()
if not board.maintenance:
    from sumprig.run import run

    run(board)
