"""The catalogue: every remark that the sizing can make, in the order of the work."""

from host_sim.sizing.remarks import contacts, inflow, pipe, pit, reserve, supply

CATALOGUE = (
    *inflow.REMARKS,
    *pipe.REMARKS,
    *pit.REMARKS,
    *reserve.REMARKS,
    *supply.REMARKS,
    *contacts.REMARKS,
)


def by_name(name):
    """Return the Remark of a name.  Raises KeyError for an unknown one."""
    return {remark.name: remark for remark in CATALOGUE}[name]
