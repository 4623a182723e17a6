"""What recorded pump states tell by themselves: starts, run time, the longest run and rest, bounds on the inflow.

Without a level nobody knows what a pump moved.  But a pump on floats stops where
the water has fallen to the off contact, so from stop to stop the pit holds the
same, and what came in was pumped: no more than the curve gives in that time, and
no less than what lies between the stop and the start level, which every fill
must bring.  Rows further apart than a draw-down lasts overlook runs; the share
of them that are on then bounds the run time (C. J. Clopper and E. S. Pearson,
"The use of confidence or fiducial limits", Biometrika 26, 1934).
"""

from dataclasses import dataclass, field

import numpy as np

from host_sim.replay import share
from host_sim.replay.findings.finding import spans
from host_sim.replay.inflow import Inflow
from host_sim.replay.limits import CURVE

TRAVEL = 0.7  # of the volume from stop to start: a fill brings at least this, floats and area known badly; our choice
ROOM = 0.15  # of the same: how far two stops may lie apart; our own choice
SHORT = 0.6  # of the shortest possible draw-down: a run shorter than this did not end at the off contact
LEAST_ROWS = 20  # of a window, where runs are overlooked
SURE = 0.995  # of the run time's bound


@dataclass
class Runs:
    """The recorded runs of a log: of each pump its starts and seconds on, (least, most); of both the longest times.

    `every` says that rows are near enough for every run to show; where they are
    not, starts are at least so many.  `longest_run` and `longest_rest` are
    (start s, end s) or None; `busiest` is (starts of one pump in an hour, its first s).
    """

    starts: dict = field(default_factory=dict)
    run_s: dict = field(default_factory=dict)
    every: bool = True
    longest_run: tuple | None = None
    longest_rest: tuple | None = None
    busiest: tuple | None = None


def runs_of(log, limits):
    """Return the Runs of a Log, or None where no pump state was recorded."""
    known = {n + 1: values for n, values in enumerate(log.pumps) if values is not None and (values >= 0).any()}
    if not known:
        return None
    found = Runs(every=log.every_change or not limits.spacing_s > limits.draw_down_s)
    time = log.time_s
    for n, values in known.items():
        on = (values == 1).astype(np.int8)
        at = time[np.flatnonzero(np.diff(on, prepend=0) == 1)]
        found.starts[n] = len(at)
        found.run_s[n] = _seconds(time, on, found.every, log.every_change or log.held)
        if len(at):
            counts = np.searchsorted(at, at + 3600.0) - np.arange(len(at))
            if found.busiest is None or counts.max() > found.busiest[0]:
                found.busiest = (int(counts.max()), float(at[int(counts.argmax())]))
    some = np.logical_or.reduce([values == 1 for values in known.values()])
    for key, mask in (("longest_run", some), ("longest_rest", ~some)):
        stretches = [pair for a, b in _unbroken(time, log.gaps) for pair in spans(mask[a:b], time[a:b], 0.0)]
        setattr(found, key, max(stretches, key=lambda pair: pair[1] - pair[0], default=None))
    return found


def _unbroken(time, gaps):
    # (first row, row past the last) of the stretches between gaps.
    edges = [0, *(int(np.searchsorted(time, end)) for _, end in gaps), len(time)]
    return [(a, b) for a, b in zip(edges, edges[1:], strict=False) if b - a > 1]


def _seconds(time, on, every, exact):
    # Run time by rows: between a row that is off and one that is on the pump ran for none of the time, or all of it.
    steps, both, either = np.diff(time), on[:-1] & on[1:], on[:-1] | on[1:]
    if exact:
        seconds = float((steps * on[:-1]).sum())
        return seconds, seconds
    if every:
        return float((steps * both).sum()), float((steps * either).sum())
    low, high = share.bounds(int(on.sum()), len(on), SURE)
    return low * float(time[-1] - time[0]), high * float(time[-1] - time[0])


def bounds(log, site, rates, limits, found):
    """Return an Inflow of bounds from the Runs of a Log without a level, or None where no two stops show.

    Each bound is that of the mean over its `spans`.
    """
    off, lead = site.contacts[:2]
    if off is None or lead is None or found is None:
        return None
    held = site.pit.volume_m3(lead.wet_m) - site.pit.volume_m3(off.dry_m)
    marks = (_stops if found.every else _rows)(log, limits)
    if len(marks) < 2:
        return None
    most = moved(log, site, rates, found.every)
    lows, highs, edges = [], [], []
    for a, b in zip(marks, marks[1:], strict=False):
        start, end = log.time_s[a], log.time_s[b]
        if any(start < stop and end > begin for begin, stop in log.gaps):
            continue
        length, fills = end - start, _fills(log, a, b)
        room = (ROOM if found.every else 1.0) * held
        pumped = most(a, b)
        high = pumped + room
        low = min(max(0.0, fills * TRAVEL * held - (0.0 if found.every else held)), high)
        lows.append(low / length)
        highs.append(high / length)
        edges.append((float(start), float(end)))
    if not edges:
        return None
    edges, low, high = np.array(edges), np.array(lows), np.array(highs)
    length = edges[:, 1] - edges[:, 0]
    volume = (float((low * length).sum()), float((high * length).sum()))
    if not log.gaps:  # the whole log in one: both hold, and its many rows leave less open
        whole = (_fills(log, 0, len(log.time_s) - 1) * TRAVEL - 1.0) * held, most(0, len(log.time_s) - 1) + held
        volume = (max(volume[0], whole[0]), min(volume[1], whole[1]))
    return Inflow(edges.mean(axis=1), (low + high) / 2.0, low, high, np.zeros(len(low), bool),
                  rate_m3s=rates.nominal(), bounds=True, spans=edges, volume_range_m3=volume)


def _on(log):
    return np.logical_or.reduce([values == 1 for values in log.pumps if values is not None]).astype(np.int8)


def _stops(log, limits):
    # The first row off after each run that can have drawn the pit down: a shorter one was cut short.
    on = _on(log)
    starts, stops = (np.flatnonzero(np.diff(on, prepend=0) == way) for way in (1, -1))
    marks = []
    for stop in stops:
        start = starts[np.searchsorted(starts, stop) - 1]
        longest = log.time_s[stop] - log.time_s[max(0, start - 1)]
        if longest >= SHORT * limits.draw_down_s / CURVE:
            marks.append(int(stop))
    return marks


def _rows(log, limits):
    # Rows so far apart that a window holds enough of them, each window with a row that is on.
    on, marks, count = _on(log).astype(int), [0], 0
    for i in range(1, len(on)):
        count += on[i]
        if i - marks[-1] >= LEAST_ROWS and count and not on[i]:
            marks.append(i)
            count = 0
    return marks


def _fills(log, a, b):
    # Rests between two runs within rows a to b: each brought the water from the stop to the start level.
    on = _on(log)[a : b + 1]
    return int((np.diff(on) == 1).sum())


def moved(log, site, rates, every):
    """Return a function of two rows: the most that all pumps can have moved between them, in m3.

    It is what they move by their curves at the pit's edge in the time that
    they can have been on; `every` says that every run shows in the rows.
    """
    masks = sum((values == 1).astype(int) << n for n, values in enumerate(log.pumps) if values is not None)
    flows = np.array([0.0, *(CURVE * rates.expected(mask, site.pit.floor_m) for mask in (1, 2, 3))])
    steps = np.diff(log.time_s)
    if every:
        sums = np.concatenate(([0.0], np.cumsum(steps * flows[masks[:-1] | masks[1:]])))
        return lambda a, b: float(sums[b] - sums[a])

    known = [n for n, values in enumerate(log.pumps) if values is not None]
    alone = max(flows[1 << n] for n in known)

    def shares(a, b):
        rows, length = masks[a:b], float(log.time_s[b] - log.time_s[a])

        def most_of(on):
            return share.bounds(int(on.sum()), len(rows), SURE)[1]

        # Each pump by its own rows, or some pump by the rows of either and the second one by those of both.
        each = sum(flows[1 << n] * most_of(rows >> n & 1) for n in known)
        if len(known) < 2:
            return length * each
        return length * min(each, alone * most_of(rows > 0) + max(0.0, flows[3] - alone) * most_of(rows == 3))

    return shares
