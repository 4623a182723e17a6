"""Picks the board, hands it to the station, runs; in maintenance it leaves the board to the REPL (M6)."""

from duplexsump.boards import pick

board = pick()
if not board.maintenance:
    from duplexsump.station.run import run

    run(board)
