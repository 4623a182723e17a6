"""The plant's own root, friction factor and diameters against SciPy and fluids, bit for bit."""

import math
import random

import pytest
from fluids.friction import Clamond
from fluids.piping import nearest_pipe
from scipy.optimize import brentq

from host_sim.plant import friction, geometry, hydraulics
from host_sim.plant.root import root


def _functions(rng):
    a, b = rng.uniform(0.1, 5.0), rng.uniform(0.1, 3.0)
    yield (lambda x: a * x**3 - b), 0.0, 10.0
    yield (lambda x: math.exp(a * x) - 1.0 - b), -1.0, 20.0 / a
    yield (lambda x: math.tanh(a * (x - b))), -4.0, 5.0
    yield (lambda x: a - b * x * x if x > 0.0 else a), 0.0, 9.0
    yield (lambda x: math.floor(x * 3.0) - 4.5), 0.0, 8.0  # a step, which no interpolation hits


@pytest.mark.parametrize("xtol", [1e-12, 1e-13, 2e-12])
def test_the_root_is_scipys_to_the_last_bit(xtol):
    """Smooth, flat, steep and broken functions."""
    rng = random.Random(3)
    for _ in range(200):
        for function, low, high in _functions(rng):
            assert root(function, low, high, xtol=xtol) == brentq(function, low, high, xtol=xtol)


def test_a_root_needs_a_change_of_sign():
    """Both ends above 0 is an error that names them; an end that is a root is returned."""
    with pytest.raises(ValueError, match=r"no change of sign between 1.0 and 2.0"):
        root(lambda x: x, 1.0, 2.0)
    assert root(lambda x: x - 1.0, 1.0, 2.0) == 1.0
    assert root(lambda x: x - 2.0, 1.0, 2.0) == 2.0


def test_the_friction_factor_is_fluids_to_the_last_bit():
    """From the critical zone up, smooth to rough."""
    rng = random.Random(4)
    for _ in range(2000):
        reynolds, rough = 10.0 ** rng.uniform(3.5, 8.0), 10.0 ** rng.uniform(-7.0, -1.5)
        assert friction.colebrook(reynolds, rough) == Clamond(reynolds, rough, False)


def test_the_diameters_are_those_of_schedule_40_pvc():
    """ASTM D1785 as fluids holds it; plain "40" would be steel."""
    for size, diameter in hydraulics.DIAMETERS_M.items():
        assert diameter == nearest_pipe(NPS=size, schedule="40D1785")[1]


def test_pits_of_the_same_measures_are_one_key():
    """And a pit that differs anywhere is another."""
    same = geometry.cylinder(0.45, 0.6, 50.0), geometry.cylinder(0.45, 0.6, 50.0)
    assert same[0] == same[1] and hash(same[0]) == hash(same[1])
    for other in (geometry.cylinder(0.46, 0.6, 50.0), geometry.cylinder(0.45, 0.61, 50.0),
                  geometry.cylinder(0.45, 0.6, 51.0)):  # fmt: skip
        assert other != same[0]
