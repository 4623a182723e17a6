"""The bench: procedures that prove a controller on a real, a virtual or an emulated board.

    wires.py      the names of the wires between bench and controller
    kit.py        a board under test with its harness; one class for each kind of board
    bench.py      the vocabulary in which procedures are written
    hands.py      the part of it that does something to a board; draw.py, what a pump draws
    procedures/   one short file each
    runner.py     carries procedures out and keeps the record

Nothing imports this package.
"""
