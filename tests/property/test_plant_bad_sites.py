"""Whatever is written into a site file: a site, or an InputError that names what to mend; never anything else."""

import copy
import tomllib

import pytest
from duplexsump.control import settings as control_settings
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from host_sim import units
from host_sim.errors import InputError
from host_sim.site.load import packaged, read_data
from tests.plant_sites import BATTERY, text
from tests.property.examples import in_proportion

JUNK = st.one_of(
    st.none().map(lambda _: {}),
    st.booleans(),
    st.integers(-10, 10**9),
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from(
        ["", "0 in", "-3 in", "18 in", "1e9 ft", "3 gpm", "0 gpm", "10 s", "1 A", "0 V", "50 %", "nan m", "inf in",
         "1/0 in", "in", "on", "battery", "table", "storm", "[", "2 in + 3 in", "18 in; import os", "9**9**9**9 in"]
    ),
    st.lists(st.sampled_from(["1 in", 3, "2 gpm", []]), max_size=3),
    st.dictionaries(st.sampled_from(["level", "rate", "wet_at"]), st.sampled_from(["1 in", 3, "x"]), max_size=2),
)  # fmt: skip
SOURCES = (
    tomllib.loads(packaged("demo").read_text(encoding="utf-8")),
    tomllib.loads(text(more=BATTERY + '[transmitter]\nspan = "1 m"\n[settings]\nmin_off = "70 s"\n')),
    tomllib.loads(
        text(
            inflow='[groundwater]\nconductance = "1 gpm/ft"\nlevel = "3 ft"\n'
            'holes = [{ level = "5 in", diameter = "0.25 in", count = 30 }]\nstorage = { area = "40 ft2" }\n',
            more='[[action]]\nat = "1 h"\ndo = "selector1"\nto = "off"\n',
        )
    ),
)


def leaves(data, path=()):
    """Return the paths of every key and list place of a document."""
    found = []
    pairs = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in pairs:
        found.append((*path, key))
        found += leaves(value, (*path, key))
    return found


def read(document):
    """Return (Site, []) or (None, problems)."""
    try:
        return read_data(document), []
    except InputError as error:
        return None, error.problems


PATHS = [leaves(source) for source in SOURCES]


@settings(max_examples=in_proportion(300), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_junk_in_a_site_is_refused_by_name_or_harmless(data):
    which = data.draw(st.integers(0, len(SOURCES) - 1))
    document = copy.deepcopy(SOURCES[which])
    for _ in range(data.draw(st.integers(1, 3))):
        path = data.draw(st.sampled_from(PATHS[which]))
        place = document
        try:
            for key in path[:-1]:
                place = place[key]
            if data.draw(st.booleans()):
                place[path[-1]] = data.draw(JUNK)
            elif isinstance(place, dict):
                place.pop(path[-1], None)
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change has taken the place away
    site, problems = read(document)
    if site is None:
        assert problems
        assert all(len(line) > 10 for line in problems)
    else:
        assert control_settings.check(site.settings) == []


def test_the_documents_are_good_before_anything_is_changed():
    for source in SOURCES:
        assert read_data(copy.deepcopy(source)).name
    with pytest.raises(InputError):
        read_data({})


@pytest.mark.parametrize("junk", ["9**9**9**9 in", "3**9999999 in", "2^99999999 m", "1 " + "m" * 5000])
def test_a_quantity_that_would_take_for_ever_is_refused_at_once(junk):
    with pytest.raises(ValueError, match="cannot be read"):
        units.read(junk, "length")
