"""Thinning and placing: how thousands of pump cycles and crowded labels become something that can be read."""

import numpy as np


def envelope(time_s, values, duration_s, bins):
    """Return (centres, lowest, highest) of a series in `bins` equal stretches of `duration_s`.

    A bin without a point holds the straight line between its neighbours, so a
    slow series comes back unchanged.  Arrays of length `bins`.
    """
    time_s, values = np.asarray(time_s, float), np.asarray(values, float)
    edges = np.linspace(0.0, duration_s, bins + 1)
    at_edges = np.interp(edges, time_s, values)
    low = np.minimum(at_edges[:-1], at_edges[1:])
    high = np.maximum(at_edges[:-1], at_edges[1:])
    place = np.clip((time_s / duration_s * bins).astype(int), 0, bins - 1)
    np.minimum.at(low, place, values)
    np.maximum.at(high, place, values)
    return (edges[:-1] + edges[1:]) / 2, low, high


def share(spans, duration_s, bins):
    """Return (edges, share of each bin covered by `spans`), spans being (start_s, end_s) that do not overlap."""
    edges = np.linspace(0.0, duration_s, bins + 1)
    covered = np.zeros(bins)
    width = duration_s / bins
    for start, end in spans:
        first = min(bins - 1, int(start / width))
        last = min(bins - 1, int(end / width))
        for place in range(first, last + 1):
            covered[place] += max(0.0, min(end, edges[place + 1]) - max(start, edges[place]))
    return edges, np.clip(covered / width, 0.0, 1.0)


def spread(wanted, gap, low, high):
    """Return places for labels that want to stand at `wanted` but must keep `gap` apart within low..high.

    The order of the labels is kept; they move as little as a push up and a push down can do.
    """
    order = sorted(range(len(wanted)), key=lambda index: wanted[index])
    places = [min(max(wanted[index], low), high) for index in order]
    for _ in range(len(places) + 1):
        for index in range(1, len(places)):
            lack = gap - (places[index] - places[index - 1])
            if lack > 0:
                places[index - 1] -= lack / 2
                places[index] += lack / 2
    for index in range(len(places)):
        least = low if index == 0 else places[index - 1] + gap
        places[index] = max(places[index], least)
    for index in reversed(range(len(places))):
        most = high if index == len(places) - 1 else places[index + 1] - gap
        places[index] = min(places[index], most)
    found = [0.0] * len(wanted)
    for place, index in zip(places, order, strict=True):
        found[index] = place
    return found


def merged(spans, gap_s):
    """Return spans (start_s, end_s) in order, those closer than `gap_s` made one."""
    result = []
    for start, end in sorted(spans):
        if result and start - result[-1][1] <= gap_s:
            result[-1] = (result[-1][0], max(end, result[-1][1]))
        else:
            result.append((start, end))
    return result


def clear_place(anchor, size, bands, boxes=(), steps=(36, 24)):
    """Return the (left, bottom) of a text box in a panel that covers the least of what is drawn, near `anchor`.

    Everything is in fractions of the panel.  `bands` are (x, low, high) arrays
    of curves and fills, `boxes` are (left, bottom, right, top) already taken,
    `size` is (width, height) of the new box.  Of places that cover equally
    little the one nearest to `anchor` wins.
    """
    width, height = size
    best, best_score = (0.0, 0.0), float("inf")
    for left in np.linspace(0.01, max(0.01, 0.99 - width), steps[0]):
        for bottom in np.linspace(0.02, max(0.02, 0.98 - height), steps[1]):
            covered = 0.0
            for x, low, high in bands:
                inside = (x >= left - 0.004) & (x <= left + width + 0.004)
                hit = inside & (high >= bottom - 0.01) & (low <= bottom + height + 0.01)
                # A spike is narrow, but a box on it hides it as well.
                covered += float(hit.sum()) / len(x) / width + (0.1 if hit.any() else 0.0)
            for a, b, c, d in boxes:
                if left < c and a < left + width and bottom < d and b < bottom + height:
                    covered += 2.0
            dx = max(left - anchor[0], 0.0, anchor[0] - left - width)
            dy = max(bottom - anchor[1], 0.0, anchor[1] - bottom - height)
            score = 20.0 * covered + (dx * dx + dy * dy) ** 0.5
            if score < best_score:
                best, best_score = (float(left), float(bottom)), score
    return best
