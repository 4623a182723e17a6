"""L1: debounce and chatter.  From the contact word to contacts that hold still.

`Chatter` stands before the recorded input word, so that a fluttering contact
cannot fill a journal; `Contacts` debounces what it lets through.
"""

from . import settings as s
from . import timers as tm
from .records import DEADLINE, STATE
from .ticks import NEVER, const, diff

WINDOW_MS = const(10000)  # more than five changes within this time are chattering; steady this long ends it
_NONE_MS = const(20000)  # further away than any change in the window


class Chatter:
    """L1: a contact that changes more than 5 times in 10 s reads wet until steady for 10 s."""

    FIELDS = (
        ("seen", STATE, 0, 0),
        ("mask", STATE, 0, 0),
        ("changes", DEADLINE, 20, 0),  # when the last changes of each contact leave the window
        ("steady", DEADLINE, 4, 0),  # when each will have been steady long enough
    )

    def __init__(self, timers: "tm.Timers") -> None:
        self.timers = timers
        self.seen = 0
        self.mask = 0
        self.changes = [NEVER] * 20
        self.steady = [NEVER] * 4

    def begin(self, word: int) -> None:
        """Take the first reading after a power-up as it is."""
        self.seen = word
        self.mask = 0
        for i in range(20):
            self.changes[i] = NEVER
        for i in range(4):
            self.steady[i] = NEVER

    def step(self, word: int) -> int:
        """Return `word` with every chattering contact held wet."""
        turned = word ^ self.seen
        if turned or self.timers.rang[tm.CHATTER]:
            now = self.timers.now
            self.seen = word
            for i in range(4):
                self._forget(i, now)
                if turned & (1 << i):
                    self._turn(i, now)
            self._wake(now)
        return word | self.mask

    def _forget(self, i: int, now: int) -> None:
        for k in range(5 * i, 5 * i + 5):
            if self.changes[k] >= 0 and diff(now, self.changes[k]) >= 0:
                self.changes[k] = NEVER
        if self.steady[i] >= 0 and diff(now, self.steady[i]) >= 0:
            self.steady[i] = NEVER
            self.mask &= ~(1 << i)

    def _turn(self, i: int, now: int) -> None:
        end = (now - 0x3FFFFFFF - 1 + WINDOW_MS) & 0x3FFFFFFF
        k = self._free(5 * i, 5 * i + 5)
        if k < 0:  # a sixth change while five are still in the window
            self.mask |= 1 << i
            k = 5 * i  # any: until all five have left the window it chatters
        self.changes[k] = end
        self.steady[i] = end

    def _free(self, first: int, end: int) -> int:
        for k in range(first, end):
            if self.changes[k] < 0:
                return k
        return NEVER

    def _wake(self, now: int) -> None:
        # One timer rings for the soonest of them all; a contact is steady when
        # its newest change leaves the window, so `steady` adds no instant of its own.
        least = _NONE_MS
        for t in self.changes:
            if t >= 0 and diff(t, now) < least:
                least = diff(t, now)
        if least < _NONE_MS:
            self.timers.arm(tm.CHATTER, least)


class Contacts:
    """L1: a contact changes after holding its new value for `debounce`.

    `wet` is the debounced word; `rose` and `fell` are the contacts that turned
    in this very step.
    """

    FIELDS = (("seen", STATE, 0, 0), ("wet", STATE, 0, 0))

    def __init__(self, settings: list[int], timers: "tm.Timers") -> None:
        self.settings = settings
        self.timers = timers
        self.seen = 0
        self.wet = 0
        self.rose = 0
        self.fell = 0

    def begin(self, word: int) -> None:
        """Take the first reading after a power-up as it is; nothing turned."""
        self.seen = word
        self.wet = word

    def step(self, word: int) -> None:
        """Debounce `word`."""
        self.rose = 0
        self.fell = 0
        turned = word ^ self.seen
        self.seen = word
        if turned or self.timers.any:
            for i in range(4):
                if turned & (1 << i):
                    self._turn(i, (word ^ self.wet) & (1 << i))
                elif self.timers.rang[tm.DEBOUNCE + i]:
                    self._settle(1 << i)

    def _turn(self, i: int, away: int) -> None:
        # The reading changed: away from the debounced one, or back to it.
        if away:
            self.timers.arm(tm.DEBOUNCE + i, self.settings[s.DEBOUNCE_MS])
        else:
            self.timers.stop(tm.DEBOUNCE + i)

    def _settle(self, bit: int) -> None:
        self.wet ^= bit
        if self.wet & bit:
            self.rose |= bit
        else:
            self.fell |= bit
