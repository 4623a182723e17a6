"""A kit: one board under test with its harness.  Procedures use a kit without knowing the kind of board.

A kind of board is a class below `Kit` that implements the methods marked
"each kind"; the rest is the same for all.  All times are milliseconds of the
kit's own time (lockstep, emulated or real) since it was opened.
"""

from dataclasses import dataclass

from hil.kits import wires
from host_sim.errors import InputError

ABILITIES = ("power", "hang", "stride", "settings", "forces")


class Missing(InputError):  # noqa: N818 - it is said of a wire
    """The kit has no such wire or ability; a procedure that needs it is skipped with this reason."""


class Vanished(InputError):  # noqa: N818 - it is said of a port
    """The port or the process went away in mid-run; the record so far is kept, marked incomplete."""


@dataclass(frozen=True)
class Edge:
    """One change of a wire, as seen at the pin (outputs) or as driven (inputs)."""

    ms: int
    wire: str
    value: int


class Kit:
    """See the module.  Use as a context: leaving it always drops the outputs."""

    place = "none"
    hardware = False  # whether a real controller is under test
    wires = frozenset()
    abilities = frozenset()  # of ABILITIES
    exact = False  # whether its time is the bench's own, so that nothing happens between two grants
    forgets = False  # whether `reset` brings the settings back that the kit was opened with
    may_change_settings = False
    timing_ms = 0  # how exactly edges are timed
    seed = 0
    stands_for = ""  # whose wires alone it offers, see `as_on`

    def __init__(self):
        self.edges = []
        self.listeners = []  # called with each Edge of an output wire, at once
        self.driven = wires.rest_values()
        self.rest = dict(self.driven)
        self.seen = dict.fromkeys(wires.OUTPUTS, 0)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    # Each kind.

    def now_ms(self):
        """Return the kit's time in ms."""
        raise NotImplementedError

    def run_ms(self, ms):
        """Let `ms` pass."""
        raise NotImplementedError

    def _put(self, name, value):
        """Put a checked value on an input wire, now."""
        raise NotImplementedError

    def client(self):
        """Return the one `host_sim.board.client.Client` on the link, whose waiting lets the kit's time pass."""
        raise NotImplementedError

    def power(self, on):
        """Cut or give the controller's power.  Raises Missing where the kit cannot."""
        raise Missing(f"the power of a {self.place} board cannot be switched by the bench", "power")

    def hang(self):
        """Hang the firmware in mid-run.  Raises Missing where the kit cannot."""
        raise Missing(f"the firmware of a {self.place} board cannot be hung by the bench", "hang")

    def stride_ms(self, ms):
        """Let up to 23 h pass in one jump; the board runs only at its end.  Raises Missing where the kit cannot."""
        raise Missing(f"time cannot be skipped on this board ({self.place})", "stride")

    def reset(self):
        """Make a fresh start: rest values on all wires, a power cycle or restart, wait until the board answers."""
        raise NotImplementedError

    def cold_start(self):
        """Cut the power, forget all but firmware and settings, give the power; what the wires carry stays.

        Does not wait for an answer.  Raises Missing where the kit cannot.
        """
        raise Missing(f"the memory of a {self.place} board cannot be erased by the bench", "cold_start")

    def describe(self):
        """Return {"board", "firmware" (checksum in hex), "wiring", "micropython", "seed"}."""
        raise NotImplementedError

    def log(self):
        """Return the serial log and the pin trace as text."""
        return self.trace()

    def close(self):
        """Drop the outputs and let the board go; may be called twice."""
        raise NotImplementedError

    # The same for all.

    def as_on(self, names, title):
        """Offer no more than the wires `names`, those of a board called `title`; the others stay at rest."""
        self.wires = self.wires & frozenset(names)
        self.stands_for = title

    def run_until(self, predicate, limit_ms):
        """Let time pass in the finest grain until `predicate()` holds; return whether it came true within the limit."""
        until = self.now_ms() + limit_ms
        while not predicate():
            if self.now_ms() >= until:
                return False
            self.run_ms(self._step_ms(until - self.now_ms()))
        return True

    def run_until_edge(self, predicate, limit_ms):
        """Do what `run_until` does for a predicate that can come true at a change of an output only."""
        return self.run_until(predicate, limit_ms)

    def run_to_move(self, limit_ms):
        """Let time pass until an output changes, at most `limit_ms`."""
        before = dict(self.seen)
        self.run_until(lambda: self.seen != before, limit_ms)

    def _step_ms(self, left_ms):
        """Return the step in which `run_until` looks; at most `left_ms`."""
        return max(1, min(10, left_ms))

    def drive(self, name, value):
        """Put a value on an input wire.  Raises Missing where there is no such wire, InputError for a wrong value."""
        value = wires.checked(name, value)
        if name not in self.wires:
            raise Missing(f'there is no wire "{name}" on this board ({self.place})', name)
        if self.driven[name] == value:
            return
        self._put(name, value)
        self.driven[name] = value
        self.edges.append(Edge(self.now_ms(), name, value))

    def read(self, name):
        """Return the value at the pin, now.  Raises Missing where the kit has no such wire."""
        if wires.wire(name).direction == wires.INTO:
            return self.driven[name]
        if name not in self.wires:
            raise Missing(f'there is no wire "{name}" on this board ({self.place})', name)
        return self.seen[name]

    def saw(self, name, value, ms=None):
        """Note what an output pin reads; a change becomes an Edge and is told to the listeners."""
        if self.seen[name] == value:
            return
        self.seen[name] = value
        edge = Edge(self.now_ms() if ms is None else ms, name, value)
        self.edges.append(edge)
        for listener in list(self.listeners):
            listener(edge)

    def to_rest(self):
        """Put the rest value on every input wire that this kit has."""
        for name, value in self.rest.items():
            if name in self.wires:
                self.drive(name, value)

    def prove(self, say=print, coils_only=False):
        """Prove that every wire goes where it should; return rows {"wire", "verdict", "words"}.

        A harness in a computer has nothing to prove: no rows.  Raises InputError that names the wires.
        """
        return []

    def drop(self):
        """Drop the outputs: rest values on the wires, which ask for no pump, and no power where it can be cut."""
        self.to_rest()
        if "power" in self.abilities:
            self.power(False)

    def need(self, what):
        """Raise Missing unless this kit has `what`, a wire, an ability, or "current" (both current wires)."""
        if what == "current":
            self.need("current_1")
            self.need("current_2")
        elif what in ABILITIES:
            if what not in self.abilities:
                raise Missing(f'a {self.place} board cannot do "{what}"', what)
        elif wires.wire(what).name not in self.wires:
            raise Missing(f'there is no wire "{what}" on this board ({self.place})', what)

    def trace(self, last=400):
        """Return the last edges as lines of text."""
        lines = [f"{edge.ms / 1000:10.3f} s  {edge.wire:<11} {edge.value}" for edge in self.edges[-last:]]
        if len(self.edges) > last:
            lines.insert(0, f"... {len(self.edges) - last} earlier edges")
        return "\n".join(lines) or "no edges"
