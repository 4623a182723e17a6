"""How many examples a property is tried on: fewer by default, all in CI, ten times as many to explore."""

from hypothesis import settings

IN_CI = 40  # max_examples of the profile `ci` in tests/conftest.py


def in_proportion(in_ci):
    """Return how many examples the profile in force wants of a property that CI tries on `in_ci`; at least 5."""
    return max(5, in_ci * settings.default.max_examples // IN_CI)
