"""Pumped flow and motor load over the pit's volume, for one state of pumps, valves and pipes.

A regime is one such state.  Its flows and currents are solved with
`hydraulics` at levels chosen so that straight lines between them stay within
TOLERANCE of the largest flow; between events the level then has a closed form.
"""

from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache
from math import sqrt

from host_sim.plant.branch import pump_branch
from host_sim.plant.friction import ORIFICE_CD, G, orifice_m3s
from host_sim.plant.root import root

TOLERANCE = 1e-4  # of the largest flow, at the middle of each straight piece
MOST_KEPT = 500  # regimes of one pit: the oldest makes room
LEAST_PIECE_M = 0.01  # pieces are not cut shorter than this
# Share of the riser's area open to backflow through an idle pump without check valve; common practice, no source.
BACK_SHARE = 0.3


@dataclass(frozen=True)
class Drive:
    """How one pump and its own line stand.

    `turning`: it turns and may move water.  `head`, `flow`: shares left by
    wear.  `open_share`: share of the inlet left open.  `blocked`: nothing
    passes its line.  `back_m2`: area open for water that runs backwards.
    """

    turning: bool = False
    head: float = 1.0
    flow: float = 1.0
    open_share: float = 1.0
    blocked: bool = False
    back_m2: float = 0.0


@dataclass(frozen=True)
class Outlet:
    """How the common end stands: shut, or burst at a height with a share of the water running back into the pit."""

    shut: bool = False
    burst: bool = False
    returned: float = 0.0


class Regime:
    """Flows over volume in one state: `volumes[j] .. volumes[j + 1]` is piece j with `rows[j]`.

    A row holds (a, b) pairs for straight lines a + b * volume: water that
    leaves by pump 1, by pump 2 (m3/s, below 0 for water running backwards),
    then the load of motor 1 and 2 as a share of rated current.
    """

    def __init__(self, volumes, rows, cover_m3):
        self.volumes = volumes
        self.rows = rows
        self.cover_m3 = cover_m3  # by pump, the volume below which it draws some air; 0 when it does not turn
        self.last = len(rows) - 1

    def row(self, volume_m3):
        """Return (index, row) of the piece that holds a volume, the upper one on an edge."""
        j = bisect_right(self.volumes, volume_m3) - 1
        j = min(max(j, 0), self.last)
        return j, self.rows[j]

    def flows(self, volume_m3):
        """Return (out by pump 1, out by pump 2, load 1, load 2) at a volume."""
        row = self.row(volume_m3)[1]
        return tuple(row[i] + row[i + 1] * volume_m3 for i in (0, 2, 4, 6))


class Lines:
    """Solves both pumps through their pipes.  Regimes are kept, so each state is solved once."""

    def __init__(self, pit, pumps, discharge):
        self.pit = pit
        self.pumps = pumps
        self.discharge = discharge
        self.kept = {}

    def regime(self, drives, outlet):
        """Return the Regime for (Drive, Drive) and an Outlet."""
        key = (drives, outlet)
        found = self.kept.get(key)
        if found is None:
            if len(self.kept) >= MOST_KEPT:
                del self.kept[next(iter(self.kept))]
            found = self.kept[key] = self._tabulate(drives, outlet)
        return found

    def solve(self, level_m, drives, outlet):
        """Return (out 1, out 2, through pump 1, through pump 2) in m3/s at a level, all pumps fully under water."""
        end = self.discharge.outlet_m * (0.5 if outlet.burst else 1.0)
        header = None if outlet.burst else self.discharge.header
        if self.discharge.header is None:
            out, through = [0.0, 0.0], [0.0, 0.0]
            for n in (0, 1):
                if drives[n].turning:
                    blocked = Drive(True, blocked=True) if outlet.shut else drives[n]
                    through[n], out[n] = self._branch(n, blocked, level_m, end)
            return (*out, *through)
        return self._shared(level_m, drives, outlet, end, header)

    def _branch(self, n, drive, level_m, junction_m):
        pump, riser = self.pumps[n], self.discharge.risers[n]
        curve = pump.curve.scaled(drive.flow, drive.head)
        throttle = (1.0 / drive.open_share**2 - 1.0) / (2.0 * G * riser.area_m2**2)
        pipe = (riser.area_m2, riser.diameter_m, riser.length_m, riser.k, riser.roughness_m)
        return pump_branch(
            curve.points, pump.weep_m2, curve.runout_m3s, throttle, drive.blocked, pipe, level_m, junction_m
        )

    def _shared(self, level_m, drives, outlet, end_m, header):
        def branches(junction_m):
            out, through = [0.0, 0.0], [0.0, 0.0]
            for n in (0, 1):
                if drives[n].turning:
                    through[n], out[n] = self._branch(n, drives[n], level_m, junction_m)
                elif drives[n].back_m2:
                    out[n] = -orifice_m3s(drives[n].back_m2, junction_m - level_m)
            return out, through

        def through_header(junction_m):
            head = junction_m - end_m
            if head <= 0.0 or outlet.shut:
                return 0.0
            if header is None:
                return 1.0  # burst: whatever comes runs out, so the junction stays at the break
            high = header.area_m2 * sqrt(2.0 * G * head / max(header.k, 1e-3))
            return root(lambda q: header.loss_m(q) - head, 0.0, high + 1e-9, xtol=1e-13)

        def excess(junction_m):
            return sum(branches(junction_m)[0]) - through_header(junction_m)

        heads = [p.curve.shutoff_m for p, d in zip(self.pumps, drives, strict=True) if d.turning]
        top = level_m + max(heads) if heads else end_m
        if top <= end_m or excess(top) > 0.0:
            out, through = branches(top)
        elif header is None and not outlet.shut and excess(end_m) >= 0.0:
            out, through = branches(end_m)
        elif excess(level_m) <= 0.0:
            out, through = branches(level_m)
        else:
            out, through = branches(root(excess, level_m, top, xtol=1e-12))
        return (*out, *through)

    def _at(self, volume_m3, drives, outlet):
        # (out 1, out 2, load 1, load 2) at a volume, with air in pumps that are not covered.
        level = self.pit.level_m(volume_m3)
        wet = []
        for pump, drive in zip(self.pumps, drives, strict=True):
            share = min(1.0, max(0.0, (level - pump.intake_m) / pump.cover_m))
            wet.append(share if drive.turning else 0.0)
        live = tuple(d if w > 0.0 or not d.turning else Drive() for d, w in zip(drives, wet, strict=True))
        flows = self.solve(max(level, 0.0), live, outlet) if any(w > 0.0 for w in wet) else (0.0,) * 4
        keep = 1.0 - outlet.returned
        values = []
        for n in (0, 1):
            values.append(flows[n] * keep * (wet[n] if drives[n].turning else max(wet)))
        for n in (0, 1):
            values.append(self._load(n, flows[2 + n], wet[n]) if drives[n].turning else 0.0)
        return tuple(values)

    def _load(self, n, through_m3s, wet):
        pump = self.pumps[n]
        motor = pump.motor
        full = rated_flow_m3s(pump.curve)
        load = motor.shut_share + (1.0 - motor.shut_share) * through_m3s / full
        return motor.dry_share + wet * (load - motor.dry_share)

    def _tabulate(self, drives, outlet):
        pit = self.pit
        levels = {0.0, pit.floor_m, pit.floor_m + 1.0}
        cover = []
        for pump, drive in zip(self.pumps, drives, strict=True):
            covered = pump.intake_m + pump.cover_m
            cover.append(pit.volume_m3(covered) if drive.turning else 0.0)
            if drive.turning:
                levels.update((pump.intake_m, covered))
        edges = sorted(pit.volume_m3(level) for level in levels)
        values = {v: self._at(v, drives, outlet) for v in edges}
        largest = max((abs(x) for value in values.values() for x in value[:2]), default=0.0)
        if largest > 0.0:
            for low, high in zip(edges, edges[1:], strict=False):
                self._refine(low, high, values, drives, outlet, largest)
        volumes = sorted(values)
        rows = [_row(a, b, values[a], values[b]) for a, b in zip(volumes, volumes[1:], strict=False)]
        rows.append(_row(volumes[-1], volumes[-1] + 1.0, values[volumes[-1]], values[volumes[-1]]))
        return Regime(volumes, rows, cover)

    def _refine(self, low, high, values, drives, outlet, largest):
        # Cut in two until a straight line is good enough; the depth of the cuts is bounded by LEAST_PIECE_M.
        if self.pit.level_m(high) - self.pit.level_m(low) < 2.0 * LEAST_PIECE_M:
            return
        middle = (low + high) / 2.0
        at = self._at(middle, drives, outlet)
        line = [(a + b) / 2.0 for a, b in zip(values[low], values[high], strict=True)]
        if all(abs(at[i] - line[i]) <= TOLERANCE * largest for i in (0, 1)):
            return
        values[middle] = at
        self._refine(low, middle, values, drives, outlet, largest)
        self._refine(middle, high, values, drives, outlet, largest)


@lru_cache(maxsize=64)
def lines_of(pit, pumps, discharge):
    """Return the Lines of a pit, kept: runs of one site, or of sites with the same measures, share what was solved."""
    return Lines(pit, pumps, discharge)


def rated_flow_m3s(curve):
    """Return the flow at which a motor draws its rated current: the last data-plate point above zero head.

    A curve of two points has none between shut-off and run-out: the run-out stands in.
    """
    return max(q for q, h in curve.points if h > 0.0) or curve.runout_m3s


def back_area_m2(flow_m3s, head_m):
    """Return the area through which so much runs backwards under a head."""
    return flow_m3s / (ORIFICE_CD * sqrt(2.0 * G * head_m))


def _row(v0, v1, at0, at1):
    row = []
    for x0, x1 in zip(at0, at1, strict=True):
        slope = (x1 - x0) / (v1 - v0)
        row += [x0 - slope * v0, slope]
    return tuple(row)
