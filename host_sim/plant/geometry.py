"""The pit: volume over level.

Levels are metres above the pit's bottom.  Inside a slice the plan area is
constant, so level and volume are straight lines of each other; sloping walls
are cut into slices of SLICE_M whose volumes are exact.  Above `floor_m` the
water stands in the pit and on the floor.
"""

from bisect import bisect_right
from math import pi

SLICE_M = 0.01
ABOVE_FLOOR_M = 3.0  # the table goes on so far above the floor


class Pit:
    """A pit made of slices; `levels_m` and `volumes_m3` are its edges, rising."""

    levels_m: list
    volumes_m3: list
    areas_m2: list
    floor_m3: float

    def __init__(self, levels_m, volumes_m3, floor_m):
        self.levels_m = list(levels_m)
        self.volumes_m3 = list(volumes_m3)
        self.floor_m = floor_m
        self.areas_m2 = [
            (v1 - v0) / (h1 - h0)
            for h0, h1, v0, v1 in zip(levels_m, levels_m[1:], volumes_m3, volumes_m3[1:], strict=False)
        ]
        self.floor_m3 = self.volume_m3(floor_m)
        self._value = (tuple(self.levels_m), tuple(self.volumes_m3), floor_m)
        self._hash = hash(self._value)

    def __eq__(self, other):
        """Two pits of the same measures are the same pit: what was solved for one serves the other."""
        return isinstance(other, Pit) and self._value == other._value

    def __hash__(self):
        return self._hash

    def volume_m3(self, level_m: float) -> float:
        """Return the water held at a level; none below the bottom."""
        if level_m <= 0.0:
            return 0.0
        i = min(bisect_right(self.levels_m, level_m) - 1, len(self.areas_m2) - 1)
        return self.volumes_m3[i] + (level_m - self.levels_m[i]) * self.areas_m2[i]

    def level_m(self, volume_m3: float) -> float:
        """Return the level at which so much water stands."""
        i = min(bisect_right(self.volumes_m3, volume_m3) - 1, len(self.areas_m2) - 1)
        return self.levels_m[i] + (volume_m3 - self.volumes_m3[i]) / self.areas_m2[i]

    def area_m2(self, level_m: float) -> float:
        """Return the plan area of the water at a level, that above the edge on an edge."""
        i = min(bisect_right(self.levels_m, level_m) - 1, len(self.areas_m2) - 1)
        return self.areas_m2[i]


def pit_from_table(rows, floor_area_m2):
    """Return a Pit from rows of (level m, plan area m2), areas going in straight lines between rows.

    The last row is the rim, where the floor is.  Raises ValueError unless the
    first level is 0, levels rise and areas are positive.
    """
    if len(rows) < 2 or rows[0][0] != 0.0:
        raise ValueError("a depth-area table needs two rows or more, the first at the bottom, level 0")
    if any(b[0] <= a[0] for a, b in zip(rows, rows[1:], strict=False)) or any(area <= 0.0 for _, area in rows):
        raise ValueError("in a depth-area table the levels rise from row to row and every area is above 0")
    levels, volumes = [0.0], [0.0]
    for (h0, a0), (h1, a1) in zip(rows, rows[1:], strict=False):
        count = 1 if a0 == a1 else max(1, round((h1 - h0) / SLICE_M))
        base = volumes[-1]
        for i in range(1, count + 1):
            x = (h1 - h0) * i / count
            levels.append(h1 if i == count else h0 + x)
            volumes.append(base + a0 * x + (a1 - a0) / (h1 - h0) * x * x / 2.0)
    floor = levels[-1]
    levels.append(floor + ABOVE_FLOOR_M)
    volumes.append(volumes[-1] + ABOVE_FLOOR_M * (floor_area_m2 + rows[-1][1]))
    return Pit(levels, volumes, floor)


def cylinder(diameter_m, depth_m, floor_area_m2):
    """Return a Pit with upright round walls."""
    area = pi / 4.0 * diameter_m**2
    return pit_from_table([(0.0, area), (depth_m, area)], floor_area_m2)


def bucket(bottom_m, top_m, depth_m, floor_area_m2):
    """Return a Pit that widens evenly from one diameter to another: a bucket or a molded basin.

    The area of a cone's slices goes with the square of the height, so the rows
    are laid a slice apart.
    """
    count = max(2, round(depth_m / SLICE_M))
    rows = []
    for i in range(count + 1):
        diameter = bottom_m + (top_m - bottom_m) * i / count
        rows.append((depth_m * i / count, pi / 4.0 * diameter**2))
    return pit_from_table(rows, floor_area_m2)


def square(side_m, depth_m, floor_area_m2):
    """Return a Pit with upright walls on a square of one side length."""
    return pit_from_table([(0.0, side_m**2), (depth_m, side_m**2)], floor_area_m2)
