"""Logs with a row only where something changed: each reading holds until the next one of its channel.

Between two rows such a log says "no change", which cannot be told from a logger
that stood still; so nothing in it is a gap, and what was held forward is counted.
"""

import re

import numpy as np

from host_sim.replay.reading.log import UNKNOWN, note
from host_sim.report.clock import lasting

LEAST_ROWS = 8
EVEN = 0.25  # of the usual spacing: steps from row to row as near it as this are even
IRREGULAR = 0.5  # of the steps; a logger with an interval of its own has more even ones than this; our own choice
SPARSE = 0.3  # of the cells empty: only what changed was written; our own choice
CHANGING = 0.95  # of the rows that tell something new, where every row tells it all
CLOCKS_S = (300.0, 60.0, 30.0, 10.0, 5.0, 1.0)  # steps in which stamps are kept
FINEST_S = 0.1
QUIET_STEPS = 4.0  # of the usual change: a reading moved no more than this over a long silence
HOLE = 5.0  # usual spacings


def looks_held(time_s, numbers, states):
    """Tell whether a log seems to hold a row only where something changed.

    `time_s` is an array of n; `numbers` and `states` are lists of arrays of n,
    nan or UNKNOWN where a row has no cell of that channel.
    """
    steps = np.diff(time_s)
    if len(steps) < LEAST_ROWS:
        return False
    if any(_only_changes(values) for values in states):
        return True
    usual = float(np.median(steps))
    if (np.abs(steps - usual) <= EVEN * usual).mean() >= IRREGULAR:
        return False
    empty = [np.isnan(values) for values in numbers] + [values == UNKNOWN for values in states]
    if len(empty) > 1 and np.mean(empty) > SPARSE:
        return True
    if not numbers:
        changed = np.logical_or.reduce([np.diff(values) != 0 for values in states])
        return bool(changed.mean() >= CHANGING)
    level = numbers[0]
    moved = np.abs(np.diff(level))
    if np.isnan(moved).any() or (moved == 0.0).mean() > 1.0 - CHANGING:
        return False
    silent = steps > HOLE * usual
    return bool(silent.any() and (moved[silent] <= QUIET_STEPS * np.median(moved)).all())


def _only_changes(values):
    # A channel with few cells, each of which says another thing than the one before it.
    known = values[values != UNKNOWN]
    few = (values == UNKNOWN).mean() > SPARSE
    return bool(few and len(known) > 2 and (np.diff(known) != 0).mean() >= CHANGING)


def clock_step_s(time_s):
    """Return the step in which the stamps of an array of times are kept, in seconds: FINEST_S where they have none."""
    for step in CLOCKS_S:
        rest = (time_s - time_s[0]) / step
        if (np.abs(rest - np.round(rest)) < 0.02).mean() > 0.95:
            return step
    return FINEST_S


def forward(values):
    """Return an array of states (UNKNOWN: no cell) or numbers (nan) in which each cell holds until the next."""
    known = values != UNKNOWN if values.dtype.kind == "i" else ~np.isnan(values)
    last = np.maximum.accumulate(np.where(known, np.arange(len(values)), -1))
    return np.where(last < 0, values, values[np.maximum(last, 0)])


def apply(log):
    """Hold every channel of a Log forward, in place: states at every row, the level to just before its next reading.

    Counts what was held in the log's issues, clears its gaps and sets `held` and `interval_s`.
    """
    log.held, log.gaps = True, []
    # The holes in time are told in other words below, so what they did to single rows is not told twice.
    log.issues[:] = [issue for issue in log.issues if issue.kind not in ("gap", "drop-out")
                     or not re.match("gaps|missing", issue.text)]  # fmt: skip
    log.interval_s = clock_step_s(log.time_s)
    filled = 0
    for values in (*log.contacts.values(), *log.pumps, log.mains):
        if values is not None:
            before = int((values == UNKNOWN).sum())
            values[:] = forward(values)
            filled += before - int((values == UNKNOWN).sum())
    for values in (log.rain_m_s, *log.current_a):
        if values is not None:
            before = int(np.isnan(values).sum())
            values[:] = forward(values)
            filled += before - int(np.isnan(values).sum())
    note(log.issues, "held forward", filled, "readings held forward to the next row of their channel")
    if log.level_m is not None and (~np.isnan(log.level_m)).sum() > 2:
        _hold_level(log)
    longest = float(np.diff(log.time_s).max())
    note(log.issues, "rows at changes", log.rows_read,
         "rows, one only where something changed: silence counts as no change, and a logger that stood still looks the "
         f"same (longest silence {lasting(longest)})")  # fmt: skip


def _hold_level(log):
    # A reading stands until just before the next one: else a pump that starts after a long silence seems to have
    # drawn the water down all the while.
    rows = np.flatnonzero(~np.isnan(log.level_m))
    times = log.time_s[rows]
    steps = np.diff(times)
    log.interval_s = max(log.interval_s, float(np.quantile(steps, 0.1)))
    late = np.flatnonzero(steps > 2.0 * log.interval_s)
    new = times[late + 1] - log.interval_s
    source = np.searchsorted(log.time_s, new, side="right") - 1
    taken = log.time_s[source] == new
    late, new, source = late[~taken], new[~taken], source[~taken]
    time = np.concatenate((log.time_s, new))
    order = np.argsort(time, kind="stable")

    def merged(values, added):
        return None if values is None else np.concatenate((values, added))[order]

    level = merged(log.level_m, log.level_m[rows[late]])
    log.contacts = {name: merged(values, values[source]) for name, values in log.contacts.items()}
    log.pumps = [merged(values, None if values is None else values[source]) for values in log.pumps]
    log.current_a = [merged(values, None if values is None else values[source]) for values in log.current_a]
    log.mains = merged(log.mains, None if log.mains is None else log.mains[source])
    log.rain_m_s = merged(log.rain_m_s, None if log.rain_m_s is None else log.rain_m_s[source])
    log.time_s, log.level_m = time[order], level
    note(log.issues, "level held", len(new), "readings of the level held forward to just before the next one")
