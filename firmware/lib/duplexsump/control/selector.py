"""M1: the hand-off-auto selectors, with HAND's limits."""

from . import settings as s
from . import timers as tm
from .records import AGAIN, IN_SELECTOR_1, LEAD, SELECT_AUTO, SELECT_HAND, SELECT_OFF, STATE
from .ticks import DAY_MS, const

AWAY_MS = const(1800000)


class Selectors:
    """Where each selector stands and what it means; masks over pumps are 1 for pump 1, 2 for pump 2."""

    FIELDS = (
        ("at", STATE, 2, 0),
        ("spent", STATE, 0, AGAIN),  # HAND that counts as AUTO until moved
        ("overrun", STATE, 0, 0),  # HAND that met its limit
        ("away", STATE, 0, 0),  # some selector not in AUTO for 30 min
        ("away_long", STATE, 0, 0),  # ... for 24 h
    )

    def __init__(self, settings: list[int], timers: "tm.Timers") -> None:
        self.settings = settings
        self.timers = timers
        self.at = [SELECT_AUTO, SELECT_AUTO]
        self.spent = 0
        self.overrun = 0
        self.away = False
        self.away_long = False
        self.returned = 0  # pumps whose selector left OFF in this very step

    def begin(self, inputs: list[int]) -> None:
        """HAND at power-up is AUTO until moved."""
        self.spent = 0
        for n in range(2):
            self.at[n] = inputs[IN_SELECTOR_1 + n]
            if self.at[n] == SELECT_HAND:
                self.spent |= 1 << n

    def off(self, n: int) -> bool:
        """Tell whether pump `n` is switched off by hand."""
        return self.at[n] == SELECT_OFF

    def hand(self, n: int) -> bool:
        """Tell whether pump `n` is run by hand."""
        return self.at[n] == SELECT_HAND and not self.spent & (1 << n)

    def auto(self, n: int) -> bool:
        """Tell whether pump `n` is left to the controller."""
        return not self.off(n) and not self.hand(n)

    def step(self, inputs: list[int], out: int, dry: int, wet: int) -> None:
        """Read the selectors.

        `out`: pumps that are on; `dry`: pumps that have underloaded for dry_run; `wet`: contacts believed wet.
        """
        self.returned = 0
        self._read(0, inputs[IN_SELECTOR_1], out & 1)
        self._read(1, inputs[IN_SELECTOR_1 + 1], out & 2)
        if not wet & LEAD:
            self.spent |= self._by_hand() & out & dry
        if not wet and self.settings[s.SENSING] != s.SENSE_CURRENT:
            self._unseen(0, out & 1)
            self._unseen(1, out & 2)
        else:
            self.timers.stop(tm.HAND_DRY)
            self.timers.stop(tm.HAND_DRY + 1)
        self._away(self.at[0] != SELECT_AUTO or self.at[1] != SELECT_AUTO)

    def _read(self, n: int, to: int, on: int) -> None:
        if to != self.at[n]:
            self._moved(n, to)
        self._hand(n, on)

    def _moved(self, n: int, to: int) -> None:
        if self.at[n] == SELECT_OFF:
            self.returned |= 1 << n
        self.at[n] = to
        self.spent &= ~(1 << n)
        self.overrun &= ~(1 << n)

    def _hand(self, n: int, on: int) -> None:
        if self.timers.on_delay(tm.HAND + n, False, on and self.hand(n), self.settings[s.HAND_LIMIT_MS]):
            self.spent |= 1 << n
            self.overrun |= 1 << n

    def _unseen(self, n: int, on: int) -> None:
        # No contact vouches for water and no current tells: a run by hand lasts no longer than any other.
        if self.timers.on_delay(tm.HAND_DRY + n, False, on and self.hand(n), self.settings[s.BLIND_RUN_MS]):
            self.spent |= 1 << n

    def _by_hand(self) -> int:
        return (1 if self.hand(0) else 0) | (2 if self.hand(1) else 0)

    def _away(self, away: int) -> None:
        self.away = self.timers.on_delay(tm.AWAY, self.away, away, AWAY_MS)
        self.away_long = self.timers.on_delay(tm.AWAY_LONG, self.away_long, away, DAY_MS)
