"""What no controller can do for want of anything that tells it, and why: the last three tables of must_survive.toml.

A row excuses a night from one promise and asks for what is left of it: a flood that must be called once a sound contact
has told of it for so long, a dry run without end that must be called at once.
"""

from bisect import bisect_right

from duplexsump.control import settings as s

from host_sim.proof.campaign import nights
from host_sim.proof.told import warning

CONTACTS = ("off", "lead", "lag")
GRACE_S = 2.0  # debounce, and the tick that follows


def no_reading(night, trace, site):
    """Return the row that lets pumps run dry for long under the faults of a Night, None: no such row."""
    for row in nights.excuses("no_reading"):
        if nights.both(row, night.names) and night.sensing in row["sensing"] and _froze(row, trace, site):
            return row
    return None


def _froze(row, trace, site):
    # Whether the transmitter froze above the contact that the row names; a row that names none asks for nothing.
    if "froze_above" not in row:
        return True
    level_m = _turns_m(CONTACTS.index(row["froze_above"]), site)
    froze_s = [event.time_s for event in trace.events
               if event.kind == "fault" and event.data["name"] == "transmitter-frozen" and event.data["on"]]
    return any(_level_m(trace, at_s) >= level_m for at_s in froze_s)


def _level_m(trace, at_s):
    return trace.level_m[max(0, bisect_right(trace.time_s, at_s) - 1)]


def stands(trace, at_s):
    """Return whether a high alarm stands at `at_s`."""
    return any(alarm.priority == "high" and alarm.raised_s <= at_s and (alarm.cleared_s is None
               or alarm.cleared_s >= at_s) for alarm in trace.alarms)  # fmt: skip


def untold(night, trace, site):
    """Return why nobody could be called before the floor got wet in a Night, or "" where somebody could."""
    wet_s = trace.totals.floor_first_s
    on = faults_at(trace, wet_s)
    for row in nights.excuses("untold"):
        told = any(_told(contact, row, night, trace, site, on) for contact in ("lead", "lag"))
        if on & set(row["dead"]) and not told:
            return row["reason"]
    return ""


def faults_at(trace, at_s):
    """Return the set of faults that stand at `at_s`."""
    on = set()
    for event in trace.events:
        if event.kind == "fault" and event.time_s <= at_s:
            (on.add if event.data["on"] else on.discard)(event.data["name"])
    return on


def _told(contact, row, night, trace, site, on):
    # Whether a contact that is sound has told of the water for longer than the row asks for.
    if on & {f"{contact}-stuck-dry", f"{contact}-wire-broken", "common-wire-broken"}:
        return False
    if night.level == "transmitter" and any(name.startswith("transmitter-") for name in on):
        return False
    passed_s = warning.passed_s(trace, _turns_m(CONTACTS.index(contact), site))
    return trace.totals.floor_first_s - passed_s > row[f"{contact}_s"] + GRACE_S


def _turns_m(i, site):
    # The level in m at which a contact turns wet, or at which the transmitter takes its place.
    if site.contacts[i] is not None:
        return site.contacts[i].wet_m
    return site.transmitter.zero_m + site.settings[s.LEVEL_OFF_MM + i] / 1000.0
