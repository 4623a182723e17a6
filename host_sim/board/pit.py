"""The pit at a virtual board's pins: the simulator's plant and its scenario, on the board's clock."""

from duplexsump.control.records import IN_JUMPER, N_INPUTS

from host_sim.plant.plant import TICK_MS, Plant
from host_sim.run.schedule import Schedule


class Pit:
    """One site's plant with its faults and people.  Times are milliseconds since the start, on the 100 ms grid."""

    def __init__(self, site, faults=(), on_reset=None):
        self.site = site
        self.plant = Plant(site, site.seed)
        self.raw = [0] * N_INPUTS
        self.jumper = 0
        self.now_ms = 0
        self.on_reset = on_reset
        self.schedule = Schedule(self, list(site.faults) + list(faults))
        self.advance(0)

    # Called by the schedule.

    def note(self, now_ms, kind, **data):
        """Record nothing: the board keeps its own journal."""

    def note_fault(self, now_ms, fault, on):
        """Record nothing."""

    def reset(self, now_ms):
        """A fault resets the controller."""
        if self.on_reset is not None:
            self.on_reset()

    def advance(self, now_ms):
        """Advance the pit to an instant; an earlier one leaves it as it is."""
        now_ms = max(self.now_ms, now_ms // TICK_MS * TICK_MS)
        while self.schedule.next_ms() <= now_ms:
            at = max(self.now_ms, self.schedule.next_ms())
            self.plant.sample(at, self.raw)
            self.now_ms = at
            self.schedule.now(at)
        self.now_ms = now_ms
        self.plant.sample(now_ms, self.raw)

    def read(self, now_ms):
        """Return the raw record at an instant."""
        self.advance(now_ms)
        self.raw[IN_JUMPER] = self.jumper
        return self.raw

    def write(self, pump_1, pump_2):
        """Set the relays of the pumps, now."""
        self.plant.command(self.now_ms, pump_1, pump_2)

    def powered(self):
        """Return whether the controller has power."""
        plant = self.plant
        if plant.mains:
            return True
        return self.site.supply.controller == "battery" and plant.maker.battery_ok(plant.trajectory.head.mode)
