"""L2 and L7: which contacts to believe.

Two kinds of suspicion are kept apart.  By *order* (L2): a wet contact over a
dry one; worked out afresh at every disagreement.  By *evidence*: the stops by
time, a dry run or a cut wire have shown a contact to be wrong; this stays until
the contact's own release.  A suspect is left out of demand and stopping.
"""

from . import settings as s
from . import timers as tm
from .records import AGAIN, COUNTER, HIGH, LEAD, OFF, STATE
from .ticks import const

WIRE_MS = const(2000)  # L7
WIRE_NO_OFF_MS = const(500)  # L7: lead and lag alone may honestly pass within 2 s
FICKLE_MS = const(60000)  # L2: a fickle contact that stands wet for so long is believed again
_BOBS = const(3)  # rises in one run
NO_EDGE = const(3)  # `rising` before any edge: it counts as a rise
_BELOW_HIGH = const(7)
CUTS = b"\x00\x01\x03\x07\x0f"  # the contacts below each cut
BITS = b"\x00\x01\x01\x02\x01\x02\x02\x03\x01\x02\x02\x03\x02\x03\x03\x04"  # bits set in 0 .. 15


class Belief:
    """Suspect masks and the believed readings: `wet` and `dry` are believed contacts."""

    FIELDS = (
        ("order", STATE, 0, AGAIN),
        ("evidence", STATE, 0, AGAIN),
        ("wiring", STATE, 0, AGAIN),
        ("suspect", STATE, 0, AGAIN),  # all of them, with the contacts of a failed transmitter
        ("rising", STATE, 0, 0),  # the edge that made the disagreement, or no edge yet
        ("over", STATE, 0, 0),  # contacts that rose over a dry one
        ("missed", STATE, 0, 0),  # the dry ones they rose over
        ("before", STATE, 0, 0),  # ... the last time, and not wet since
        ("wet", STATE, 0, AGAIN),
        ("dry", STATE, 0, AGAIN),
        ("failed", STATE, 0, 0),  # the transmitter, as last told
        ("fickle", STATE, 0, AGAIN),  # contacts that come and go while the water does not
        ("bobber", STATE, 0, 0),  # the contact that rose last over dry ones, none other moving since
        ("bobs", COUNTER, 0, 0),  # ... and how often it rose in this run
        ("raised", STATE, 0, 0),  # the contact that rose last, if all below it were dry
        ("dried", STATE, 0, 0),  # contacts that R1 found to have called into an empty pit, no other one moving since
        ("shaken", STATE, 0, 0),  # contacts that have chattered since they last turned
        ("looked", STATE, 0, 0),  # LEAD while L3 looks at it, after water that stood still
        ("untold", COUNTER, 0, 0),  # an `off` that R1 suspects is not told: in this draw-down, the next, its last part
    )

    def __init__(self, settings: list[int], timers: "tm.Timers", virtual: int) -> None:
        self.settings = settings
        self.timers = timers
        self.virtual = virtual
        self.fitted = settings[s.FITTED] | virtual
        self.order = 0
        self.evidence = 0
        self.wiring = 0
        self.suspect = 0
        self.rising = NO_EDGE
        self.over = 0
        self.missed = 0
        self.before = 0
        self.wet = 0
        self.dry = 0
        self.failed = False
        self.fickle = 0
        self.bobber = 0
        self.bobs = 0
        self.raised = 0
        self.dried = 0
        self.shaken = 0
        self.looked = 0
        self.untold = 0
        self.running = 0  # pumps that are on, as told before each step
        self.chatters = 0  # contacts that chatter (L1), told likewise

    def begin(self, wet: int) -> None:
        """Believe everything at power-up; before any edge, wet wins."""
        self.reset()
        self.rising = NO_EDGE
        self._sort(wet)

    def reset(self) -> None:
        """Believe every contact again."""
        self.order = 0
        self.evidence = 0
        self.wiring = 0
        self.over = 0
        self.missed = 0
        self.before = 0
        self.fickle = 0
        self.bobber = 0
        self.bobs = 0
        self.raised = 0
        self.dried = 0

    def make_suspect(self, mask: int, wet: int) -> None:
        """Suspect contacts on evidence (L3, L4, R1); `wet` is the debounced word."""
        self.evidence |= mask & self.fitted
        self._sort(wet)

    def look_at_lead(self, wet: int) -> None:
        """L3: leave `lead` out: the water stands still over it, or it hangs, and the water will tell."""
        self.make_suspect(LEAD, wet)
        self.looked = LEAD

    def prove_high(self, wet: int) -> None:
        """L6: the water has answered a blind run: high is right, and what is dry below it dead."""
        self.order &= ~HIGH
        self.evidence &= ~HIGH
        self.fickle &= ~HIGH
        self.evidence |= ~wet & _BELOW_HIGH & self.fitted  # from the next step on: belief and demand go together

    def vouchers(self) -> int:
        """R1: return how many tell of water: each believed contact that is wet, those of a transmitter as one."""
        return BITS[self.wet & ~self.virtual] + (1 if self.wet & self.virtual else 0)

    def believed_below_high(self) -> int:
        """R1: return the contacts below high that are believed, wet or dry."""
        return (self.wet | self.dry) & _BELOW_HIGH

    def told(self) -> int:
        """Return who is suspect as it is told.

        L2: before any edge either float may be the one that hangs; R1: a pump that underloads over a good `off` may
        itself be worn, which the next draw-down tells; L3: no pump may move any water, "not keeping up" tells of both.
        """
        order = 0 if self.rising == NO_EDGE else self.order
        return (order | self.evidence & ~(self.looked | (OFF if self.untold else 0))) & self.fitted

    def no_water(self, wet: int) -> None:
        """R1: no contact from lead up is wet and the pump underloads: `off` is suspect, if it reads wet."""
        if self.wet & OFF:
            self.untold = 3
        self.make_suspect(self.wet & OFF, wet)
        self.found_dry(self.raised, wet)

    def drawn(self) -> None:
        """A draw-down is over."""
        self.untold = 2 if self.untold == 3 else 0

    def goes_on(self) -> bool:
        """R1: tell whether the draw-down after the one that made `off` suspect goes on past its time: it does once."""
        if self.untold != 2:
            return False
        self.untold = 1
        return True

    def found_dry(self, called: int, wet: int) -> None:
        """R1: the pit is empty though the contacts `called` rose; the second time running they are fickle."""
        again = called & self.dried
        self.dried = called
        if again:
            self._make_fickle(again, wet)

    def step(self, wet: int, rose: int, fell: int, failed: bool) -> None:
        """Work out what to believe from the debounced contacts; `failed`: the transmitter has failed."""
        self.failed = failed
        self._sort(wet)
        self.shaken |= self.chatters
        if rose | fell:
            self._edges(wet, rose, fell)
            self.shaken &= ~(rose | fell)
        self._sequence(wet, rose, fell)
        self._sort(wet)
        if self.settings[s.SENSING] == s.SENSE_CURRENT:
            self._raise(wet, rose, rose | fell)
        else:
            self._bob(rose, rose | fell)
            if self.bobs >= _BOBS:
                self._make_fickle(self.bobber, wet)
        self._settling(wet, rose | fell)

    def _raise(self, wet: int, rose: int, turned: int) -> None:
        if rose:
            self.raised = 0 if wet & (rose - 1) else rose  # of two that rose, one is wet below the other
        if turned & ~self.dried:
            self.dried = 0

    def _bob(self, rose: int, turned: int) -> None:
        # A contact that rises again and again over dry ones in one run, no other moving: it is not the water that
        # moves.  An honest one over dead ones rises once a run.
        if not self.running or turned & ~self.bobber:
            self.bobber = 0
            self.bobs = 0
        if self.running and rose and self._over_dry(rose):
            self.bobber = rose
            self.bobs += 1

    def _make_fickle(self, contacts: int, wet: int) -> None:
        self.bobs = 0
        self.order = 0  # what they said of the others is void
        self.fickle |= contacts
        self.make_suspect(contacts, wet)

    def _settling(self, wet: int, turned: int) -> None:
        # A fickle contact that stands wet for long is believed again.
        if turned & self.fickle:
            self.timers.stop(tm.FICKLE)
        if self._stands(self.fickle & wet):
            self.evidence &= ~(self.fickle & wet)
            self.fickle &= ~wet
            self._sort(wet)

    def _over_dry(self, rose: int) -> bool:
        # One contact, with fitted ones below it, and none of those believed wet.
        below = rose - 1
        return rose & below == 0 and self.fitted & below != 0 and self.wet & below == 0

    def _stands(self, wet: int) -> bool:
        return self.timers.on_delay(tm.FICKLE, False, wet, FICKLE_MS)

    def _edges(self, wet: int, rose: int, fell: int) -> None:
        turned = ~(self.wiring | self.shaken)  # L1's hold says when a contact that chattered turns
        self.rising &= 1
        self._release(wet, rose, fell)
        self._wires(wet, rose & turned, fell & turned)
        self._sort(wet)
        self._proved_miss(wet, rose, fell)
        self._sort(wet)

    def _sort(self, wet: int) -> None:
        self.suspect = self.order | self.evidence | self.wiring
        if self.failed:
            self.suspect |= self.virtual
        believed = self.fitted & ~self.suspect
        self.wet = wet & believed
        self.dry = believed & ~wet
        if not self.evidence & LEAD or (wet & LEAD and self.dry & OFF):  # over a dry `off` it hangs
            self.looked = 0

    def _release(self, wet: int, rose: int, fell: int) -> None:
        # A stuck-dry suspect that turns wet is believed at once, a stuck-wet one
        # that turns dry in order too: high on any move, for nothing stands above it.
        # A fickle one only when it rises with all below it wet.
        for i in range(4):
            bit = 1 << i
            moved = rose & bit or (fell & bit and self.wet < bit)
            if self.fickle & bit:
                moved = rose & bit and self.fitted & (bit - 1) & ~wet == 0
            if self.suspect & bit and moved:
                self.order &= ~bit
                self.evidence &= ~bit
                self.fickle &= ~bit
                self.wiring &= ~bit

    def _wires(self, wet: int, rose: int, fell: int) -> None:
        # L7: floats below high that turn together and end alike share a wire.
        floats = self.settings[s.FITTED] & _BELOW_HIGH
        for i in range(3):
            if (rose | fell) & floats & (1 << i):
                self._turned(i)
        if wet & floats == 0 or wet & floats == floats:  # all alike, so those that turned went the same way
            self._one_wire(self._together())

    def _one_wire(self, together: int) -> None:
        if together & (together - 1):
            self.wiring |= together
            for i in range(3):
                self.timers.stop(tm.TURNED + i)

    def _turned(self, i: int) -> None:
        self.timers.arm(tm.TURNED + i, WIRE_MS if self.settings[s.FITTED] & OFF else WIRE_NO_OFF_MS)

    def _together(self) -> int:
        # Contacts that turned within the window.
        together = 0
        for i in range(3):
            if self.timers.at[tm.TURNED + i] >= 0:
                together |= 1 << i
        return together

    def _proved_miss(self, wet: int, rose: int, fell: int) -> None:
        # A higher contact that rises and falls with a lower one dry proves the miss.
        self.missed &= ~wet
        self.before &= ~wet
        rose &= self.wet & ~self.chatters  # one that chatters proves nothing
        fell &= self.over
        for i in range(1, 4):
            if (rose | fell) & (1 << i):
                self._moved_over(1 << i, wet)

    def _moved_over(self, bit: int, wet: int) -> None:
        if not wet & bit:
            self._fell_again(bit, wet)
        else:
            self._rose_over(bit, self.dry & (bit - 1))

    def _rose_over(self, bit: int, missed: int) -> None:
        if missed & ~self.before:
            self.over |= bit
            self.missed |= missed
        else:  # the second time running: however many, they are dead
            self.order |= missed

    def _fell_again(self, bit: int, wet: int) -> None:
        self.over &= ~bit
        missed = self.missed & (bit - 1)
        if missed:
            self.order = self._fewest(wet | bit, True) & ~bit
            self.before = missed
            self.missed = 0

    def _sequence(self, wet: int, rose: int, fell: int) -> None:
        lowest = self.dry & -self.dry
        apart = lowest and self.wet > lowest
        if apart:
            if rose & self.wet > lowest:
                self.rising = 1
            elif self._fell_below(fell & self.dry):
                self.rising = 0
        if self._out_of_sequence(apart):
            self.order = self._fewest(wet, self.rising)
            self.missed = 0
            self.over = 0

    def _fell_below(self, fell: int) -> int:
        # Whether one of the believed contacts that fell lies below a wet one.
        return fell and fell & -fell < self.wet

    def _out_of_sequence(self, apart: int) -> bool:
        held = self.timers.running(tm.BOOT)  # S4: no pump could have moved the water yet
        return self.timers.on_delay(tm.SEQUENCE, False, apart and not held, self.settings[s.SEQUENCE_TIME_MS])

    def _fewest(self, wet: int, rising: int) -> int:
        """L2: the fewest contacts without which all readings are in order.

        Below a cut all should be wet, above it all dry.  Of cuts that need as
        few suspects, one with a contact that chatters is taken; else a rise
        takes the highest (the lower contact missed its turn), a fall the lowest.
        """
        best = self._fewer(15, wet ^ CUTS[0], rising)
        best = self._fewer(best, wet ^ CUTS[1], rising)
        best = self._fewer(best, wet ^ CUTS[2], rising)
        best = self._fewer(best, wet ^ CUTS[3], rising)
        return self._fewer(best, wet ^ CUTS[4], rising)

    def _known(self) -> int:
        known = self.fitted & ~self.evidence & ~self.wiring
        return known & ~self.virtual if self.failed else known

    def _fewer(self, best: int, wrong: int, rising: int) -> int:
        wrong &= self._known()
        more = BITS[wrong] - BITS[best] or (not wrong & self.chatters) - (not best & self.chatters)
        return wrong if more < 0 or (rising and not more) else best
