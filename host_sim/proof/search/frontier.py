"""The states that a search has found, and every move from one of them: what a compiled explorer spends its time in."""

from array import array

MOVES = 1 << 20  # more than any part has


class Graph:
    """States in the order in which they were found, each with its parent and the move that led there."""

    states: list
    known: set

    def __init__(self):
        self.states = []
        self.known = set()
        self.came = array("q")  # from which place, by which move, in one number; below 0: a state it begins in

    def add(self, state, parent: int, move: int):
        """Add a state that is not there yet; `move` is its number, below MOVES."""
        self.known.add(state)
        self.states.append(state)
        self.came.append(parent * MOVES + move)

    def path(self, place):
        """Return (start place, moves) that lead to the state at `place`."""
        moves = []
        while self.came[place] >= 0:
            place, move = divmod(self.came[place], MOVES)
            moves.append(move)
        return place, moves[::-1]


def expand(part, graph: Graph, place: int):
    """Try every move from the state at `place`.

    Returns (moves tried, None), or (moves tried, (number of the move, breach)) at the first breach.
    """
    known: set = graph.known
    state = graph.states[place]
    step = part.step
    moves: list = part.moves
    tried: int = 0
    for number in part.moves_at(state) if hasattr(part, "moves_at") else range(len(moves)):
        tried += 1
        after, breach = step(state, moves[number])
        if breach is not None:
            return tried, (number, breach)
        if after not in known:
            graph.add(after, place, number)
    return tried, None
