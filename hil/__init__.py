"""The bench: procedures that prove a controller on a real, a virtual or an emulated board.

    wires.py      the names of the wires between bench and controller
    kit.py        a board under test with its harness; virtual.py, real_time.py, real.py, forces_kit.py, emulated/
    bench.py      the vocabulary in which procedures are written; verdict.py, what a measured value is worth
    hands.py      the part of it that does something to a board; draw.py, what a pump draws
    procedures/   one short file each; defects.py, the broken firmware on which each must fail
    runner.py     carries procedures out and keeps the record; latency.py, from contact to relay at the pins
    plant.py      the simulator's pit at a board's pins; rehearsal.py, a night of it beside the simulator's
    rig/          the board that plays the pit for a real controller; selftest.py proves its wires
    commission/   the hose test with a person; record/, the paper and the data that stay behind
    cli.py        the whole command line; accept.py, plugin.py: the ways in; choose.py, which board is meant

Nothing imports this package.
"""
