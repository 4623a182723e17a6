"""The bench: procedures that prove a controller on a real, a virtual or an emulated board.

    kits/         one board under test with its harness, of every kind; wires.py names the wires; the rig's PC side
    bench/        the commands of procedures, stimuli, verdicts on measured values
    procedures/   one short file each
    acceptance/   finds and runs procedures, keeps the record; seeded defects on which each procedure must fail
    rehearsal/    the simulated pit at a board's pins; a night there against the simulator's
    commission/   the hose test with a person; record/, the record as data and as a page
    rig/          the firmware of the board that simulates the pit for a real controller, nothing else
    cli/          the commands; plugin.py, the same procedures as tests

Nothing imports this package.
"""
