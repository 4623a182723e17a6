"""State diagrams of the firmware's own transition tables: as Mermaid text, and as a table of states and events.

A firmware module that holds a state machine has STATES, EVENTS and a flat
table, `table[state * len(EVENTS) + event]` being the next state or 255 where
the event cannot occur.  The first state is the one at power-up.
"""

import importlib.util
from dataclasses import dataclass

from host_sim.errors import InputError

NEVER_OCCURS = 255
# Name on the command line: module of the firmware, its table, title.
MACHINES = {
    "pump": ("duplexsump.control.pump", "TABLE", "One pump"),
    "alarm": ("duplexsump.control.alarms", "NEXT", "One alarm (states of IEC 62682)"),
    "blind": ("duplexsump.control.blind", "TABLE", "Blind pumping"),
}


@dataclass(frozen=True)
class StateTable:
    """A transition table as data: `edges` maps (from, to) to the events that lead there, in table order."""

    name: str
    title: str
    states: tuple[str, ...]
    events: tuple[str, ...]
    edges: dict[tuple[str, str], tuple[str, ...]]


def names():
    """Return the names of the machines that this firmware has."""
    return [name for name, (module, *_) in MACHINES.items() if importlib.util.find_spec(module)]


def load(name):
    """Return the StateTable of the machine `name`.  Raises InputError where the firmware has none of that name."""
    if name not in names():
        raise InputError(f'"{name}": the firmware has no such state machine; it has {", ".join(names())}', "chart")
    module, table, title = MACHINES[name]
    firmware = importlib.import_module(module)
    return from_table(name, title, firmware.STATES, firmware.EVENTS, getattr(firmware, table))


def from_table(name, title, states, events, table):
    """Return the StateTable of a flat `table` of next states.

    Raises ValueError where the table has the wrong length or names a state that does not exist.
    """
    if len(table) != len(states) * len(events):
        raise ValueError(f"{name}: table of {len(table)} places for {len(states)} states and {len(events)} events")
    edges = {}
    for place, target in enumerate(table):
        if target == NEVER_OCCURS:
            continue
        if not 0 <= target < len(states):
            raise ValueError(f"{name}: place {place} of the table leads to state {target} of {len(states)}")
        source, event = divmod(place, len(events))
        edges.setdefault((states[source], states[target]), []).append(events[event])
    merged = {pair: tuple(group) for pair, group in edges.items()}
    return StateTable(name, title, tuple(states), tuple(events), merged)


def mermaid(table):
    """Return the state diagram of a StateTable as Mermaid text (`stateDiagram-v2`), a line for each arrow."""
    lines = ["---", f"title: {table.title}", "---", "stateDiagram-v2", "  direction LR", f"  [*] --> {table.states[0]}"]
    lines += [f"  {source} --> {target}: {' | '.join(events)}" for (source, target), events in table.edges.items()]
    return "\n".join(lines) + "\n"


def rows(table):
    """Return the same as (state, event, next state) in the order of the table; what cannot occur has no row."""
    leads = {(source, event): target for (source, target), events in table.edges.items() for event in events}
    pairs = [(state, event) for state in table.states for event in table.events]
    return [(*pair, leads[pair]) for pair in pairs if pair in leads]
