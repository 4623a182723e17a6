"""Whether a fault can take effect in a site's scenario: it must begin before the end, on equipment that is fitted."""

from duplexsump.control.records import CONTACT_NAMES
from duplexsump.control.settings import SENSE_NOTHING, SENSING

HOUR_S = 3600.0


def refusal(fault, site):
    """Return why a Fault never takes effect in a Site's scenario, as a sentence; "" where it does."""
    if fault.start_s >= site.duration_s:
        return (
            f'fault "{fault.name}" begins {_hours(fault.start_s)} after the start, but the scenario lasts '
            f"{_hours(site.duration_s)}: let it begin earlier, or lengthen the scenario"
        )
    needs = fault.kind.needs
    if needs and not any(_fitted(part, site) for part in needs):
        return (
            f'fault "{fault.name}" never takes effect, this site has no {" or ".join(needs)}: '
            "choose another fault, or add the part to the site file"
        )
    return ""


def _hours(seconds):
    return f"{seconds / HOUR_S:.4g} h"


def _fitted(part, site):
    if part.endswith(" float"):
        return site.contacts[CONTACT_NAMES.index(part.split()[0])] is not None
    return {
        "level transmitter": site.transmitter is not None,
        "battery": site.supply.battery is not None,
        "charger": site.supply.charger is not None,
        "current sensor or run feedback": site.settings[SENSING] != SENSE_NOTHING,
    }[part]
