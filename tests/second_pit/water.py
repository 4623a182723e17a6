"""Water: the pump's bent curve against its pipe, one pump in the pit, and the inflow.

SI throughout: m, m3/s, s.  One step of time is `STEP_S`, the controller's own grid.
"""

import math
from dataclasses import dataclass

STEP_S = 0.1
SNORE_M = 0.02  # depth over the intake below which a pump draws air with its water
DRY_COVER = 0.25  # of that depth: below it a pump runs dry, and its current is surely below `underload`


@dataclass(slots=True)
class Curve:
    """A pump on its pipe: head = shutoff * (1 - (q / most) ** bend) against lift, own and shared friction.

    `shutoff`, `outlet` (height of the discharge above the pit's bottom) in m, `most` in m3/s (the flow at no
    head), `own` and `shared` friction in s2/m5 (head lost = own * q**2 + shared * (all pumps' q)**2).
    """

    shutoff: float
    most: float
    bend: float
    outlet: float
    own: float
    shared: float

    def surplus(self, q, level, other=0.0):
        """Return the head in m that is left at flow `q` with the water at `level` and the other pump at `other`."""
        lift = self.outlet - level
        head = self.shutoff * (1.0 - (q / self.most) ** self.bend)
        return head - lift - self.own * q * q - self.shared * (q + other) ** 2

    def newton(self, q, level, other):
        """Return a better flow than `q`: one Newton step on the surplus head, kept above nothing."""
        x = q / self.most
        power = x ** (self.bend - 1.0)
        both = q + other
        head = self.shutoff * (1.0 - x * power) - self.outlet + level - self.own * q * q - self.shared * both * both
        slope = -self.shutoff * self.bend * power / self.most - 2.0 * (self.own * q + self.shared * both)
        q -= head / slope
        return min(max(q, 0.02 * self.most), self.most)

    def flow(self, level, other=0.0):
        """Return the operating flow in m3/s by bisection; 0 where the lift is above the shut-off head."""
        if self.surplus(0.0, level, other) <= 0.0:
            return 0.0
        low, high = 0.0, self.most
        for _ in range(60):
            middle = 0.5 * (low + high)
            if self.surplus(middle, level, other) > 0.0:
                low = middle
            else:
                high = middle
        return low


def draw_down_s(curve, area, top, bottom, inflow=0.0, slices=200):
    """Return the seconds in which one pump draws `area` m2 from `top` down to `bottom`; inf where it cannot."""
    slice_m = (top - bottom) / slices
    total = 0.0
    for i in range(slices):
        net = curve.flow(bottom + (i + 0.5) * slice_m) - inflow
        if net <= 0.0:
            return math.inf
        total += area * slice_m / net
    return total


class Unit:
    """One pump in the pit: wheel, check valve, and what is broken about them.

    `live` is whether the motor has voltage.  `cover` is 1 under water, 0 with the intake in air.
    """

    __slots__ = (
        "airlocked", "back_left", "back_rate", "back_volume", "cover", "curve", "flow", "intake", "jammed", "leaks",
        "live", "run_s", "spin_s", "wear",
    )  # fmt: skip

    def __init__(self, curve, intake, spin_s, back_volume):
        self.curve = curve
        self.intake = intake
        self.spin_s = spin_s
        self.back_volume = back_volume  # m3 that fall back into the pit at a stop
        self.back_rate = 4e-4
        self.flow = 0.0
        self.run_s = 0.0
        self.back_left = 0.0
        self.cover = 1.0
        self.live = False
        self.wear = 1.0
        self.jammed = False
        self.airlocked = False
        self.leaks = False

    def step(self, live, level, other):
        """Advance by one step; return m3 taken out of the pit (negative: water came back)."""
        if not live:
            return self._off(other)
        self.live = True
        self.run_s += STEP_S
        cover = (level - self.intake) / SNORE_M
        self.cover = cover = 1.0 if cover > 1.0 else max(cover, 0.0)
        if self.jammed or self.airlocked:
            self.flow = 0.0
            return 0.0
        q = self.curve.newton(self.flow or 0.5 * self.curve.most, level, other)
        self.flow = q
        if self.run_s < self.spin_s:
            q *= self.run_s / self.spin_s
        return q * self.wear * cover * STEP_S

    def _off(self, other):
        if self.live:
            if self.run_s > self.spin_s and not self.jammed and not self.airlocked:
                self.back_left = self.back_volume * (12.0 if self.leaks else 1.0)
            self.live = False
            self.run_s = 0.0
            self.flow = 0.0
        back = 0.0
        if self.back_left > 0.0:
            back = min(self.back_left, self.back_rate * STEP_S)
            self.back_left -= back
        if self.leaks and other > 0.0 and self.curve.shared > 0.0:
            back += 0.15 * other * STEP_S
        return -back

    def dry(self):
        """Tell whether the wheel turns in air."""
        return self.live and not self.jammed and self.cover < DRY_COVER


@dataclass(slots=True)
class Inflow:
    """Inflow in m3/s as straight lines between (`s`, `m3/s`) points in order of time."""

    points: list

    def at(self, t):
        """Return the inflow at `t` seconds."""
        points = self.points
        if t <= points[0][0]:
            return points[0][1]
        for (t0, q0), (t1, q1) in zip(points, points[1:], strict=False):
            if t < t1:
                return q0 + (q1 - q0) * (t - t0) / (t1 - t0)
        return points[-1][1]

    def peak(self):
        """Return the highest inflow."""
        return max(q for _, q in self.points)


def draw_inflow(rng, peak, night_s):
    """Return (name, Inflow): a constant, a ramp, a hill or a storm of several bursts, none above `peak` m3/s."""
    name = rng.choice(("constant", "ramp", "hill", "storm", "storm", "surge"))
    base = peak * rng.uniform(0.05, 0.5)
    if name == "constant":
        points = [(0.0, peak), (night_s, peak)]
    elif name == "ramp":
        points = [(0.0, base), (night_s * rng.uniform(0.3, 0.9), peak), (night_s, peak)]
    elif name == "hill":
        top = night_s * rng.uniform(0.3, 0.7)
        points = [(0.0, base), (top, peak), (night_s, peak * rng.uniform(0.02, 0.4))]
    elif name == "surge":
        begin = night_s * rng.uniform(0.1, 0.6)
        end = begin + rng.uniform(600.0, 4000.0)
        points = [(0.0, base), (begin, base), (begin + 60.0, peak), (end, peak), (end + 120.0, base)]
    else:
        points = [(0.0, base)]
        t = rng.uniform(300.0, 1500.0)
        crest = rng.randrange(3)
        for i in range(4):
            height = peak if i == crest else peak * rng.uniform(0.2, 1.0)
            points.append((t, points[-1][1]))
            points.append((t + rng.uniform(120.0, 900.0), height))
            points.append((points[-1][0] + rng.uniform(60.0, 1500.0), height))
            points.append((points[-1][0] + rng.uniform(300.0, 1200.0), base * rng.uniform(0.1, 1.0)))
            t = points[-1][0] + rng.uniform(60.0, 900.0)
    return name, Inflow(points)
