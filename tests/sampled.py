"""A part of many like cases by default, all of them with the long tests."""

import pytest


def sampled(cases, every=3):
    """Return pytest's parameters for `cases`: each `every`th, from the first on, runs by default, the others are long.

    A case is what pytest's `parametrize` takes: a value, or a tuple where there are several names.
    """
    found = []
    for place, case in enumerate(cases):
        values = case if isinstance(case, tuple) else (case,)
        found.append(pytest.param(*values, marks=[pytest.mark.long] if place % every else []))
    return found
