"""Hydraulics of the discharge: pipes, fittings, pump curves, operating points.

SI: flows in m3/s, heads in metres of water, lengths in metres.  The losses themselves are in `friction.py`.
Diameters, friction factors and fitting coefficients (Crane TP-410's K = n * fT) are checked against `fluids`,
fT being the friction factor of fully turbulent flow in commercial steel.
"""

import functools
from dataclasses import dataclass
from math import pi

from host_sim.plant import friction
from host_sim.plant.friction import PVC_ROUGHNESS_M
from host_sim.plant.root import root

DENSITY = 999.0  # kg/m3, water at 60 F (15.6 C)

# Nominal sizes in inches whose Schedule 40 dimensions and turbulent friction factors are kept here:
# size: fT as Crane TP-410 (2009), A-26, prints it.
TURBULENT_FRICTION = {1.0: 0.022, 1.25: 0.021, 1.5: 0.020, 2.0: 0.019, 2.5: 0.018, 3.0: 0.017, 4.0: 0.016}
# size: inner diameter of Schedule 40 PVC, ASTM D1785, the outer diameter less two minimum walls, m.
DIAMETERS_M = {1.0: 0.0266446, 1.25: 0.035052, 1.5: 0.040894, 2.0: 0.0525018, 2.5: 0.06271260000000001, 3.0: 0.0779272,
               4.0: 0.1022604}  # fmt: skip
# name: (n in K = n * fT, plain K, what it is); a fitting has one or the other.
FITTINGS = {
    "elbow_90": (30.0, 0.0, "standard 90 degree elbow"),
    "elbow_45": (16.0, 0.0, "standard 45 degree elbow"),
    "tee_through": (20.0, 0.0, "tee, flow through the run"),
    "tee_branch": (60.0, 0.0, "tee, flow through the branch"),
    "swing_check": (100.0, 0.0, "swing check valve"),
    "swing_check_straight": (50.0, 0.0, "swing check valve, straight through"),
    "ball_valve": (3.0, 0.0, "full-bore ball valve"),
    "gate_valve": (8.0, 0.0, "gate valve"),
    "entrance": (0.0, 0.5, "sharp-edged entrance"),
    "exit": (0.0, 1.0, "pipe exit"),
}


@functools.cache
def pipe_diameter_m(nominal_in):
    """Return the inner diameter of Schedule 40 PVC (ASTM D1785: OD less two minimum walls).

    Raises ValueError for a size that is not listed.
    """
    if nominal_in not in TURBULENT_FRICTION:
        sizes = ", ".join(f"{size:g}" for size in TURBULENT_FRICTION)
        raise ValueError(f"pipe of {nominal_in:g} in: the sizes at hand are {sizes} in")
    return DIAMETERS_M[nominal_in]


@functools.cache
def turbulent_friction(diameter_m):
    """Return fT for an inner diameter: that of the nearest nominal size."""
    nearest = min(TURBULENT_FRICTION, key=lambda size: abs(pipe_diameter_m(size) - diameter_m))
    return TURBULENT_FRICTION[nearest]


def fitting_k(name, diameter_m):
    """Return the loss coefficient of a fitting of FITTINGS.  Raises KeyError for an unknown one."""
    times, plain, _ = FITTINGS[name]
    return times * turbulent_friction(diameter_m) + plain


@dataclass(frozen=True)
class Pipe:
    """A stretch of pipe with its fittings; `k` is the sum of the loss coefficients."""

    diameter_m: float
    length_m: float
    k: float = 0.0
    roughness_m: float = PVC_ROUGHNESS_M

    @property
    def area_m2(self):
        return pi / 4.0 * self.diameter_m**2

    @property
    def volume_m3(self):
        return self.area_m2 * self.length_m

    def loss_m(self, flow_m3s):
        """Return the head lost at a flow, friction and fittings together."""
        return friction.loss_m(flow_m3s, self.area_m2, self.diameter_m, self.length_m, self.k, self.roughness_m)


def pipe(nominal_in, length_m, fittings=(), extra_k=0.0):
    """Return a Pipe of Schedule 40 PVC; `fittings` is a mapping of names of FITTINGS to counts."""
    diameter = pipe_diameter_m(nominal_in)
    k = sum(count * fitting_k(name, diameter) for name, count in dict(fittings).items())
    return Pipe(diameter, length_m, k + extra_k)


@dataclass(frozen=True)
class Curve:
    """A pump's data-plate points (flow m3/s, head m), straight lines between; flow rises, head falls to 0 or ends.

    Beyond the last point the last line goes on.
    """

    points: tuple

    @property
    def shutoff_m(self):
        return self.points[0][1]

    @property
    def runout_m3s(self):
        """Flow at no head."""
        (q0, h0), (q1, h1) = self.points[-2:]
        return q1 if h1 <= 0.0 else q1 + h1 * (q1 - q0) / (h0 - h1)

    def head_m(self, flow_m3s):
        """Return the head at a flow; above runout it goes on falling, below 0."""
        return friction.head_m(self.points, flow_m3s)

    def flow_m3s(self, head_m):
        """Return the flow at a head: 0 above shut-off."""
        points = self.points
        if head_m >= points[0][1]:
            return 0.0
        i = 1
        while i < len(points) - 1 and head_m < points[i][1]:
            i += 1
        (q0, h0), (q1, h1) = points[i - 1], points[i]
        return q0 + (q1 - q0) * (head_m - h0) / (h1 - h0)

    def scaled(self, flow=1.0, head=1.0):
        """Return the curve with its flows and heads multiplied: a worn pump, or one at another speed."""
        return Curve(tuple((q * flow, h * head) for q, h in self.points))


def system_head_m(static_m, pipes, flow_m3s):
    """Return the head that a line asks for: static head and the losses of its pipes in a row."""
    return static_m + sum(part.loss_m(flow_m3s) for part in pipes)


def operating_point(curve, static_m, pipes):
    """Return (flow m3/s, total dynamic head m) where a pump's curve meets one line; (0, shut-off) if it never does."""
    if curve.shutoff_m <= static_m:
        return 0.0, curve.shutoff_m
    high = curve.flow_m3s(static_m)

    def excess(flow):
        return curve.head_m(flow) - system_head_m(static_m, pipes, flow)

    if excess(high) >= 0.0:  # a line without losses
        return high, curve.head_m(high)
    flow = root(excess, 0.0, high, xtol=1e-12, rtol=1e-12)
    return flow, curve.head_m(flow)
