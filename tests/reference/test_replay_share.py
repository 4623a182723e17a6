"""Bounds on a share against SciPy's beta distribution, over counts and rows of every size."""

import random

import pytest
from scipy.stats import beta

from host_sim.replay import share


# Source: SciPy, `scipy.stats.beta`.
@pytest.mark.parametrize("sure", [0.9, 0.975, 0.995])
def test_the_bounds_are_scipys_quantiles(sure):
    rng = random.Random(20261130)
    for _ in range(100):
        rows = rng.choice([1, 2, 5, 10, 100, 1000, 20_000, 1_000_000])
        count = rng.choice([0, rows, rng.randint(0, rows), min(rows, rng.randint(0, 5))])
        low, high = share.bounds(count, rows, sure)
        assert low == pytest.approx(0.0 if count == 0 else beta.ppf(1.0 - sure, count, rows - count + 1), abs=1e-11)
        assert high == pytest.approx(1.0 if count == rows else beta.ppf(sure, count + 1, rows - count), abs=1e-11)


# Source: SciPy, `scipy.stats.beta`.
def test_the_distribution_function_is_scipys_and_ends_at_0_and_1():
    for a, b in ((1, 1), (0.5, 3), (7, 2), (400, 600)):
        for x in (0.0, 0.01, 0.3, 0.5, 0.77, 0.999, 1.0):
            assert share.below(x, a, b) == pytest.approx(beta.cdf(x, a, b), abs=1e-12)
