"""The hose test: a person at the pit, the controller polled over its link, and a record.

    expected_values.py   from the sizing: rates, amps, volumes between the contacts
    watch.py          the board polled: states, and when they changed
    measure.py        rates, refill and amps from the changes
    judging.py        their verdicts
    step.py           one step; step_context.py, how it instructs, asks, waits and records
    pump_power.py     the pumps dead and proved dead, or live and said so, before each step
    before.py, floats.py, pumping.py, supply.py, handover.py   the steps
    questions.py      every question
    dialogue.py       the steps in order; saved after each, resumed later
    carry_out.py      the whole, with the record at its end
    terminal.py       a person at a terminal
    simulated.py, pit_person.py   a simulated person at a simulated pit
"""
