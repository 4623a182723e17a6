"""State diagrams: what is shown is the firmware's own table, the whole of it and nothing else."""

import importlib

import pytest

from host_sim.report import machines

NAMES = machines.names()


def firmware(name):
    """Return (states, events, flat table of next states) of a machine, straight from the firmware."""
    module, table, _ = machines.MACHINES[name]
    found = importlib.import_module(module)
    return found.STATES, found.EVENTS, getattr(found, table)


def following(name):
    """Return {(state, event): next state} of a machine, straight from the firmware."""
    states, events, table = firmware(name)
    pairs = [(state, event) for state in states for event in events]
    return {pair: states[target] for pair, target in zip(pairs, table, strict=True) if target != machines.NEVER_OCCURS}


def test_there_is_more_than_one_machine():
    assert {"pump", "alarm", "blind"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_the_mermaid_text_read_back_is_the_firmwares_table(name):
    lines = [line.strip() for line in machines.mermaid(machines.load(name)).splitlines()]
    assert lines[:5] == ["---", f"title: {machines.MACHINES[name][2]}", "---", "stateDiagram-v2", "direction LR"]
    assert lines[5] == f"[*] --> {firmware(name)[0][0]}"
    found = {}
    for line in lines[6:]:
        arrow, events = line.split(": ")
        source, target = arrow.split(" --> ")
        found.update({(source, event): target for event in events.split(" | ")})
    assert found == following(name)


@pytest.mark.parametrize("name", NAMES)
def test_the_rows_of_states_and_events_are_the_firmwares_table(name):
    rows = machines.rows(machines.load(name))
    assert {(state, event): after for state, event, after in rows} == following(name)
    assert len(rows) == len(following(name))


def test_a_table_of_the_wrong_length_is_refused():
    with pytest.raises(ValueError, match="3 places for 2 states and 2 events"):
        machines.from_table("x", "X", ("a", "b"), ("go", "back"), (1, 255, 0))


def test_a_table_that_leads_nowhere_is_refused():
    with pytest.raises(ValueError, match="place 1 of the table leads to state 7 of 2"):
        machines.from_table("x", "X", ("a", "b"), ("go", "back"), (1, 7, 255, 0))
