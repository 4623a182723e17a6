"""Breadth-first search through every state a part of the controller can reach.

A part is an object with

    name, title, invariants     what it is and what it claims
    moves                       list of hashable moves: the inputs of one coarse tick
    start()                     a list of states (bytes)
    step(state, move)           (next state, None), or (next state, (invariant, what went wrong))
    show(move)                  a move in words
    phases                      optional: how many moves make one tick (1 if left out)
    moves_at(state)             optional: the numbers of the moves to be tried from `state`, where the others
                                do the same as one of them (the part argues why, and a test tries all of them)

"Exhausted" is said only when the frontier is empty.  Breadth first makes the
first counter-example a shortest one.
"""

import sys
from dataclasses import dataclass, field

from host_sim.proof.search.frontier import MOVES, Graph, expand

_AT_ONCE = 1000  # states; a search can be broken off by hand between so many


@dataclass
class Broken:
    """A counter-example: the moves that lead from start state `start` to the breach."""

    invariant: str
    text: str
    start: int
    moves: list[int]


@dataclass
class Result:
    """What a search found; `depth` is the number of complete ticks."""

    part: str
    coarse: str
    states: int = 0
    transitions: int = 0
    depth: int = 0
    cpu_s: float = 0.0  # processor time, where the caller has measured it
    exhausted: bool = False
    broken: Broken | None = None
    longest: dict[str, int] = field(default_factory=dict)  # liveness: ticks, by claim


def explore(part, coarse="", most_states=None):
    """Search `part` to the end, or until `most_states` states are found, which is the same on every machine.

    The moves of the state in hand are all tried, so a few more than
    `most_states` may be found.  Returns (Result, Graph).
    """
    if len(part.moves) > MOVES:
        raise ValueError(f"{part.name} has {len(part.moves)} moves: {MOVES} at most")
    graph = Graph()
    result = Result(part.name, coarse)
    for state in part.start():
        graph.begin(state)
    states, most = graph.states, sys.maxsize if most_states is None else most_states
    done, edge = 0, len(states)
    while done < len(states):
        if done == edge:
            result.depth += 1
            edge = len(states)
        done, tried, found = expand(part, graph, done, min(edge, done + _AT_ONCE), most)
        result.transitions += tried
        if found is not None:
            number, (invariant, text) = found
            start, moves = graph.path(done)
            result.broken = Broken(invariant, text, start, [*moves, number])
            break
        if len(states) >= most:
            break
    result.depth //= getattr(part, "phases", 1)
    result.states = len(graph.states)
    result.exhausted = result.broken is None and done == len(graph.states)
    return result, graph


def longest_wait(part, graph, moves, waiting):
    """Return the most ticks for which `waiting(state)` can go on while only `moves` are made, or None for ever.

    This is liveness by search for loops: among the states found, those that
    still wait and the moves between them must form no loop; then the longest
    path through them is the bound.  Returns (ticks or None, states looked at).
    """
    longest, looked = {}, 0
    for first in graph.states:
        if first in longest or not waiting(first):
            continue
        stack = [(first, iter(moves))]
        longest[first] = None  # on the path now
        best = {first: 0}
        while stack:
            state, left = stack[-1]
            for move in left:
                after, _ = part.step(state, move)
                if not waiting(after):
                    best[state] = max(best[state], 1)
                elif after not in longest:
                    longest[after] = None
                    best[after] = 0
                    stack.append((after, iter(moves)))
                    break
                elif longest[after] is None:
                    return None, looked  # a loop: it can wait for ever
                else:
                    best[state] = max(best[state], 1 + longest[after])
            else:
                stack.pop()
                looked += 1
                longest[state] = best.pop(state)
                if stack:
                    below = stack[-1][0]
                    best[below] = max(best[below], 1 + longest[state])
    return max(longest.values(), default=0), looked


def replay(part, start, moves):
    """Yield (tick, move in words, state, breach) along a counter-example."""
    state, phases = part.start()[start], getattr(part, "phases", 1)
    yield 0, "start", state, None
    for tick, number in enumerate(moves, start=1):
        move = part.moves[number]
        state, breach = part.step(state, move)
        yield -(-tick // phases), part.show(move), state, breach


def trace_text(part, broken):
    """Return a counter-example as lines a person can follow, with the state after each tick."""
    lines = [f"{broken.invariant}: {broken.text}"]
    for tick, words, state, breach in replay(part, broken.start, broken.moves):
        shown = " ".join(f"{name}={value}" for name, value in part.describe(state))
        lines.append(f"  tick {tick:3d}  {words}\n            {shown}")
        if breach:
            lines.append(f"  tick {tick:3d}  {breach[0]}: {breach[1]}")
    return "\n".join(lines)
