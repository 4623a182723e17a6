"""What a remark is: what raises it, and the cures that go with it.

A cure is a text with numbers and the edits of the site file that carry it out.
"""

from dataclasses import dataclass
from typing import Any

# What a cure costs, in steps from a setting to broken concrete; our own choice.
SETTING, PAPER, HAND, PARTS, MACHINE, CONCRETE, DEEP = range(7)
COSTS = (
    "a setting", "a change of plan, nothing of it is installed yet", "an hour with hand tools", "parts and a day",
    "a new pump or battery", "breaking the floor", "a deep excavation",
)  # fmt: skip


@dataclass(frozen=True)
class Cure:
    """What to do, in words, and the edits of the site file (dotted key: value, None to take it out).

    `cost` is a place of COSTS.  `measures`: it is a measurement, whose outcome
    nobody knows before it is made; it is told, and never applied by itself.
    """

    text: str
    edits: dict
    cost: int = PARTS
    measures: bool = False


@dataclass(frozen=True)
class Remark:
    """One row of the catalogue.

    `raised(result, say)` returns the reason with its numbers, or None.
    A remark at the limit is not serious, and says so in its own title.
    `cures(result, say)` returns families of Cures, each family from the
    smallest step up.  `every`: all families are worth telling, not only the first that cures.
    """

    name: str
    section: str
    serious: bool  # a serious remark means that the pit does not fit
    title: str
    raised: Any
    cures: Any
    every: bool = False
    at_limit: Any = None  # at_limit(result): whether the figure is over its limit by less than it is known
    limit_title: str = ""  # the title then


@dataclass(frozen=True)
class Found:
    """A remark that a site raises: its reason, and the cures that were tried and found to work."""

    remark: Remark
    reason: str
    cures: tuple
    untried: tuple = ()  # told where no single cure is enough
    at_limit: bool = False

    @property
    def serious(self):
        """Whether the site does not fit for this remark."""
        return self.remark.serious and not self.at_limit

    @property
    def title(self):
        return self.remark.limit_title if self.at_limit else self.remark.title
