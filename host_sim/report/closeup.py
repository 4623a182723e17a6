"""A stretch of a run cut out as a trace of its own, to be drawn close up.

Highest water, counts and times are those of the stretch, not of the whole run.
"""

from dataclasses import replace

import numpy as np
from duplexsump.control.records import CONTACT_NAMES

from host_sim.run.trace import Totals, Trace

# Half the width of the usual close-up: a few cycles on either side of the moment that matters.
HALF_S = 20 * 60.0


def window(trace, middle_s, half_s=HALF_S):
    """Return (start_s, end_s) of a close-up around `middle_s`, moved to lie within the run."""
    start = max(0.0, min(middle_s - half_s, trace.duration_s - 2 * half_s))
    return start, min(trace.duration_s, start + 2 * half_s)


def cut(trace, start_s, end_s):
    """Return the stretch start_s..end_s of a trace as a trace whose time begins at 0."""
    time_s = np.asarray(trace.time_s, float)
    # One point beyond each end, so that the line reaches the edges.
    first = max(0, int(np.searchsorted(time_s, start_s)) - 1)
    last = min(len(time_s), int(np.searchsorted(time_s, end_s)) + 1)
    found = Trace(
        trace.site_name,
        trace.controller,
        trace.seed,
        trace.begins_s + start_s,
        end_s - start_s,
        trace.floor_m,
        trace.pit_depth_m,
        dict(trace.contact_trip_m),
        dict(trace.contact_release_m),
    )
    found.time_s = list(np.clip(time_s[first:last], start_s, end_s) - start_s)
    for name in ("level_m", "inflow_m3s", "battery_v"):
        setattr(found, name, list(getattr(trace, name)[first:last]))
    found.current_a = [list(current[first:last]) for current in trace.current_a]
    for name in ("runs", "supply", "outputs", "faults", "suspects"):
        setattr(found, name, _clipped(getattr(trace, name), start_s, end_s))
    found.alarms = _clipped_alarms(trace, start_s, end_s)
    found.contact_changes = {name: _states(trace, name, start_s, end_s) for name in trace.contact_changes}
    found.totals = _totals(trace, found, start_s)
    return found


def _clipped(spans, start_s, end_s):
    inside = [span for span in spans if span.end_s > start_s and span.start_s < end_s]
    return [
        replace(span, start_s=max(span.start_s, start_s) - start_s, end_s=min(span.end_s, end_s) - start_s)
        for span in inside
    ]


def _clipped_alarms(trace, start_s, end_s):
    found = []
    for alarm in trace.alarms:
        cleared = trace.duration_s if alarm.cleared_s is None else alarm.cleared_s
        if cleared > start_s and alarm.raised_s < end_s:
            ended = None if cleared >= end_s else cleared - start_s
            found.append(replace(alarm, raised_s=max(alarm.raised_s, start_s) - start_s, cleared_s=ended))
    return found


def _states(trace, name, start_s, end_s):
    before = [wet for time, wet in trace.contact_changes[name] if time <= start_s]
    after = [(time - start_s, wet) for time, wet in trace.contact_changes[name] if start_s < time < end_s]
    return [(0.0, before[-1] if before else False), *after]


def wet_spans(trace, name):
    """Return the stretches (start_s, end_s) in which contact `name` was wet."""
    changes = [*trace.contact_changes.get(name, []), (trace.duration_s, False)]
    spans = []
    for (start, wet), (end, _) in zip(changes, changes[1:], strict=False):
        if wet and end > start:
            spans.append((start, end))
    return spans


def contacts_known(trace):
    """Return the names of the contacts whose states were recorded, highest first."""
    return [name for name in reversed(CONTACT_NAMES) if name in trace.contact_changes]


def _totals(trace, found, start_s):
    level = np.asarray(found.level_m, float)
    totals = Totals()
    if len(level):
        place = int(level.argmax())
        totals.highest_m, totals.highest_at_s = float(level[place]), float(found.time_s[place])
    wet = level >= trace.floor_m
    totals.floor_wet_s = float(np.diff(found.time_s)[wet[:-1]].sum()) if len(level) > 1 else 0.0
    for run in found.runs:
        totals.starts[run.pump - 1] += run.start_s > 0
        totals.run_s[run.pump - 1] += run.end_s - run.start_s
    first = trace.totals.first_alarm_s
    if first is not None and 0 <= first - start_s < found.duration_s:
        totals.first_alarm_s = first - start_s
    totals.battery_used = trace.totals.battery_used
    return totals
