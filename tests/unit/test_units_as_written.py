"""Quantities as people write them: feet and inches with marks and fractions, areas, times; what is refused and how."""

import re

import pytest

from host_sim import units

INCH, FOOT = 0.0254, 0.3048


@pytest.mark.parametrize(("text", "kind", "value"), [
    ('18"', "length", 18 * INCH),
    ("18 in.", "length", 18 * INCH),
    ("18 Inches", "length", 18 * INCH),
    ('3/4"', "length", 0.75 * INCH),
    ('1 1/2"', "length", 1.5 * INCH),
    ('1-1/2"', "length", 1.5 * INCH),
    ("1½ in", "length", 1.5 * INCH),
    ("9'", "distance", 9 * FOOT),
    ("9 FT", "distance", 9 * FOOT),
    ("9′", "distance", 9 * FOOT),
    ("6' 3 1/2\"", "distance", 75.5 * INCH),
    ("6'3-1/2\"", "distance", 75.5 * INCH),
    ("6’ 3½”", "distance", 75.5 * INCH),
    ("6 ft 3-1/2 in", "distance", 75.5 * INCH),
    ("6 feet 3 inches", "distance", 75 * INCH),
    ("6'-3\"", "distance", 75 * INCH),
    ("10 ft 6 in", "distance", 126 * INCH),
    ("2.5 m", "distance", 2.5),
    ("25 x 40 ft", "area", 1000 * FOOT**2),
    ("25' x 40'", "area", 1000 * FOOT**2),
    ("25 ft by 40 ft", "area", 1000 * FOOT**2),
    ("25' 6\" x 40 ft", "area", 1020 * FOOT**2),
    ("25×40 ft", "area", 1000 * FOOT**2),
    ("1000 sqft", "area", 1000 * FOOT**2),
    ("1000 sq ft", "area", 1000 * FOOT**2),
    ("1000 sq. ft.", "area", 1000 * FOOT**2),
    ("1000 square feet", "area", 1000 * FOOT**2),
    ("1000 ft²", "area", 1000 * FOOT**2),
    ("1000 ft2", "area", 1000 * FOOT**2),
    ("90 m2", "area", 90.0),
    ("1 min 30 s", "time", 90.0),
    ("1 min 30 sec", "time", 90.0),
    ("1 h 20 min", "time", 4800.0),
    ("2 hours", "time", 7200.0),
    ("1:02:03", "time", 3723.0),
    ("90 min", "time", 5400.0),
    ("45 GPM", "flow", 45 * 3.785411784e-3 / 60),
    ("2700 gph", "flow", 45 * 3.785411784e-3 / 60),
    ("18 amps", "current", 18.0),
    ("8a", "current", 8.0),
    ("12 VDC", "voltage", 12.0),
    ("75 ah", "charge", 75 * 3600.0),
    ("5 gallons", "volume", 5 * 3.785411784e-3),
])  # fmt: skip
def test_it_is_read_as_it_is_meant(text, kind, value):
    assert units.read(text, kind) == pytest.approx(value, rel=1e-9)
    assert units.read(units.tidy(text, kind), kind) == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(("text", "kind", "told"), [
    ("6,1 m", "distance", '"6.1 m"'),
    ('6,5"', "length", '6.5"'),
    ("1,000 ft2", "area", "1000 ft2"),
    ("6' 3", "distance", "feet and inches"),
    ("2:30", "time", '"2 min 30 s" or "2 h 30 min"'),
    ("about 30 in", "length", "begin with a number"),
    ("30 x", "area", "an area"),
    ("25 x 40 x 3 ft", "area", "an area"),
    ("1/0 in", "length", "divides by nothing"),
    ("30", "length", "no unit"),
    ('30"', "flow", "a flow"),
    ("9'", "time", "a time"),
])  # fmt: skip
def test_what_has_no_reading_or_two_is_refused_with_the_right_one_offered(text, kind, told):
    with pytest.raises(ValueError, match=re.escape(told)):
        units.read(text, kind)


@pytest.mark.long
@pytest.mark.parametrize("text", ["30", "3.5", "1/2", "3 1/2", "3-1/2", ".5"])
def test_a_bare_number_is_known_as_one(text):
    assert units.bare(text) and not units.bare(f"{text} in")
