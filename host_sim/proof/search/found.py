"""What a search has found: states, each once, and how each came."""

from array import array

from host_sim.compiled import select


class States:
    """States (bytes) in the order in which they were added, each once, and with each a number: how it came."""

    def __init__(self):
        self._order, self._known = [], set()
        self._came = array("q")

    def add(self, state, came):
        """Add a state, unless it is there; tell whether it was added."""
        if state in self._known:
            return False
        self._known.add(state)
        self._order.append(state)
        self._came.append(came)
        return True

    def came(self, place):
        """Return how the state at `place` came."""
        return self._came[place]

    def at(self, place):
        """Return the state at `place`."""
        return self._order[place]

    def __len__(self):
        return len(self._order)

    def __getitem__(self, place):
        return self._order[place]


def empty():
    """Return an empty `States`: of a compiled core, which holds them without an object for each, or this one."""
    return (select.states() or States)()
