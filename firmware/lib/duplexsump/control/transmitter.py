"""L5: the level transmitter, its virtual contacts and what shows that it has failed."""

from . import settings as s
from . import timers as tm
from .bands import STEP_MM
from .records import (
    AGAIN,
    HIGH,
    IN_LEVEL,
    IN_MOVED,
    IN_TRANSMITTER,
    LAG,
    LEAD,
    OFF,
    STATE,
    TRANSMITTER_OK,
)
from .ticks import const

FROM_START = const(1)
FROM_HIGH = const(2)  # high has fallen in mid-run: the water falls
SIGNAL_MS = const(2000)  # NAMUR NE 43 asks that a failure signal be held, common practice for how long
LOOK_MS = const(15000)  # under one pump, and again under the other
FALL_MS = const(30000)


class Transmitter:
    """Virtual contacts for whichever of off, lead and lag is not a float; supervision of the signal."""

    FIELDS = (
        ("bad", STATE, 0, AGAIN),  # the signal is out of range
        ("frozen", STATE, 0, AGAIN),  # it did not move across a start
        ("apart", STATE, 0, 0),  # floats and transmitter disagree
        ("watching", STATE, 0, 0),  # whose movement is still awaited: a run's from its start, or the level's from `at`
        ("at", STATE, 0, 0),  # the level step at which high fell
        ("doubted", STATE, 0, 0),  # 1: it stood still, the other pump may tell; 2: it has been started
    )

    def __init__(self, settings: list[int], timers: "tm.Timers") -> None:
        self.settings = settings
        self.timers = timers
        self.virtual = (OFF | LEAD | LAG) & ~settings[s.FITTED] if settings[s.TRANSMITTER] else 0
        self.bad = False
        self.frozen = 0
        self.apart = False
        self.watching = 0
        self.at = 0
        self.doubted = 0

    def reset(self) -> None:
        """A reset gives a frozen transmitter another chance."""
        self.frozen = 0
        self.doubted = 0

    def failed(self) -> bool:
        """Tell whether the level may not be believed."""
        return self.bad or self.frozen > 0

    def contacts(self, inputs: list[int]) -> int:
        """Return the virtual contacts as a word of wet bits."""
        if not self.virtual:
            return 0
        st = self.settings
        level_mm = inputs[IN_LEVEL] * STEP_MM
        word = 0
        if level_mm >= st[s.LEVEL_OFF_MM]:
            word = OFF
        if level_mm >= st[s.LEVEL_LEAD_MM]:
            word |= LEAD
        if level_mm >= st[s.LEVEL_LAG_MM]:
            word |= LAG
        return word & self.virtual

    def watch(self) -> None:
        """A pump was switched on in this step: from the next reading on, the level must move."""
        if self.settings[s.TRANSMITTER]:
            self._await(FROM_START)
            if self.doubted:
                self.doubted = 2

    def _await(self, since: int) -> None:
        self.watching = since
        self.timers.stop(tm.FROZEN)

    def step(self, inputs: list[int], proved: bool, wet: int, fell: int) -> None:
        """Judge the signal.  `proved`: some pump is proved running; `wet`, `fell`: the debounced contacts."""
        if self.settings[s.TRANSMITTER]:
            self._signal(inputs[IN_TRANSMITTER] != TRANSMITTER_OK)
            if fell & HIGH:
                self.at = inputs[IN_LEVEL]
                self._await(FROM_HIGH)
            self._movement(inputs, proved)
            self._floats(self._gap(inputs[IN_LEVEL] * STEP_MM, wet))

    def _signal(self, signal: int) -> None:
        self.bad = self.timers.on_delay(tm.SIGNAL, self.bad, signal, SIGNAL_MS)

    def _movement(self, inputs: list[int], proved: bool) -> None:
        since = self.frozen or self.watching
        if inputs[IN_LEVEL] != self.at if since == FROM_HIGH else inputs[IN_MOVED]:
            self.frozen = 0
            self.watching = 0
            self.doubted = 0
        still = self.watching > 0 and proved and inputs[IN_TRANSMITTER] == TRANSMITTER_OK
        if self._looked(still):
            self._stood()

    def _looked(self, still: bool) -> bool:
        return self.timers.on_delay(tm.FROZEN, False, still, LOOK_MS if self.watching == FROM_START else FALL_MS)

    def _stood(self) -> None:
        # A level stands as well where inflow and pump are just equal: it moves while one pump hands over to the other.
        if self.watching == FROM_START and not self.doubted:
            self.doubted = 1
            self.timers.arm(tm.FROZEN, LOOK_MS)
        else:
            self.frozen = self.watching
            self.watching = 0
            self.doubted = 0

    def _floats(self, gap: int) -> None:
        self.apart = self.timers.on_delay(tm.GAP, self.apart, gap, self.settings[s.SEQUENCE_TIME_MS])

    def _gap(self, level_mm: int, wet: int) -> bool:
        # With floats too, the floats rule; a gap beyond a band is told.
        if self.bad:
            return False
        for i in range(3):
            if self.settings[s.FITTED] & (1 << i):
                over_mm = level_mm - self.settings[s.LEVEL_OFF_MM + i]
                if wet & (1 << i):
                    over_mm = -over_mm
                if over_mm > self.settings[s.LEVEL_GAP_MM]:
                    return True
        return False
