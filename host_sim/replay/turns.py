"""Where water turns: highs and lows that noise does not reach, and kinks between two slopes."""

import numpy as np

LEAST_ROWS = 3  # a line through fewer rows says nothing
KINK_S = 20.0  # a kink is looked for only between two lines of this length: a turn's own swing is none
TURN_ROWS = 8  # a turn lies so near the highest reading; our own choice
TURN_SIDE = 24  # rows on either side whose lines place it


def turns(level, least_m):
    """Return the places of highs and lows at least `least_m` apart in an array of levels, both ends included."""
    places, extreme, up = [0], 0, None
    for i, value in enumerate(level.tolist()):
        if up is None:
            if abs(value - level[0]) >= least_m:
                up, extreme = value > level[0], i
        elif (value > level[extreme]) == up:
            extreme = i
        elif abs(value - level[extreme]) >= least_m:
            places.append(extreme)
            up, extreme = not up, i
    places.append(len(level) - 1)
    return places


def placed(rough, time, volume):
    """Return the places of turns (`rough`, a list), each moved to where two straight lines meet best.

    The highest reading is not where the pump started: of a slow fill noise makes
    it one of many, and what of the fill is left before the draw-down bends that.
    """
    found = list(rough)
    for k in range(1, len(rough) - 1):
        before, at, after = found[k - 1], rough[k], rough[k + 1]
        first, last = max(before, at - TURN_SIDE), min(after, at + TURN_SIDE)
        low, high = max(first + LEAST_ROWS, at - TURN_ROWS), min(last - LEAST_ROWS, at + TURN_ROWS)
        if high <= low:
            continue
        t, v = time[first : last + 1] - time[first], volume[first : last + 1] - volume[first]
        sums = np.array([np.cumsum(x) for x in (np.ones(len(t)), t, v, t * t, t * v, v * v)])
        places = np.arange(low, high + 1) - first
        error = _misfit(sums[:, places - 1])[0] + _misfit(sums[:, -1:] - sums[:, places - 1])[0]
        found[k] = int(first + places[int(np.argmin(error))])
    return found


def kinks(time, volume, a, b, least_slope, sigma_m3, found):
    """Add to `found` the places in rows a to b where two lines fit clearly better than one, in both halves as well."""
    n = b - a
    side = max(2 * LEAST_ROWS, int(KINK_S / max((time[b] - time[a]) / n, 1e-9)) if n else 0)
    if n < 2 * side + 1:
        return
    t, v = time[a:b] - time[a], volume[a:b] - volume[a]
    sums = [np.cumsum(x) for x in (np.ones(n), t, v, t * t, t * v, v * v)]
    places = np.arange(side, n - side + 1)
    left = [s[places - 1] for s in sums]
    right = [s[-1] - s[places - 1] for s in sums]
    total = _misfit([s[-1] for s in sums])[0]
    error_left, slope_left, spread_left = _misfit(left)
    error_right, slope_right, spread_right = _misfit(right)
    gain = total - error_left - error_right
    jump = np.abs(slope_left - slope_right)
    least_jump = 5.0 * sigma_m3 * np.sqrt(1.0 / np.maximum(spread_left, 1e-9) + 1.0 / np.maximum(spread_right, 1e-9))
    score = np.where((jump >= least_slope) & (jump >= least_jump), gain, -np.inf)
    best = int(np.argmax(score))
    if not np.isfinite(score[best]) or score[best] < 40.0 * sigma_m3**2:
        return
    middle = a + int(places[best])
    kinks(time, volume, a, middle, least_slope, sigma_m3, found)
    found.append(middle)
    kinks(time, volume, middle, b, least_slope, sigma_m3, found)


def _misfit(sums):
    n, t, v, tt, tv, vv = sums
    stt, stv, svv = tt - t * t / n, tv - t * v / n, vv - v * v / n
    slope = stv / np.maximum(stt, 1e-30)
    return svv - slope * stv, slope, stt


