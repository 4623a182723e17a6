"""Hydraulics of the discharge: friction, fittings, pump curves, operating points.

Plain functions of plain floats in SI: flows in m3/s, heads in metres of
water, lengths in metres.  Darcy-Weisbach with the Colebrook friction factor
(Clamond's solution of it), water at 60 F, PVC of 1.5e-6 m roughness.
Diameters, friction factors and fitting coefficients (Crane TP-410's K = n * fT) are checked against `fluids`,
fT being the friction factor of fully turbulent flow in commercial steel.
"""

import functools
from dataclasses import dataclass
from math import log, pi, sqrt

from host_sim.plant.root import root

G = 9.80665  # m/s2, standard gravity
DENSITY = 999.0  # kg/m3, water at 60 F (15.6 C)
VISCOSITY = 1.122e-6  # m2/s, kinematic, water at 60 F: 1.2075e-5 ft2/s, relative 1.098 in EPANET's terms
PVC_ROUGHNESS_M = 1.5e-6
CRITICAL = 2000.0  # Reynolds number below which flow is laminar
TURBULENT = 4000.0  # and above which it is turbulent; between the two the factor is interpolated
ORIFICE_CD = 0.6  # sharp-edged hole, handbook value

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


def colebrook(reynolds, relative_roughness):
    """Return the Darcy friction factor of Colebrook's equation, to the last digits.

    D. Clamond, "Efficient resolution of the Colebrook equation", Ind. Eng. Chem. Res. 48 (2009), 3665-3671.
    Example: colebrook(1e5, 1e-4) = 0.018513866.
    """
    x1 = relative_roughness * reynolds * 0.12396818633541755  # ln(10) / 18.574
    x2 = log(reynolds) - 0.7793974884556819  # ln(ln(10) / 5.02)
    f = x2 - 0.2
    e = (log(x1 + f) - 0.2) / (1.0 + (x1 + f))
    f = _corrected(f, x1 + f, e)
    x1f = x1 + f
    x1f1 = 1.0 + x1f
    e = (log(x1f) + f - x2) / x1f1
    b = x1f1 + e * (1.0 + 1.0 / 3.0 * e)
    f = b / (b * f - ((x1f1 + 0.5 * e) * e * x1f))
    return 1.3254745276195996 * (f * f)  # (ln(10) / 2) ** 2


def _corrected(f, x1f, e):
    x1f1 = 1.0 + x1f
    return f - (x1f1 + 0.5 * e) * e * x1f / (x1f1 + e * (1.0 + (1.0 / 3.0) * e))


def friction_factor(reynolds, relative_roughness):
    """Return the Darcy friction factor: 64/Re, Colebrook, and a straight line between in the critical zone."""
    if reynolds < CRITICAL:
        return 64.0 / reynolds
    if reynolds >= TURBULENT:
        return colebrook(reynolds, relative_roughness)
    share = (reynolds - CRITICAL) / (TURBULENT - CRITICAL)
    return 64.0 / CRITICAL * (1.0 - share) + colebrook(TURBULENT, relative_roughness) * share


def friction_slope(flow_m3s, diameter_m, roughness_m=PVC_ROUGHNESS_M):
    """Return head lost per length of pipe, dimensionless (m per m).

    Example: 40 gpm (0.0025236 m3/s) in 1-1/2 in pipe (0.040894 m) loses 0.0900.
    """
    if flow_m3s <= 0.0:
        return 0.0
    velocity = flow_m3s / (pi / 4.0 * diameter_m * diameter_m)
    factor = friction_factor(velocity * diameter_m / VISCOSITY, roughness_m / diameter_m)
    return factor / diameter_m * velocity * velocity / (2.0 * G)


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
        if flow_m3s <= 0.0:
            return 0.0
        velocity = flow_m3s / self.area_m2
        slope = friction_slope(flow_m3s, self.diameter_m, self.roughness_m)
        return slope * self.length_m + self.k * velocity * velocity / (2.0 * G)


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
        points = self.points
        i = 1
        while i < len(points) - 1 and flow_m3s > points[i][0]:
            i += 1
        (q0, h0), (q1, h1) = points[i - 1], points[i]
        return h0 + (h1 - h0) * (flow_m3s - q0) / (q1 - q0)

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


def orifice_m3s(area_m2, head_m, coefficient=ORIFICE_CD):
    """Return the flow through a hole under a head: Cd * A * sqrt(2 g h).

    Example: a 0.5 in hole under 1 ft passes 2.95 gpm.
    """
    return coefficient * area_m2 * sqrt(2.0 * G * head_m) if head_m > 0.0 else 0.0


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
