"""Which remarks a site raises, and which of their cures really cure it.

Every cure that a report prints was tried: the site was sized again with it, and the remark was gone.
"""

from host_sim.errors import InputError
from host_sim.sizing.model import size
from host_sim.sizing.remarks.catalogue import CATALOGUE
from host_sim.sizing.remarks.remark import Found
from host_sim.sizing.tried import tried


def works(result, remark, cure, say):
    """Return the Result with the cure if the remark is gone with it, else None."""
    try:
        after = size(tried(result.inputs.data, cure.edits, result.rates_m3s))
    except InputError:
        return None
    return after if remark.raised(after, say) is None else None


def by_cost(families):
    """Return the families that hold any cure, cheapest first step first; those alike keep their order."""
    return sorted((family for family in families if family), key=lambda family: family[0].cost)


def working_cures(result, remark, say):
    """Return the first Cure that works of each family, cheapest first; of the first working family only, unless
    every one is wanted."""
    found = []
    for family in by_cost(remark.cures(result, say)):
        for cure in family:
            if works(result, remark, cure, say) is not None:
                found.append(cure)
                break
        if found and not remark.every:
            break
    return tuple(found)


def raised(result, say, with_cures=True):
    """Return a list of Found, serious ones first."""
    found = []
    for remark in CATALOGUE:
        reason = remark.raised(result, say)
        if reason is None:
            continue
        cures, untried = (), ()
        if with_cures:
            cures = working_cures(result, remark, say)
            if not cures:
                untried = tuple(family[0] for family in by_cost(remark.cures(result, say)))
        at_limit = remark.at_limit is not None and remark.at_limit(result)
        found.append(Found(remark, reason, cures, untried, at_limit))
    return sorted(found, key=lambda item: not item.serious)


def verdict(found):
    """Return "fits", "fits with remarks" or "does not fit"."""
    if any(item.serious for item in found):
        return "does not fit"
    return "fits with remarks" if found else "fits"
