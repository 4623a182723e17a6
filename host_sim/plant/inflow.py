"""Inflow in steps: constant flows, hydrographs, a water table.

A line between two points of a table is cut into steps that carry the same
water; within a step the flow (or the water table) is constant, so that the
level has a closed form.  A step is at most a share of the largest value, so a
flat stretch costs nothing.
"""

from math import ceil

from host_sim.plant.equipment import Inflow

STEPS_OF_PEAK = 200  # a flow changes by at most 1/200 of its peak from step to step
HEAD_STEP_M = 0.002  # the water table moves in steps of this
LEAST_STEP_S = 1.0


def steps_of_flow(points):
    """Return [(start s, flow m3/s)] for a table [(s, m3/s)], straight lines between; 0 before and after.

    Each step carries exactly the volume of its part of the line.
    """
    peak = max((abs(q) for _, q in points), default=0.0)
    steps = [(0.0, 0.0)] if points and points[0][0] > 0.0 else []
    for (t0, q0), (t1, q1) in zip(points, points[1:], strict=False):
        if t1 <= t0:
            continue
        count = ceil(abs(q1 - q0) / (peak / STEPS_OF_PEAK)) if peak > 0.0 else 1
        count = max(1, min(count, int((t1 - t0) / LEAST_STEP_S) or 1))
        for i in range(count):
            start = round(t0 + (t1 - t0) * i / count, 1)
            steps.append((start, q0 + (q1 - q0) * (i + 0.5) / count))
    if points:
        steps.append((points[-1][0], 0.0))
    return steps


def steps_of_head(points):
    """Return [(start s, level m)] for a measured water table [(s, m)], straight lines between, in steps of HEAD_STEP_M.

    Values are rounded to the step, so that equal levels share one table of flows.
    """
    steps = []
    for (t0, h0), (t1, h1) in zip(points, points[1:], strict=False):
        count = max(1, ceil(abs(h1 - h0) / HEAD_STEP_M))
        for i in range(count):
            level = round((h0 + (h1 - h0) * (i + 0.5) / count) / HEAD_STEP_M) * HEAD_STEP_M
            if not steps or steps[-1][1] != level:
                steps.append((round(t0 + (t1 - t0) * i / count, 1), level))
    if points:
        last = round(points[-1][1] / HEAD_STEP_M) * HEAD_STEP_M
        if not steps or steps[-1][1] != last:
            steps.append((points[-1][0], last))
    return steps


def combine(flows, heads=None):
    """Return the Inflow of several lists of flow steps together, with the steps of one water table or None."""
    changes = {0.0}
    for steps in flows:
        changes.update(start for start, _ in steps)
    if heads:
        changes.update(start for start, _ in heads)
    times = sorted(t for t in changes if t >= 0.0)
    rates = [0.0] * len(times)
    for steps in flows:
        _add(times, rates, steps)
    levels = None
    if heads:
        levels, k = [], 0
        for time in times:
            while k + 1 < len(heads) and heads[k + 1][0] <= time:
                k += 1
            levels.append(heads[k][1])
    return Inflow(times, rates, levels)


def _add(times, rates, steps):
    k, value = 0, 0.0
    for i, time in enumerate(times):
        while k < len(steps) and steps[k][0] <= time:
            value = steps[k][1]
            k += 1
        rates[i] += value


def volume_m3(inflow, until_s):
    """Return the water that the given flows (not the water table) bring until a time."""
    total = 0.0
    for i, start in enumerate(inflow.times_s):
        end = inflow.times_s[i + 1] if i + 1 < len(inflow.times_s) else until_s
        total += inflow.rates_m3s[i] * max(0.0, min(end, until_s) - start)
    return total
