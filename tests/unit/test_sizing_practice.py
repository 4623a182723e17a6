"""What a plumber can buy and do: stock basins, pumps that exist, settings set by the tool, the worst told first."""

from math import inf, pi

import pytest
from duplexsump.control import settings as s

from host_sim.report.console import PIPED_WIDTH, console
from host_sim.sizing import covered as rules
from host_sim.sizing.confirm import Check
from host_sim.sizing.document import edited
from host_sim.sizing.head import ALONE_1, ALONE_2
from host_sim.sizing.limits import GPM, INCH, limit
from host_sim.sizing.model import size
from host_sim.sizing.remarks.change import STOCK_M, other_pump, wider
from host_sim.sizing.remarks.raised import raised, verdict
from host_sim.sizing.report.page import headline
from host_sim.sizing.report.parts import parts
from host_sim.sizing.say import Say
from tests.sizing_sites import sound

SAY = Say("us")
BATTERY = {"pump2__supply": "battery", "pump2__volts": "12 V"}


def test_a_wider_basin_is_one_that_is_stocked_and_a_concrete_pit_any_even_inch():
    widths = [cure.edits["pit.diameter"] for cure in wider(size(sound()), 25 * INCH, SAY)]
    assert widths == ["36 in", "48 in"] and len(STOCK_M) == 5  # the sound pit is 30 in wide
    poured = wider(size(sound(sizing__basin__kind="concrete")), 25 * INCH, SAY)
    assert poured[0].edits["pit.diameter"] == "32 in"


def test_no_smaller_pump_is_proposed_than_can_be_bought():
    result = size(sound())  # 60 gpm with no head
    steps = (0.9, 0.5, 0.3, 0.1)
    texts = [cure.text for cure in other_pump(result, steps, SAY)]
    assert len(texts) == 2 and limit("smallest_pump") == pytest.approx(20 * GPM)
    assert len(other_pump(result, (1.5, 3.0), SAY)) == 2


def test_a_selector_left_off_is_covered_on_the_battery_only_and_says_that_nobody_is_called():
    row = rules.by_fault(rules.covered(size(sound(**BATTERY))))["pump1-left-off"]
    assert row.held and row.seconds < inf and "nobody is called" in row.why and "not beyond" in row.why
    other = rules.by_fault(rules.covered(size(sound(**BATTERY))))["pump2-left-off"]
    assert other.seconds == inf and "nobody is called" not in other.why


def test_max_run_is_set_where_a_run_at_the_design_inflow_lasts_longer():
    wide = sound(pit__diameter="48 in", sizing__margin="0 %")
    moved_m3s = min(size(wide).flow(which, "off") for which in (ALONE_1, ALONE_2))
    seconds = 6 * INCH * pi / 4.0 * (48 * INCH) ** 2 / (0.9 * moved_m3s)
    test = {"kind": "rise test", "rise": "6 in", "in": f"{seconds:.1f} s", "from": "4 in", "weather": "wettest"}
    slow = edited(wide, {"sizing.evidence": [test]})
    result = size(slow)
    run_s = max(result.cycling.cycle(n, result.design.inflow_m3s).run_s for n in (0, 1))
    assert s.defaults()[s.MAX_RUN_MS] / 1000.0 < run_s < inf
    assert run_s < result.settings[s.MAX_RUN_MS] / 1000.0 <= 7200.0
    assert not any(item.remark.name == "long_runs" for item in raised(result, SAY, False))
    kept = size({**slow, "settings": {"max_run": "20 min"}})
    assert any(item.remark.name == "long_runs" for item in raised(kept, SAY, False))


def test_the_headline_says_the_worst_first():
    test = {"kind": "rise test", "rise": "6 in", "in": "90 s", "from": "4 in", "weather": "wettest"}
    result = size(sound(supply=None, pump2__supply="mains", sizing__power__alarm=False,
                        sizing__power__generator="1000 W", sizing__evidence=[test]))  # fmt: skip
    found = raised(result, SAY, False)
    said = headline(result, found, verdict(found), SAY)
    assert said.index("power failure floods the floor") < said.index("no alarm heard") < said.index("design inflow")
    reason = next(item.reason for item in found if item.remark.name == "power_cut_floods")
    assert "started by hand" in reason and "no battery or generator" not in reason


def test_less_pipe_than_the_way_to_the_outlet_is_remarked():
    far = size(sound(sizing__outfall__distance="60 ft"))
    item = next(item for item in raised(far, SAY) if item.remark.name == "pipe_too_short")
    assert "60" in item.reason and item.cures
    assert not any(item.remark.name == "pipe_too_short" for item in raised(size(sound()), SAY, False))


def test_the_parts_list_has_the_joint_the_fuses_and_no_pump_to_buy_by_an_assumed_head():
    found = parts(size(sound(**BATTERY)), SAY)
    names = [part.what for part in found]
    assert any("wye" in name for name in names)
    assert any("fuse in its lead" in part.rating for part in found if part.what == "charger")
    assert any("sumpbench build" in part.rating for part in found)
    assumed = [{"what": "shut-off head of pump 1", "taken": "23 ft", "why": "a guess", "changes": "flow"}]
    pump = next(part for part in parts(size(sound(sizing__assumed=assumed)), SAY) if part.what.startswith("pump 1"))
    assert "shut-off head not known" in pump.rating


def test_a_disagreement_says_how_far_apart_and_what_is_allowed_and_what_to_do():
    result = size(sound())
    bad = Check(10.0 * GPM, 600.0, 620.0, (6.0, 6.0), (5.9, 5.9), 100.0, 100.0)
    said = headline(result, [], "not confirmed", SAY, [bad])
    assert "3.3 % apart (allowed 2 %)" in said and "Fix:" in said


def test_piped_output_keeps_to_columns(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert console().width == 80
    monkeypatch.delenv("COLUMNS")
    assert console().width == PIPED_WIDTH
