"""Reserve and supply: closed forms by hand, and the waits as the simulator has them."""

import pytest
from duplexsump.control import settings as s

from host_sim.run import closed_loop
from host_sim.site.faults import parse_fault
from host_sim.site.load import read_site
from host_sim.sizing import head
from host_sim.sizing.document import edited, to_toml
from host_sim.sizing.model import size
from host_sim.sizing.site_out import sized
from tests.sizing_sites import SOUND

BUSY = {"sizing.evidence.0.in": "0.8 min", "pump2.supply": "mains", "supply": {}}


def wait(result, words):
    return next(item for item in result.reserve.waits if words in item.what)


def test_the_waits_are_those_of_the_controllers_settings():
    result = size(SOUND)
    assert wait(result, "failed start, changeover").seconds == pytest.approx(1.0 + 3.0 + 3.0)
    assert wait(result, "power-up delay and").seconds == pytest.approx(1.0 + 0.5 + 20.0)
    assert wait(result, "power-up delay, then").seconds == pytest.approx(1.0 + 0.5 + 20.0 + 3.0 + 3.0)
    # The hold is that of the settings, however often the mains has failed.
    short = size(edited(SOUND, {"settings": {"boot_hold": "12 s", "lag_min_off": "8 s", "flood_min_off": "8 s"}}))
    assert wait(short, "power-up delay, then").seconds == pytest.approx(1.0 + 0.5 + 12.0 + 3.0 + 3.0)
    longer = size(edited(SOUND, {"settings": {"start_proof": "5 s", "boot_hold": "30 s"}}))
    assert wait(longer, "failed start, changeover").seconds == pytest.approx(9.0)
    assert wait(longer, "power-up delay and").seconds == pytest.approx(31.5)
    run_by = {"supply.generator": {"starts_after": "25 s"}, "sizing.power.generator": "15000 W"}
    assert wait(size(edited(SOUND, run_by)), "generator").seconds == pytest.approx(1.0 + 25.0 + 15.0 + 10.0)


def test_levels_and_times_are_volumes_over_the_inflow():
    result = size(SOUND)
    pit, flow, high = result.inputs.pit, result.design.inflow_m3s, result.contacts[3].wet_m
    area = pit.area_m2(0.5)
    rise = wait(result, "power-up delay, then")
    assert rise.level_m - result.contacts[1].wet_m == pytest.approx(flow * rise.seconds / area, rel=1e-9)
    assert result.reserve.none_runs_s == pytest.approx((pit.floor_m - high) * area / flow, rel=1e-9)
    assert result.reserve.one_fails_s == float("inf")
    flood = size(edited(SOUND, {"sizing.evidence.0.in": "0.3 min"}))
    net = flood.design.inflow_m3s - flood.reserve.one_m3s
    expected = (pit.floor_m - flood.contacts[3].wet_m) * area / net
    assert flood.reserve.one_fails_s == pytest.approx(expected, rel=1e-9)


WAITS = [("pump1-will-not-start", "failed start, changeover"), ("controller-reset", "power-up delay and")]


@pytest.mark.parametrize(("fault", "words"), WAITS)
def test_the_simulator_rises_no_higher_than_the_page_says(fault, words):
    result = size(edited(SOUND, BUSY))
    flow = result.design.inflow_m3s
    data = sized(result, flow, 0.5)
    site = read_site(to_toml(data))
    clean = closed_loop.run(site).totals.highest_m
    # A reset strikes just as lead turns wet; the failing pump fails whenever it is its turn.
    at = next(time for time, wet in closed_loop.run(site).contact_changes["lead"] if wet and time > 0.0) + 0.9
    text = f"controller-reset@{at:.1f} s" if fault == "controller-reset" else fault
    found = closed_loop.run(site, faults=[parse_fault(text, 0.0)]).totals.highest_m
    promised = wait(result, words).level_m
    late = 0.3 * flow / result.inputs.pit.area_m2(0.5)
    assert clean + 0.001 < found <= promised + late
    assert found > 0.5 * (clean + promised) - late


def test_one_pump_out_is_the_weaker_one_and_wear_takes_its_share():
    unlike = size(edited(SOUND, {"pump1.curve": [["0 gpm", "30 ft"], ["40 gpm", "18 ft"], ["70 gpm", "0 ft"]]}))
    assert unlike.reserve.one_m3s == pytest.approx(unlike.flow(head.ALONE_2), rel=1e-12)
    assert unlike.flow(head.ALONE_2) < unlike.flow(head.ALONE_1)
    assert 0.8 * unlike.reserve.one_m3s < unlike.reserve.worn_m3s < 0.95 * unlike.reserve.one_m3s


def test_water_that_seeps_back_is_pumped_again():
    plain, back = size(SOUND), size(edited(SOUND, {"discharge.seeps_back": "20 %"}))
    assert back.design.inflow_m3s == pytest.approx(plain.design.inflow_m3s / 0.8, rel=1e-9)
    assert back.design.recirculated_m3s == pytest.approx(0.2 * back.design.inflow_m3s, rel=1e-9)


def test_a_battery_pump_beside_a_mains_pump_follows_it():
    result = size(edited(SOUND, {"pump2.supply": "battery", "pump2.volts": "12 V", "pump2.rated_current": "20 A"}))
    assert result.settings[s.DUTY] == s.FIXED and result.settings[s.PRIMARY] == 1
    assert result.stored.pump == 2
    # What it draws at its operating point lies between the current against a shut valve and the rated one.
    assert 10.0 < result.stored.amps < 20.0


@pytest.mark.parametrize(("weather", "factor"), [("wettest", 1.0), ("wet", 1.5), ("dry", 3.0), ("unknown", 3.0)])
def test_weather_margin_and_upper_bound_make_the_design_inflow(weather, factor):
    result = size(edited(SOUND, {"sizing.evidence.0.weather": weather}))
    measured = result.design.estimates[0].measured_m3s
    assert result.design.inflow_m3s == pytest.approx(1.5 * factor * measured, rel=1e-9)
    rough = size(edited(SOUND, {"sizing.evidence.0.read_to": "4 in", "sizing.margin": "0 %"}))
    assert rough.design.by == "upper bound"
    assert rough.design.inflow_m3s == pytest.approx(rough.design.governing.upper_m3s, rel=1e-9)
