"""What an onlooker can know of a run without asking the controller: contacts that have settled, and how long.

Written from clause L1 alone.  Times are milliseconds that do not wrap.
"""

from duplexsump.control import records

CHATTER_EDGES = 5
CHATTER_MS = 10_000


class Settled:
    """Contacts after the chatter limit and then the debounce, as L1 says, from the raw contact word."""

    def __init__(self, debounce_ms):
        self.debounce_ms = debounce_ms
        self.word = 0
        self.chatter = 0
        self.raw = None
        self.limited = 0
        self.changed_ms = [0, 0, 0, 0]  # of the raw contact
        self.since_ms = [0, 0, 0, 0]  # of the limited contact
        self.changes_ms = [[], [], [], []]

    def see(self, now_ms, raw):
        """Take the raw word (set bit: wet) at an instant; return the settled word."""
        if self.raw is None:
            # The first reading after a power-up is taken as it is: it is no edge (L2, "before any edge").
            self.raw = self.word = self.limited = raw
            self.since_ms = [now_ms] * 4
            self.changed_ms = [now_ms] * 4
        for i, bit in enumerate(records.CONTACTS):
            if self.chatter & bit and now_ms - self.changed_ms[i] >= CHATTER_MS:
                self.chatter &= ~bit
            if (raw ^ self.raw) & bit:
                self.changed_ms[i] = now_ms
                self.changes_ms[i].append(now_ms)
            self._limit(i, bit, now_ms)
        limited = raw | self.chatter
        for i, bit in enumerate(records.CONTACTS):
            if (limited ^ self.limited) & bit:
                self.since_ms[i] = now_ms
            if now_ms - self.since_ms[i] >= self.debounce_ms:
                self.word = (self.word & ~bit) | (limited & bit)
        self.raw = raw
        self.limited = limited
        return self.word

    def _limit(self, i, bit, now_ms):
        self.changes_ms[i] = [t for t in self.changes_ms[i] if now_ms - t < CHATTER_MS]
        if len(self.changes_ms[i]) > CHATTER_EDGES:
            self.chatter |= bit


class Held:
    """How long a condition has stood without a break."""

    def __init__(self):
        self.from_ms = None

    def see(self, now_ms, stands):
        """Take the condition at an instant; return for how many ms it has stood (0 when it does not)."""
        if not stands:
            self.from_ms = None
            return 0
        if self.from_ms is None:
            self.from_ms = now_ms
        return now_ms - self.from_ms
