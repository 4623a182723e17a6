"""Whatever a document holds, the site file written from it reads back the same."""

import tomllib

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from host_sim.sizing.document import to_toml

# TOML holds any text but lone surrogates.
TEXTS = st.text(st.characters(codec="utf-8"), max_size=12)
PLAIN = st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False) | TEXTS
VALUES = st.recursive(PLAIN, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4))
DOCUMENTS = st.dictionaries(TEXTS, VALUES, max_size=5)


def same(one, other):
    """Compare with types, since True equals 1 and 1 equals 1.0."""
    if isinstance(one, dict) and isinstance(other, dict):
        return set(one) == set(other) and all(same(one[k], other[k]) for k in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(same(a, b) for a, b in zip(one, other, strict=True))
    return type(one) is type(other) and one == other


@given(DOCUMENTS)
@example({"name": "a DEL \x7f, a tab \t, a line\nend and \r", "\U0001f4a7": 1, "": {"é": "é"}})
@example({"pump": {"curve": [["0 gpm", "18 ft"], ["52 gpm", "0 ft"]], "text": '[\n "]",\n]'}, "a": [{"b": {}}, {}]})
def test_any_document_reads_back_as_it_was(document):
    assert same(tomllib.loads(to_toml(document, "A heading\nof two lines")), document)


def test_a_curve_is_written_a_point_a_line():
    text = to_toml({"pump": {"curve": [["0 gpm", "18 ft"], ["52 gpm", "0 ft"]]}})
    assert text == '[pump]\ncurve = [\n    ["0 gpm", "18 ft"],\n    ["52 gpm", "0 ft"],\n]\n'


def test_what_toml_cannot_hold_is_an_error():
    with pytest.raises(TypeError):
        to_toml({"pit": {"depth": None}})
