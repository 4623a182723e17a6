"""The level transmitter's signal against NAMUR NE 43, and the dead bands of the other readings.

Source: NAMUR NE 43: measuring 3.8 to 20.5 mA; failure at or below 3.6 mA,
at or above 21.0 mA.  Between the two the last judgement stands.
"""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control.bands import Bands
from hypothesis import given
from hypothesis import strategies as st

from tests.rig import make_settings

MEASURING_UA = (3_800, 20_500)
FAILURE_UA = (3_600, 21_000)


def judged(*microamps, bands=None):
    """Return the judgement after a course of loop currents."""
    bands = bands or Bands(make_settings(transmitter=1, fitted=8))
    raw, inputs = [0] * r.N_INPUTS, [0] * r.N_INPUTS
    for current in microamps:
        raw[r.IN_LEVEL] = current
        bands.convert(raw, inputs, 0, 0)
    return inputs[r.IN_TRANSMITTER]


# Source: NAMUR NE 43, limits as above.
@pytest.mark.parametrize(("microamps", "judgement"), [
    (0, r.TRANSMITTER_LOW), (3_599, r.TRANSMITTER_LOW), (3_600, r.TRANSMITTER_LOW), (3_601, r.TRANSMITTER_OK),
    (3_800, r.TRANSMITTER_OK),
    (4_000, r.TRANSMITTER_OK), (20_000, r.TRANSMITTER_OK), (20_500, r.TRANSMITTER_OK), (20_999, r.TRANSMITTER_OK),
    (21_000, r.TRANSMITTER_HIGH), (24_000, r.TRANSMITTER_HIGH),
])
def test_the_published_limits(microamps, judgement):
    assert judged(12_000, microamps) == judgement


# Source: NAMUR NE 43, limits as above.
@pytest.mark.parametrize(("failed", "between", "measuring", "judgement"), [
    (3_500, (3_601, 3_700, 3_799), MEASURING_UA[0], r.TRANSMITTER_LOW),
    (21_500, (20_999, 20_800, 20_501), MEASURING_UA[1], r.TRANSMITTER_HIGH),
])
def test_a_failed_signal_is_good_again_only_within_the_measuring_range(failed, between, measuring, judgement):
    for current in between:
        assert judged(failed, current) == judgement
    assert judged(failed, measuring) == r.TRANSMITTER_OK


# Source: NAMUR NE 43, limits as above.
@given(st.lists(st.integers(0, 25_000), min_size=1, max_size=30))
def test_at_any_course_the_judgement_is_that_of_the_standard(course):
    bands = Bands(make_settings(transmitter=1, fitted=8))
    expected = r.TRANSMITTER_OK
    for current in course:
        if current <= FAILURE_UA[0]:
            expected = r.TRANSMITTER_LOW
        elif current >= FAILURE_UA[1]:
            expected = r.TRANSMITTER_HIGH
        elif MEASURING_UA[0] <= current <= MEASURING_UA[1]:
            expected = r.TRANSMITTER_OK
        assert judged(current, bands=bands) == expected


# Source: 4 to 20 mA is the live range of the signal (IEC 60381-1, from memory).
@pytest.mark.parametrize(("microamps", "level_mm"), [(4_000, 0), (12_000, 500), (20_000, 1_000), (4_160, 10)])
def test_four_to_twenty_milliamps_span_the_level(microamps, level_mm):
    assert Bands(make_settings(transmitter=1, fitted=8)).level_mm(microamps) == level_mm


@given(st.lists(st.integers(3_600, 21_000), min_size=1, max_size=40))
def test_thresholds_name_exactly_the_readings_that_leave_every_band_as_it_is(course):
    values = make_settings(transmitter=1, fitted=8, sensing=s.SENSE_CURRENT)
    bands, edges = Bands(values), [0] * 8
    raw, inputs = [0] * r.N_INPUTS, [0] * r.N_INPUTS
    for current in course:
        raw[r.IN_LEVEL] = current
        raw[r.IN_CURRENT_1] = (current - 3_600) * 2
        raw[r.IN_MAINS] = 1
        bands.convert(raw, inputs, 0, 0)
        bands.thresholds(edges, 0, 0, 1)
        for place, low, high in ((r.IN_LEVEL, edges[4], edges[5]), (r.IN_CURRENT_1, edges[0], edges[1])):
            for reading, same in ((low, True), (low - 1, False), (high - 1, True), (high, False)):
                if not -100_000 < reading < 1_000_000:
                    continue
                twin, seen = Bands(values), [0] * r.N_INPUTS
                twin.__dict__.update({k: list(v) if isinstance(v, list) else v for k, v in vars(bands).items()})
                other = list(raw)
                other[place] = reading
                twin.convert(other, seen, 0, 0)
                assert (seen == inputs) is same, (current, place, reading, low, high)
