"""A root of a function between two points of opposite sign.

R. P. Brent, Algorithms for Minimization without Derivatives, 1973, chapter 4: inverse quadratic or linear
interpolation while it gains, halving where it does not.  Checked bit for bit against SciPy's `brentq`.
"""

from math import inf

STEPS = 100
RTOL = 8.881784197001252e-16  # four times the spacing of floats at 1


def root(function, low: float, high: float, xtol: float = 2e-12, rtol: float = RTOL) -> float:
    """Return x between `low` and `high` with function(x) = 0, to within xtol + rtol * |x|.

    Example: root(lambda x: x * x - 2.0, 0.0, 2.0) = 1.41421356.
    Raises ValueError where both ends have the same sign, or after STEPS steps.
    """
    before: float = low
    here: float = high
    f_before: float = function(before)
    f_here: float = function(here)
    tried: float
    if f_before == 0.0:
        return before
    if f_here == 0.0:
        return here
    if (f_before < 0.0) == (f_here < 0.0):
        raise ValueError(f"no change of sign between {low} and {high}: {f_before}, {f_here}")
    across: float = 0.0
    f_across: float = 0.0
    step_before: float = 0.0
    step: float = 0.0
    for _ in range(STEPS):
        if f_before != 0.0 and f_here != 0.0 and (f_before < 0.0) != (f_here < 0.0):
            across, f_across = before, f_before
            step_before = step = here - before
        if abs(f_across) < abs(f_here):
            before, here, across = here, across, here
            f_before, f_here, f_across = f_here, f_across, f_here
        delta = (xtol + rtol * abs(here)) / 2.0
        half = (across - here) / 2.0
        if f_here == 0.0 or abs(half) < delta:
            return here
        tried = inf  # no step to be taken
        if abs(step_before) > delta and abs(f_here) < abs(f_before):
            if before == across:
                tried = -f_here * (here - before) / (f_here - f_before)
            else:
                d_before = (f_before - f_here) / (before - here)
                d_across = (f_across - f_here) / (across - here)
                tried = -f_here * (f_across * d_across - f_before * d_before)
                tried /= d_across * d_before * (f_across - f_before)
            if not 2.0 * abs(tried) < min(abs(step_before), 3.0 * abs(half) - delta):
                tried = inf
        if tried == inf:
            step_before = step = half
        else:
            step_before, step = step, tried
        before, f_before = here, f_here
        here += step if abs(step) > delta else delta if half > 0.0 else -delta
        f_here = function(here)
    raise ValueError(f"no root between {low} and {high} after {STEPS} steps")
