"""The pit as a hole: do two pumps and four floats fit, does water get in, does it run back, does the basin float."""

from dataclasses import dataclass
from functools import lru_cache
from math import cos, pi, sqrt

from host_sim.plant.friction import orifice_m3s
from host_sim.plant.hydraulics import DENSITY
from host_sim.sizing.limits import limit


@dataclass(frozen=True)
class Room:
    """Lengths in m, areas in m2, flows in m3/s, masses in kg."""

    across_m: float
    needed_m: float  # the pit's width (diameter or side) in which pumps and floats fit
    floats_m: float  # the largest circle left for the floats beside the pumps
    entrance_m3s: float | None  # what the holes of the wall pass; None for a wall that takes water by a pipe
    holes_needed: int
    drain_back_m3: float  # what runs back from the pipe after a stop
    drain_back_share: float  # of the band
    uplift_kg: float
    held_kg: float


@lru_cache(maxsize=4096)
def free_circle_m(across_m, one_m, two_m, gap_m, square=False):
    """Return the diameter of the largest circle beside two pumps that are pushed apart to the wall.

    Round pit: pumps of diameters `one_m`, `two_m` stand opposite; the circle
    touches both (with the gap) and the wall.  Square pit: pumps in two
    corners of one side, the floats in a third.  Below 0 when the pumps
    themselves do not fit.
    """
    r1, r2 = one_m / 2.0, two_m / 2.0
    if square:
        if across_m < one_m + two_m + gap_m:
            return across_m - one_m - two_m - gap_m
        low, high = 0.0, across_m / 2.0
        for _ in range(30):
            s = 0.5 * (low + high)
            # Over one pump, in the corner: along the same wall, and across the diagonal to the other.
            near = (across_m - r1 - s) ** 2 + (r1 - s) ** 2 >= (r1 + s + gap_m) ** 2
            far = (across_m - r2 - s) ** 2 * 2.0 >= (r2 + s + gap_m) ** 2
            low, high = (s, high) if near and far else (low, s)
        return 2.0 * low
    big = across_m / 2.0
    if across_m < one_m + two_m + gap_m:
        return across_m - one_m - two_m - gap_m
    low, high = 0.0, big
    for _ in range(30):
        s = 0.5 * (low + high)
        # The floats' centre is on the wall's inner circle; the best place is where both pumps leave the same gap,
        # which is found by walking round between them.
        fits = False
        for i in range(1, 40):
            angle = pi * i / 40.0
            d1 = _apart(big - r1, big - s, angle)
            d2 = _apart(big - r2, big - s, pi - angle)
            if d1 >= r1 + s + gap_m and d2 >= r2 + s + gap_m:
                fits = True
                break
        low, high = (s, high) if fits else (low, s)
    return 2.0 * low


def _apart(a, b, angle):
    return sqrt(max(0.0, a * a + b * b - 2.0 * a * b * cos(angle)))


@lru_cache(maxsize=4096)
def needed_width_m(one_m, two_m, floats_m, gap_m, square=False):
    """Return the width of the smallest pit that takes two pumps and a circle for the floats."""
    low, high = max(one_m, two_m), 4.0 * (one_m + two_m + floats_m)
    for _ in range(30):
        middle = 0.5 * (low + high)
        if free_circle_m(middle, one_m, two_m, gap_m, square) >= floats_m:
            high = middle
        else:
            low = middle
    return high


TALL, ABOVE_COVER_M, TALLEST = 1.3, 0.05, 0.75  # of a pump's body: see `body_top_m`; our own choice


def body_top_m(inputs, n):
    """Return the height at which the body of pump `n` ends, which nobody gives: 1.3 times its width above the bottom,
    and over what must stay under water, but within the pit; our own choice."""
    plate = inputs.plates[n]
    return min(max(plate.covered_m + ABOVE_COVER_M, TALL * plate.body_m), TALLEST * inputs.pit.floor_m)


def displaced_m3(inputs, low_m, high_m):
    """Return the water that the bodies of both pumps take the place of between two levels: cylinders of their width.

    Example: a body 7 in wide that ends at 9.1 in, from 5 in up: 0.00259 m3 (0.68 gal).
    """
    total = 0.0
    for n, plate in enumerate(inputs.plates):
        tall = min(high_m, body_top_m(inputs, n)) - max(low_m, inputs.pumps[n].intake_m)
        total += max(0.0, tall) * pi / 4.0 * plate.body_m**2
    return total


def entrance_m3s(basin, lowest_m):
    """Return what the holes of a perforated wall pass while water stands `entrance_head` higher outside (orifice)."""
    if not basin.perforated:
        return None
    return orifice_m3s(basin.holes_m2, limit("entrance_head"))


def drain_back_m3(inputs):
    """Return the water that runs back after a stop: the whole line without a check valve, else the riser's foot.

    With a check valve a weep hole lets out what stands below the valve, taken
    as a third of the riser (common practice: the valve within reach above the pit).
    """
    total = 0.0
    for n in (0, 1):
        riser = inputs.discharge.risers[n]
        if not inputs.piping.check[n]:
            header = inputs.discharge.header
            line = riser.volume_m3 + (header.volume_m3 if header else 0.0)
            total = max(total, line)
        elif inputs.pumps[n].weep_m2 > 0.0:
            total = max(total, riser.volume_m3 / 3.0)
    return total


def uplift_kg(inputs, off_m):
    """Return the lift of groundwater on a basin pumped down to `off_m`, as a mass: displaced water less what is
    inside."""
    pit, table = inputs.pit, min(inputs.basin.water_table_m, inputs.pit.floor_m)
    if inputs.basin.perforated or table <= off_m:
        return 0.0
    return DENSITY * (pit.volume_m3(table) - pit.volume_m3(off_m))


def room(inputs, contacts, design_m3s, band_m3):
    """Return the Room of a pit."""
    one, two = (plate.body_m for plate in inputs.plates)
    square, gap = inputs.shape == "square", limit("gap")
    basin = inputs.basin
    passes = entrance_m3s(basin, contacts[0].dry_m)
    each = orifice_m3s(basin.hole_each_m2, limit("entrance_head"))
    back = drain_back_m3(inputs)
    weight = basin.weight_kg + sum(plate.weight_kg for plate in inputs.plates)
    return Room(
        inputs.diameter_m,
        needed_width_m(one, two, inputs.floats.footprint_m, gap, square),
        free_circle_m(inputs.diameter_m, one, two, gap, square),
        passes,
        int(1.2 * design_m3s / each) + 1,
        back,
        back / band_m3 if band_m3 > 0.0 else 1.0,
        uplift_kg(inputs, contacts[0].dry_m),
        weight,
    )
