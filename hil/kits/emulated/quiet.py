"""Until when a controller finds nothing to do: a second one on the PC, fed with the same, so that the board may doze.

The control core promises that steps in which no input changed and nothing was
due may be left out.  So beside the board's controller runs the same one on the
PC, stepped whenever the board reads its inputs, and while it has nothing due
and no wire moves the board's processor is left to wait.  It decides nothing
else: what the board does is read at its pins, and should the two ever differ,
the second is dismissed and the board looks at every tick again.
"""

from duplexsump.control.bands import Bands
from duplexsump.control.controller import Controller
from duplexsump.control.records import (
    N_INPUTS,
    OUT_BEACON,
    OUT_HORN,
    OUT_LIGHT,
    OUT_PUMP_1,
    OUT_PUMP_2,
    OUT_RELAY,
    OUT_SERVICE,
)
from duplexsump.control.ticks import MASK, TICK_MS, diff

from hil.kits import wires

MS = 1_000_000
TICK_NS = TICK_MS * MS
LONGEST_NS = 7000 * MS  # the station's watchdog is set to 8 s, and only a pass feeds it
INTO_TICK_NS = MS // 2  # a dozing board wakes so long after the tick's instant
_SEEN = (OUT_PUMP_1, OUT_PUMP_2, OUT_HORN, OUT_BEACON, OUT_RELAY, OUT_SERVICE, OUT_LIGHT)


class Quiet:
    """The second controller of an `EmulatedKit`'s board, which made its first step at `first_ms` of its own time."""

    def __init__(self, kit, first_ms):
        self.kit = kit
        self.first_ms = first_ms
        self.zero_ns = kit.pico.ticks_ns(first_ms)
        self.controller = Controller(list(kit.values))
        self.bands = Bands(self.controller.settings)
        self.inputs = [0] * N_INPUTS
        self.agrees = True
        self.steps = 0
        self.differed = ""  # what differed first, and when
        self.controller.power_up(first_ms & MASK)
        self._step(0)

    def _raw(self):
        # What the board reads: contacts as driven, voltages as the converter gives them.
        values = {name: wires.WIRES[name].rest for name in wires.INPUTS}
        values.update({name: value for name, value in self.kit.driven.items() if name in self.kit.wires})
        raw = wires.raw_record(values)
        for name, (pin, _) in self.kit.pins.analog.items():
            full_scale = self.kit.pins.full_scale(name, self.controller.settings)
            raw[wires.WIRES[name].place] = self.kit.volts_counts(pin) * full_scale // 4095
        return raw

    def _step(self, tick):
        out = self.controller.out
        self.bands.convert(self._raw(), self.inputs, out[OUT_PUMP_1], out[OUT_PUMP_2])
        self.controller.step((self.first_ms + tick * TICK_MS) & MASK, self.inputs)
        now = self.controller.now
        self.due_tick = tick + diff(self.controller.next_due(now), now) // TICK_MS
        self.last_tick = tick
        self.stirred = False
        self.steps += 1

    def tick(self, now_ns):
        """The board begins to read its inputs."""
        for place in _SEEN:
            name = wires.OUTPUTS[place]
            if self.agrees and self.kit.seen[name] != self.controller.out[place]:
                self.agrees = False
                self.differed = f"{name} at {now_ns / 1e9:.3f} s"
        if self.agrees:
            self._step(int((now_ns - self.zero_ns) // TICK_NS))

    def stir(self):
        """A wire has moved: the board must look at its next tick."""
        self.stirred = True

    def until_ns(self, now_ns):
        """Return the instant at which a waiting board must look."""
        following = int((now_ns - self.zero_ns) // TICK_NS) + 1
        tick = following
        if self.agrees and not self.stirred:
            tick = max(following, min(self.due_tick, self.last_tick + LONGEST_NS // TICK_NS))
        return self.zero_ns + tick * TICK_NS + INTO_TICK_NS
