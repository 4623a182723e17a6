"""One step of the hose test: what it is called, why it is taken, which items of the record it fills."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

DONE = "filled by another step"


@dataclass(frozen=True)
class Step:
    """`run(context)` carries it out and puts its items.

    `fits(context)` returns "" where it can be carried out here, else the reason
    why not, or DONE where another step has filled its items already.
    """

    key: str
    title: str
    why: str
    items: tuple
    run: Callable[[Any], None]
    fits: Callable[[Any], str] | None = None
    caution: str = ""
