"""A design storm: the NRCS Type II day of rain, the rational method, and a lag of the unit hydrograph kind.

Ordinates: NRCS TR-20 / NEH-4 (National Engineering Handbook), 24 hours,
cumulative share of the day's rain.  Where NOAA Atlas 14 has a
distribution for the place, prefer that.
"""

import csv
from math import exp
from pathlib import Path

from host_sim import units

# (hour, cumulative share of the 24 h depth)
TYPE_II = (
    (0.0, 0.0), (1.0, 0.0105), (2.0, 0.0220), (3.0, 0.0345), (4.0, 0.0480), (5.0, 0.0630), (6.0, 0.0800),
    (7.0, 0.0990), (8.0, 0.1200), (8.5, 0.1322), (9.0, 0.1470), (9.5, 0.1630), (10.0, 0.1810), (10.5, 0.2040),
    (11.0, 0.2350), (11.5, 0.2830), (11.6, 0.3068), (11.7, 0.3544), (11.8, 0.4308), (11.9, 0.5679),
    (12.0, 0.6630), (12.5, 0.7350), (13.0, 0.7720), (13.5, 0.7990), (14.0, 0.8200), (15.0, 0.8535),
    (16.0, 0.8800), (17.0, 0.9018), (18.0, 0.9210), (19.0, 0.9377), (20.0, 0.9520), (22.0, 0.9770), (24.0, 1.0000),
)  # fmt: skip
STEP_S = 120.0  # the lag is worked out in steps of this


def rational_m3s(runoff, rain_ms, area_m2):
    """Return the flow of a drained area by the rational method: Q = C * i * A.

    Example: 0.9 x 2 in/h x 1000 ft2 = 18.7 gpm.
    """
    return runoff * rain_ms * area_m2


def type_ii_share(hours):
    """Return the share of the day's rain that has fallen by an hour, straight lines between ordinates."""
    if hours <= 0.0:
        return 0.0
    for (t0, s0), (t1, s1) in zip(TYPE_II, TYPE_II[1:], strict=False):
        if hours <= t1:
            return s0 + (s1 - s0) * (hours - t0) / (t1 - t0)
    return 1.0


def _lagged(runoff_steps, lag_s, reservoirs):
    # Linear reservoirs in a row, each with a share of the lag: a unit hydrograph of gamma shape (Nash's cascade).
    # Each step is exact for a constant flow in, and carries on the mean flow out, so no water is lost.
    flows = list(runoff_steps)
    if lag_s <= 0.0:
        return flows
    constant = lag_s / reservoirs
    keep = exp(-STEP_S / constant)
    for _ in range(reservoirs):
        stored, out = 0.0, []
        for inflow in flows:
            after = stored * keep + inflow * constant * (1.0 - keep)
            out.append(inflow - (after - stored) / STEP_S)
            stored = after
        flows = out
    return flows


def _flow(depth_m, area_m2, runoff, lag_s, begins_s, reservoirs):
    hours = 24.0 + 8.0 * lag_s / 3600.0
    count = int(hours * 3600.0 / STEP_S)
    shares = [type_ii_share(i * STEP_S / 3600.0) for i in range(count + 1)]
    runoffs = [
        rational_m3s(runoff, (b - a) * depth_m / STEP_S, area_m2) for a, b in zip(shares, shares[1:], strict=False)
    ]
    flows = _lagged(runoffs, lag_s, reservoirs)
    points = [(begins_s + (i + 0.5) * STEP_S, flow) for i, flow in enumerate(flows)]
    return _from_zero(points)


def _from_zero(points):
    # A storm that began before the run: only what comes after the start.
    kept = [(t, q) for t, q in points if t >= 0.0]
    return kept if len(kept) > 1 else [(0.0, 0.0), (1.0, 0.0)]


def storm_flow(depth_m, area_m2, runoff, lag_s, begins_s=0.0):
    """Return [(s, m3/s)]: runoff of a Type II day of rain from a drained area, through two reservoirs of the lag."""
    return _flow(depth_m, area_m2, runoff, lag_s, begins_s, 2)


def drain_flow(depth_m, area_m2, share, lag_s, begins_s=0.0):
    """Return [(s, m3/s)]: what a foundation drain brings of it, through one reservoir: steep rise, long tail.

    `share` is the share of the rain that reaches the drain.
    """
    return _flow(depth_m, area_m2, share, lag_s, begins_s, 1)


def read_hydrograph(path):
    """Return [(s, m3/s)] from a CSV file with a header such as `time [min],flow [gpm]`.

    Raises ValueError that says what is wrong with the file, OSError when it cannot be read.
    """
    with Path(path).open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.reader(file) if row and not row[0].startswith("#")]
    if len(rows) < 3 or len(rows[0]) != 2:
        raise ValueError("wanted: a header of two columns, as in time [min],flow [gpm], and two rows or more")
    factors = []
    for title, kind in zip(rows[0], ("time", "flow"), strict=True):
        word = title.partition("[")[2].rstrip("] ")
        if not word:
            raise ValueError(f'column "{title}": wanted a unit in brackets, as in "flow [gpm]"')
        factors.append(units.read(f"1 {word}", kind))
    points = []
    for row in rows[1:]:
        try:
            points.append((float(row[0]) * factors[0], float(row[1]) * factors[1]))
        except (ValueError, IndexError) as error:
            raise ValueError(f"row {row}: two numbers are wanted") from error
    return points
