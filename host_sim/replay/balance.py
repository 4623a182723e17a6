"""Bounds on the inflow by water balance, where a log does not show the pit's cycles.

What came in is what the pit gained and what was pumped.  Every rise of the water
came in, whatever the pumps did, but for what may have run back out of the
discharge; and no more was pumped than the pumps can move by their curve in the
time that they can have been on.  Where the pumps' states were recorded, the rows
that show one on bound that time (`recorded.moved`).
"""

import numpy as np

from host_sim.replay import recorded
from host_sim.replay.inflow import Inflow
from host_sim.replay.limits import MOST_NOISE_M
from host_sim.replay.segments import volumes
from host_sim.replay.turns import turns

LEAST_WINDOW_S = 120.0
WINDOW_ROWS = 8  # of a window, so that it holds whole rises; our own choice
SIGMAS = 3.0  # of a reading's noise; a difference of two has the root of two times that
ROOM = 1.3  # of a noise that few rows tell; our own choice
AREA = 0.05  # the plan area within the bounds; common practice, no source
PLAY_M = 0.005  # a float turns so near its height; from memory


def balance(log, site, rates, limits, both, runs=None):
    """Return an Inflow of bounds, each of the mean over its `spans`, or None where the log has no level.

    `both` says that two pumps may have run, or one; `runs` are the Runs of
    recorded pump states, or None.
    """
    if log.level_m is None:
        return None
    good = np.flatnonzero(~np.isnan(log.level_m))
    if len(good) < 2:
        return None
    water = _Water(log, site, rates, limits, both, runs, good)
    marks = water.marks()
    a, b = np.array(marks[:-1]), np.array(marks[1:])
    length = water.time[b] - water.time[a]
    low = np.array([water.least(i, k) for i, k in zip(a, b, strict=True)]) / length
    high = np.maximum(low, np.array([water.most(i, k) for i, k in zip(a, b, strict=True)]) / length)
    spans = np.column_stack((water.time[a], water.time[b]))
    held = length > 5.0 * water.window_s
    # The whole log in one, and its windows together: both hold.
    volume = (max(water.least(0, len(good) - 1), float((low * length).sum())),
              min(water.most(0, len(good) - 1), float((high * length).sum())))  # fmt: skip
    return Inflow(spans.mean(axis=1), (low + high) / 2.0, low, high, held, rate_m3s=rates.nominal(), bounds=True,
                  spans=spans, volume_range_m3=volume)  # fmt: skip


def _quiet_m(level, step_m):
    # Of coarse rows the water's own travel looks like noise; the quiet tenth of the second differences shows at most
    # a little of it, known to a step.  A tenth of a normal deviate lies within 0.1257 of its standard deviation.
    second = np.abs(np.diff(level, 2))
    if len(second) < 30:
        return np.inf
    return ROOM * (float(np.quantile(second, 0.1)) + step_m) / (0.1257 * np.sqrt(6.0))


class _Water:
    # The rows that hold a level, and what can have come in between two of them.

    def __init__(self, log, site, rates, limits, both, runs, good):
        self.log, self.site, self.good, self.contacts_only = log, site, good, limits.contacts_only
        self.time, self.level = log.time_s[good], log.level_m[good]
        self.volume = volumes(site.pit, self.level)
        self.both, self.rates = both, rates
        self.rows = recorded.LEAST_ROWS if runs is not None and not runs.every else WINDOW_ROWS
        self.window_s = max(LEAST_WINDOW_S, self.rows * limits.spacing_s)
        sigma = min(max(min(limits.noise_m, _quiet_m(self.level, limits.step_m)), 0.0005), MOST_NOISE_M)
        self.off_m = SIGMAS * np.sqrt(2.0) * sigma + limits.step_m / 2.0
        self.rise_off_m = self.off_m
        if self.contacts_only:
            # A contact tells that the water is past a height, and was so since the row before at the latest.
            self.rise_off_m = np.sqrt(2.0) * PLAY_M
            self.off_m = SIGMAS * np.sqrt(2.0) * (limits.travel_m if limits.travel_m == limits.travel_m else 0.1) / 2.0
        self.pumped = recorded.moved(log, site, rates, runs.every) if runs is not None else None
        riser = max(pipe.volume_m3 for pipe in site.discharge.risers)
        self.line_m3 = riser + (site.discharge.header.volume_m3 if site.discharge.header is not None else 0.0)
        self.dries = [contact.dry_m for contact in site.contacts if contact is not None]

    def marks(self):
        """Return the places at which windows begin and end."""
        found = [0]
        for i in range(1, len(self.time)):
            if self.time[i] - self.time[found[-1]] >= self.window_s and i - found[-1] >= min(self.rows, len(self.time)):
                found.append(i)
        return found if len(found) > 1 else [0, len(self.time) - 1]

    def least(self, a, b):
        """Return the least water in m3 that can have come in between two rows: its rises, less what may be none."""
        level = self.level[a : b + 1]
        places = turns(level, max(self.rise_off_m, 0.005))
        total = 0.0
        for i, k in zip(places, places[1:], strict=False):
            if level[k] <= level[i] or (self.contacts_only and level[i] not in self.dries):
                continue
            area = self.site.pit.area_m2(float(level[k]))
            rise = float(self.volume[a + k] - self.volume[a + i]) * (1.0 - AREA)
            total += max(0.0, rise - self.rise_off_m * area - self.line_m3)
        return total

    def most(self, a, b):
        """Return the most water in m3 that can have come in between two rows: the gain, and all that can have left."""
        top = float(self.level[a : b + 1].max())
        area = self.site.pit.area_m2(top)
        gained = float(self.volume[b] - self.volume[a])
        gained += self.off_m * area + AREA * abs(gained)
        return max(0.0, gained) + self._left(a, b, top)

    def _left(self, a, b, top_m):
        # Near its inlet a pump moves less and less, and just where is known badly: it is given what it moves at the
        # stop.
        stop = self.site.contacts[0].dry_m if self.site.contacts[0] is not None else 0.0
        always = recorded.CURVE * self.rates.expected(3 if self.both else 1, max(stop, top_m))
        always *= float(self.time[b] - self.time[a])
        if self.pumped is None:
            return always
        found, first, last = 0.0, self.good[a], self.good[b]
        edges = [first, *(int(np.searchsorted(self.log.time_s, t)) for gap in self.log.gaps for t in gap), last]
        edges = [first, *(row for row in edges[1:-1] if first < row < last), last]
        for i, k in zip(edges, edges[1:], strict=False):
            start, end = self.log.time_s[i], self.log.time_s[k]
            if any(start < stop_s and end > begin_s for begin_s, stop_s in self.log.gaps):
                found += always * (end - start) / (self.time[b] - self.time[a])  # nobody knows what ran in a gap
            else:
                found += self.pumped(i, k)
        return min(always, found)
