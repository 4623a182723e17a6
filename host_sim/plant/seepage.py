"""Groundwater that enters the pit, as a table over the pit's volume for one outside level.

Linear recharge: flow = conductance * (outside level - pit level), the pit's
level counting no lower than where water enters.  With holes the soil and the
holes lie in a row: what the soil lets through must also pass the holes
(orifice), so the water stands higher outside the wall than inside.
"""

from host_sim.plant.friction import orifice_m3s
from host_sim.plant.root import root

PIECES = 12  # straight pieces between the lowest entry and the outside level when there are holes


class Seep:
    """Flow into the pit over its volume: `rows[j]` is (a, b) of a + b * volume between volumes j and j + 1."""

    def __init__(self, volumes, rows):
        self.volumes = volumes
        self.rows = rows
        self.last = len(rows) - 1


NOTHING = Seep([0.0], [(0.0, 0.0)])


def _through_holes(holes, outside_m, level_m):
    total = 0.0
    for hole_m, area_m2 in holes:
        total += orifice_m3s(area_m2, outside_m - max(level_m, hole_m))
    return total


def flow_m3s(seepage, outside_m, level_m):
    """Return the flow into the pit at one outside level and one pit level, m3/s; below 0 it leaves the pit."""
    low = seepage.enters_m
    if not seepage.two_way and level_m >= outside_m:
        return 0.0
    head = max(outside_m, low) - max(level_m, low)
    if not seepage.holes:
        return seepage.conductance_m2s * head
    if head <= 0.0:
        # Holes pass water outwards as well; the soil then stands lower.
        if not seepage.two_way or head == 0.0:
            return 0.0
        return -_in_series(seepage, max(level_m, low), max(outside_m, low))
    return _in_series(seepage, max(outside_m, low), max(level_m, low))


def _in_series(seepage, upper_m, lower_m):
    # The level at the wall at which soil and holes pass the same flow.
    def excess(wall_m):
        return seepage.conductance_m2s * (upper_m - wall_m) - _through_holes(seepage.holes, wall_m, lower_m)

    if excess(upper_m) >= 0.0:
        return 0.0
    wall = root(excess, lower_m, upper_m, xtol=1e-12)
    return seepage.conductance_m2s * (upper_m - wall)


def table(seepage, pit, outside_m):
    """Return the Seep of a pit for an outside level."""
    edges = {0.0, seepage.enters_m, max(outside_m, seepage.enters_m)}
    if seepage.holes:
        low = seepage.enters_m
        # The flow goes with the root of the head, so the pieces close up towards the outside level.
        edges.update(outside_m - (outside_m - low) * (i / PIECES) ** 2 for i in range(PIECES) if outside_m > low)
        edges.update(h for h, _ in seepage.holes if h < outside_m)
    edges.update(level for level in pit.levels_m if seepage.two_way or level < outside_m)
    edges.add(pit.levels_m[-1])
    levels = sorted(edges)
    volumes = [pit.volume_m3(level) for level in levels]
    flows = [flow_m3s(seepage, outside_m, level) for level in levels]
    return _seep(volumes, flows)


def _seep(volumes, flows):
    rows = []
    for v0, v1, q0, q1 in zip(volumes, volumes[1:], flows, flows[1:], strict=False):
        slope = (q1 - q0) / (v1 - v0)
        rows.append((q0 - slope * v0, slope))
    rows.append((flows[-1], 0.0))
    return Seep(volumes, rows)
