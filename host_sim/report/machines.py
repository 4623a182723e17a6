"""State diagrams of the firmware's own transition tables: Mermaid text and pictures.

A firmware module that holds a state machine has STATES, EVENTS and a flat
table, `table[state * len(EVENTS) + event]` being the next state or 255 where
the event cannot occur.  The table is loaded into a `transitions` machine, and
text and picture are both drawn from that machine, so that neither can show
what the firmware does not do.
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


class _Model:
    """What `transitions` hangs its states on."""


def machine(table):
    """Return the `transitions` machine of a StateTable, with its Mermaid engine."""
    from transitions.extensions import GraphMachine

    triggers = [
        {"trigger": event, "source": source, "dest": target}
        for (source, target), events in table.edges.items()
        for event in events
    ]
    return GraphMachine(
        model=_Model(),
        states=list(table.states),
        transitions=triggers,
        initial=table.states[0],
        auto_transitions=False,
        graph_engine="mermaid",
        title=table.title,
    )


def mermaid(table):
    """Return the state diagram as Mermaid text."""
    return machine(table).model.get_graph().source.rstrip() + "\n"


def edges_of(built):
    """Return {(from, to): [events]} of a `transitions` machine, read back from its own mark-up."""
    edges = {}
    for item in built.markup["transitions"]:
        edges.setdefault((item["source"], item["dest"]), []).append(item["trigger"])
    return edges
