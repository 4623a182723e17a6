"""The one door to the pump relays.

Whatever asks for a pump asks here, and nothing else switches one: selector OFF,
thermal contact, supply and battery limit (in `barred` and `on_battery`), the
rest of S1, the start spacing of S2 and the power-up delay of S4.
"""

from . import settings as s
from . import timers as tm
from .records import AGAIN, HIGH, LAG, LEAD, STATE


class Gate:
    """Turns wishes into outputs.  Masks over pumps are 1 for pump 1, 2 for pump 2.

    Before each step the controller sets `barred` (pumps that may not run whoever
    asks), `on_battery` (pumps that would draw on the battery), `first` (the pump,
    0 or 1, that goes first), `contacts` (lead and lag believed wet, high reading
    wet) and `generator`.
    """

    FIELDS = (("out", STATE, 0, AGAIN),)

    def __init__(self, settings: list[int], timers: "tm.Timers") -> None:
        self.settings = settings
        self.timers = timers
        self.out = 0
        self.barred = 0
        self.on_battery = 0
        self.first = 0
        self.contacts = 0
        self.generator = 0

    def begin(self) -> None:
        """S4: hold the outputs off; both pumps count as just stopped."""
        self.timers.arm(tm.BOOT, self.settings[s.BOOT_HOLD_MS])
        self.out = 0
        self._stopped(0)
        self._stopped(1)

    def _stopped(self, n: int) -> None:
        self.timers.arm(tm.REST + n, self.settings[s.MIN_OFF_MS])
        self.timers.arm(tm.REST_LAG + n, self.settings[s.LAG_MIN_OFF_MS])
        self.timers.arm(tm.REST_FLOOD + n, self.settings[s.FLOOD_MIN_OFF_MS])

    def rested(self, n: int) -> bool:
        """S1: tell whether pump `n` (0 or 1) has had the rest that applies with the contacts now wet."""
        at = self.timers.at
        if self.contacts & HIGH or (self.contacts & LAG and not self.out):
            return at[tm.REST_FLOOD + n] < 0
        if self.contacts & LAG or (self.contacts & LEAD and not self.out):
            return at[tm.REST_LAG + n] < 0
        return at[tm.REST + n] < 0

    def step(self, want: int) -> int:
        """Return the outputs as a mask; `want`: pumps asked for."""
        want &= ~self.barred
        if self.settings[s.BATTERY_PUMPS] == 1 and want & self.on_battery == 3:
            want = 1 << self._keeps()
        for n in range(2):
            if self.out & ~want & (1 << n):
                self.out &= ~(1 << n)
                self._stopped(n)
        if self.timers.at[tm.BOOT] < 0:
            self._start(want, self.first)
            self._start(want, 1 - self.first)
        return self.out

    def _start(self, want: int, n: int) -> None:
        if not want & ~self.out & (1 << n) or self.timers.at[tm.SPACING] >= 0 or not self.rested(n):
            return
        self.out |= 1 << n
        spacing = s.GENERATOR_SPACING_MS if self.generator else s.START_SPACING_MS
        self.timers.arm(tm.SPACING, self.settings[spacing])

    def _keeps(self) -> int:
        # Of two that want the battery, one that already runs keeps it, else the first.
        return self.out - 1 if self.out == 1 or self.out == 2 else self.first
