"""Totals of a run: water, charge and time, summed over the segments of the trajectory."""

from host_sim.plant.water_balance import volume_seconds

MOVES = 0.05  # of the rated flow: below it a turning pump is counted as running dry
STALLED = "stalled"  # a locked rotor turns no seal, and is not counted so


class Totals:
    """Water and energy counted over the segments that have passed."""

    start_m3: float
    given_m3: float
    seeped_m3: float
    returned_m3: float
    out_m3: list
    charge_as: list
    dry_s: list
    loaded_s: list
    floor_s: float
    highest_m3: float
    highest_at_s: float
    deepest: float
    segments: int

    def __init__(self, volume_m3):
        self.start_m3 = volume_m3
        self.given_m3 = 0.0  # by the inflow's own rates
        self.seeped_m3 = 0.0
        self.returned_m3 = 0.0  # recirculated and run back from the riser
        self.out_m3 = [0.0, 0.0]
        self.charge_as = [0.0, 0.0]  # by motor: current times time
        self.dry_s = [0.0, 0.0]
        self.loaded_s = [0.0, 0.0]
        self.floor_s = 0.0
        self.floor_first_s = None
        self.highest_m3 = volume_m3
        self.highest_at_s = 0.0
        self.deepest = 0.0  # depth of discharge of the battery
        self.segments = 0

    def balance_m3(self, volume_m3: float) -> float:
        """Return the error of the water balance: 0 but for rounding."""
        came = self.given_m3 + self.seeped_m3 + self.returned_m3
        return (volume_m3 - self.start_m3) - (came - self.out_m3[0] - self.out_m3[1])

    def moved_m3(self):
        """Return all water that went into and out of the pit."""
        return self.given_m3 + abs(self.seeped_m3) + self.returned_m3 + sum(abs(x) for x in self.out_m3)

    def add(self, segment: "Segment", t: float):
        """Count a segment from its start to a time within it or its end."""
        dt = t - segment.t0
        if dt <= 0.0:
            return
        row, mode = segment.row, segment.mode
        full = t == segment.t1
        v1 = segment.v1 if full else segment.volume(t)
        vs = volume_seconds(segment.v0, segment.f0, segment.b, dt)
        out_1, out_2 = row[0] * dt + row[1] * vs, row[2] * dt + row[3] * vs
        self.out_m3[0] += out_1
        self.out_m3[1] += out_2
        self.seeped_m3 += segment.seep[0] * dt + segment.seep[1] * vs
        extra = segment.slots.returning_m3s + mode.back
        self.returned_m3 += extra * dt
        self.given_m3 += (segment.back - extra) * dt
        self.segments += 1
        if v1 > self.highest_m3:
            self.highest_m3, self.highest_at_s = v1, t
        if segment.above:
            self.floor_s += dt
            if self.floor_first_s is None:
                self.floor_first_s = segment.t0
        if mode.energised:
            self._motors(segment, dt, vs, (out_1, out_2))
        if mode.battery is not None:
            self.deepest = max(self.deepest, segment.depth, min(1.0, segment.depth + segment.depth_rate * dt))

    def _motors(self, segment: "Segment", dt: float, vs: float, moved: tuple):
        mode = segment.mode
        for n in (0, 1):
            if not mode.live[n]:
                continue
            fixed = mode.fixed_load[n]
            if fixed is None:
                load = segment.row[4 + 2 * n] * dt + segment.row[5 + 2 * n] * vs
            else:
                load = fixed * dt
            self.charge_as[n] += load * mode.rated_a[n]
            if moved[n] > MOVES * mode.rated_m3s[n] * dt:
                self.loaded_s[n] += dt
            elif mode.states[n] != STALLED:
                self.dry_s[n] += dt
