"""The motion of the water in closed form: dV/dt = f0 + b * (V - v0), with f0 the net flow at v0.

Net flow is a straight line over volume within a piece, so volume runs along an
exponential.  Plain floats; volumes m3, flows m3/s, times s, b in 1/s.
"""

from math import expm1, inf, log1p


def volume_after(v0: float, f0: float, b: float, dt: float) -> float:
    """Return the volume so long after v0.

    Example: volume_after(0, 1, -1, 1) = 1 - exp(-1) = 0.632.
    """
    z = b * dt
    if -1e-4 < z < 1e-4:
        return v0 + f0 * dt * (1.0 + z * (0.5 + z * (1.0 / 6.0 + z / 24.0)))
    return v0 + f0 * expm1(z) / b


def volume_seconds(v0: float, f0: float, b: float, dt: float) -> float:
    """Return the integral of the volume over the time dt, m3 s: what a flow that is a line over volume sums up to."""
    z = b * dt
    if -1e-2 < z < 1e-2:
        psi = 0.5 + z * (1.0 / 6.0 + z * (1.0 / 24.0 + z * (1.0 / 120.0 + z * (1.0 / 720.0 + z / 5040.0))))
    else:
        psi = (expm1(z) - z) / (z * z)
    return v0 * dt + f0 * dt * dt * psi


def time_to(v0: float, f0: float, b: float, v1: float) -> float:
    """Return the time in which the volume goes from v0 to v1; inf when it never gets there.

    Example: time_to(0, 1, -1, 0.632120558...) = 1.
    """
    way = v1 - v0
    if way == 0.0:
        return 0.0
    if f0 == 0.0:
        return inf
    straight = way / f0
    if straight < 0.0 or straight == inf:
        return inf
    if b == 0.0:
        return straight
    x = b * straight
    if x <= -1.0:
        return inf
    if -1e-8 < x < 1e-8:
        return straight * (1.0 - 0.5 * x)
    return log1p(x) / b
