"""The states that a search has found, and every move from them: what a compiled explorer spends its time in."""

from host_sim.proof.search.found import States, empty

MOVES = 1 << 20  # more than any part has


class Graph:
    """States in the order in which they were found, each with its parent and the move that led there."""

    states: States

    def __init__(self):
        self.states = empty()

    def begin(self, state):
        """Add a state that the search begins in."""
        self.states.add(state, -MOVES)

    def path(self, place):
        """Return (start place, moves) that lead to the state at `place`."""
        moves = []
        while self.states.came(place) >= 0:
            place, move = divmod(self.states.came(place), MOVES)
            moves.append(move)
        return place, moves[::-1]


def expand(part, graph: Graph, first: int, end: int, most: int):
    """Try every move from each of the states from place `first` on, before `end`, until `most` states are found.

    Returns (place after the last, moves tried, None), or (place, moves tried, (number of the move, breach)) at the
    first breach.
    """
    states: States = graph.states
    step = part.step
    moves: list = part.moves
    every = range(len(moves))
    differing = getattr(part, "moves_at", None)
    tried: int = 0
    number: int
    place: int = first
    while place < end:
        state = states.at(place)
        for number in every if differing is None else differing(state):
            tried += 1
            after, breach = step(state, moves[number])
            if breach is not None:
                return place, tried, (number, breach)
            states.add(after, place * MOVES + number)
        place += 1
        if len(states) >= most:
            break
    return place, tried, None
