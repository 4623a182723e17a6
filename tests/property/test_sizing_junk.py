"""Junk anywhere in a site file is refused by name or sized, never answered with a traceback."""

import copy
import random

import pytest

from host_sim.errors import InputError
from host_sim.sizing.document import edited
from host_sim.sizing.model import size
from tests.sizing_sites import SOUND

LEVELS = {"off": 6, "lead": 25, "lag": 29, "high": 32}
FULL = edited(
    SOUND,
    {
        "contacts": {name: {"wet_at": f"{wet} in", "dry_at": f"{wet - 1} in"} for name, wet in LEVELS.items()},
        "settings": {"max_run": "30 min"},
        "transmitter": {"span": "1 m"},
        "waves": {"height": "5 mm"},
        "sizing.motor1": {"outlet": "1.5 in"},
        "supply.generator": {"starts_after": "20 s"},
        "sizing.basin.inlet": "30 in",
    },
)
TEXTS = ("", "x", "nan in", "1e400 ft", "-3 in", "0 in", "5 gpm")
JUNK = (None, 0, -1, 1.5, True, *TEXTS, [], {}, [1], {"a": 1}, [["1 gpm"]])


def places(data, before=()):
    """Return every place of a document, as tuples of keys and indices."""
    found = []
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        found += [(*before, key), *places(value, (*before, key))]
    return found


def spoiled(place, junk):
    """Return the full document with junk in one place, or without that place where the junk is None."""
    data = copy.deepcopy(FULL)
    inner = data
    for key in place[:-1]:
        inner = inner[key]
    if junk is None:
        del inner[place[-1]]
    else:
        inner[place[-1]] = junk
    return data


@pytest.mark.long
@pytest.mark.parametrize("seed", range(4))
def test_junk_is_refused_by_name_or_sized(seed):
    draw, told = random.Random(seed), []
    everywhere = places(FULL)
    for _ in range(70):
        place, junk = draw.choice(everywhere), draw.choice(JUNK)
        try:
            size(spoiled(place, junk))
        except InputError as error:
            told += error.problems
    assert len(told) > 30 and all(len(line) > 10 for line in told)


TABLES = ("pump", "discharge", "settings", "sizing", "discharge.riser", "discharge.riser.fittings", "supply.battery")


@pytest.mark.parametrize("name", TABLES)
@pytest.mark.parametrize("junk", [0, "x", [1], True])
def test_what_is_no_table_is_refused_by_its_name(name, junk):
    with pytest.raises(InputError) as caught:
        size(spoiled(tuple(name.split(".")), junk))
    assert any(name in line for line in caught.value.problems)
