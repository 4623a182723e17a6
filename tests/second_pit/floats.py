"""Tilting floats on their tethers, each a little off, and what can go wrong with one.

A float hangs from its pivot on an arm and turns its contact where it tilts past
an angle, another upwards than downwards; so it has dead band, and no two are alike.
"""

import math

NAMES = ("off", "lead", "lag", "high")
OFF, LEAD, LAG, HIGH = range(4)


class Float:
    """One float.  `wet_at`, `dry_at`: levels in m at which it turns.  `closed` is the contact as the wires show it."""

    __slots__ = (
        "bounce", "closed", "dry_at", "flip_ticks", "held", "hung", "intermittent", "normally_closed", "open", "rng",
        "wet", "wet_at",
    )  # fmt: skip

    def __init__(self, rng, pivot, normally_closed):
        arm = rng.uniform(0.040, 0.070)
        self.wet_at = pivot + arm * math.sin(math.radians(rng.uniform(10.0, 20.0)))
        self.dry_at = pivot - arm * math.sin(math.radians(rng.uniform(5.0, 15.0)))
        self.normally_closed = normally_closed
        self.rng = rng
        self.wet = False
        self.bounce = 0
        self.held = None  # stuck at this
        self.hung = False
        self.intermittent = False
        self.open = False
        self.flip_ticks = 0
        self.closed = normally_closed

    def see(self, level):
        """Tilt with the water; return True where the float has turned."""
        if self.wet:
            turns = level <= self.dry_at
        else:
            turns = level >= self.wet_at
        if turns:
            self.wet = not self.wet
            self.bounce = self.rng.choice((1, 1, 2, 3))
        return turns

    def busy(self):
        """Tell whether the contact may change though the water does not."""
        return self.bounce > 0 or self.intermittent

    def read(self):
        """Work out `closed` for this tick; returns it."""
        wet = self.wet
        if self.bounce > 0:
            self.bounce -= 1
            if self.bounce:  # the last look shows it settled
                wet = self.rng.random() < 0.5
        if self.intermittent:
            self.flip_ticks -= 1
            if self.flip_ticks <= 0:
                self.held = not self.held
                self.flip_ticks = self.rng.randrange(20, 401)
        if self.held is not None:
            wet = self.held
        self.closed = False if self.open else bool(wet) != self.normally_closed
        return self.closed

    # -- what can go wrong -----------------------------------------------------------------------

    def stick(self, wet):
        """Hold the reading at `wet` from now on."""
        self.held = wet

    def hang(self):
        """Hold the reading as it is now."""
        self.held = self.wet

    def flutter(self):
        """Turn by itself every 2 to 40 s."""
        self.held = self.wet
        self.intermittent = True
        self.flip_ticks = self.rng.randrange(20, 401)

    def cut(self):
        """Open the wire: reads dry, or wet on a normally-closed float."""
        self.open = True

    def free(self):
        """End whatever is wrong but a cut wire; the float follows the water again."""
        self.held = None
        self.intermittent = False

    def sound(self):
        """Tell whether the contact follows the water."""
        return self.held is None and not self.open

    def join(self):
        """Mend the wire."""
        self.open = False


class Floats:
    """The fitted floats of a pit; `word` has a bit for every closed contact, as the controller's terminals see it."""

    def __init__(self, floats):
        self.floats = floats  # four places, None where none is fitted
        self.fitted = [f for f in floats if f is not None]
        self.word = 0
        self.low = self.high = 0.0
        self.look = True

    def touch(self):
        """Read every contact at the next step: a fault came or went."""
        self.look = True

    def step(self, level):
        """Follow the water; return the word of closed contacts."""
        if self.look or not self.low < level < self.high:
            for f in self.fitted:
                f.see(level)
            self._read(level)
        return self.word

    def _read(self, level):
        word, busy = 0, False
        low, high = -1.0, 1e9
        for i, f in enumerate(self.floats):
            if f is None:
                continue
            if f.read():
                word |= 1 << i
            busy = busy or f.busy()
            if f.wet:
                low = max(low, f.dry_at)
            else:
                high = min(high, f.wet_at)
        self.word, self.low, self.high, self.look = word, low, high, busy

    def wet_word(self):
        """Return the contacts as read: bits set mean wet."""
        word = 0
        for i, f in enumerate(self.floats):
            if f is not None and f.closed != f.normally_closed:
                word |= 1 << i
        return word
