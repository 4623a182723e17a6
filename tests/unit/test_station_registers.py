"""What each row of the register map reads, of a station made of plain attributes."""

from types import SimpleNamespace

import pytest
from duplexsump.control import records
from duplexsump.station import registers as r

BITS = {row[0]: row for row in r.BIT_ROWS}


def station(**more):
    made = SimpleNamespace(raw=[0] * records.N_INPUTS, inputs=[0] * records.N_INPUTS,
                           controller=SimpleNamespace(out=[0] * records.N_OUTPUTS))  # fmt: skip
    made.__dict__.update(more)
    return made


def test_each_output_has_its_bit():
    read = BITS["outputs"][3]
    assert read(station()) == 0
    for place in range(7):
        st = station()
        st.controller.out[place] = 1
        assert read(st) == 1 << place, place
        for other in range(7):
            st.controller.out[other] = 1
        assert read(st) == 127
        st.controller.out[place] = 0
        assert read(st) == 127 & ~(1 << place)


@pytest.mark.parametrize(("name", "where", "places"), [
    ("thermal", "inputs", (records.IN_THERMAL_1, records.IN_THERMAL_2)),
    ("pressed", "raw", (records.IN_SILENCE, records.IN_RESET)),
    ("moisture", "raw", (records.IN_MOISTURE_1, records.IN_MOISTURE_2)),
])  # fmt: skip
def test_two_contacts_have_a_bit_each(name, where, places):
    for word in range(4):
        st = station()
        for n in range(2):
            getattr(st, where)[places[n]] = word >> n & 1
        assert BITS[name][3](st) == word
