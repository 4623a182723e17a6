"""Units read from the table and by pint: the same number to the last bit, and the same errors."""

import random

import pytest

from host_sim import units
from host_sim.unit_factors import READ, SHOWN

WRONG = (
    ("18", "length"), ("18 gpm", "length"), ("18 inn", "length"), ("6,1 m", "length"), ("1,000 gal", "volume"),
    ("deep", "length"), ("1e400 m", "length"), ("3 s", "flow"), ("12 m m", "length"),
)  # fmt: skip


def by_pint(text, kind):
    """Read a text with the table out of the way."""
    quantity = units.registry().Quantity(units._plain(text, kind))
    return float(quantity.to(units.KINDS[kind][0]).magnitude)


@pytest.mark.parametrize("kind", READ)
def test_every_unit_of_the_table_is_pints_to_the_last_bit(kind):
    """Whole numbers, decimals and powers of ten."""
    rng = random.Random(kind)
    for name in READ[kind]:
        numbers = [rng.uniform(0.0, 100.0), rng.randrange(1000), round(rng.uniform(0.0, 50.0), 2), "1e-3", "-2.5"]
        for number in numbers:
            text = f"{number} {name}".strip()
            assert units._read.__wrapped__(text, kind) == by_pint(text, kind), text


def test_every_unit_shown_is_pints():
    """What the reports convert with."""
    for (kind, name), factor in SHOWN.items():
        to = units._plain(name) or "dimensionless"
        assert factor == float(units.registry().Quantity(1.0, units.KINDS[kind][0]).to(to).magnitude)
    assert {(kind, name) for kind, row in units.KINDS.items() for name in row[3:] if name} == set(SHOWN)


@pytest.mark.parametrize("text", ["1-1/2 in", "10 ft 6 in", "1/2 in", "3/16 in", "7/3 ft", "2.5/3 m", "-1/8 in",
                                  "2 gpm/ft", "600 ft2", "3 furlong", "20%", "5ft",
                                  "8h", "7200.0s", "1e3mm", ".5 in", "5. m", "1E2 cm"])  # fmt: skip
def test_what_people_write_reads_as_pint_reads_it(text):
    """Mixed fractions, feet and inches, and units that are not in the table."""
    kind = {"2 gpm/ft": "conductance", "600 ft2": "area", "20%": "share", "8h": "time", "7200.0s": "time"}.get(
        text, "length")
    assert units.read(text, kind) == by_pint(text, kind)


@pytest.mark.parametrize(("text", "kind"), WRONG)
def test_a_wrong_text_is_told_as_it_was(text, kind, monkeypatch):
    """The error with the table is the error without it."""
    with pytest.raises(ValueError, match=r".") as usual:
        units.read(text, kind)
    monkeypatch.setitem(units.READ, kind, {})
    with pytest.raises(ValueError, match=r".") as pints:
        units._read.__wrapped__(text, kind)
    assert str(usual.value) == str(pints.value)
