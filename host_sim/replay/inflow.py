"""The inflow over the night, with a band of uncertainty, and what the pumps moved at every draw-down.

While no pump runs, the inflow is the slope of the water.  While one runs, it
is the slope and the pump's rate together; the rate of a draw-down is the slope
less the inflow of the fills beside it.
"""

from dataclasses import dataclass, field

import numpy as np

from host_sim.plant.discharge import Drive, Lines, Outlet

GRID_S = 30.0
RUN_BACK_SHARE = 0.08  # of contacts alone: what runs back after a stop does not show; our own choice
AREA_SHARE = 0.02  # how well a pit's plan area is known; common practice, no source
COARSE = 0.6  # of the flow, times the square of what a row is of a draw-down; our own choice
KERNEL_S = 90.0  # fills this near one another are taken together
WIDTHS_S = (90.0, 180.0, 360.0, 720.0, 1200.0)
GOOD = 0.003  # of a pump's rate, or GOOD_SHARE of the flow: a mean as sure as this is taken together with no more
GOOD_SHARE = 0.06
BRIDGE = 0.02  # of a pump's rate: between points as sure as this a straight line is drawn
USELESS = 0.25  # of a pump's rate: a point with such an error says nothing
NEAR_FILL_S = 900.0  # a draw-down is rated by fills no further away than this
NEAREST = 7  # short runs that tell what a long one moves
WORN = 0.05  # of what it should move: a pump that moves less is stopped rather than worn
DOUBT = 0.10  # of what one pump is taken to move where no fill is near; of two through one header; our own choice
DOUBT_OF_TWO = 0.18
AT_INLET_M = 0.03
TORN_S = 10.0  # pieces of one run may lie so far apart: rows about the floor's edge fit no line
JUMP = 0.12  # of a pump: what the inflow does not do from one minute to the next
RAGGED, RAGGED_OF = 3, 9  # of so many fills so many jump: the inflow comes in bursts; our own choice
LONG_RUN_S = 45.0  # a run shorter than this is rated by its fills, not the other way round


@dataclass
class DrawDown:
    """One stretch of pumping: `rate_m3s` is what the pumps moved, `expected_m3s` what the site's would at that level.

    `share` is the one over the other; `order` counts the runs of the night.
    """

    start_s: float
    end_s: float
    on: int
    mask: int
    rate_m3s: float
    error_m3s: float
    expected_m3s: float
    start_m: float
    end_m: float
    order: int
    near_s: float = 0.0  # how far the nearest fill lay

    @property
    def share(self):
        """What was moved as a share of what should have been."""
        return self.rate_m3s / self.expected_m3s if self.expected_m3s > 0.0 else np.nan


@dataclass
class Inflow:
    """Inflow on a grid: `low`, `flow` and `high` are arrays of n in m3/s at `time_s`; the band is meant to hold 95 %.

    `held` marks grid points that lie in a gap, or of contacts alone where none
    turned, and the flow is only carried over; `draw_downs` are the runs that could be rated.
    """

    time_s: np.ndarray
    flow_m3s: np.ndarray
    low_m3s: np.ndarray
    high_m3s: np.ndarray
    held: np.ndarray
    draw_downs: list = field(default_factory=list)
    points: list = field(default_factory=list)  # (time s, m3/s, standard error)
    rate_m3s: float = 0.0
    delivered: dict = field(default_factory=dict)  # of runs held against the fill before: {start s: (share, doubt)}
    bounds: bool = False  # `low` and `high` are bounds by water balance, `flow` no more than half-way between
    volume_range_m3: tuple = ()  # of bounds: the least and the most that came in
    spans: object = None  # of bounds from run states: (start s, end s) over which each is that of the mean, n x 2

    def volume_m3(self):
        """Return the water that came in."""
        return float(np.trapezoid(self.flow_m3s, self.time_s))


class Rates:
    """What the site's pumps move at a level, by the site's curves and pipes."""

    def __init__(self, site):
        self.site = site
        self.lines = Lines(site.pit, site.pumps, site.discharge)

    def expected(self, mask, level_m):
        """Return the flow in m3/s of the pumps of a mask at a level; of one pump where the mask is unknown."""
        mask = 1 if mask <= 0 else mask
        drives = (Drive(turning=bool(mask & 1)), Drive(turning=bool(mask & 2)))
        flows = self.lines.regime(drives, Outlet()).flows(self.site.pit.volume_m3(level_m))
        return flows[0] + flows[1]

    def weakened(self, mask, level_m, lost):
        """Return the flow of the pumps of a mask that have lost a share of their flow and head alike."""
        mask = 1 if mask <= 0 else mask
        drives = tuple(Drive(turning=bool(mask >> n & 1), head=1.0 - lost, flow=1.0 - lost) for n in (0, 1))
        flows = self.lines.regime(drives, Outlet()).flows(self.site.pit.volume_m3(level_m))
        return flows[0] + flows[1]

    def lost(self, mask, level_m, share):
        """Return the share of flow and head lost, from 0 to 0.95, that leaves a share of what should be moved.

        A worn pump loses both, and lost head costs more flow behind a tall pipe.
        """
        whole, low, high = self.expected(mask, level_m), 0.0, 0.95
        for _ in range(10):
            middle = (low + high) / 2.0
            low, high = (middle, high) if self.weakened(mask, level_m, middle) > share * whole else (low, middle)
        return round(low, 3)

    def nominal(self):
        """Return what the weaker pump moves alone, half-way between off and lead (or half-way up the pit)."""
        off, lead = self.site.contacts[0], self.site.contacts[1]
        level = self.site.pit.floor_m / 2.0
        if off is not None and lead is not None:
            level = (off.dry_m + lead.wet_m) / 2.0
        return min(self.expected(1, level), self.expected(2, level))


def reconstruct(log, parts, site, rates=None):
    """Return the Inflow of a Log cut into Segments, or None where no stretch shows it."""
    rates = rates or Rates(site)
    if log.levels_at_contacts_only:
        parts = _above_off(parts, site)
    standing = _at_inlet(parts, site, rates)
    points = _fills([part for part in parts if part not in standing])
    if not points:
        return None
    draws = _draw_downs(parts, points, rates)
    typical = _typical(draws)
    own = _own_shares(parts, draws)
    pumped, doubts = _through_pumping([part for part in parts if part not in standing], draws, points, rates, typical,
                                      own)  # fmt: skip
    still, unsure = _through_air(standing, rates)
    points, doubts = sorted(points + pumped + still), {**doubts, **unsure}
    sound = [point for point in points if point[2] < USELESS * rates.nominal()]
    points = sound if len(sound) >= 2 else points
    grid = np.arange(0.0, log.duration_s + GRID_S, GRID_S)
    flow, error, far = _smooth(grid, np.array(points), rates.nominal())
    slow = _growth(points)
    area = RUN_BACK_SHARE if log.levels_at_contacts_only else AREA_SHARE
    area += _coarse(log, site, rates)
    half = 1.96 * error + area * np.abs(flow) + slow * np.maximum(0.0, far - KERNEL_S)
    half += 1.96 * np.interp(grid, [point[0] for point in points], _ragged(points))
    half += np.interp(grid, [point[0] for point in points], [doubts.get(point[0], 0.0) for point in points])
    held = np.zeros(len(grid), bool)
    for a, b in log.gaps:
        held |= (grid > a) & (grid < b)
    if log.levels_at_contacts_only:
        held |= ~_between(grid, parts)
    flow = np.maximum(flow, 0.0)
    return Inflow(grid, flow, np.maximum(flow - half, 0.0), flow + half, held, draws, points, typical * rates.nominal(),
                  delivered=own)  # fmt: skip


def _coarse(log, site, rates):
    # Where a draw-down holds few rows, its ends lie anywhere between two of them: as a share of the flow.
    off, lead = site.contacts[:2]
    if off is None or lead is None or log.levels_at_contacts_only:
        return 0.0
    draw_s = (site.pit.volume_m3(lead.wet_m) - site.pit.volume_m3(off.dry_m)) / rates.nominal()
    return COARSE * (log.spacing_s / draw_s) ** 2


def _fills(parts):
    # One point for each fill; long ones were cut before.
    found = []
    for part in parts:
        if part.on == 0 and part.end_s - part.start_s >= 2.0:
            found.append((part.middle_s, part.slope_m3s, max(part.error_m3s, 1e-8)))
    return found


def _at(points, time_s):
    """Return (inflow, its error, distance in s to the nearest point) at a time, on a line between points."""
    times = np.array([p[0] for p in points])
    flows = np.array([p[1] for p in points])
    errors = np.array([p[2] for p in points])
    near = float(np.min(np.abs(times - time_s)))
    return float(np.interp(time_s, times, flows)), float(np.interp(time_s, times, errors)), near


def _spread(points, time_s):
    # How far the fills on either side of a time lie apart, as an error of what is drawn between them.
    times = [p[0] for p in points]
    i = int(np.searchsorted(times, time_s))
    if not 0 < i < len(points):
        return 0.0
    (a, before, _), (b, after, _) = points[i - 1], points[i]
    return 0.3 * abs(after - before) * min(time_s - a, b - time_s) / max(b - a, 1e-9)


def _draw_downs(parts, points, rates):
    found, order, before = [], 0, None
    for part in parts:
        if part.on == 0:
            before = None
            continue
        if before is None:
            order += 1
        before = part
        inflow, error, near = _at(points, part.middle_s)
        error = max(error, _spread(points, part.middle_s))
        if near > NEAR_FILL_S or part.rows < 2:
            continue
        expected = rates.expected(part.mask if part.mask > 0 else (3 if part.on == 2 else 1),
                                  (part.start_m + part.end_m) / 2.0)  # fmt: skip
        error = float(np.hypot(error, part.error_m3s))
        found.append(DrawDown(part.start_s, part.end_s, part.on, part.mask, inflow - part.slope_m3s, error, expected,
                              part.start_m, part.end_m, order, near))  # fmt: skip
    return found


def _carried(run, rated):
    # The share from piece to piece of one run: what was rated, then that with every jump of the slope taken for the
    # pump's own, as when an air lock clears.
    found, share, expected, before, doubt = {}, None, 0.0, None, 0.12
    for part in run:
        if part.start_s in rated:
            share, expected, doubt = float(rated[part.start_s].share), rated[part.start_s].expected_m3s, 0.12
        elif share is not None and part.mask > 0:  # of a run that only the water shows, a jump may be the inflow's
            jump = (before.slope_m3s - part.slope_m3s) / expected
            sure = 3.0 * np.hypot(before.error_m3s, part.error_m3s)
            if abs(before.slope_m3s - part.slope_m3s) > sure and abs(jump) > JUMP:
                share, doubt = share + jump, 0.18
        if share is not None:
            share = float(np.clip(share, 0.0, 1.5))
            found[part.start_s] = (share, doubt)
        if before is None or part.error_m3s < JUMP * max(expected, 1e-6):
            before = part  # a piece that shows nothing is passed over
    return found


def _typical(draws):
    """Return the usual share of what was moved of what should have been; 1 where no draw-down could be rated."""
    shares = [d.share for d in draws if d.error_m3s < 0.3 * abs(d.rate_m3s) and d.end_s - d.start_s < 600.0]
    return float(np.clip(np.median(shares), 0.05, 1.5)) if shares else 1.0


def _through_pumping(parts, draws, points, rates, typical, own):
    # Long pumping with no fill near it: slope and pump rate together, the rate that of the nearest short runs.
    rated = [d for d in draws if d.near_s < 2.0 * KERNEL_S and d.error_m3s < 0.2 * abs(d.rate_m3s)]
    reference = float(np.median([(d.start_m + d.end_m) / 2.0 for d in rated])) if rated else 0.0
    # Returns the points, and {time: m3/s} of what is wrong alike in all of them, so that no mean makes it smaller.
    found, lost, doubts = [], {}, {}
    for part in parts:
        near = _at(points, part.middle_s)[2]
        if part.on == 0 or (near <= 2.0 * KERNEL_S and part.end_s - part.start_s < LONG_RUN_S) or near <= KERNEL_S:
            continue
        level = (part.start_m + part.end_m) / 2.0
        expected = rates.expected(part.mask if part.mask > 0 else (3 if part.on == 2 else 1), level)
        like = sorted((abs(d.start_s - part.middle_s), d.share) for d in rated if d.mask == part.mask)[:NEAREST]
        share = float(np.median([s for _, s in like])) if len(like) >= 3 else typical
        doubt = DOUBT if part.on == 1 else DOUBT_OF_TWO
        if part.mask > 0:
            # A recorded state says that a pump was on, not that it moved water: what this run moved as it began counts.
            share, doubt = own.get(part.start_s, (share, 0.4))
        elif part.on == 1 and part.start_s in own:
            # A pump that wears while it runs: what this run moved as it began, not what the runs before it moved.
            share, doubt = own[part.start_s]
        rate = share * expected
        if WORN < share < 0.9:
            key = (part.mask, round(share, 2))
            if key not in lost:
                lost[key] = rates.lost(part.mask, reference, share)
            rate = rates.weakened(part.mask, level, lost[key])
        doubts[part.middle_s] = doubt * max(rate, 0.3 * expected)
        found.append((part.middle_s, part.slope_m3s + rate, float(np.hypot(part.error_m3s, 0.02 * rate))))
    return found, doubts


def _between(grid, parts):
    # Of contacts alone: which grid times lie between two turns that show a flow; past the highest contact none does.
    found = np.zeros(len(grid), bool)
    for part in parts:
        found |= (grid >= part.start_s - KERNEL_S) & (grid <= part.end_s + KERNEL_S)
    return found


def _above_off(parts, site):
    # Of contacts alone: fills without that from the stop to off wet, in which water runs back out of the discharge.
    off = site.contacts[0]
    kept = [part for part in parts if part.on or off is None or part.start_m != off.dry_m]
    return kept if any(part.on == 0 for part in kept) else parts


def _at_inlet(parts, site, rates):
    # Water that a pump drew well below the stop level and that stands there: a pump that goes on draws air and takes
    # whatever comes in.  Water that stands low by itself is only a dry spell.
    off, found, drawn = site.contacts[0], [], False
    for part in parts:
        low = off is not None and max(part.start_m, part.end_m) < off.dry_m - AT_INLET_M
        if low and drawn and abs(part.slope_m3s) < 0.05 * rates.nominal() + 2.0 * part.error_m3s:
            found.append(part)
        elif part.on and part.end_m < part.start_m:
            drawn = off is not None and part.end_m < off.dry_m - AT_INLET_M
        else:
            drawn = drawn and low
    return found


def _through_air(parts, rates):
    # What comes in there is anything up to half of what a pump moves: (points, their doubts) as above.
    half = 0.25 * rates.nominal()
    return [(part.middle_s, half, 0.1 * half) for part in parts], {part.middle_s: half for part in parts}


def _own_shares(parts, draws):
    """Return {start s of a Segment: (share, its doubt)} of runs that could be held against the fill before them.

    The inflow changes slowly, a pump at once: the slope as it starts tells what it moves.
    """
    rated = {d.start_s: d for d in draws if d.near_s <= 2.0 * KERNEL_S and d.error_m3s < 0.1 * d.expected_m3s}
    found, run = {}, []
    for part in [*parts, None]:
        joined = run and part is not None and part.mask == run[-1].mask and part.start_s - run[-1].end_s < TORN_S
        if part is not None and part.on and (joined or not run):
            run.append(part)
            continue
        found.update(_carried(run, rated))
        run = [part] if part is not None and part.on else []
    return found


def _smooth(grid, points, rate):
    """Return (flow, standard error, distance to the nearest point) at each grid time.

    A weighted mean of the points within a kernel, which widens where they are
    few or poor: water that stands on a floor shows its inflow only slowly.
    """
    times, flows, errors = points.T
    flow, error, far = np.empty(len(grid)), np.empty(len(grid)), np.empty(len(grid))
    line, line_error = np.interp(grid, times, flows), np.interp(grid, times, errors)
    for i, at in enumerate(grid):
        a, b = np.searchsorted(times, (at - KERNEL_S, at + KERNEL_S))
        far[i] = 0.0 if b > a else float(np.min(np.abs(times[max(0, a - 1) : b + 1] - at)))
        flow[i], error[i] = line[i], line_error[i]
        for width in WIDTHS_S:
            a, b = np.searchsorted(times, (at - width, at + width))
            if b - a < 2:
                if far[i] <= KERNEL_S or errors[max(0, a - 1) : b + 1].max() <= BRIDGE * rate:
                    break  # a gap between good points is bridged by a straight line
                continue
            flow[i], error[i] = _mean(times[a:b] - at, flows[a:b], errors[a:b], width)
            if error[i] <= max(GOOD * rate, GOOD_SHARE * abs(flow[i])):
                break
    return flow, error, far


def _mean(apart, flows, errors, width):
    # (weighted mean, its standard error): near and certain points weigh most.
    weight = (1.0 - (apart / (width * 1.001)) ** 2) / (errors**2 + (0.02 * np.abs(flows)) ** 2 + 1e-16)
    total = weight.sum()
    mean = (weight * flows).sum() / total
    scatter = (weight * (flows - mean) ** 2).sum() / total
    return mean, np.sqrt(scatter / len(flows) + (weight**2 * errors**2).sum() / total**2)


def _ragged(points):
    # How much the inflow jumps from fill to fill beyond what each fill's own error allows, as a standard deviation at
    # each point: 0 where fewer than RAGGED of the RAGGED_OF nearest stand clear of the line through their neighbors.
    found = np.zeros(len(points))
    if len(points) < RAGGED_OF:
        return found
    time, flow, error = np.array(points).T
    share = (time[1:-1] - time[:-2]) / np.maximum(time[2:] - time[:-2], 1e-9)
    apart = flow[1:-1] - (flow[:-2] * (1.0 - share) + flow[2:] * share)
    own = error[1:-1] ** 2 + ((1.0 - share) * error[:-2]) ** 2 + (share * error[2:]) ** 2
    clear = np.abs(apart) > 3.0 * np.sqrt(own) + JUMP * np.abs(flow[1:-1])
    more = np.maximum(apart**2 - own, 0.0) / (1.0 + share**2 + (1.0 - share) ** 2)
    for i in range(len(points)):
        first = int(np.clip(i - 1 - RAGGED_OF // 2, 0, len(apart) - RAGGED_OF))
        if clear[max(0, first) : first + RAGGED_OF].sum() >= RAGGED:
            found[i] = np.sqrt(more[max(0, first) : first + RAGGED_OF].mean())
    return found


def _growth(points):
    # How fast the inflow changes by itself, in m3/s for each second, as a careful person would allow for.
    if len(points) < 4:
        return 0.0
    table = np.array(points)
    steps = np.diff(table[:, 0])
    wide = steps > 20.0
    if not wide.any():
        return 0.0
    return float(np.quantile(np.abs(np.diff(table[:, 1]))[wide] / steps[wide], 0.75))
