"""A fix on paper changes no measurement: the inflow belongs to the pit, the pump and the pipe it was measured with."""

import json

import pytest

from host_sim.sizing.command import run
from host_sim.sizing.document import edited, to_toml
from host_sim.sizing.model import size
from host_sim.sizing.tried import tried
from tests.sizing_sites import SOUND

KINDS = {
    "rise test": {"kind": "rise test", "rise": "6 in", "in": "3 min", "from": "4 in", "weather": "wettest"},
    "pump-down test": {"kind": "pump-down test", "falls": "6 in", "in": "1 min", "from": "16 in", "weather": "wettest"},
    "log": {"kind": "log", "starts": 12, "over": "1 h", "stops_at": "6 in", "starts_at": "14 in", "weather": "wettest"},
    "recovery": {"kind": "recovery", "water_table": "4 ft", "from": "6 in", "to": "14 in", "in": "10 min"},
    "rule of thumb": {"kind": "rule of thumb", "area": "600 ft2"},
}
CHANGES = {
    "wider": {"pit.diameter": "40 in"},
    "deeper": {"pit.depth": "60 in", "discharge.outlet": "13 ft", "discharge.riser.length": "13 ft"},
    "larger pumps": {"pump.curve": [["0 gpm", "30 ft"], ["50 gpm", "18 ft"], ["90 gpm", "0 ft"]]},
    "a narrower pipe": {"discharge.riser.pipe": "1.5 in", "discharge.header.pipe": "1.5 in"},
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("change", CHANGES)
def test_no_change_on_paper_moves_the_measured_inflow(kind, change):
    data = edited(SOUND, {"sizing.evidence": [KINDS[kind]]})
    before = size(data)
    once = tried(data, CHANGES[change], before.rates_m3s)
    after = size(once)
    assert after.design.expected_m3s == pytest.approx(before.design.expected_m3s, rel=1e-6)
    # And once more, on top: it is still the first pit's.
    twice = size(tried(once, {"pit.diameter": "44 in"}, after.rates_m3s))
    assert twice.design.expected_m3s == pytest.approx(before.design.expected_m3s, rel=1e-6)
    if change == "wider":
        assert after.inputs.diameter_m > before.inputs.diameter_m


def test_a_measurement_that_is_edited_itself_is_the_new_pits():
    new = size(tried(SOUND, {"pit.diameter": "60 in", "sizing.evidence.0.in": "3 min"}))
    old = size(SOUND)
    assert new.design.expected_m3s == pytest.approx(4.0 * old.design.expected_m3s, rel=1e-6)


def _design(page):
    rows = {row["key"]: row["value"] for section in page["sections"] for row in section["rows"]}
    return rows["inflow.design"]


def test_the_command_keeps_the_inflow_and_so_does_the_site_that_it_writes(tmp_path, capsys):
    site, flows = tmp_path / "site.toml", []
    site.write_text(to_toml(SOUND), encoding="utf-8")
    for source, changes in ((site, []), (site, ["pit.diameter=40 in"]), (tmp_path / "out" / "site.toml", [])):
        run(str(source), False, changes, "us", tmp_path / "out", True, False)
        flows.append(_design(json.loads(capsys.readouterr().out)))
    assert flows[0] == pytest.approx(flows[1], rel=1e-6) == pytest.approx(flows[2], rel=1e-6)


def test_what_was_assumed_of_what_is_changed_is_gone():
    assumed = [{"what": what, "taken": "x", "why": "y", "changes": "z"}
               for what in ("float travel", "kind of floats", "width of the pit", "cover")]  # fmt: skip
    data = edited(SOUND, {"sizing.assumed": assumed})
    vertical = tried(data, {"sizing.floats": {"kind": "vertical", "travel": "1 in"}})
    assert [item["what"] for item in vertical["sizing"]["assumed"]] == ["width of the pit", "cover"]
    assert "assumed" not in tried(vertical, {"pit.diameter": "36 in", "sizing.basin.cover": "bolted"})["sizing"]


@pytest.mark.parametrize("basin", [{"kind": "concrete"}, {"held_down": True}])
def test_a_pit_that_cannot_float_assumes_no_weight(basin):
    told = {item.key for item in size(edited(SOUND, {"sizing.basin": basin})).inputs.assumptions}
    assert not told & {"sizing.basin.weight", "sizing.basin.wall", "sizing.basin.water_table"}
