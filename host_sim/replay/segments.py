"""The night cut into stretches in which the same pumps ran, each with the straight line of its water.

Where pump states were recorded they say where to cut.  From the level alone
the cuts are its turns, and the kinks between two slopes that differ by a good
part of a pump: the inflow changes slowly, a pump at once, so a jump of the
slope is a pump that came or went.
"""

from dataclasses import dataclass

import numpy as np

from host_sim.replay.reading.log import UNKNOWN
from host_sim.replay.turns import LEAST_ROWS, kinks, placed, turns

SETTLE_S = 2.0  # left out after a pump came or went: the water swings
SEEN = 0.02  # of a pump's rate: pieces are long enough to tell the inflow to this; our own choice
FLOOR_ROWS = 15  # on either side of the floor's edge, where the plan area jumps
TURN_SIGMAS = 10.0  # of noise that thousands of rows do not reach by chance
BLIND = 0.15  # of a pump's rate: a slope on the floor with such an error does not tell whether one runs
KINK = 0.12  # of a pump: a smaller jump of the slope is no pump that comes or goes; our own choice
STAY_S = 900.0  # how long water rises under a pump before that counts as one answer worse than another; our own choice
SWING_S = 1.2  # and before it, since a turn lies between two rows
BOTH = 1.33  # times the weaker pump's rate: what moves more is another pump, or both; our own choice
PIECE_S = 60.0  # a long stretch is cut into pieces of this, so that a changing inflow shows


@dataclass
class Segment:
    """One stretch: `slope_m3s` is net flow into the pit, with its standard error; `on` how many pumps ran.

    `mask` says which (1, 2 or 3), 0 for none, UNKNOWN where only the number is known.  `straight_m3s` is the error
    that the slope would have, had the water gone straight.
    """

    start_s: float
    end_s: float
    slope_m3s: float
    error_m3s: float
    start_m: float
    end_m: float
    on: int
    mask: int
    rows: int
    straight_m3s: float = 0.0

    @property
    def middle_s(self):
        """The middle of the stretch."""
        return (self.start_s + self.end_s) / 2.0


class Noise(float):
    """The standard deviation of a reading in metres; `step` is its resolution in metres, 0 where it has no steps."""

    step = 0.0


def step_m(level_m):
    """Return the step in which an array of levels was kept, in metres, or 0 where it has none."""
    moved = np.abs(np.diff(level_m))
    moved = moved[moved > 1e-6]
    if not len(moved):
        return 0.0
    step = float(np.quantile(moved, 0.02))
    off = np.abs(moved / step - np.round(moved / step))
    return step if step >= 0.0002 and np.mean(off < 0.02) > 0.95 else 0.0


def noise_m(time_s, level_m):
    """Return the Noise of a level's reading; a reading kept in steps is never surer than a step's own error.

    The error of a step is its width over the root of twelve (W. R. Bennett,
    "Spectra of quantized signals", Bell System Technical Journal 27, 1948).
    """
    found = Noise(max(_scatter_m(level_m), step_m(level_m) / np.sqrt(12.0)))
    found.step = step_m(level_m)
    return found


def _scatter_m(level_m):
    steps = np.diff(level_m)
    if len(steps) < 3:
        return 0.0
    second = np.abs(np.diff(steps))
    sigma = float(np.median(second)) / (0.6745 * np.sqrt(6.0))
    moved = np.abs(steps[steps != 0.0])
    # A reading in coarse steps shows no noise at all while the water moves less than a step.
    quantum = float(np.quantile(moved, 0.05)) if len(moved) and len(moved) < 0.5 * len(steps) else 0.0
    return max(sigma, quantum / np.sqrt(12.0))


def volumes(pit, level_m):
    """Return the volume of an array of levels, none below the bottom."""
    return np.interp(level_m, pit.levels_m, pit.volumes_m3)


def segments(log, site, nominal_m3s, pumps=2):
    """Return the Segments of a Log in order of time; `nominal_m3s` is what one good pump moves, of `pumps` there."""
    if log.level_m is None:
        return []
    good = ~np.isnan(log.level_m)
    time, level = log.time_s[good], log.level_m[good]
    if log.levels_at_contacts_only:
        return _between_marks(log, site, time, level)
    if len(time) < LEAST_ROWS:
        return []
    sigma = noise_m(time, level)
    volume = volumes(site.pit, level)
    longest = np.inf if log.held else max(30.0, 5.0 * float(np.median(np.diff(time))))
    holes = np.flatnonzero(np.diff(time) > longest) + 1
    parts = np.split(np.arange(len(time)), holes)
    recorded = any(values is not None and (values >= 0).any() for values in log.pumps)
    found, stretches = [], []
    for part in parts:
        if len(part) < LEAST_ROWS:
            continue
        if recorded:
            mask = _mask(log)[good][part]
            edges = {int(i) + 1 for i in np.flatnonzero(np.diff(mask))}
            cuts = sorted({0, len(part), *edges, *_floor(level[part], site.pit.floor_m)})
            lines = [_line(time[part], level[part], volume[part], a, b, sigma, site, int(mask[a]))
                     for a, b in zip(cuts, cuts[1:], strict=False)]  # fmt: skip
            found += [line for line in lines if line is not None]
        else:
            stretches.append(_from_level(time[part], level[part], volume[part], sigma, site, nominal_m3s))
    # What pumps move is learnt from the whole log; whether they run is told stretch by stretch.
    rates = [part[: -1 if pumps == 1 else None] for part in _rates(stretches, nominal_m3s)]
    rising = [line.slope_m3s for lines in stretches for line in lines
              if line.slope_m3s > 0.0 and line.error_m3s < BLIND * nominal_m3s]  # fmt: skip
    inflow = float(np.median(rising)) if rising else 0.0
    for lines in stretches:
        inflow = _settle(lines, rates, inflow, site, nominal_m3s)
        found += lines
    return [piece for part in found for piece in _pieces(part, time, level, volume, sigma, site, nominal_m3s)]


def _pieces(part, time, level, volume, sigma, site, nominal):
    # A long stretch in pieces, so that a changing inflow shows; as long as it takes to see a flow at all
    # (the error of a slope goes with the length to the power -1.5).
    length = part.end_s - part.start_s
    error = part.straight_m3s or part.error_m3s  # a stretch that bends is cut all the more
    enough = length * (error / (SEEN * nominal)) ** (2.0 / 3.0)
    count = int(length // max(PIECE_S, enough))
    if count < 2:
        return [part]
    found = []
    edges = np.linspace(part.start_s, part.end_s, count + 1)
    for start, end in zip(edges, edges[1:], strict=False):
        a, b = np.searchsorted(time, (start, end))
        line = _line(time, level, volume, int(a), int(b), sigma, site, 0)
        if line is not None:
            line.on, line.mask = part.on, part.mask
            found.append(line)
    return found or [part]


def without_backflow(log, site, parts, knee_s, nominal_m3s):
    """Return the Segments with every fill begun `knee_s` after its stop, when the discharge has run empty.

    Fills that end before that show no inflow of their own and are left out.
    """
    good = ~np.isnan(log.level_m)
    time, level = log.time_s[good], log.level_m[good]
    volume, sigma = volumes(site.pit, level), noise_m(time, level)
    found, stopped, fill = [], None, None
    for part in [*parts, None]:
        if part is not None and part.on == 0 and stopped is not None:
            fill = (fill[0] if fill else part.start_s, part.end_s)
            continue
        if fill is not None:
            a, b = np.searchsorted(time, (max(fill[0], stopped + knee_s), fill[1]))
            line = _line(time, level, volume, int(a), int(b), sigma, site, 0) if b - a > 2 * LEAST_ROWS else None
            found += _pieces(line, time, level, volume, sigma, site, nominal_m3s) if line is not None else []
        fill = None
        if part is not None:
            stopped = part.end_s if part.on else None
            found.append(part)
    return found


def _mask(log):
    mask = np.zeros(len(log.time_s), int)
    for i, values in enumerate(log.pumps):
        if values is not None:
            mask |= np.where(values == 1, 1 << i, 0)
    unknown = [values < 0 for values in log.pumps if values is not None]
    return np.where(np.logical_or.reduce(unknown), UNKNOWN, mask) if unknown else mask


def _line(time, level, volume, a, b, sigma, site, mask):
    # The line through rows a to b, the swing after the cut left out where rows allow.
    first = a
    while first < b - LEAST_ROWS and time[first] < time[a] + SETTLE_S and a > 0:
        first += 1
    last = b
    while last > first + 2 * LEAST_ROWS and last < len(time) and time[last - 1] > time[b] - SWING_S:
        last -= 1
    t, v = time[first:last], volume[first:last]
    if len(t) < LEAST_ROWS or mask == UNKNOWN:
        return None
    centred = t - t.mean()
    spread = float((centred**2).sum())
    slope = float((centred * v).sum()) / spread
    area = site.pit.area_m2(float(level[first:last].max()))
    # Rows in steps do not err each on its own: a slope of half a step from end to end does not show at all, unless the
    # reading's own noise of half a step or more carries it over the steps (dither).
    hidden = 0.5 * sigma.step / max(float(t[-1] - t[0]), 1e-9) if sigma < 0.5 * sigma.step else 0.0
    straight = area * np.hypot(sigma / np.sqrt(spread), hidden)
    error = max(straight, _bent(t, v, slope, area * sigma))
    if (level[first] - site.pit.floor_m) * (level[b - 1] - site.pit.floor_m) < 0.0:
        straight = error = max(error, abs(slope))  # across the floor's edge there is no straight line
    end = time[b] if b < len(time) else time[b - 1]
    pumps = (mask & 1) + (mask >> 1)
    return Segment(float(time[a]), float(end), slope, error, float(level[a]), float(level[b - 1]), pumps, mask, len(t),
                   straight)  # fmt: skip


def _bent(t, v, slope, sigma_m3):
    # What came in the mean of a stretch is its ends over its length; where a line through all rows says otherwise,
    # beyond what noise does to the ends, the water did not go straight and the line's own error is too small.
    ends = len(t) // 10
    if ends < LEAST_ROWS:
        return 0.0
    apart = float(t[-ends:].mean() - t[:ends].mean())
    chord = float(v[-ends:].mean() - v[:ends].mean()) / apart
    return max(0.0, abs(chord - slope) - 3.0 * sigma_m3 * np.sqrt(2.0 / ends) / apart)


def _from_level(time, level, volume, sigma, site, nominal):
    edges = placed(turns(level, max(TURN_SIGMAS * sigma, 0.012)), time, volume)
    edges = sorted({*edges, *_floor(level, site.pit.floor_m)})
    cuts = set(edges)
    for a, b in zip(edges, edges[1:], strict=False):
        inside = []
        sigma_m3 = max(sigma, 0.0005) * site.pit.area_m2(float(level[a : b + 1].max()))
        kinks(time, volume, a, b, KINK * nominal, sigma_m3, inside)
        cuts.update(inside)
    cuts = sorted(cuts | {0, len(time)} - {len(time) - 1})
    pairs = list(zip(cuts, cuts[1:], strict=False))
    lines = [_line(time, level, volume, a, b, sigma, site, 0) for a, b in pairs]
    for place, (a, b) in enumerate(pairs):
        if lines[place] is None:
            lines[place] = _chord(time, level, volume, a, min(b, len(time) - 1), sigma, site)
    return [line for line in lines if line.end_s > line.start_s]


def _settle(lines, rates, inflow, site, nominal):
    # Fill in how many pumps ran, `inflow` having been what came before; returns what comes at the end.  A stretch
    # that tells nothing, as a short one on a floor, is left out and goes on as the one before it.
    blind = [line.error_m3s > BLIND * nominal and line.start_m > site.pit.floor_m - 0.01 for line in lines]
    seen = [line for line, dark in zip(lines, blind, strict=True) if not dark]
    states, inflow = _count(seen, rates, inflow, site.pit.floor_m)
    counts = iter(states)
    before = 0
    for line, dark in zip(lines, blind, strict=True):
        line.on = before if dark else next(counts)
        line.mask, before = UNKNOWN if line.on else 0, line.on
    return inflow


def _floor(level, floor_m):
    # Rows on both sides of where the water reached or left the floor: no line goes through that edge.
    if level.max() < floor_m or level.min() > floor_m or len(level) < 4 * FLOOR_ROWS:
        return []
    ones = np.ones(2 * FLOOR_ROWS + 1)
    mean = np.convolve(level, ones, "same") / np.convolve(np.ones(len(level)), ones, "same")
    edges = np.flatnonzero(np.diff((mean > floor_m).astype(np.int8)))
    return [int(np.clip(i + k, 1, len(level) - 1)) for i in edges for k in (-FLOOR_ROWS, FLOOR_ROWS)]


def _chord(time, level, volume, a, b, sigma, site):
    # A stretch of too few rows for a line: from its first row to its last.
    length = max(float(time[b] - time[a]), 1e-9)
    spread = float(np.median(np.diff(time[max(0, a - 20) : b + 20])))
    area = site.pit.area_m2(float(max(level[a], level[b])))
    slope = float(volume[b] - volume[a]) / length
    # Its turns lie anywhere between two rows.
    error = sigma * area * np.sqrt(2.0) / length + abs(slope) * spread / (length + spread)
    return Segment(float(time[a]), float(time[b]), slope, error, float(level[a]), float(level[b]), 0, 0, 2)


def _count(lines, moving, before_m3s, floor_m=np.inf):
    """Return (how many pumps ran in each line, the inflow of the last).

    It is the answer that lets the inflow change least (Viterbi).  In a line
    with k pumps the inflow is its slope and k times a pump's rate.  It may not
    be below nothing, changes little from line to line, and of two answers that
    do equally well the one with fewer pumps is taken.
    """
    rates, pumps = moving
    rate, states = rates[1], range(len(rates))  # the weakest pump is the smallest jump that means one
    costs, paths = [], []
    for place, line in enumerate(lines):
        inflow = [line.slope_m3s + moved for moved in rates]
        wide = 0.05 * rate + 2.0 * line.error_m3s
        # Water that rises goes on so for long without a pump: a run that is carried on into a fill ends somewhere.
        # On the floor it is the area that makes it slow.
        slow = line.slope_m3s > 0.0 and line.start_m < floor_m - 0.01
        rising = (line.end_s - line.start_s) / STAY_S if slow else 0.0
        own = [(0.1 + rising) * n + max(0.0, -q) / wide for n, q in zip(pumps, inflow, strict=True)]
        if not place:
            # A stretch begins with about the inflow with which the one before it ended.
            costs = [cost + min(12.0, abs(q - before_m3s) / (0.3 * rate + 2.0 * line.error_m3s))
                     for cost, q in zip(own, inflow, strict=True)]  # fmt: skip
            before = (inflow, line)
            continue
        old, last = before
        apart = max(0.0, line.middle_s - last.middle_s)
        scale = 0.15 * rate * (1.0 + apart / 600.0) + 2.0 * (line.error_m3s + last.error_m3s)
        best, chosen = [], []
        for k in states:
            ways = [costs[j] + min(12.0, abs(inflow[k] - old[j]) / scale) for j in states]
            j = int(np.argmin(ways))
            best.append(ways[j] + own[k])
            chosen.append(j)
        paths.append(chosen)
        costs, before = best, (inflow, line)
    if not lines:
        return [], before_m3s
    found = [int(np.argmin(costs))]
    for chosen in reversed(paths):
        found.append(chosen[found[-1]])
    return [pumps[state] for state in found[::-1]], before[0][found[0]]


def _rates(stretches, nominal):
    """Return (what each state moves in m3/s, its number of pumps): none, one, two; a weaker one besides where seen."""
    falls = np.array([a.slope_m3s - b.slope_m3s for lines in stretches
                      for a, b in zip(lines, lines[1:], strict=False)
                      if a.slope_m3s > 0.0 > b.slope_m3s and b.error_m3s < 0.1 * nominal])  # fmt: skip
    if len(falls) < 3:
        return [0.0, nominal, 2.0 * nominal], [0, 1, 2]
    low, high = np.clip(np.quantile(falls, (0.1, 0.9)), 0.15 * nominal, 1.5 * nominal)
    # A weak pump that always leads makes most of the falls; the sound one that helps it is a state as well.
    sound = falls[falls > BOTH * low]
    if len(falls) >= 8 and len(sound) >= LEAST_ROWS and high < BOTH * low < nominal:
        high = min(float(np.quantile(sound, 0.9)), 1.5 * nominal)
    if len(falls) >= 8 and low < high / BOTH:
        return [0.0, float(low), float(high), float(low + high)], [0, 1, 1, 2]
    rate = float(np.clip(np.median(falls), 0.15 * nominal, 1.5 * nominal))
    return [0.0, rate, 2.0 * rate], [0, 1, 2]


def _between_marks(log, site, time, level):
    # From contact to contact with the same pumps all the way.
    mask_of = _mask(log)
    rows = np.flatnonzero(~np.isnan(log.level_m))
    changes = np.flatnonzero(np.diff(mask_of)) + 1
    volume = volumes(site.pit, level)
    recorded = any(values is not None for values in log.pumps)
    found = []
    for k in range(len(rows) - 1):
        a, b = rows[k], rows[k + 1]
        if not recorded and not _one_way(level[k], level[k + 1], site):
            continue
        between = changes[(changes > a) & (changes <= b)]
        length = time[k + 1] - time[k]
        if len(between) or length < 1.0 or mask_of[a] == UNKNOWN or level[k] == level[k + 1]:
            continue
        slope = float(volume[k + 1] - volume[k]) / length
        # A float turns within a few millimetres of its height, and the record's grid is 0.1 s; from memory.
        late = 0.1 if log.every_change else 0.5 * log.spacing_s
        error = np.hypot(0.003 * site.pit.area_m2(float(level[k])), abs(slope) * late) * np.sqrt(2.0) / length
        mask = int(mask_of[a])
        pumps = (mask & 1) + (mask >> 1)
        if not recorded:
            mask, pumps = (UNKNOWN, 1) if slope < 0.0 else (0, 0)
        found.append(Segment(float(time[k]), float(time[k + 1]), slope, float(error), float(level[k]),
                             float(level[k + 1]), pumps, mask, 2))  # fmt: skip
    return found


def _one_way(before_m, after_m, site):
    # Whether the water went one way from a contact's turn to the next: up from one that turned wet, or down from one
    # that turned dry.  Otherwise a pump came or went in between, and without its record nobody knows when.
    wets, dries = ([getattr(c, key) for c in site.contacts if c is not None] for key in ("wet_m", "dry_m"))
    if after_m > before_m:
        return before_m in wets and before_m not in dries and after_m in wets
    return before_m in dries and before_m not in wets and after_m in dries
