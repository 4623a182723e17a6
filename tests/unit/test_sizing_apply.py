"""Cures that a person can carry out, cheapest first, and all of them together until the pit fits."""

import pytest

from host_sim.sizing.apply import Step, _followed, apply_all
from host_sim.sizing.command import run
from host_sim.sizing.document import edited, to_toml
from host_sim.sizing.model import size
from host_sim.sizing.remarks import raised as remarks
from host_sim.sizing.remarks.catalogue import CATALOGUE, by_name
from host_sim.sizing.remarks.remark import CONCRETE, COSTS, PAPER
from host_sim.sizing.say import Say
from tests.sizing_sites import SOUND, sound

SAY = Say("us")
SMALL = {"pit.diameter": "18 in", "pit.depth": "24 in", "discharge.outlet": "10 ft",
         "sizing.evidence.0.in": "45 s", "discharge.riser.fittings.swing_check": None,
         "sizing.piping.material": "cellular-core DWV"}  # fmt: skip


@pytest.mark.long
def test_applied_together_they_make_it_fit_and_each_has_its_night():
    found = apply_all(edited(SOUND, SMALL), SAY)
    assert found.fits and not found.left
    assert len(found.steps) >= 3
    for step in found.steps:
        assert step.cost in COSTS and step.dry and "floor dry" in step.night
    assert [step.left for step in found.steps][-1] == 0
    word = remarks.verdict(remarks.raised(size(found.data), SAY, with_cures=False))
    assert word in ("fits", "fits with remarks")


def test_a_step_that_a_later_one_sets_anew_is_not_done_twice():
    # A typed pit was to be dug 18 in wide for its pumps, and then 40 in wide for its starts.
    def step(title, text, *keys):
        return Step(title, text, "breaking the floor", 0, "floor dry", True, frozenset(keys))

    steps = []
    for one in (step("pumps and floats do not fit", "a pit 18 in wide", "pit.side"),
                step("no cover", "a cover", "cover"),
                step("too many starts", "a pit 40 in wide", "pit.side")):  # fmt: skip
        steps = _followed(steps, one)
    assert [(one.title, one.text) for one in steps] == [
        ("no cover", "a cover"), ("pumps and floats do not fit; too many starts", "a pit 40 in wide"),
    ]  # fmt: skip
    # What a later step leaves as it was stays a step of its own.
    assert len(_followed(steps, step("pit too deep", "a pit 30 in deep", "pit.depth"))) == 3


@pytest.mark.long
def test_where_no_set_of_cures_does_it_says_so():
    flood = sound(sizing__evidence=[{"kind": "rise test", "rise": "6 in", "in": "1 s", "from": "4 in",
                                     "weather": "wettest"}])  # fmt: skip
    found = apply_all(flood, SAY)
    assert not found.fits and any("cannot carry the peak" in line for line in found.left)


def test_what_fits_is_left_alone():
    found = apply_all(SOUND, SAY)
    assert found.fits and found.steps == () and found.data == SOUND


@pytest.mark.long
def test_what_is_there_already_is_changed_last():
    small = edited(SOUND, {k: v for k, v in SMALL.items() if "pit" in k or "evidence" in k or "outlet" in k})
    for installed, dear in (([], PAPER), (["pit"], CONCRETE)):
        result = size(edited(small, {"sizing.installed": installed}))
        cures = remarks.working_cures(result, by_name("pit_too_small"), SAY)
        assert [cure.cost for cure in cures] == sorted(cure.cost for cure in cures)
        wide = [cure for cure in cures if "wide" in cure.text]
        assert wide and all(cure.cost == dear for cure in wide)


@pytest.mark.parametrize("edits", [
    {"sizing.motor.maximum_flow": "30 gpm", "sizing.motor.minimum_flow": "1 gpm"},
    {"pump2.supply": "battery", "pump2.volts": "12 V", "pit.diameter": "18 in", "pit.depth": "24 in",
     "discharge.outlet": "10 ft", "sizing.evidence.0.in": "45 s"},
])  # fmt: skip
def test_no_advice_that_nobody_can_follow(edits):
    result = size(edited(SOUND, edits))
    told = [remark for remark in CATALOGUE if remark.raised(result, SAY) is not None]
    texts = [cure.text for remark in told for family in remark.cures(result, SAY) for cure in family]
    assert texts
    for text in texts:
        assert "coefficient" not in text and "half the current" not in text.replace("V, for half the current", "")
    if "pump2.supply" in edits:
        assert not any("take turns" in text or "alternate" in text for text in texts)
    else:
        assert any("5 gal bucket at the outlet takes" in text for text in texts)


def test_a_measurement_is_told_and_never_made_up():
    result = size(sound(sizing__evidence=None))
    cures = remarks.working_cures(result, by_name("nothing_measured"), SAY)
    assert cures and all(cure.measures for cure in cures)


@pytest.mark.long
def test_the_command_tells_each_step_and_writes_the_site_that_fits(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "site.toml").write_text(to_toml(edited(SOUND, SMALL)), encoding="utf-8")
    code = run("site.toml", False, [], "us", tmp_path / "out", False, False, cure=True)
    told = " ".join(capsys.readouterr().out.split())
    assert code == 0
    assert "Fixes applied together, cheapest first" in told and "simulated design night: floor dry" in told
    assert (tmp_path / "out" / "site.toml").exists()
    sheet = (tmp_path / "out" / "sizing.html").read_text(encoding="utf-8")
    assert "CHANGED from what was given" in sheet and told.count("simulated design night") >= sheet.count(", for: ") > 0
