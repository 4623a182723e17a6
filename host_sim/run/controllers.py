"""What switches the pumps: the firmware's controller with its bands, or a plain float switch.

Neither holds logic of its own here: the controller is the firmware's, the
float switch is a contact that is wired to the pump.
"""

from dataclasses import replace

from duplexsump.control.bands import Bands
from duplexsump.control.controller import Controller
from duplexsump.control.records import (
    IN_BATTERY,
    IN_CONTACTS,
    IN_CURRENT_1,
    IN_CURRENT_2,
    IN_LEVEL,
    IN_MAINS,
    IN_MOVED,
    IN_TRANSMITTER,
    LEAD,
    N_INPUTS,
    N_OUTPUTS,
    OUT_PUMP_1,
    OUT_PUMP_2,
)
from duplexsump.control.settings import FITTED, NORMALLY_CLOSED, SENSE_NOTHING, SENSING, TRANSMITTER
from duplexsump.control.ticks import DAY_MS, MASK, diff

from host_sim.plant.equipment import Contact, Supply
from host_sim.run.journal import Life, Record


class Duplex:
    """The firmware's controller.  Times are ms since the start; its own are `offset_ms` later, in its ring."""

    name = "duplex"
    settings: list
    offset_ms: int
    controller: Controller
    bands: Bands
    inputs: list
    dead_outputs: list
    out: list
    edges: list
    records: list
    powered: bool

    def __init__(self, site, offset_ms=0):
        self.settings = list(site.settings)
        self.offset_ms = offset_ms
        self.controller = None
        self.bands = Bands(self.settings)
        self.inputs = [0] * N_INPUTS
        self.dead_outputs = [0] * N_OUTPUTS
        self.out = self.dead_outputs
        self.retained = None
        self.edges = [0] * 8
        self.records = []
        self.last = None
        self.seen = None
        self.powered = False

    def power_up(self, now_ms: int):
        """Power up with the values retained from before."""
        self.controller = Controller(self.settings)
        self.bands = Bands(self.settings)
        ring = (now_ms + self.offset_ms) & MASK
        self.controller.power_up(ring, self.retained)
        self.out = self.controller.out
        self.powered, self.last, self.seen = True, None, None
        retained = None if self.retained is None else tuple(self.retained)
        self.records.append(Life(now_ms, "up", ring, retained, tuple(self.controller.snapshot())))

    def power_down(self, now_ms: int):
        """Power down: outputs off; the retained values are kept."""
        self.retained = self.controller.retain()
        self.powered = False
        self.out = self.dead_outputs
        self.records.append(Life(now_ms, "down", (now_ms + self.offset_ms) & MASK))

    def step(self, now_ms: int, raw: list):
        """Step once on a raw record; `out` holds the outputs."""
        inputs, out = self.inputs, self.out
        self.bands.convert(raw, inputs, out[OUT_PUMP_1], out[OUT_PUMP_2])
        self.controller.step((now_ms + self.offset_ms) & MASK, inputs)
        if self.last is None or inputs != self.last.inputs or out != self.last.outputs:
            self.last = Record(now_ms, inputs[:], out[:])
            self.records.append(self.last)

    def due_ms(self, now_ms: int) -> int:
        """Return the instant by which it must be stepped again."""
        ring = (now_ms + self.offset_ms) & MASK
        return now_ms + diff(self.controller.next_due(ring), ring)

    def thresholds(self, raw: list) -> list:
        """Return the raw values that would next change a band; worked out only when one may have moved."""
        inputs, out = self.inputs, self.out
        seen = (
            out[OUT_PUMP_1] + 2 * out[OUT_PUMP_2] + 4 * inputs[IN_MAINS] + 8 * inputs[IN_MOVED],
            inputs[IN_CURRENT_1] + 8 * inputs[IN_CURRENT_2] + 64 * inputs[IN_TRANSMITTER] + 256 * inputs[IN_BATTERY],
            inputs[IN_LEVEL],
        )
        if seen != self.seen:
            self.seen = seen
            self.bands.thresholds(self.edges, out[OUT_PUMP_1], out[OUT_PUMP_2], raw[IN_MAINS])
        return self.edges


class FloatSwitch:
    """One float that switches one pump, the common fit-out.  It needs no power and has no alarm."""

    name = "single"

    def __init__(self, site):
        self.settings = site.settings
        self.out = [0] * N_OUTPUTS
        self.edges = [-1000000000, 1000000000] * 4
        self.records = None
        self.powered = True

    def power_up(self, now_ms):
        self.powered = True

    def power_down(self, now_ms):
        self.powered = True

    def step(self, now_ms, raw):
        self.out[OUT_PUMP_1] = 1 if raw[IN_CONTACTS] & LEAD else 0

    def due_ms(self, now_ms):
        return now_ms + DAY_MS

    def thresholds(self, raw):
        return self.edges


def single_site(site):
    """Return the same site with one pump on one float switch: no battery, no controller, no other float.

    The switch starts the pump at the trip level of the site's lead contact and
    stops it at the reset level of its off contact (without one, where the pump
    is just covered).
    Faults of the lead float are faults of this switch.
    """
    lead, off = site.contacts[1], site.contacts[0]
    first = replace(site.pumps[0], supply="mains")
    stop = off.dry_m if off is not None else first.intake_m + first.cover_m
    if lead is not None:
        start = lead.wet_m
    else:
        start = min(site.pit.floor_m, stop + 0.2)
    settings = list(site.settings)
    settings[FITTED], settings[NORMALLY_CLOSED], settings[SENSING], settings[TRANSMITTER] = LEAD, 0, SENSE_NOTHING, 0
    return replace(
        site,
        contacts=[None, Contact(start, stop), None, None],
        pumps=(first, replace(site.pumps[1], supply="mains")),
        supply=Supply(generator=site.supply.generator),
        transmitter=None,
        settings=settings,
    )
