"""Quality control of a log: order, duplicates, gaps, drop-outs and spikes, each counted and reported."""

import numpy as np

from host_sim.replay.reading.log import note
from host_sim.report.clock import lasting

GAP_SPACINGS = 5.0  # a hole of more than this many usual spacings is a gap; our own choice
LEAST_GAP_S = 30.0
SPIKE_M = 0.05  # how far a reading must stand from its neighbours to be no water; our own choice
SPIKE_DIFFS = 10.0  # and against the usual step from row to row
LONGEST_SPIKE = 3  # rows
FASTEST_M_S = 0.03  # water in a sump pit moves no faster, up or down; our own choice
LOWEST_M, HIGHEST_M = -0.3, 30.0  # outside this no sump pit has its water


def order(time_s, issues):
    """Return the places of the rows in order of time, each instant once (the first row of it is kept).

    `time_s` is an array of n seconds, nan where there is no stamp.
    """
    places = np.flatnonzero(~np.isnan(time_s))
    times = time_s[places]
    late = np.flatnonzero(times < np.maximum.accumulate(times)) if len(times) else np.array([], int)
    note(issues, "out of order", len(late), "rows out of time order, sorted",
         places[late[0]] + 1 if len(late) else 0)  # fmt: skip
    places = places[np.argsort(times, kind="stable")]
    times = time_s[places]
    again = np.flatnonzero(np.diff(times, prepend=-np.inf) == 0.0)
    return places, again


def duplicates(places, again, columns, issues):
    """Return the places without those that repeat an instant; `columns` are arrays of all rows."""
    if not len(again):
        return places
    differ = 0
    for i in again:
        a, b = places[i - 1], places[i]
        if any(not _same(values[a], values[b]) for values in columns):
            differ += 1
    row = int(places[again[0]]) + 1
    note(issues, "duplicate", len(again) - differ, "duplicate rows, dropped", row)
    note(issues, "conflicting duplicate", differ,
         "rows that repeat a time with different readings, first one kept", row)  # fmt: skip
    keep = np.ones(len(places), bool)
    keep[again] = False
    return places[keep]


def _same(a, b):
    return a == b or (a != a and b != b)


def gaps(time_s, issues):
    """Return [(start s, end s)] of holes between rows, counted in `issues`."""
    steps = np.diff(time_s)
    if not len(steps):
        return []
    least = max(LEAST_GAP_S, GAP_SPACINGS * float(np.median(steps)))
    holes = np.flatnonzero(steps > least)
    found = [(float(time_s[i]), float(time_s[i + 1])) for i in holes]
    if found:
        total, longest = sum(b - a for a, b in found), max(b - a for a, b in found)
        note(issues, "gap", len(found), f"gaps in the data ({lasting(total)} in total, longest {lasting(longest)})",
             int(holes[0]) + 2)  # fmt: skip
    return found


def drop_outs(values, name, issues, low=None, high=None):
    """Set readings outside low..high to nan, in place; count them and those that are missing."""
    missing = int(np.isnan(values).sum())
    note(issues, "drop-out", missing, f"missing readings of {name}", _first(np.isnan(values)))
    with np.errstate(invalid="ignore"):
        outside = np.zeros(len(values), bool)
        if low is not None:
            outside |= values < low
        if high is not None:
            outside |= values > high
    note(issues, "out of range", outside.sum(), f"impossible readings of {name}, dropped",
         _first(outside))  # fmt: skip
    values[outside] = np.nan


def spikes(level_m, issues, spike_m=None, spacing_s=1.0):
    """Set readings that stand far from both neighbours, for at most LONGEST_SPIKE rows, to nan, in place.

    A log so coarse that water itself goes as far from row to row, `spacing_s`
    apart, is left as it is; a limit that a person has set (`spike_m`) is taken.
    """
    good = np.flatnonzero(~np.isnan(level_m))
    if len(good) < 5:
        return
    values = level_m[good]
    strides = np.abs(np.diff(values))
    usual = float(np.quantile(strides, 0.9))
    limit = spike_m or max(SPIKE_M, SPIKE_DIFFS * usual, FASTEST_M_S * spacing_s)
    bad = np.zeros(len(values), bool)
    begins = np.flatnonzero(strides > limit)  # the last row before a spike, if it is one
    for width in range(1, LONGEST_SPIKE + 1):
        places = begins[begins + width + 1 < len(values)]
        before, after = values[places], values[places + width + 1]
        found = np.abs(after - before) < 0.5 * limit
        for k in range(1, width + 1):
            inside = values[places + k]
            found &= (np.abs(inside - before) > limit) & (np.abs(inside - after) > limit)
        for i in places[found]:
            bad[i + 1 : i + 1 + width] = True
    size = f"{limit / 0.0254:.1f} in / {limit * 1000:.0f} mm"
    note(issues, "spike", bad.sum(), f"spikes of the level (over {size}), dropped",
         int(good[np.flatnonzero(bad)[0]]) + 1 if bad.any() else 0)  # fmt: skip
    level_m[good[bad]] = np.nan


def _first(mask):
    return int(np.flatnonzero(mask)[0]) + 1 if mask.any() else 0
