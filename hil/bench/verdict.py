"""Verdicts on measured values, checks and procedures.

A measured value passes inside its limits, is marginal when it passes but lies
within `margin` of one of them, and fails outside.  A procedure's verdict is its
worst item's.
"""

from dataclasses import asdict, dataclass

PASS, MARGINAL, FAIL = "pass", "marginal", "fail"
SKIPPED, BROKEN_OFF = "skipped", "interrupted"
VERDICTS = (PASS, MARGINAL, FAIL, SKIPPED, BROKEN_OFF)
_WORTH = {PASS: 0, MARGINAL: 1, FAIL: 2}


class Failed(Exception):  # noqa: N818 - it reads as what a person would say of a procedure
    """The board did not do what the procedure requires; the text says what was seen."""


@dataclass(frozen=True)
class Measurement:
    """A value with its limits; `low` or `high` may be None where there is no limit on that side."""

    name: str
    value: float
    unit: str
    low: float | None
    high: float | None
    margin: float
    verdict: str

    def as_dict(self):
        """Return the measurement as plain data for a record."""
        return asdict(self)


@dataclass(frozen=True)
class Check:
    """A yes or no item with what was seen."""

    name: str
    verdict: str
    seen: str

    def as_dict(self):
        """Return the check as plain data for a record."""
        return asdict(self)


def judge(value, low, high, margin):
    """Return "pass", "marginal" or "fail" for a value between `low` and `high` (either may be None).

    Raises ValueError where the limits cross or the margin is negative.
    """
    if margin < 0 or (low is not None and high is not None and low > high):
        raise ValueError(f"limits {low} to {high} with a margin of {margin}: they must not cross")
    if (low is not None and value < low) or (high is not None and value > high):
        return FAIL
    near_low = low is not None and margin > 0 and value < low + margin
    near_high = high is not None and margin > 0 and value > high - margin
    return MARGINAL if near_low or near_high else PASS


def worst(verdicts):
    """Return the worst of some verdicts of "pass", "marginal", "fail"; "pass" for none."""
    return max(verdicts, key=_WORTH.__getitem__, default=PASS)
