"""Pump curves as people have them: points of a plate, shut-off and one point, or a bucket and a watch."""

import re
from math import sqrt

from host_sim import units
from host_sim.plant.hydraulics import system_head_m
from host_sim.site.pumps import read_discharge
from host_sim.site.reader import Table
from host_sim.sizing import example_curve
from host_sim.sizing.limits import FOOT, GPM

_NUMBER = r"[\d.]+(?:/\d+)?(?:[-\s]\d+/\d+)?"
_PAIR = re.compile(  # two figures, each with its unit or without, "at", "@" or room between them
    rf"^\s*({_NUMBER}\s*(?:(?!at\b)[A-Za-z][A-Za-z/0-9]*|['’′](?:\s*{_NUMBER}\s*[\"”″])?|[\"”″])?)"
    rf"\s*(?:\bat\b|@|\s)\s*([\d.][\d./\s'\"’”′″A-Za-z-]*)$"
)
LEAST_POINTS = 3  # of a curve that has none at no flow
STEPS = (1.0, 0.75, 0.5, 0.25, 0.0)  # of the head at the known point, along the parabola beyond it
FURTHEST = 2.5  # flow with no head over that of the known point; our own choice
REACHED = 1.1  # shut-off head over the lift that a pump is seen to reach; our own choice
UNKNOWN_SHUTOFF = 1.3  # shut-off head over the head at a measured flow, where no plate tells it; our own choice


def read_curve(text):
    """Return [[flow, head], ...] texts of a curve written "0 gpm 18 ft, 35 gpm at 10 ft".

    A unit holds for the points after it, "60 gpm at 5 ft, 45 at 12".  Three
    points or more need none at no flow: what is assumed there comes first (see
    `no_flow_m`).  Raises ValueError.
    """
    rows = sorted(_points(text))
    for before, after in zip(rows, rows[1:], strict=False):
        if after[1] >= before[1] or after[0] == before[0]:
            raise ValueError(
                f"head must fall as flow rises: from {before[2]} to {after[2]} it goes from {before[3]} to {after[3]}"
            )
    if not rows or rows[0][0] != 0.0:
        if len(rows) < LEAST_POINTS:
            raise ValueError(
                f'give {LEAST_POINTS} points, or two of which one is at "0 gpm": the shut-off head (maximum head) of '
                "the plate or box; where neither has it, go back and measure with a bucket and a watch"
            )
        rows.insert(0, (0.0, 0.0, "0 gpm", _ft(no_flow_m(rows))))
    if len(rows) < 2:
        raise ValueError("the shut-off head alone is no curve: give one more point, a flow and its head")
    return [[flow, head] for _, _, flow, head in rows]


def assumed_shutoff(text):
    """Return the shut-off head, a text, that was assumed for a curve without one, None where it was given."""
    return None if min(_points(text))[0] == 0.0 else read_curve(text)[0][1]


def highest_known_m(text):
    """Return the highest head in m of the points as they were given, that at no flow included."""
    return max(point[1] for point in _points(text))


def no_flow_m(rows):
    """Return the shut-off head in m assumed for points (flow, head, ...) without one, by rising flow.

    By the parabola about zero flow through the two points of least flow: below
    the straight line through them, as the curve of a small pump flattens toward
    shut-off (common practice, no source).
    """
    (q1, h1), (q2, h2) = rows[0][:2], rows[1][:2]
    return h1 + (h1 - h2) * q1 * q1 / (q2 * q2 - q1 * q1)


def _points(text):
    # [(flow m3/s, head m, flow, head)] in the order in which they were written.
    if re.search(r"\d,\d", text):
        point = re.sub(r"(?<=\d),(?=\d)", ".", text)
        raise ValueError(f'"{text}" has a decimal comma: write it with a point, "{point}"')
    rows, unit_before = [], {}
    for part in re.split(r"[;,]", text):
        match = _PAIR.match(part)
        if not match:
            raise ValueError(
                f'"{part.strip()}" is not a flow and a head: write the points as in "{example_curve.WORDS}"'
            )
        try:
            flow, head = _either_way(*_with_units(match, unit_before))
        except ValueError as error:
            raise ValueError(f'"{part.strip()}": {error}') from error
        rows.append((units.read(flow, "flow"), units.read(head, "distance"), flow, head))
    return rows


def _with_units(match, before):
    # A figure without a unit has that of the same figure of the point before.
    found = []
    for place, text in enumerate((match[1].strip(), match[2].strip())):
        if units.bare(text):
            if place not in before:
                raise ValueError(f'"{text}" has no unit: write the points as in "{example_curve.WORDS}"')
            text = f"{text} {before[place]}"
        unit = re.sub(r"^[\d./\s-]+", "", text)
        before[place] = "ft" if unit in ("'", "’", "′") else unit if unit.isalpha() else before.get(place, "ft")
        found.append(text)
    return found


def _either_way(one, other):
    # A plate may give the head first: "5 ft 60 gpm".
    try:
        return units.tidy(one, "flow"), units.tidy(other, "distance")
    except ValueError:
        try:
            return units.tidy(other, "flow"), units.tidy(one, "distance")
        except ValueError:
            pass
        raise


BATTERY_SHARE = 0.6  # of the flow of our own weak mains pump that its battery pump moves; invented


def for_lift(answers, share=1.0):
    """Return our own invented weak pump for the lift of the answers, as a curve in words; `share` of its flow."""
    lift_m = units.read(answers.get("lift", "12 ft"), "distance")
    stretch = max(1.0, lift_m / (12.0 * FOOT))
    points = [(units.read(q, "flow") * share, units.read(h, "distance") * stretch) for q, h in example_curve.POINTS]
    return ", ".join(f"{q / GPM:.3g} gpm {h / FOOT:.4g} ft" for q, h in points)


def through(shutoff_m, flow_m3s, head_m):
    """Return [[flow, head], ...] texts of a curve through the shut-off head and one point.

    Straight up to the point, a parabola about zero flow beyond it: below either
    a real pump, which bends the other way, moves more (common practice, no source).
    The flow with no head is FURTHEST times that of the point at the most.
    Raises ValueError where the shut-off head is not above the head of the point.
    """
    if shutoff_m <= head_m:
        raise ValueError(f"shut-off head {_ft(shutoff_m)} must be above the {_ft(head_m)} of the point")
    rows = [["0 gpm", _ft(shutoff_m)]]
    end = sqrt(shutoff_m / (shutoff_m - head_m))
    for step in STEPS:
        head = step * head_m
        times = sqrt((shutoff_m - head) / (shutoff_m - head_m))
        if end > FURTHEST:  # a point close to shut-off tells little of what lies far beyond it
            times = 1.0 + (FURTHEST - 1.0) * sqrt(1.0 - step)
        rows.append([f"{flow_m3s * times / GPM:.2f} gpm", _ft(head)])
    return rows


def _ft(metres):
    return f"{metres / FOOT:.2f} ft"


def measured(flow_m3s, n, discharge, floor_m, shutoff_m=None):
    """Return a curve through what a bucket and a watch gave at the outlet.

    The head at that flow is that of the pipe as it was walked, with the water
    at floor height: the least lift, so that the curve is rather too low.  Where
    no plate tells the shut-off head, it is UNKNOWN_SHUTOFF times that head, and
    above the whole lift, which the pump has shown to reach.
    """
    pipes = read_discharge(Table(discharge, "discharge", []))
    line = [pipes.risers[n], *([pipes.header] if pipes.header else [])]
    head_m = system_head_m(pipes.outlet_m - floor_m, line, flow_m3s)
    guessed = max(UNKNOWN_SHUTOFF * head_m, REACHED * pipes.outlet_m)
    return through(shutoff_m if shutoff_m else guessed, flow_m3s, head_m)
