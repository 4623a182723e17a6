"""Losses and heads of one stretch of pipe, one hole, one pump's curve: what a regime asks for many thousand times.

Plain functions of plain floats in SI, which a compiled plant takes as they stand.  Darcy-Weisbach with the
Colebrook friction factor (Clamond's solution of it), water at 60 F, PVC of 1.5e-6 m roughness.
"""

from math import log, pi, sqrt

G = 9.80665  # m/s2, standard gravity
VISCOSITY = 1.122e-6  # m2/s, kinematic, water at 60 F: 1.2075e-5 ft2/s, relative 1.098 in EPANET's terms
PVC_ROUGHNESS_M = 1.5e-6
CRITICAL = 2000.0  # Reynolds number below which flow is laminar
TURBULENT = 4000.0  # and above which it is turbulent; between the two the factor is interpolated
ORIFICE_CD = 0.6  # sharp-edged hole, handbook value


def colebrook(reynolds: float, relative_roughness: float) -> float:
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


def _corrected(f: float, x1f: float, e: float) -> float:
    x1f1 = 1.0 + x1f
    return f - (x1f1 + 0.5 * e) * e * x1f / (x1f1 + e * (1.0 + (1.0 / 3.0) * e))


def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Return the Darcy friction factor: 64/Re, Colebrook, and a straight line between in the critical zone."""
    if reynolds < CRITICAL:
        return 64.0 / reynolds
    if reynolds >= TURBULENT:
        return colebrook(reynolds, relative_roughness)
    share = (reynolds - CRITICAL) / (TURBULENT - CRITICAL)
    return 64.0 / CRITICAL * (1.0 - share) + colebrook(TURBULENT, relative_roughness) * share


def friction_slope(flow_m3s: float, diameter_m: float, roughness_m: float = PVC_ROUGHNESS_M) -> float:
    """Return head lost per length of pipe, dimensionless (m per m).

    Example: 40 gpm (0.0025236 m3/s) in 1-1/2 in pipe (0.040894 m) loses 0.0900.
    """
    if flow_m3s <= 0.0:
        return 0.0
    velocity = flow_m3s / (pi / 4.0 * diameter_m * diameter_m)
    factor = friction_factor(velocity * diameter_m / VISCOSITY, roughness_m / diameter_m)
    return factor / diameter_m * velocity * velocity / (2.0 * G)


def loss_m(
    flow_m3s: float, area_m2: float, diameter_m: float, length_m: float, k: float, roughness_m: float
) -> float:
    """Return the head lost at a flow in a stretch of pipe, friction and fittings together."""
    if flow_m3s <= 0.0:
        return 0.0
    velocity = flow_m3s / area_m2
    slope = friction_slope(flow_m3s, diameter_m, roughness_m)
    return slope * length_m + k * velocity * velocity / (2.0 * G)


def head_m(points: tuple, flow_m3s: float) -> float:
    """Return the head of a pump's points (flow, head) at a flow; above runout it goes on falling, below 0."""
    i: int = 1
    last: int = len(points) - 1
    while i < last and flow_m3s > points[i][0]:
        i += 1
    below: tuple = points[i - 1]
    above: tuple = points[i]
    q0: float = below[0]
    h0: float = below[1]
    q1: float = above[0]
    h1: float = above[1]
    return h0 + (h1 - h0) * (flow_m3s - q0) / (q1 - q0)


def orifice_m3s(area_m2: float, head_m: float, coefficient: float = ORIFICE_CD) -> float:
    """Return the flow through a hole under a head: Cd * A * sqrt(2 g h).

    Example: a 0.5 in hole under 1 ft passes 2.95 gpm.
    """
    return coefficient * area_m2 * sqrt(2.0 * G * head_m) if head_m > 0.0 else 0.0
