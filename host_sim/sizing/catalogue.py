"""The catalogue: every remark that the sizing can make, in the order of the work."""

from . import remarks_contacts, remarks_inflow, remarks_pipe, remarks_pit, remarks_reserve, remarks_supply

CATALOGUE = (
    *remarks_inflow.REMARKS,
    *remarks_pipe.REMARKS,
    *remarks_pit.REMARKS,
    *remarks_reserve.REMARKS,
    *remarks_supply.REMARKS,
    *remarks_contacts.REMARKS,
)


def by_name(name):
    """Return the Remark of a name.  Raises KeyError for an unknown one."""
    return {remark.name: remark for remark in CATALOGUE}[name]
