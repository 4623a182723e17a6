"""L2 and L7: which contacts to believe.

Two kinds of suspicion are kept apart.  By *order* (L2): a wet contact over a
dry one; worked out afresh at every disagreement.  By *evidence*: the stops by
time, a dry run or a cut wire have shown a contact to be wrong; this stays until
the contact's own release.  A suspect is left out of demand and stopping.
"""

from . import settings as s
from . import timers as tm
from .records import HIGH, OFF, STATE
from .ticks import const

WIRE_MS = const(2000)  # L7
WIRE_NO_OFF_MS = const(500)  # L7: lead and lag alone may honestly pass within 2 s
_BELOW_HIGH = const(7)


class Belief:
    """Suspect masks and the believed readings: `wet` and `dry` are believed contacts."""

    FIELDS = (
        ("order", STATE, 0, False),
        ("proof", STATE, 0, False),
        ("wiring", STATE, 0, False),
        ("suspect", STATE, 0, False),  # all of them, with the contacts of a failed transmitter
        ("rising", STATE, 0, False),  # the edge that made the disagreement, or no edge yet
        ("over", STATE, 0, False),  # contacts that rose over a dry one
        ("missed", STATE, 0, False),  # the dry ones they rose over
        ("down", STATE, 0, False),  # L7: direction in which each contact last turned
        ("wet", STATE, 0, False),
        ("dry", STATE, 0, False),
        ("failed", STATE, 0, False),  # the transmitter, as last told
    )

    def __init__(self, settings, timers, virtual):
        self.settings = settings
        self.timers = timers
        self.virtual = virtual
        self.fitted = settings[s.FITTED] | virtual
        self.order = 0
        self.proof = 0
        self.wiring = 0
        self.suspect = 0
        self.rising = 1
        self.over = 0
        self.missed = 0
        self.down = 0
        self.wet = 0
        self.dry = 0
        self.failed = False

    def begin(self, wet):
        """Believe everything at power-up; before any edge, wet wins."""
        self.reset()
        self.rising = 1
        self.down = 0
        self._sort(wet)

    def reset(self):
        """Believe every contact again."""
        self.order = 0
        self.proof = 0
        self.wiring = 0
        self.over = 0
        self.missed = 0

    def condemn(self, mask, wet):
        """Suspect contacts on evidence (L3, L4, R1); `wet` is the debounced word."""
        self.proof |= mask & self.fitted
        self._sort(wet)

    def step(self, wet, rose, fell, failed):
        """Work out what to believe from the debounced contacts; `failed`: the transmitter has failed."""
        self.failed = failed
        self._sort(wet)
        if rose | fell:
            mended = self.wiring
            self._release(rose, fell)
            self._wires(wet, rose & ~mended, fell & ~mended)
            self._sort(wet)
            self._proved_miss(wet, rose, fell)
        self._sort(wet)
        self._disagree(wet, rose, fell)
        self._sort(wet)

    def _sort(self, wet):
        self.suspect = self.order | self.proof | self.wiring
        if self.failed:
            self.suspect |= self.virtual
        believed = self.fitted & ~self.suspect
        self.wet = wet & believed
        self.dry = believed & ~wet

    def _release(self, rose, fell):
        # A stuck-dry suspect that turns wet is believed at once, a stuck-wet one
        # that turns dry in order too, high on any move.
        for i in range(4):
            bit = 1 << i
            moved = rose & bit or (fell & bit and (bit == HIGH or self.wet < bit))
            if self.suspect & bit and moved:
                self.order &= ~bit
                self.proof &= ~bit
                if self.wiring & bit:
                    self.wiring &= ~bit
                    self.timers.stop(tm.TURNED + i)

    def _wires(self, wet, rose, fell):
        # L7: floats below high that turn together and end alike share a wire.
        floats = self.settings[s.FITTED] & _BELOW_HIGH
        alike = wet & floats == 0 or wet & floats == floats
        together = 0
        for i in range(3):
            bit = 1 << i
            if (rose | fell) & bit & floats:
                self.down = self.down | bit if fell & bit else self.down & ~bit
                self.timers.arm(tm.TURNED + i, WIRE_MS if floats & OFF else WIRE_NO_OFF_MS)
            if self.timers.running(tm.TURNED + i):
                turned_down = self.down & bit
                if (turned_down and not wet & bit) or (not turned_down and wet & bit):
                    together |= bit
        if alike and together & (together - 1):
            self.wiring |= together
            for i in range(3):
                self.timers.stop(tm.TURNED + i)

    def _proved_miss(self, wet, rose, fell):
        # A higher contact that rises and falls with a lower one dry proves the miss.
        self.missed &= ~wet
        for i in range(1, 4):
            bit = 1 << i
            below = self.dry & (bit - 1)
            if rose & bit & self.wet and below:
                self.over |= bit
                self.missed |= below
            elif fell & bit and self.over & bit:
                self.over &= ~bit
                if self.missed & (bit - 1):
                    self.order = self._fewest(wet | bit, True) & ~bit
                    self.missed = 0
        if not self.over:
            self.missed = 0

    def _disagree(self, wet, rose, fell):
        lowest_dry = self.dry & -self.dry
        apart = lowest_dry and self.wet > lowest_dry
        if apart:
            if rose & self.wet > lowest_dry:
                self.rising = 1
            elif fell & self.dry and fell & self.dry < self.wet:
                self.rising = 0
        if self.timers.lasted(tm.DISAGREE, False, apart, self.settings[s.DISAGREE_MS]):
            self.order = self._fewest(wet, self.rising)
            self.missed = 0
            self.over = 0

    def _fewest(self, wet, rising):
        """L2: the fewest contacts whose distrust puts all readings in order.

        Below a cut all should be wet, above it all dry.  Of cuts that need as
        few suspects, a rise takes the highest (the lower contact missed its
        turn), a fall the lowest.
        """
        known = self.fitted & ~self.proof & ~self.wiring
        if self.failed:
            known &= ~self.virtual
        best = 0
        least = 5
        for cut in range(5):
            below = (1 << cut) - 1
            wrong = known & ((below & ~wet) | (wet & ~below & 15))
            count = (wrong & 1) + (wrong >> 1 & 1) + (wrong >> 2 & 1) + (wrong >> 3 & 1)
            if count < least or (rising and count == least):
                least = count
                best = wrong
        return best

    def believes(self, bit):
        """Tell whether the contact is fitted and believed."""
        return self.fitted & ~self.suspect & bit
