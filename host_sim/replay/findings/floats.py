"""Floats that did not follow the water: told by their own contact where it was recorded, else by when pumps started."""

import numpy as np
from duplexsump.control import settings as s
from duplexsump.control.records import CONTACT_NAMES

from host_sim.replay.findings.finding import ESTABLISHED, LIKELY, Finding, spans
from host_sim.replay.limits import LATE_M, SWITCH_S, late_margin_m

BEYOND_M = 0.03  # a contact this far on the wrong side of the water is no matter of dead band; our own choice
STAND_S = 20.0  # and for so long
IDLE = 0.6  # of the time from the start level to the start, without a pump: a late start; our own choice
REST_S = 20.0  # between a stop and the next start of a motor; common practice, no source
FLOOR_M = 0.01
LOW_M = 0.018


def contradictions(context):
    """Contacts that contradict the recorded level, or each other."""
    log, found = context.log, []
    known = log.level_m is not None and not log.levels_at_contacts_only
    for i, name in enumerate(CONTACT_NAMES):
        values, contact = log.contacts.get(name), context.site.contacts[i]
        if values is None or contact is None:
            continue
        if known:
            with np.errstate(invalid="ignore"):
                beyond = BEYOND_M + 4.0 * min(context.sigma_m, 0.05)
                dry = (values == 0) & (log.level_m > contact.wet_m + beyond)
                wet = (values == 1) & (log.level_m < contact.dry_m - beyond)
        else:
            dry, wet = _by_order(log, i, context.site)
        for mask, reads in ((dry, "dry"), (wet, "wet")):
            for start, end in spans(mask, log.time_s, STAND_S, 900.0):
                found.append(_stuck(context, name, contact, reads, start, end, known))
    return found


def _by_order(log, i, site):
    # Dry below a wet one: it is the lower that missed its turn, or the higher; the pair in between tells.
    values = log.contacts[CONTACT_NAMES[i]]
    above = [log.contacts[n] for k, n in enumerate(CONTACT_NAMES) if k > i and n in log.contacts]
    below = [log.contacts[n] for k, n in enumerate(CONTACT_NAMES) if k < i and n in log.contacts]
    dry = np.zeros(len(values), bool)
    wet = np.zeros(len(values), bool)
    if above:
        # The fewest faults: a contact above it wet, and every one below it wet as well.
        dry = (values == 0) & np.logical_or.reduce([a == 1 for a in above])
        if below:
            dry &= np.logical_and.reduce([b == 1 for b in below])
    if len(below) >= 2:
        wet = (values == 1) & np.logical_and.reduce([b == 0 for b in below])
    return dry, wet


def _stuck(context, name, contact, reads, start, end, known):
    log, clock = context.log, context.clock
    rows = (log.time_s >= start) & (log.time_s <= end)
    other = "wet" if reads == "dry" else "dry"
    turns = context.level(contact.wet_m if reads == "dry" else contact.dry_m)
    evidence = [f"from {clock(start)} to {clock(end)} the {name} contact read {reads}"]
    if known:
        far = np.nanmax(log.level_m[rows]) if reads == "dry" else np.nanmin(log.level_m[rows])
        evidence.append(f"the water was at {context.level(float(far))}; the contact turns {other} at {turns}")
    else:
        evidence.append(f"by the other contacts the water was past {turns}, where it turns {other}")
    # A contact that turned in between did follow the water at times: so "stuck" is likely at most.
    turned = (log.contacts[name][rows & (log.time_s < end)] == int(other == "wet")).any()
    # One row on the wrong side may be a reading that is off; three are not.
    several = rows.sum() >= 3 and end - start > 2.0 * log.spacing_s
    # One that never turned in the whole log may be no stuck float: the column then tells closed, not wet.
    never = reads == "wet" and not (log.contacts[name] == 0).any()
    confidence = ESTABLISHED if known and not turned and several and not never else LIKELY
    text = f"the {name} float stayed {reads} regardless of the water level"
    if turned:
        text = f"the {name} float read {reads} on and off, against the water level"
    severity = {"lead": 3.0, "high": 2.0}.get(name, 1.5) if reads == "dry" else 1.5
    causes = [f"the {name} float hung up", _wire(context.site, name, reads)]
    if never:
        evidence.append("it never read dry in this log, so which of these cannot be told")
        causes.append('the column tells that a normally-closed contact is closed (then wet = ["0"] in the mapping)')
    return Finding("float sticking", confidence, start, end, text, evidence, causes,
                   f"{name}-stuck-{reads}", severity)  # fmt: skip


def _wire(site, name, reads):
    # A normally-closed contact opens as the water rises, so a broken wire reads wet.
    closed = site.settings[s.NORMALLY_CLOSED] >> CONTACT_NAMES.index(name) & 1
    return f"its wire is {'shorted' if (reads == 'wet') != bool(closed) else 'broken'}"


def usual_start(context):
    """Return the level at which pumps start in this log: that of the starts near the site's lead contact."""
    lead = context.site.contacts[1]
    starts = np.array([run.start_m for run in context.runs])
    if lead is None:
        return float(np.median(starts)) if len(starts) else np.nan
    near = starts[np.abs(starts - lead.wet_m) < 0.03]
    return float(np.median(near)) if len(near) >= 2 else lead.wet_m


def _margin(context, fill_m3s, level_m):
    rise = max(0.0, fill_m3s) / context.site.pit.area_m2(level_m)
    return late_margin_m(rise, context.log.spacing_s, context.sigma_m)


def late_starts(context):
    """Stretches in which the water went above the start level before a pump answered, or none did."""
    log = context.log
    if log.level_m is None or log.levels_at_contacts_only or not context.parts:
        return []
    usual = usual_start(context)
    late = [run for run in context.runs if run.start_m - usual > _margin(context, run.fill_m3s, usual)
            and _was_filling(context, run, usual) and not _rested(context, run)]  # fmt: skip
    found = []
    for group in _groups(late):
        start = _crossing(context, usual, group[0].start_s)
        found.append(_late(context, usual, group, start, group[-1].start_s))
    last = context.parts[-1]
    if last.on == 0 and last.end_m - usual > _margin(context, last.slope_m3s, usual):
        found.append(_late(context, usual, [], _crossing(context, usual, last.end_s), last.end_s))
    return [finding for finding in found if finding is not None]


def _rested(context, run):
    # Whether a run began as soon as a motor may start again: water that fills the pit within that rest waits for it.
    before = [other.end_s for other in context.runs if other.end_s <= run.start_s]
    return bool(before) and run.start_s - before[-1] < REST_S + context.log.spacing_s


def _was_filling(context, run, usual):
    # No pump ran from the start level up to this start, or up to the floor, over which a pump no longer shows;
    # after a hole in the log nothing can be said.
    log, start = context.log, _crossing(context, usual, run.start_s)
    rows = np.flatnonzero((log.time_s > start) & (log.time_s <= run.start_s))
    with np.errstate(invalid="ignore"):
        floor = rows[log.level_m[rows] > context.site.pit.floor_m - FLOOR_M] if len(rows) else rows
    end = float(log.time_s[floor[0]]) if len(floor) else run.start_s
    idle = sum(min(part.end_s, end) - max(part.start_s, start) for part in context.parts
               if part.on == 0 and part.end_s > start and part.start_s < end)  # fmt: skip
    return idle > IDLE * (end - start) > 0.0


def _groups(late):
    groups = []
    for run in late:
        if groups and run.order - groups[-1][-1].order <= 2:
            groups[-1].append(run)
        else:
            groups.append([run])
    return groups


def _crossing(context, level_m, before_s):
    # When the water last rose past a level before a time.
    log = context.log
    row = context.row_at(before_s)
    values = log.level_m[: row + 1]
    below = np.flatnonzero(~np.isnan(values) & (values < level_m))
    return float(log.time_s[below[-1]]) if len(below) else float(log.time_s[0])


def _late(context, usual, group, start, end):
    log, clock = context.log, context.clock
    rows = (log.time_s >= start) & (log.time_s <= end)
    if not rows.any():
        return None
    highest = float(np.nanmax(log.level_m[rows]))
    normal = sum(abs(run.start_m - usual) < 0.03 for run in context.runs)
    evidence = [f"pumps normally start at {context.level(usual)} ({normal} of {len(context.runs)} starts)"]
    if group:
        level = float(np.median([run.start_m for run in group]))
        many = f"the start at {clock(group[0].start_s)}"
        if len(group) > 1:
            many = f"{len(group)} starts from {clock(group[0].start_s)} to {clock(group[-1].start_s)}"
        evidence.append(f"{many} came late, at {context.level(level)}")
    else:
        evidence.append(f"no pump started from {clock(start)} to the end of the log")
    evidence.append(f"the water rose to {context.level(highest)} in that time")
    return _cause(context, group, start, end, rows, evidence, highest)


def _cause(context, group, start, end, rows, evidence, highest):
    log, site = context.log, context.site
    severity = 5.0 if highest > site.pit.floor_m else 3.0 if highest > usual_start(context) + 0.1 else 2.0
    causes = ["the lead float hung up", "the pump had no power", "the pump did not turn"]
    text = "no pump started as the water rose past the start level"
    if log.mains is not None and (log.mains[rows] == 0).mean() > 0.5:
        evidence.append("the mains was out in that time")
        return Finding("late start", ESTABLISHED, start, end, text + ": the mains was out", evidence,
                       ["the mains was out"], "mains-lost", severity)  # fmt: skip
    lead = log.contacts.get("lead")
    if lead is not None and (lead[rows] >= 0).any():
        if (lead[rows] == 0).mean() > 0.8:
            evidence.append("the lead contact read dry in that time")
            return Finding("late start", ESTABLISHED, start, end, text + ": the lead float hung up", evidence,
                           causes[:1], "lead-stuck-dry", severity)  # fmt: skip
        if (lead[rows] == 1).mean() > 0.5:
            evidence.append("the lead contact read wet in that time, so the float worked")
            return Finding("late start", LIKELY, start, end, text + ": the pump had no power or did not turn",
                           evidence, causes[1:], "pump1-will-not-start", severity)  # fmt: skip
    lag = site.contacts[2]
    at_lag = [run for run in group if lag is not None and abs(run.start_m - lag.wet_m) < LATE_M + 3.0 * context.sigma_m]
    if len(at_lag) >= 2 and len(at_lag) > 0.7 * len(group):
        at = context.level(lag.wet_m)
        evidence.append(f"that is the height of the lag float, {at}: it started a pump instead of the lead float")
        if not context.recorded:
            evidence.append("whether the lead pump was on meanwhile cannot be told from this log")
            return Finding("late start", LIKELY, start, end, text, evidence,
                           [causes[0], "the lead pump ran and delivered no water"], "lead-stuck-dry",
                           severity)  # fmt: skip
        return Finding("late start", LIKELY, start, end, text + ": the lead float hung up", evidence, causes[:1],
                       "lead-stuck-dry", severity)  # fmt: skip
    evidence.append("why cannot be told from this log: these causes look the same in it")
    return Finding("late start", LIKELY, start, end, text, evidence, causes, "lead-stuck-dry", severity)


def low_stops(context):
    """Runs that went on well below where pumping usually stops."""
    log, off = context.log, context.site.contacts[0]
    if off is None or log.level_m is None or log.levels_at_contacts_only or len(context.runs) < 1:
        return []
    area = context.site.pit.area_m2(off.dry_m)
    usual = off.dry_m - SWITCH_S * context.rates.nominal() / area
    ends = np.array([run.end_m for run in context.runs])
    near = ends[np.abs(ends - off.dry_m) < 0.04]
    if len(near) >= 3:
        usual = float(np.median(near))
    fall = context.rates.nominal() / area
    margin = LOW_M + 3.0 * context.sigma_m + fall * min(log.spacing_s, 3.0)
    low = [run for run in context.runs if run.end_m < usual - margin and run.end_s < log.time_s[-1] - 1.0]
    found = []
    for group in _groups(low):
        if len(group) < 2 and context.recorded is False and group[0].end_m > off.dry_m - 0.04:
            continue
        start, end = group[0].start_s, group[-1].end_s
        level = float(np.median([run.end_m for run in group]))
        when = f"{context.clock(start)} to {context.clock(end)}"
        evidence = [f"pumping normally stops at {context.level(usual)}; it continued down to {context.level(level)}, "
                    f"{when} (runs: {len(group)})"]
        found.append(Finding("low stop", LIKELY, start, end, "pumping continued below the stop level", evidence,
                             ["the off float hung up wet", "its contact is welded",
                              "a controller that stops by time because it suspects that float"], "off-stuck-wet",
                             1.5))  # fmt: skip
    return found
