"""What cannot be sized is refused: what is wrong, and what a sensible value looks like."""

import pytest

from host_sim.errors import InputError
from host_sim.sizing.document import edited
from host_sim.sizing.evidence import read_log
from host_sim.sizing.model import size
from tests.sizing_sites import SOUND


def problems(edits):
    with pytest.raises(InputError) as caught:
        size(edited(SOUND, edits))
    return caught.value.problems


# (edits, key or words that name what is wrong, words of a sensible value)
CASES = [
    ({"discharge.riser.length": "0 ft"}, "must be above 0", "8 ft"),
    ({"pump.curve": [["0 gpm", "20 ft"], ["30 gpm", "25 ft"]]}, "must fall", "0 gpm"),
    ({"pump.curve": [["0 gpm", "9 ft"], ["30 gpm", "0 ft"]]}, "shut-off head", "16.1 ft"),
    ({"discharge.riser.pipe": "1.25 in"}, "smaller than the outlet", "1 1/2 in"),
    ({"pit.diameter": "30"}, "has no unit", "18 in to 36 in"),
    ({"pit.depth": "30 gpm"}, "pit.depth", "24 in"),
    ({"discharge.outlet": "2 ft", "discharge.riser.length": "2 ft"}, "below the floor", "10 ft"),
    ({"discharge.riser.length": "2 ft", "discharge.header.length": "2 ft"}, "cannot reach", "at least the lift"),
    ({"sizing.evidence.0.rise": "60 in"}, "the pit is 36 in deep", "4 in"),
    ({"sizing.evidence.0.in": "0 min"}, "must be above", "5 min"),
    ({"sizing.evidence.0.kind": "rise tset"}, 'did you mean "rise test"', ""),
    ({"sizing.evidence.0.weather": "foggy"}, '"wettest"', ""),
    ({"sizing.motor.minimum_flow": "80 gpm"}, "must be below maximum_flow", "a tenth"),
    ({"sizing.motor.covered_to": "35 in"}, "leaves no room", "4 in to 8 in"),
    ({"pump.intake": "35 in"}, "leaves no water to pump", "2 in to 4 in"),
    ({"sizing.motor.starts_per_hour": 0}, "starts_per_hour", "10 to 15"),
    ({"sizing.basin.inlet": "50 in"}, "above the floor", "18 in"),
    ({"sizing.power.cable_gauge": 5}, "American wire gauge", "14, 12, 10"),
    ({"sizing.sump": 1}, "unknown key", ""),
    ({"sizing.floats.colour": "red"}, "unknown key", ""),
    ({"contacts": {"off": {"wet_at": "20 in"}, "lead": {"wet_at": "10 in"}}}, "out of order", ""),
    ({"settings": {"min_offf": "10 s"}}, 'did you mean "min_off"', ""),
    ({"settings": {"min_off": "1 s"}}, "min_off", "10000"),
    ({"sizing.evidence": [{"kind": "recovery", "water_table": "10 in", "from": "6 in", "to": "14 in", "in": "1 min"}]},
     "levels must rise", ""),
    ({"sizing.evidence": [{"kind": "log", "starts": 5, "over": "1 h", "stops_at": "14 in", "starts_at": "6 in"}]},
     "must be above stops_at", "14 in"),
    ({"sizing.motor1.sensor": "shunt"}, "ties the line conductor", "current transformer"),
    # Pump 2 runs on the mains until its inverter takes over: a mains pump as well.
    ({"sizing.motor2.sensor": "shunt"}, "ties the line conductor", "current transformer"),
]  # fmt: skip


@pytest.mark.parametrize(("edits", "wrong", "sensible"), CASES, ids=[next(iter(case[0])) + str(i) for i, case in
                                                                     enumerate(CASES)])  # fmt: skip
def test_each_impossible_answer_is_met_with_what_is_wrong_and_what_is_sensible(edits, wrong, sensible):
    told = problems(edits)
    match = [line for line in told if wrong in line]
    assert match, told
    if sensible and "starts_at" not in match[0]:
        assert sensible in match[0]


def test_a_shunt_is_good_for_a_battery_pump():
    battery = {"pump2.supply": "battery", "pump2.volts": "12 V", "sizing.motor2.sensor": "shunt"}
    assert size(edited(SOUND, battery)).sensors[1].kind == "shunt"


def test_everything_wrong_is_told_at_once():
    told = problems({"pit.diameter": "30", "pump.curve": [["0 gpm", "5 ft"]], "sizing.outfall.to": "river"})
    for key in ("pit.diameter", "pump1.curve", "sizing.outfall.to"):
        assert any(line.startswith(key) for line in told)


def test_a_discharge_smaller_than_the_outlet_says_why():
    (line,) = problems({"discharge.header.pipe": "1.25 in"})
    assert "throttles" in line and "International Plumbing Code" in line


def test_a_given_inside_diameter_is_taken_as_it_is():
    data = edited(SOUND, {"discharge.riser.pipe": None, "discharge.riser.diameter": "1.61 in"})
    assert size(data).inputs.discharge.risers[0].diameter_m == pytest.approx(1.61 * 0.0254)


def test_what_nobody_said_is_taken_cautiously_and_listed():
    bare = {key: SOUND[key] for key in ("pit", "pump", "discharge")}
    bare["pump"] = {key: value for key, value in bare["pump"].items() if key != "rated_current"}
    result = size(bare)
    taken = {item.key: item.taken for item in result.inputs.assumptions}
    assert taken["sizing.evidence"].startswith("14 gpm")
    assert taken["sizing.piping.material"] == "unknown" and taken["sizing.power.circuits"] == "shared"
    assert taken["pump.rated_current"] == "10 A" and taken["controller.sensing"] == "nothing"
    assert all(item.why for item in result.inputs.assumptions)
    # A measured, well-answered site takes less for granted.
    assert len(size(SOUND).inputs.assumptions) < len(taken)


def test_a_scenario_stands_in_for_a_measurement_and_its_settings_for_a_plate():
    rising = {"kind": "hydrograph", "flows": [["0 h", "0 gpm"], ["2 h", "9 gpm"]]}
    flows = [{"kind": "constant", "rate": "4 gpm"}, rising]
    data = edited(SOUND, {"sizing.evidence": None, "inflow": flows, "settings": {"starts_per_hour": 30},
                          "sizing.motor.starts_per_hour": None})  # fmt: skip
    result = size(data)
    assert result.design.governing.kind == "scenario"
    assert result.design.expected_m3s * 15850.323 == pytest.approx(13.0, rel=0.01)
    assert result.inputs.plates[0].starts_per_hour == 30


def test_a_log_file_gives_its_steepest_rise(tmp_path):
    rows = ["time [min],level [in]", "0,6", "1,7", "2,8", "3,11", "4,12", "5,6", "6,7"]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    data = edited(SOUND, {"sizing.evidence": [{"kind": "log", "file": str(path), "weather": "wettest"}]})
    area = size(data).inputs.pit.area_m2(0.1)
    assert size(data).design.estimates[0].measured_m3s == pytest.approx(area * 3 * 0.0254 / 60, rel=1e-6)


@pytest.mark.parametrize(("text", "wrong"), [
    ("time,level\n0,1\n1,2\n2,3\n", "unit in brackets"),
    ("time [min],level [in]\n0,1\n", "three rows"),
    ("time [min],level [in]\n0,1\n0,2\n1,3\n", "must rise"),
    ("time [min],level [in]\n0,1\n1,x\n2,3\n", "two numbers"),
])  # fmt: skip
def test_a_log_file_that_cannot_be_used_says_why(tmp_path, text, wrong):
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=wrong):
        read_log(path)


def test_a_curve_of_two_points_is_enough():
    result = size(edited(SOUND, {"pump.curve": [["0 gpm", "30 ft"], ["60 gpm", "0 ft"]]}))
    assert result.inputs.plates[0].maximum_m3s == result.inputs.pumps[0].curve.runout_m3s


def test_three_points_put_the_largest_flow_at_a_quarter_of_the_shut_off_head():
    # The middle one of three points is no run-out: a pump at 34 of 55 gpm was told to be throttled.
    points = [["0 gpm", "40 ft"], ["30 gpm", "28 ft"], ["55 gpm", "0 ft"]]
    result = size(edited(SOUND, {"pump.curve": points}))
    plate = result.inputs.plates[0]
    assert plate.maximum_m3s * 15850.32 == pytest.approx(30.0 + 25.0 * 18.0 / 28.0, abs=0.01)
    taken = [item for item in result.inputs.assumptions if "a quarter of the shut-off head" in str(item)]
    assert taken
