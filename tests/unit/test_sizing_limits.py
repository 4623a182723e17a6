"""At the limit: what is over by less than anybody can measure is said so, and does not fail a pit."""

import pytest

from host_sim import units
from host_sim.errors import InputError
from host_sim.sizing import limits
from host_sim.sizing.document import edited
from host_sim.sizing.model import size
from host_sim.sizing.remarks import raised as remarks
from host_sim.sizing.report.as_html import as_html
from host_sim.sizing.report.as_json import as_json
from host_sim.sizing.report.page import build
from host_sim.sizing.say import Say
from host_sim.sizing.tried import tried
from tests.sampled import sampled
from tests.sizing_sites import SOUND

US = Say("us")
SMALL = {
    "pit.diameter": "18 in",
    "pit.depth": "24 in",
    "discharge.outlet": "10 ft",
    "sizing.motor.body_diameter": "7 in",
}


def starting(share):
    """Return a site whose motors start `share` times as often as a limit of 10 starts per hour allows."""
    low, high = 0.5, 60.0
    for _ in range(20):  # the longer the rise takes, the rarer the starts
        middle = 0.5 * (low + high)
        data = edited(SOUND, {**SMALL, "sizing.motor.starts_per_hour": 10, "sizing.evidence.0.in": f"{middle} min"})
        if size(data).starts["design"] > 10.0 * share:
            low = middle
        else:
            high = middle
    return data


@pytest.mark.long
@pytest.mark.parametrize(
    ("share", "word"), sampled([(1.04, "at the limit"), (0.99, ""), (1.01, "at the limit"), (1.07, "over")], 4)
)
def test_a_little_over_the_limit_is_at_the_limit_and_more_does_not_fit(share, word):
    page = build(size(starting(share)), US, with_check=False)
    found = {item.remark.name: item for item in page.found}
    row = next(r for part in page.sections for r in part.rows if r.key == "cycling.starts_design")
    shown = next(r for s in as_json(page, US)["sections"] for r in s["rows"] if r["key"] == "cycling.starts_design")
    item = found.get("pit_too_small")
    assert row.value == pytest.approx(10.0 * share, rel=1e-3)
    if not word:
        assert item is None and row.within is True and row.held_against(US) == "limit 10"
        return
    assert item.serious == (word == "over") and shown["within"] is (False if word == "over" else None)
    assert row.held_against(US) == ("over limit 10" if word == "over" else "at the limit 10")
    assert remarks.verdict([item]) == ("does not fit" if word == "over" else "fits with remarks")
    if word == "at the limit":
        assert "within 5 % (common practice, no source)" in item.reason and item.title == "starts per hour at the limit"
        assert shown["at_limit"] is True and "at the limit 10" in as_html(page, US)
    for cure in item.cures:  # a fix brings the starts to the limit itself, not into the tolerance
        assert size(tried(page.result.inputs.data, cure.edits)).starts["design"] <= 10.0


def test_the_tolerance_is_listed_with_its_source():
    assert limits.row("tolerance").value == 0.05 and limits.row("tolerance").source == limits.PRACTICE
    assert not limits.at_limit(10.0, 10.0) and limits.at_limit(10.1, 10.0) and not limits.at_limit(10.6, 10.0)


@pytest.mark.parametrize(("given", "offered"), [
    ("6,1 m", '"6.1 m"'), ("18,5 in", '"18.5 in"'), ("0,5 gpm", '"0.5 gpm"'), ("10 ft 6,5 in", '"10 ft 6.5 in"'),
    ("1,25 in", '"1.25 in"'), ("1,500 ft", '"1500 ft" without it, or "1.500 ft"'),
])  # fmt: skip
def test_a_decimal_comma_is_refused_with_the_right_reading(given, offered):
    kind = "flow" if "gpm" in given else "length"
    with pytest.raises(ValueError, match="comma") as caught:
        units.read(given, kind)
    assert offered in str(caught.value)


def test_a_decimal_comma_in_a_site_file_is_named_by_its_key():
    with pytest.raises(InputError) as caught:
        size(edited(SOUND, {"discharge.riser.length": "6,1 m"}))
    (line,) = caught.value.problems
    assert line.startswith("discharge.riser.length") and '"6.1 m"' in line
