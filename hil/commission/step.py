"""One step of the hose test: its title, its reason, the items of the record that it fills."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

DONE = "filled by another step"
PUMPS_DEAD, PUMPS_LIVE = "pumps dead", "pumps live"


@dataclass(frozen=True)
class Step:
    """`run(context)` carries it out and puts its items.

    `fits(context)` returns "" where it can be carried out here, else the reason
    why not, or DONE where another step has filled its items already.  `pumps` is
    what is made sure of before `run`, each time: PUMPS_DEAD where hands go into
    the pit, PUMPS_LIVE where a pump may start, "" where neither pump nor water is
    near.
    """

    key: str
    title: str
    why: str
    items: tuple
    run: Callable[[Any], None]
    fits: Callable[[Any], str] | None = None
    pumps: str = ""
    caution: str = ""
