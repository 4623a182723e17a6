"""The rig on its serial port: wires driven and read, and the edges that the rig has timed at the pins."""

from dataclasses import dataclass

from duplexsump.control.ticks import MASK
from duplexsump.station import registers as controller

from hil.kits.base import Vanished
from hil.kits.link import Link
from hil.rig.lib.sumprig import registers as r
from hil.rig.lib.sumprig import wires as w
from host_sim.board.client import READ_COILS, READ_HOLDING
from host_sim.errors import InputError

_A_REQUEST = 8  # edges of the log that one request brings: a long reply keeps the rig from looking at its relays


@dataclass(frozen=True)
class State:
    """What the rig tells of itself; `now_ms` is in the rig's 30-bit ring, `relays` and `coils` are bits."""

    firmware: int
    now_ms: int
    edges: int
    relays: int
    coils: int
    releases: int
    longest_look_ms: int
    passes: int
    bad_frames: int


@dataclass(frozen=True)
class PinEdge:
    """One edge as the rig logged it: `ms` since the client first looked, `wire` one of the rig's wires."""

    ms: int
    wire: str
    value: int


class RigClient(Link):
    """One rig.  Every call raises InputError; after `begin()` a rig that goes away raises Vanished."""

    def __init__(self, port, patience_s=1.0):
        super().__init__(port, "the rig", patience_s=patience_s)
        self.now_ms = 0  # of the last state, unrolled, since begin()
        self._ring_ms = 0
        self._read = 0  # edges read so far, in the ring of 28 bits
        self._released = 0
        self.relays = 0

    def identify(self):
        """Raise InputError unless a rig with this register map answers."""
        signature, version = self.words(0, 2)
        if signature == controller.SIGNATURE:
            raise InputError("a controller answers here, not the rig: are the two ports swapped?", self.port)
        if signature != r.SIGNATURE:
            raise InputError(f"a Modbus device answers, but it is not the rig ({signature:#06x})", self.port)
        if version != r.MAP_VERSION:
            raise InputError(
                f"register map {version} on the rig, here {r.MAP_VERSION}: sumpbench rig deploy --port {self.port}",
                self.port,
            )

    def state(self):
        """Return the rig's State."""
        words = self.words(0, r.N_WORDS)
        values, at = {}, 0
        for name, width, _ in r.WORDS:
            values[name] = words[at] if width == 1 else words[at] << 16 | words[at + 1]
            at += width
        return State(
            values["firmware"], values["now"], values["edges"], values["relays"], values["coils"], values["releases"],
            values["longest_look"], values["passes"], values["bad_frames"],
        )  # fmt: skip

    def begin(self, silence_ms=r.SILENCE_MS):
        """Start the bench's time at this instant and tell after how many ms of silence the rig lets go."""
        self.write_words(r.SILENCE_AT, [silence_ms])
        state = self.state()
        self._ring_ms, self._read, self._released = state.now_ms, state.edges, state.releases
        self.now_ms = 0
        self.relays = state.relays
        self.begin_run()

    def poll(self):
        """Return the edges since the last poll as a list of PinEdge; sets `now_ms` and `relays`.

        Raises Vanished when the rig has let go meanwhile, has restarted, or has logged more than it keeps.
        """
        state = self.state()
        step = (state.now_ms - self._ring_ms) & MASK
        if step > MASK // 2 or (state.edges - self._read) & r.COUNT_MASK > r.COUNT_MASK // 2:
            raise Vanished("the rig has restarted: its supply or its USB cable was interrupted", self.port)
        if state.releases != self._released:
            self._released = state.releases
            raise Vanished("the rig released its wires: the bench was silent for too long", self.port)
        edges = self._edges(state)
        self.now_ms += step
        self._ring_ms = state.now_ms
        self.relays = state.relays
        return edges

    def _edges(self, state):
        # Times are told backwards from the state's, which is the latest known.
        count = (state.edges - self._read) & r.COUNT_MASK
        if count > r.LOG_ROOM - _A_REQUEST:
            raise Vanished(f"{count} edges since the last poll: the rig keeps {r.LOG_ROOM}", self.port)
        base_ms = self.now_ms + ((state.now_ms - self._ring_ms) & MASK)
        found = []
        while count:
            slot = self._read % r.LOG_ROOM
            part = min(count, _A_REQUEST, r.LOG_ROOM - slot)
            words = self.words(r.LOG_AT + r.LOG_WORDS * slot, r.LOG_WORDS * part)
            for i in range(part):
                high, low, wire, value = words[4 * i : 4 * i + 4]
                ago = (state.now_ms - (high << 16 | low)) & MASK
                ago = ago if ago < MASK // 2 else ago - MASK - 1
                found.append(PinEdge(base_ms - ago, w.NAMES[wire], value))
            self._read = (self._read + part) & r.COUNT_MASK
            count -= part
        return found

    # Wires.

    def turn_selector(self, pump, position):
        """Turn the selector of pump 1 or 2: 0 auto, 1 off, 2 hand, both contacts in one request."""
        self.write_bits(w.COILS.index(f"selector_{pump}_off"), [position == 1, position == 2])

    def close_contact(self, name, closed):
        """Close a contact to ground, or open it.  `name` is one of `wires.COILS`."""
        self.write_bits(w.COILS.index(name), [closed])

    def close_contacts(self, values):
        """Set several contacts in one request; `values` is {name: 0 or 1}, all others stay."""
        coils = self.bits(0, w.N_COILS, READ_COILS)
        for name, value in values.items():
            coils[w.COILS.index(name)] = 1 if value else 0
        self.write_bits(0, coils)

    def give(self, name, millivolts):
        """Set an analog output in mV at the controller's pin; at most full scale."""
        self.write_words(w.ANALOG.index(name), [max(0, min(w.FULL_MV, millivolts))])

    def given(self):
        """Return the analog outputs in mV."""
        return dict(zip(w.ANALOG, self.words(0, w.N_ANALOG, READ_HOLDING), strict=True))

    def release(self):
        """Let go of every wire, in two requests."""
        self.write_bits(0, [0] * w.N_COILS)
        self.write_words(0, [0] * w.N_ANALOG)
