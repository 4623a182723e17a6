"""The bench: procedures that prove a controller on a real, a virtual or an emulated board.

    kits/         one board under test with its harness, of every kind; wires.py names the wires; the rig's PC side
    bench/        the words procedures are written in, what is done to a board, what a measured value is worth
    procedures/   one short file each
    acceptance/   finds procedures, carries them out, keeps the record; the broken firmware on which each must fail
    rehearsal/    the simulator's pit at a board's pins; a night of it beside the simulator's
    commission/   the hose test with a person; record/, the paper and the data that stay behind
    rig/          the firmware of the board that plays the pit for a real controller, nothing else
    cli/          the commands; plugin.py, the same procedures as tests

Nothing imports this package.
"""
