"""A gate on the bench, with nothing else of the controller: one call of `ask` is one step.  Times in ms."""

from duplexsump.control import settings as s
from duplexsump.control.gate import Gate
from duplexsump.control.timers import Timers

MIN_OFF, LAG_OFF, FLOOD_OFF = 60_000, 20_000, 12_000
BOTH, PUMP_1, PUMP_2, NONE = 3, 1, 2, 0


class GateBench:
    """A gate with its timers; `ask` is one step."""

    def __init__(self, **overrides):
        values = s.defaults()
        values[s.FLOOD_MIN_OFF_MS] = FLOOD_OFF  # unlike boot_hold, so that one cannot stand for the other
        for name, value in overrides.items():
            values[s.index(name)] = value
        self.timers = Timers()
        self.gate = Gate(values, self.timers)
        self.as_built = dict(vars(self.gate))
        self.power_up(0)

    def power_up(self, now):
        self.timers.expire(now)
        self.gate.begin()

    def ask(self, now, want, *, barred=0, on_battery=0, first=0, lead=0, lag=0, high=0, generator=0):
        """One step.  `lead` and `lag` are believed, `high` reads wet."""
        gate = self.gate
        self.timers.expire(now)
        gate.barred, gate.on_battery, gate.first, gate.generator = barred, on_battery, first, generator
        gate.contacts = lead | lag | high
        return gate.step(want)
