"""A mapping written as TOML is read back as it was, whatever signs the columns and cells are named with."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from host_sim.replay.reading import mapping
from host_sim.replay.reading.mapping import Column, Mapping, State

# Every sign that UTF-8 can hold: control signs, DEL, quotes and backslashes among them.
TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12).filter(str.strip)
WORDS = st.lists(TEXT, min_size=1, max_size=3).map(tuple)
STATES = st.builds(State, TEXT, WORDS)
LEVELS = st.builds(Column, TEXT, st.just("length"), st.just("m"), st.none() | TEXT, st.just(1.0),
                   st.floats(-5.0, 5.0).map(lambda metres: round(metres, 4) + 0.0))  # fmt: skip


@given(TEXT, LEVELS, WORDS, st.dictionaries(st.sampled_from(("off", "lead", "lag", "high")), STATES),
       st.none() | STATES, st.none() | STATES)  # fmt: skip
def test_a_mapping_comes_back_from_its_toml(time, level, missing, contacts, pump, mains):
    given_map = Mapping(time, kind="csv", level=level, missing=missing, contacts=contacts, mains=mains)
    given_map.pumps[0] = pump
    assert mapping.read(tomllib.loads(mapping.as_toml(given_map))) == given_map
