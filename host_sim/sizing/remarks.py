"""The machinery of remarks: what one is, which a site raises, and which of its cures really cures it.

A remark carries what raises it and what cures it.  A cure is a text with
numbers and the edits of the site file that carry it out, so every cure that a
report prints was tried: the site was sized again with it, and the remark was gone.
"""

from dataclasses import dataclass
from typing import Any

from host_sim.errors import InputError

from .document import edited
from .model import size


@dataclass(frozen=True)
class Cure:
    """What to do, in words, and the edits of the site file (dotted key: value, None to take it out)."""

    text: str
    edits: dict


@dataclass(frozen=True)
class Remark:
    """One row of the catalogue.

    `raised(result, say)` returns the reason with its numbers, or None.
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


@dataclass(frozen=True)
class Found:
    """A remark that a site raises: its reason, and the cures that were tried and found to work."""

    remark: Remark
    reason: str
    cures: tuple
    untried: tuple = ()  # told where no single cure is enough


def works(result, remark, cure, say):
    """Return the Result with the cure if the remark is gone with it, else None."""
    try:
        after = size(edited(result.inputs.data, cure.edits))
    except InputError:
        return None
    return after if remark.raised(after, say) is None else None


def working_cures(result, remark, say):
    """Return the first Cure that works of each family; of the first working family only, unless every one is wanted."""
    found = []
    for family in remark.cures(result, say):
        for cure in family:
            if works(result, remark, cure, say) is not None:
                found.append(cure)
                break
        if found and not remark.every:
            break
    return tuple(found)


def raised(result, say, with_cures=True):
    """Return a list of Found, serious ones first."""
    from .catalogue import CATALOGUE

    found = []
    for remark in CATALOGUE:
        reason = remark.raised(result, say)
        if reason is None:
            continue
        cures, untried = (), ()
        if with_cures:
            cures = working_cures(result, remark, say)
            if not cures:
                untried = tuple(family[0] for family in remark.cures(result, say) if family)
        found.append(Found(remark, reason, cures, untried))
    return sorted(found, key=lambda item: not item.remark.serious)


def verdict(found):
    """Return "fits", "fits with remarks" or "does not fit"."""
    if any(item.remark.serious for item in found):
        return "does not fit"
    return "fits with remarks" if found else "fits"
