"""The trajectory of the water from the last event on: a chain of segments, each with a closed form.

Within a segment nothing changes but the volume, and net flow is a straight line
over volume.  Segments end at an edge of a table of flows, at a step of the
inflow, or when something in the plant changes by itself (a motor's heat, an
empty battery, a drained riser).  The chain depends only on the last event, not
on when it is looked at: so an event-driven run and a ticking one see the same
water at the same instant, bit for bit.
"""

from bisect import bisect_right
from collections import deque
from math import exp, inf, log

from host_sim.plant import seepage
from host_sim.plant.equipment import Inflow
from host_sim.plant.geometry import Pit
from host_sim.plant.totals import Totals
from host_sim.plant.water_balance import time_to, volume_after, volume_seconds

EDGE, INFLOW, UNTIL, HEAT_1, HEAT_2, FLAT, FULL, DRAINED_1, DRAINED_2, SLOT = range(10)
FAR_M3 = 1e9
GROUND_STEP_M = 0.0005  # tables of seepage are kept for outside levels rounded to this


class Segment:
    """A stretch of time with one closed form; see the module's head."""

    t0: float
    t1: float
    v0: float
    v1: float
    f0: float
    b: float
    back: float
    inside: float
    out_1: float
    out_2: float
    depth: float
    depth_rate: float
    amps: float
    above: bool
    ends: int
    k: int
    heat: tuple
    line: tuple
    loads: tuple
    row: tuple
    seep: tuple
    mode: "Mode"
    slots: "Slots"

    __slots__ = (
        "above", "amps", "b", "back", "depth", "depth_rate", "ends", "f0", "heat", "inside", "k", "line", "loads",
        "mode", "out_1", "out_2", "row", "seep", "slots", "t0", "t1", "v0", "v1",
    )  # fmt: skip

    def volume(self, t: float) -> float:
        """Return the volume at a time within the segment."""
        return volume_after(self.v0, self.f0, self.b, t - self.t0)


class Slots:
    """What is brought up to date at fixed times only: returning water, ground storage, a clogged stilling pipe."""

    at_s: float
    from_s: float
    ground_m: float
    reading_m: float
    returning_m3s: float
    returns: tuple
    marks: tuple

    __slots__ = ("at_s", "from_s", "ground_m", "marks", "reading_m", "returning_m3s", "returns")

    def __init__(self, at_s, ground_m, reading_m):
        self.at_s = at_s  # the next time
        self.from_s = 0.0  # the last time
        self.ground_m = ground_m
        self.reading_m = reading_m
        self.returns = ()  # (due s, m3) of water that comes back later
        self.returning_m3s = 0.0
        self.marks = (0.0, 0.0)  # water discharged and seeped in until the last slot


class Trajectory:
    """The chain of segments; the head of the chain holds the present, its tail is laid as far as it is asked for.

    `make_mode(trajectory)` returns the mode for the state at the tail; the plant owns it.
    """

    pit: Pit
    t: float
    v: float
    k: int
    flat: bool
    depth: float
    inside: float
    slot_s: float
    hot: tuple
    rush: tuple
    heat: tuple
    line: tuple
    out: tuple
    slots: Slots
    totals: Totals
    mode: "Mode"
    head: Segment
    seeps: dict

    def __init__(self, site, volume_m3, make_mode):
        self.pit = site.pit
        self.inflow = site.inflow
        self.seepage = site.seepage
        self.battery = site.supply.battery
        self.charger = site.supply.charger
        self.site = site
        self.make_mode = make_mode
        self.seeps = {}
        self.t = 0.0
        self.v = volume_m3
        self.k = 0
        self.hot = (False, False)
        self.flat = False
        self.rush = (-1.0, -1.0)  # when the inrush of each motor ends
        self.depth = self.battery.start_depth if self.battery else 0.0
        self.heat = (0.0, 0.0)
        self.line = (None, None)  # water missing in each riser; None: full, with a good check
        self.out = (0.0, 0.0)
        self.inside = 0.0  # seeped in
        outside = site.seepage.storage_start_m if site.seepage else 0.0
        self.slots = Slots(0.0, outside, site.pit.level_m(volume_m3))
        self.slot_s = inf
        self.totals = Totals(volume_m3)
        self.mode = None
        self.seep = seepage.NOTHING
        self.segments = deque()
        self.head = None

    # Looking ahead.

    def begin(self):
        """Lay the first segment after the state at the tail was set."""
        self.mode = self.make_mode(self)
        self.seep = self._seep()
        self.segments.clear()
        self.head = self._extend(EDGE)
        self.segments.append(self.head)

    def after(self, i: int) -> Segment:
        """Return segment number i counted from the present one, laying the chain on as needed."""
        while len(self.segments) <= i:
            self.segments.append(self._extend(self.segments[-1].ends))
        return self.segments[i]

    def at(self, t: float) -> Segment:
        """Move the present to a time and return its segment; the time never goes back."""
        segment = self.head
        while segment.t1 <= t:
            self.totals.add(segment, segment.t1)
            following = self.after(1)
            self.segments.popleft()
            self.head = segment = following
        return segment

    def cut(self, t: float):
        """End the chain at a time: the state there becomes the tail, for something to be changed.  Then `begin()`."""
        segment = self.at(t)
        dt = t - segment.t0
        self.totals.add(segment, t)
        self.k, self.mode, self.slots = segment.k, segment.mode, segment.slots
        self.hot, self.flat, self.rush = segment.mode.hot, segment.mode.flat, segment.mode.rush
        self._advance(segment, dt, segment.volume(t))
        self.t = t

    def flow_from(self, t: float, rate_m3s):
        """Let the given flows be one constant flow from the tail on, at time t; the water table goes on as it was."""
        old, k = self.inflow, self.k
        if old.heads_m is None:
            self.inflow = Inflow([*old.times_s[: k + 1], t], [*old.rates_m3s[: k + 1], rate_m3s], None)
        else:
            times = [*old.times_s[: k + 1], t, *old.times_s[k + 1 :]]
            rates = [*old.rates_m3s[: k + 1], *[rate_m3s] * (len(times) - k - 1)]
            self.inflow = Inflow(times, rates, [*old.heads_m[: k + 1], *old.heads_m[k:]])
        self.k = k + 1
        self.seep = self._seep()

    # Laying segments.

    def _seep(self):
        if self.seepage is None:
            return seepage.NOTHING
        if self.seepage.storage_m2:
            outside = round(self.slots.ground_m / GROUND_STEP_M) * GROUND_STEP_M
        elif self.inflow.heads_m is None:
            return seepage.NOTHING
        else:
            outside = self.inflow.heads_m[self.k]
        table = self.seeps.get(outside)
        if table is None:
            if len(self.seeps) > 20000:  # a bound on memory in year-long runs
                self.seeps.clear()
            table = self.seeps[outside] = seepage.table(self.seepage, self.pit, outside)
        return table

    def _change(self, ends: int):
        # Something in the plant has changed by itself at the tail.
        if ends == INFLOW:
            self.k += 1
            self.seep = self._seep()
            return
        if ends == HEAT_1 or ends == HEAT_2:
            n = ends - HEAT_1
            hot = list(self.hot)
            hot[n] = not hot[n]
            self.hot = tuple(hot)
        elif ends == FLAT:
            self.flat, self.depth = True, 1.0
        elif ends == FULL:
            self.depth = 0.0
        elif ends == DRAINED_1 or ends == DRAINED_2:
            n = ends - DRAINED_1
            line = list(self.line)
            line[n] = self.mode.line_m3[n]
            self.line = tuple(line)
        elif ends == SLOT:
            self._slot()
            return
        self.mode = self.make_mode(self)

    def _slot(self):
        old, site = self.slots, self.site
        new = Slots(round(old.at_s + self.slot_s, 3), old.ground_m, old.reading_m)
        new.from_s = old.at_s
        elapsed = old.at_s - old.from_s
        out = self.out[0] + self.out[1]
        new.marks = (out, self.inside)
        share = max(0.0, out - old.marks[0]) * site.discharge.recirculated
        due = [item for item in old.returns if item[0] > self.t]
        if share > 0.0:
            due.append((self.t + site.discharge.recirculation_s, share))
        new.returns = tuple(due)
        new.returning_m3s = sum(item[1] for item in old.returns if item[0] <= self.t) / self.slot_s
        if self.seepage and self.seepage.storage_m2:
            came = self.inflow.rates_m3s[self.k] * elapsed - (self.inside - old.marks[1])
            if self.inflow.heads_m is not None:
                came += self.seepage.regional_m2s * (self.inflow.heads_m[self.k] - old.ground_m) * elapsed
            new.ground_m = old.ground_m + came / self.seepage.storage_m2
        if self.mode.lag_s:
            share = 1.0 - exp(-elapsed / self.mode.lag_s)
            new.reading_m = old.reading_m + (self.pit.level_m(self.v) - old.reading_m) * share
        self.slots = new
        self.seep = self._seep()

    def _extend(self, ends: int) -> Segment:
        if ends != EDGE:
            self._change(ends)
        t, v, mode, seep = self.t, self.v, self.mode, self.seep
        inflow, k, slots = self.inflow, self.k, self.slots
        regime = mode.regime
        storage = self.seepage is not None and self.seepage.storage_m2 > 0.0
        given = slots.returning_m3s + (0.0 if storage else inflow.rates_m3s[k])
        fixed = given + mode.back
        segment = Segment()
        row, drop, f0, b, edge = _line(regime, seep, fixed, v)
        dt = time_to(v, f0, b, edge) if edge < inf else inf
        segment.t0, segment.v0, segment.f0, segment.b = t, v, f0, b
        segment.row, segment.seep, segment.back, segment.k = row, drop, fixed, k
        segment.mode, segment.slots = mode, slots
        segment.depth, segment.heat, segment.line = self.depth, self.heat, self.line
        segment.out_1, segment.out_2, segment.inside = self.out[0], self.out[1], self.inside
        segment.above = v >= self.pit.floor_m3 and (f0 > 0.0 or v > self.pit.floor_m3)
        ends, t1 = EDGE, t + dt
        if k + 1 < len(inflow.times_s) and inflow.times_s[k + 1] < t1:
            ends, t1 = INFLOW, inflow.times_s[k + 1]
        if mode.until < t1:
            ends, t1 = UNTIL, mode.until
        if slots.at_s < t1 and self.slot_s < inf:
            ends, t1 = SLOT, slots.at_s
        segment.amps = segment.depth_rate = 0.0
        if mode.watched:
            ends, t1 = self._own_deadlines(segment, ends, t1)
        segment.ends, segment.t1 = ends, t1
        if t1 == inf:
            # It goes on for ever: towards the balance of its flows, or away.
            segment.v1 = v if f0 == 0.0 else v - f0 / b if b < 0.0 else FAR_M3 if f0 > 0.0 else -FAR_M3
            return segment
        v1 = edge if ends == EDGE else volume_after(v, f0, b, t1 - t)
        segment.v1 = v1
        self._advance(segment, t1 - t, v1)
        self.t = t1
        return segment

    def _own_deadlines(self, segment: Segment, ends: int, t1: float) -> tuple:
        # Heat, battery and draining risers go on at the rates of the middle of the segment.
        mode, t = segment.mode, segment.t0
        if t1 < inf:
            middle = volume_after(segment.v0, segment.f0, segment.b, 0.5 * (t1 - t))
        else:
            middle = segment.v0
        loads = mode.loads(segment.row, middle)
        for n in (0, 1):
            when = t + _heat_time(mode, n, segment.heat[n], loads[n])
            if when < t1:
                ends, t1 = HEAT_1 + n, when
            drain = mode.drain_m3s[n]
            if drain > 0.0:
                when = t + max(0.0, (mode.line_m3[n] - segment.line[n]) / drain)
                if when < t1:
                    ends, t1 = DRAINED_1 + n, when
        if self.battery is not None:
            segment.amps = mode.battery_amps(loads)
            rate = mode.depth_rate(segment.amps, segment.depth)
            segment.depth_rate = rate
            if rate > 0.0 and not self.flat:
                when = t + (1.0 - segment.depth) / rate
                if when < t1:
                    ends, t1 = FLAT, when
            elif rate < 0.0 and t - segment.depth / rate < t1:
                ends, t1 = FULL, t - segment.depth / rate
        segment.loads = loads
        return ends, max(t1, t)

    def _advance(self, segment: Segment, dt: float, v: float):
        # Bring the state at the tail to dt after the start of a segment.
        mode = segment.mode
        vs = volume_seconds(segment.v0, segment.f0, segment.b, dt)
        row = segment.row
        out_1, out_2 = row[0] * dt + row[1] * vs, row[2] * dt + row[3] * vs
        self.out = (segment.out_1 + out_1, segment.out_2 + out_2)
        self.inside = segment.inside + segment.seep[0] * dt + segment.seep[1] * vs
        self.v = v
        self.depth, self.heat, self.line = segment.depth, segment.heat, segment.line
        if not mode.watched:
            return
        loads = segment.loads
        heat_1, heat_2 = segment.heat
        self.heat = (_heat_after(mode, 0, heat_1, loads[0], dt), _heat_after(mode, 1, heat_2, loads[1], dt))
        if self.battery is not None:
            self.depth = min(1.0, max(0.0, segment.depth + segment.depth_rate * dt))
        if mode.lines:
            line = list(segment.line)
            for n, moved in ((0, out_1), (1, out_2)):
                if line[n] is not None:
                    missing = line[n] - max(0.0, moved) + mode.drain_m3s[n] * dt
                    line[n] = min(mode.line_m3[n], max(0.0, missing))
            self.line = tuple(line)


def _line(regime, seep, fixed: float, v: float) -> tuple:
    """Return (row of the regime, row of the seepage, net flow at v, its slope, volume at which the segment ends)."""
    j, row = regime.row(v)
    s = min(bisect_right(seep.volumes, v) - 1, seep.last)
    drop = seep.rows[s]
    b = drop[1] - row[1] - row[3]
    f0 = fixed + drop[0] - row[0] - row[2] + b * v
    if f0 >= 0.0:
        edge = regime.volumes[j + 1] if j < regime.last else inf
        if s < seep.last and seep.volumes[s + 1] < edge:
            edge = seep.volumes[s + 1]
        return row, drop, f0, b, edge
    # On an edge the water that falls goes into the segment below.
    moved = False
    if v <= regime.volumes[j] and j > 0:
        j, moved = j - 1, True
        row = regime.rows[j]
    if v <= seep.volumes[s] and s > 0:
        s, moved = s - 1, True
        drop = seep.rows[s]
    if moved:
        b = drop[1] - row[1] - row[3]
        f0 = fixed + drop[0] - row[0] - row[2] + b * v
        if f0 >= 0.0:  # balanced on the edge itself
            f0 = b = 0.0
    return row, drop, f0, b, max(regime.volumes[j], seep.volumes[s])


def _heat_after(mode: "Mode", n: int, heat: float, load: float, dt: float) -> float:
    rise = load * load
    return rise + (heat - rise) * exp(-dt / mode.heat_s[n])


def _heat_time(mode: "Mode", n: int, heat: float, load: float) -> float:
    # When the thermal contact of motor n changes, in seconds; inf when it does not.
    rise = load * load
    edge = mode.closes_at[n] if mode.hot[n] else mode.opens_at[n]
    if mode.hot[n]:
        if heat <= edge:
            return 0.0
        if rise >= edge:
            return inf
    else:
        if heat >= edge:
            return 0.0
        if rise <= edge:
            return inf
    return mode.heat_s[n] * log((heat - rise) / (edge - rise))
