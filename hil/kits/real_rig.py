"""A real controller with the rig wired to it: driven through the rig, timed by the rig's clock at the pins.

Time is the rig's; the rig releases its wires when this program has been silent for
some seconds, so every wait polls it many times a second.
"""

import contextlib
import time
from collections import deque

from duplexsump.control import records, settings
from duplexsump.station import registers as r

from hil.kits import base, rig_selftest, wires
from hil.kits.link import Link, signature
from hil.kits.rig_client import RigClient
from hil.rig.lib.sumprig import registers as rig_registers
from hil.rig.lib.sumprig import wires as w
from host_sim.board import wiring_list
from host_sim.errors import InputError

LOOK_S = 0.01  # between two looks at the rig
SETTLE_S = 0.2
TRY_S = 0.3  # patience with a board that may still be starting
ANSWER_S = 25.0  # a board that starts has enumerated and answers by then
SETTLED_MS = 500  # five ticks: what was driven or asked for has had its effect and is on flash
OFF_MS = 600  # how long the power stays cut in a reset
SILENCE_MS = 5000
POWER = {"relay": "power_cut", "run": "run_held", "none": None}
FEEDBACK_MV = 1650  # run feedback stands for a current that is there


class RealKit(base.Kit):
    """The controller at `port`, the rig at `rig_port` (pyserial's URLs included).

    `board` names the controller's wiring table, `power_by` what the rig has in its supply: "relay", "run" (the RUN
    pin) or "none".  The rig lets go when it hears nothing for `silence_ms` (`SILENCE_MS`).  Raises InputError.
    """

    place = "real with a rig"
    hardware = True
    timing_ms = 20

    def __init__(self, port, rig_port, board="pico", power_by="relay", framing="ascii", unit=1, silence_ms=None):
        super().__init__()
        if power_by not in POWER:
            raise InputError(f'power by "{power_by}": {", ".join(POWER)}', "rig")
        self.port, self.board, self.power_by = port, board, power_by
        self.framing, self.unit = framing, unit
        self.fitted = fitted(board)
        self.notes = []
        self.queue = deque()
        self.draining = False
        self.driven_ms = {}
        self.looked_s = 0.0
        self.lost = None  # the Vanished of a rig that went away
        self.link = self.rig = None
        self.powered = True
        self.facts = {}
        check_ports(port, rig_port, framing, unit)
        try:
            self._open(rig_port, silence_ms or SILENCE_MS)
        except BaseException:
            self.close()
            raise

    def _open(self, rig_port, silence_ms):
        self.rig = RigClient(rig_port)
        self.rig.identify()
        self.rig.release()
        self.rig.begin(silence_ms)
        self.driven = released()
        self._take_relays(self.rig.relays)
        self.rig_firmware = self.rig.state().firmware
        self._note("rig found")
        values = self.values = self.client().settings()
        self.rest = wires.rest_values(values)
        self.facts = self.link.values()
        self.wires = self._wires(values)
        self.abilities = frozenset(() if self.power_by == "none" else ("power",)) | {"settings"}

    def _wires(self, values):
        # What is both on the rig and on this board; of two that share a pin the one that the settings use.
        names = set(wires.INPUTS) - {"generator", "moisture_1", "moisture_2"}
        names = {name for name in names if wires.WIRES[name].place in self.fitted}
        if self.fitted[records.IN_LEVEL][0] == self.fitted[records.IN_BATTERY][0]:
            names.discard("battery" if values[settings.TRANSMITTER] else "level")
        return frozenset(names | set(w.RELAYS))

    def _note(self, words):
        at = self.rig.now_ms / 1000.0 if self.rig is not None else 0.0
        self.notes.append(f"{at:10.3f} s  {words}")

    # Time and edges.

    def now_ms(self):
        """Return the rig's time in ms since the kit was opened; of a rig that went away the last that was heard."""
        if self.lost is None:
            self._look()
        return self.rig.now_ms

    def run_ms(self, ms):
        """Let `ms` of the rig's time pass, looking at it all the while."""
        until = self.now_ms() + ms
        while self.rig.now_ms < until or self.lost is not None:
            time.sleep(max(0.0, min(LOOK_S, (until - self.rig.now_ms) / 1000.0)))
            self._look()

    def _look(self):
        # What the rig has logged goes into a queue; a listener may look again while it is worked off.
        if self.lost is not None:
            raise self.lost
        try:
            edges = self.rig.poll()
        except base.Vanished as gone:
            self.lost = gone
            raise
        for edge in edges:
            self.driven_ms[edge.wire] = edge.ms
            if edge.wire in w.RELAYS:
                self.queue.append(edge)
        self.looked_s = time.monotonic()
        if self.draining:
            return
        self.draining = True
        try:
            while self.queue:
                edge = self.queue.popleft()
                self.saw(edge.wire, edge.value, edge.ms)
        finally:
            self.draining = False

    def _keep(self):
        # Called after each request on the controller's link: the rig must hear from us, too.
        if time.monotonic() - self.looked_s > 0.05 and not self.draining:
            self._look()

    def _take_relays(self, bits):
        for i, name in enumerate(w.RELAYS):
            self.seen[name] = bits >> i & 1

    # Wires.

    def drive(self, name, value):
        """Put a value on an input wire; its edge has the instant at which the rig did it."""
        before = len(self.edges)
        super().drive(name, value)
        for i in range(before, len(self.edges)):
            edge = self.edges[i]
            if edge.wire == name and name not in w.RELAYS:
                times = [self.driven_ms[wire] for wire in _rig_wires(name) if wire in self.driven_ms]
                self.edges[i] = base.Edge(max(times, default=edge.ms), name, edge.value)

    def _put(self, name, value):
        kind = wires.WIRES[name].kind
        if kind == wires.SELECTOR:
            self.rig.turn_selector(int(name[-1]), value)
        elif kind == wires.ANALOG:
            self.rig.give(name, self.millivolts(name, value))
        else:
            self.rig.close_contact(name, 1 - value if name.startswith("thermal") else value)
        for wire in _rig_wires(name):
            self.driven_ms.pop(wire, None)

    def millivolts(self, name, value):
        """Return what an analog wire's value is at the pin, in mV.  Raises Missing beyond the input's full scale."""
        if name.startswith("current") and value == 1:
            return FEEDBACK_MV
        full = self.full_scale(name)
        if value > full:
            words = f"{name} = {value}: full scale of this board's input is {full} {wires.WIRES[name].unit}"
            raise base.Missing(words, name)
        return -(-value * w.FULL_MV // full)

    def read(self, name):
        """Return the value at the pin, now."""
        self._look()
        return super().read(name)

    # The controller.

    def client(self):
        """Return the client on the controller's link, opened anew after a restart.  Raises InputError without power."""
        if not self.powered:
            raise InputError("the controller has no power: the rig has cut it", self.port)
        if self.link is None:
            self.link = self._connect()
        return self.link

    def _connect(self):
        until = time.monotonic() + ANSWER_S
        while True:
            found = None
            try:
                found = Link(self.port, "the controller", self.framing, self.unit, TRY_S, self._keep)
                found.identify()
                time.sleep(SETTLE_S)  # what answers to requests of before the restart is out of the way then
                found.identify()
                found.patience_s = 1.0
                found.begin_run()
                self._look()
                self._note("controller answers")
                return found
            except InputError as error:
                if found is not None:
                    found.close()
                self._look()
                if time.monotonic() > until:
                    if self.facts:
                        said = [f"the controller: {line}" for line in error.problems]
                        raise base.Vanished(said, self.port) from error
                    raise
                time.sleep(0.1)

    def _disconnect(self):
        # Before the power goes: a port that is held open comes back under another name.
        if self.link is not None:
            self.link.close()
            self.link = None

    def power(self, on):
        """Cut or give the controller's power, or hold it in reset and let it go.  Raises Missing where neither is."""
        wire = POWER[self.power_by]
        if wire is None:
            raise base.Missing("the rig has neither a relay in the controller's supply nor its RUN pin", "power")
        if not on:
            self._disconnect()
        self.rig.close_contact(wire, not on)
        self.powered = bool(on)
        self._look()
        self._note("power on" if on else "power off")

    def restart(self):
        """Restart the controller: by its power where the rig has it, else over the link."""
        if self.power_by != "none":
            self.power(False)
            self.run_ms(OFF_MS)
            self.power(True)
        else:
            self._ask_for_restart()
        self.client()

    def _ask_for_restart(self):
        self.client().write_words(r.RESET_AT, [r.RESET_KEY])
        self._disconnect()
        self.run_ms(2 * OFF_MS)

    def reset(self):
        """Make a fresh start: rest values on all wires, lockouts and alarms ended, a restart, an answer.

        They are ended before the restart: a board keeps what stands, and an alarm that is silenced afterwards
        would be quiet for the next procedure (A2).  A power cut with the floats wet is told for an hour (A4), but not
        after a restart that was asked for.
        """
        if not self.powered:
            self.power(True)
        self.to_rest()
        self.run_ms(self.client().settings()[settings.DEBOUNCE_MS] + SETTLED_MS)
        self.client().write_bits(0, [1, 1])
        self.run_ms(SETTLED_MS)
        if self.power_by != "none":
            self._ask_for_restart()
            self.client()
            self.run_ms(SETTLED_MS)
        self.restart()

    def power_wire(self):
        """Return the rig's wire that takes the controller's power, None where there is none."""
        return POWER[self.power_by]

    def answers(self):
        """Tell whether anything of Modbus answers on the controller's port, whatever its power should be."""
        try:
            signature(self.port, self.framing, self.unit, TRY_S)
        except InputError:
            return False
        return True

    def full_scale(self, name):
        """Return an analog wire's full scale in its own unit, 1 for a contact."""
        wire = wires.WIRES.get(name)
        if wire is None or wire.kind != wires.ANALOG:
            return 1
        if name.startswith("current"):
            return self.values[settings.SENSOR_RANGE_1_MA + wire.place - records.IN_CURRENT_1]
        return self.fitted[wire.place][1]

    def hang(self):
        """Raise Missing."""
        raise base.Missing("the firmware of a real board cannot be hung from outside", "hang")

    def prove(self, say=print, coils_only=False):
        """Prove every wire; see `selftest.prove`.  Afterwards `wires` holds those that are connected."""
        return rig_selftest.prove(self, say, coils_only)

    def describe(self):
        """Return what is under test and through what."""
        power = {"relay": "a relay in its supply", "run": "its RUN pin", "none": "nothing in its supply"}[self.power_by]
        return {
            "board": wiring_list.title(self.board),
            "firmware": f"{self.facts.get('firmware', 0):08x}",
            "wiring": f"rig of firmware {self.rig_firmware:08x}, {len(self.wires)} wires, {power}; times at the pins",
            "micropython": "not known over the link",
            "seed": self.seed,
        }

    def log(self):
        """Return what happened on the ports, and the pin trace."""
        return "\n".join([*self.notes[-200:], self.trace()])

    def drop(self):
        """Let go of all wires, which opens both thermal contacts and so stops both pumps; the power is there again."""
        self.rig.release()
        self.driven = released()
        self.powered = True
        self._look()

    def close(self):
        """Let go of all wires, which opens both thermal contacts and so stops both pumps; close the ports."""
        self._disconnect()
        if self.rig is not None:
            with contextlib.suppress(InputError, OSError):
                self.rig.release()
            self.rig.close()


def released():
    """Return {input wire: value} of a rig that holds nothing: all contacts open, so both thermal contacts hot."""
    return {name: 1 if name.startswith("thermal") else 0 for name in wires.INPUTS}


def _rig_wires(name):
    # The rig's wires whose edges stand for a wire of the kit: a selector has two contacts.
    return (name,) if name in w.NAMES else (f"{name}_off", f"{name}_hand")


def fitted(board):
    """Return {place in the raw record: (pin, full scale)} of a board's wiring table.  Raises InputError."""
    rows = [row for row in wiring_list.table(board) if row["kind"] in ("contact to ground", "0 to 3.3 V")]
    if not rows:
        raise InputError(f'board "{board}" has no pins for a rig', "rig")
    return {row["place"]: (row["pin"], row["level"]) for row in rows}


def check_ports(port, rig_port, framing="ascii", unit=1):
    """Raise InputError unless a controller answers on the one port and the rig on the other, naming what answers."""
    if port == rig_port:
        raise InputError(f'"{port}" cannot be the controller and the rig at the same time', "ports")
    problems = []
    there = _who(port, framing, unit, problems)
    rig = _who(rig_port, "ascii", 1, problems)
    if there == "the rig" and rig == "a controller":
        words = f"the rig answers at {port} and the controller at {rig_port}: swap the two ports"
        raise InputError(f"rig and board are swapped: {words}", "ports")
    if there not in ("a controller", None):
        problems.append(f"{there} answers at {port}, where the controller should be")
    if rig not in ("the rig", None):
        problems.append(f"{rig} answers at {rig_port}, where the rig should be")
    if problems:
        raise InputError(problems, "ports")


def _who(port, framing, unit, problems):
    try:
        found = signature(port, framing, unit)
    except InputError as error:
        problems.extend(f"{port}: {line}" for line in error.problems)
        return None
    return {r.SIGNATURE: "a controller", rig_registers.SIGNATURE: "the rig"}.get(
        found, f"a Modbus device that is neither ({found:#06x})"
    )
