"""The hose test: a person walks round the pit, the board is watched, and a record is left.

    expected_values.py   what the sizing promises: rates, amps, volumes between the contacts
    watch.py        the board as it is looked at: states, and when they changed
    measure.py      rates, refill and amps from what was seen
    step_context.py   how a step speaks: asks, waits, gives a verdict
    before.py, floats.py, pumping.py, supply.py, handover.py   the steps
    dialogue.py     the steps in order; kept after each, gone on with later
    terminal.py     a person at a terminal
    simulated.py    a person at a simulated pit
"""
