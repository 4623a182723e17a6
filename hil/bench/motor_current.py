"""Simulated motor current that follows the pump's relay."""

from duplexsump.control import settings as s

LOADS = ("none", "under", "normal", "over", "locked")


def milliamps(settings, load, pump=1):
    """Return the current in mA of a load of pump 1 or 2 under a settings record, in the middle of its band.

    It is 0 or 1 for run feedback.
    Raises ValueError for an unknown load.
    """
    if load not in LOADS:
        raise ValueError(f'load "{load}": {", ".join(LOADS)}')
    if settings[s.SENSING] == s.SENSE_NOTHING or load == "none":
        return 0
    if settings[s.SENSING] == s.SENSE_FEEDBACK:
        return 1
    n = pump - 1
    if load == "under":
        return (settings[s.NO_CURRENT_1_MA + n] + settings[s.UNDERLOAD_1_MA + n]) // 2
    if load == "normal":
        return min(settings[s.RATED_1_MA + n], (settings[s.UNDERLOAD_1_MA + n] + settings[s.OVERLOAD_1_MA + n]) // 2)
    locked = 3 * settings[s.RATED_1_MA + n]
    return (settings[s.OVERLOAD_1_MA + n] + locked) // 2 if load == "over" else locked + locked // 10


class MotorCurrent:
    """The current of one pump on a bench: pump 1 or 2, its load, and whether its relay is welded."""

    def __init__(self, bench, pump):
        self.bench, self.pump = bench, pump
        self.relay_wire, self.wire = f"pump_{pump}", f"current_{pump}"
        self.load, self.welded = "none", False

    def follow(self, load, welded=False):
        """Draw this load from now on whenever the relay is on; with `welded` always."""
        milliamps(self.bench.values, load)
        self.load, self.welded = load, welded
        self._put()

    def relay(self, edge):
        """A relay moved at its pin."""
        if edge.wire == self.relay_wire:
            self._put()

    def _put(self):
        kit = self.bench.kit
        if self.wire not in kit.wires:
            return
        on = self.welded or kit.read(self.relay_wire)
        kit.drive(self.wire, milliamps(self.bench.values, self.load, self.pump) if on else 0)
