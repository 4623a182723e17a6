"""A real controller without a rig: inputs forced over its link, relays read over the same link.

Only forcible inputs can be driven (M2): floats, mains, pump currents as none or
normal, thermal contacts open.  The test jumper must be in, and no pump may be able
to start by surprise: both selectors at OFF, or both pumps unplugged as confirmed by
the operator.  Times are those of the controller's clock, to the tick, and not taken
at the pins.
"""

import contextlib
import time

from duplexsump.control import records, settings
from duplexsump.control.ticks import MASK
from duplexsump.station import registers as r

from hil.kits import base, wires
from hil.kits.link import Link
from host_sim.errors import InputError

LOOK_S = 0.02  # between two looks at the outputs
ANSWER_S = 25.0
SETTLED_MS = 500  # five ticks: what was forced or asked for has had its effect and is on flash
RESTART_S = 1.5  # the reply leaves, and the board is gone for a moment
JUMPER = "insert the test jumper: without it the controller accepts no forced inputs"
SELECTORS = (
    "turn both selectors to OFF while inputs are forced (selector 1 at {}, selector 2 at {}); "
    "or unplug both pumps, check that they are, and give --cords-unplugged"
)
_OUTPUTS = ("pump_1", "pump_2", "horn", "beacon", "relay", "service", "light")
_AT, _BIT_AT = {}, {}
for _row in r.WORD_ROWS:
    _AT[_row[0]] = sum(row[2] for row in r.WORD_ROWS[: r.WORD_ROWS.index(_row)])
for _row in r.BIT_ROWS:
    _BIT_AT[_row[0]] = sum(row[1] for row in r.BIT_ROWS[: r.BIT_ROWS.index(_row)])


class ForcesKit(base.Kit):
    """The controller at `port`.  `cords_unplugged`: confirmed by the operator; else both selectors must be at OFF.

    Raises InputError where the jumper is out or a pump could start.
    """

    place = "real with forces"
    hardware = True
    timing_ms = 200

    def __init__(self, port, cords_unplugged=False, framing="ascii", unit=1):
        super().__init__()
        self.port, self.framing, self.unit = port, framing, unit
        self.cords_unplugged = cords_unplugged
        self.notes = []
        self.base_ms = 0  # the kit's time when the controller's clock stood at mark_ms
        self.mark_ms = None
        self.refreshed_ms = 0
        self.looking = False
        self.looked_s = 0.0
        self.lost = None  # the Vanished of a controller that went away
        self.mask = self.value = 0
        self.link = None
        try:
            self.link = self._connect()
            self.values = self.link.settings()
            self._may_force()
            self.facts = self.link.values()
        except BaseException:
            self.close()
            raise
        self.rest = wires.rest_values(self.values)
        self.driven = dict(self.rest)
        self.wires = self._wires()
        self.abilities = frozenset({"forces", "settings"})
        self.refresh_ms = self.values[settings.FORCE_TIMEOUT_MS] // 3
        self._look()

    def _may_force(self):
        states, values = self.link.states(), self.link.values()
        self.selectors = [values["selector_1"], values["selector_2"]]
        problems = [] if states["jumper"] else [JUMPER]
        if not self.cords_unplugged and self.selectors != [records.SELECT_OFF, records.SELECT_OFF]:
            problems.append(SELECTORS.format(*(("AUTO", "OFF", "HAND")[at] for at in self.selectors)))
        if problems:
            raise InputError(problems, self.port)

    def _wires(self):
        fitted = self.values[settings.FITTED]
        names = {name for name in wires.FLOATS if fitted & wires.WIRES[name].bit}
        names |= {"mains", "thermal_1", "thermal_2", *wires.OUTPUTS}
        if self.values[settings.SENSING] != settings.SENSE_NOTHING:
            names |= {"current_1", "current_2"}
        return frozenset(names)

    def need(self, what):
        """Raise Missing unless this kit has `what`; see `Kit.need`."""
        if what in ("pump_1", "pump_2") and self.selectors[int(what[-1]) - 1] == records.SELECT_OFF:
            raise base.Missing(f"the selector of {what.replace('_', ' ')} is at OFF: the pump does not start", what)
        if what == "current":
            raise base.Missing("a forced current is none or normal, without a value", what)
        super().need(what)

    # Time, and what is seen over the link.

    def now_ms(self):
        """Return the controller's time in ms since the kit was opened, of one that went away the last that was heard.

        A restart is timed by this machine.
        """
        if self.lost is None:
            self._look()
        return self.base_ms

    def run_ms(self, ms):
        """Let `ms` of the controller's time pass; forces are refreshed in good time."""
        until = self.now_ms() + ms
        while self.base_ms < until or self.lost is not None:
            time.sleep(max(0.0, min(LOOK_S, (until - self.base_ms) / 1000.0)))
            self._look()

    def _look(self):
        if self.lost is not None:
            raise self.lost
        if self.looking or self.link is None:
            return
        self.looking = True
        try:
            high, low = self.link.words(_AT["now"], 2)
            now = high << 16 | low
            self._advance(now)
            if self.mask and self.base_ms - self.refreshed_ms > self.refresh_ms:
                self._force()
            bits = self.link.bits(_BIT_AT["outputs"], len(_OUTPUTS))
        except base.Vanished as gone:
            self.lost = gone
            raise
        finally:
            self.looking = False
            self.looked_s = time.monotonic()
        for name, bit in zip(_OUTPUTS, bits, strict=True):
            self.saw(name, bit, self.base_ms)

    def _advance(self, now):
        step = 0 if self.mark_ms is None else (now - self.mark_ms) & MASK
        if step > MASK // 2:
            self.notes.append(f"{self.base_ms / 1000.0:10.3f} s  the controller restarted by itself")
            step = 0
        self.base_ms += step
        self.mark_ms = now

    def _keep(self):
        # Called after each request of somebody else's: forces lapse unless they are refreshed.
        if time.monotonic() - self.looked_s > 0.5:
            self._look()

    def read(self, name):
        """Return what the controller says of an output, now; of an input what it is forced to."""
        self._look()
        return super().read(name)

    # Forces.

    def _put(self, name, value):
        bit = 1 << r.FORCES.index(name)
        if name in wires.FLOATS:
            # A force tells what the float says, wet or dry, whatever its contact does.
            wet = value ^ (1 if self.values[settings.NORMALLY_CLOSED] & wires.WIRES[name].bit else 0)
        elif name.startswith("current"):
            wet = self._current(name, value)
        else:
            wet = value
        self.mask |= bit
        self.value = self.value | bit if wet else self.value & ~bit
        self._force()

    def _current(self, name, value):
        n = 1 if name.endswith("2") else 0
        least, most = self.values[settings.UNDERLOAD_1_MA + n], self.values[settings.OVERLOAD_1_MA + n]
        feedback = self.values[settings.SENSING] == settings.SENSE_FEEDBACK
        if value == 0 or (value == 1 and feedback):
            return value
        if not feedback and least <= value < most:
            return 1
        words = f"{name} = {value} mA: forced currents are 0 (none) and {least} to {most - 1} mA (normal)"
        raise base.Missing(words, name)

    def _force(self):
        # Values before the mask, so that nothing is forced to what it was forced to before.
        self.refreshed_ms = self.base_ms
        masks = [self.mask >> i & 1 for i in range(r.N_FORCES)]
        values = [self.value >> i & 1 for i in range(r.N_FORCES)]
        self.link.write_bits(r.FORCE_VALUE_AT, values)
        self.link.write_bits(r.FORCE_MASK_AT, masks)

    def drive(self, name, value):
        """Force an input; see `Kit.drive`.  What is said to stand so already is forced all the same."""
        value = wires.checked(name, value)
        if name in self.wires and not self.mask >> r.FORCES.index(name) & 1:
            self.driven[name] = None
        super().drive(name, value)

    # The controller.

    def _connect(self):
        until = time.monotonic() + ANSWER_S
        while True:
            found = None
            try:
                found = Link(self.port, "the controller", self.framing, self.unit, 0.7, self._keep)
                found.identify()
                found.patience_s = 1.0
                found.begin_run()
                return found
            except InputError as error:
                if found is not None:
                    found.close()
                if not self.notes or time.monotonic() > until:
                    if self.notes:
                        said = [f"the controller: {line}" for line in error.problems]
                        raise base.Vanished(said, self.port) from error
                    raise
                time.sleep(0.1)

    def client(self):
        """Return the client on the controller's link."""
        return self.link

    def reset(self):
        """Make a fresh start: everything forced to rest, lockouts and alarms ended, a restart over the link.

        They are ended before the restart; see `real.RealKit.reset`.
        """
        self.to_rest()
        self.run_ms(self.values[settings.DEBOUNCE_MS] + SETTLED_MS)
        self.link.write_bits(0, [1, 1])
        self.run_ms(SETTLED_MS)
        self.link.write_words(r.RESET_AT, [r.RESET_KEY])
        self.notes.append(f"{self.base_ms / 1000.0:10.3f} s  restart over the link")
        self.link.close()
        began = time.monotonic()
        self.link = None
        time.sleep(RESTART_S)
        self.link = self._connect()
        self.base_ms += int((time.monotonic() - began) * 1000.0)
        self.mark_ms = None
        self.mask = self.value = 0
        self.values = self.link.settings()
        self._may_force()
        self._look()
        self.to_rest()

    def describe(self):
        """Return what is under test; the wiring says how it was made sure that no pump can start by surprise."""
        safe = "both pumps unplugged (confirmed by the operator)" if self.cords_unplugged else "both selectors at OFF"
        return {
            "board": "a controller on a port",
            "firmware": f"{self.facts['firmware']:08x}",
            "wiring": f"no rig: inputs forced over the link, test jumper in, {safe}; "
            "relays read over the link, not at the pins",
            "micropython": "not known over the link",
            "seed": self.seed,
        }

    def log(self):
        """Return what happened on the port, and the trace of the forces and outputs."""
        return "\n".join([*self.notes[-200:], self.trace()])

    def drop(self):
        """Lift all forces: the controller goes back to its real inputs."""
        self.mask = self.value = 0
        if self.link is not None:
            self._force()

    def close(self):
        """Lift all forces and close the port."""
        if self.link is not None:
            with contextlib.suppress(InputError, OSError, AttributeError):
                self.drop()
            self.link.close()
            self.link = None
