"""Bounds on a share of time of which a log's rows are a sample.

C. J. Clopper and E. S. Pearson, Biometrika 26 (1934), 404-413: the share at which so many rows or more, or so many or
fewer, would be as rare as is allowed.  Both are quantiles of the beta distribution; its distribution function is the
regularized incomplete beta function, by the continued fraction of DLMF 8.17.22.  Checked against SciPy's `beta.ppf`.
"""

from math import exp, lgamma, log, log1p

from host_sim.plant.root import root

TINY = 1e-300  # stands in for 0 below a line of the fraction (Lentz)
ENOUGH = 1e-15
TERMS = 100_000


def bounds(count, rows, sure):
    """Return (least, most) share of which `count` of `rows` were seen, each with the confidence `sure`.

    Example: bounds(5, 10, 0.975) = (0.187, 0.813).
    """
    low = 0.0 if count == 0 else _quantile(1.0 - sure, count, rows - count + 1)
    high = 1.0 if count == rows else _quantile(sure, count + 1, rows - count)
    return low, high


def _quantile(probability, a, b):
    return root(lambda x: below(x, a, b) - probability, 0.0, 1.0, xtol=1e-15)


def below(x, a, b):
    """Return the regularized incomplete beta function I_x(a, b): how likely a beta variable is to be at most x."""
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x))
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _fraction(x, a, b) / a
    return 1.0 - front * _fraction(1.0 - x, b, a) / b


def _fraction(x, a, b):
    # 1 / (1 + d1 / (1 + d2 / ...)) with the d of DLMF 8.17.23, by Lentz's method.
    over, under = 1.0, 1.0 - (a + b) * x / (a + 1.0)
    under = 1.0 / (under if abs(under) > TINY else TINY)
    found = under
    for m in range(1, TERMS):
        for d in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            under = 1.0 + d * under
            over = 1.0 + d / over
            under = 1.0 / (under if abs(under) > TINY else TINY)
            over = over if abs(over) > TINY else TINY
            found *= over * under
        if abs(over * under - 1.0) < ENOUGH:
            return found
    raise ValueError(f"no end to the fraction at {x} with {a} and {b}")
