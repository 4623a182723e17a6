"""Every remark of the catalogue: some site raises it, and its own cure cures it."""

import random

import pytest

from host_sim.errors import InputError
from host_sim.sizing.document import edited
from host_sim.sizing.model import size
from host_sim.sizing.remarks import raised as remarks
from host_sim.sizing.remarks.catalogue import CATALOGUE, by_name
from host_sim.sizing.remarks.remark import Cure
from host_sim.sizing.say import Say
from host_sim.sizing.tried import tried
from tests.sizing_sites import SOUND, random_site

SAY = Say("us")
HIGHER = [["0 gpm", "30 ft"], ["20 gpm", "26 ft"], ["40 gpm", "18 ft"], ["60 gpm", "0 ft"]]
NARROW = {"pipe": "1.25 in", "length": "11 ft", "fittings": {"elbow_90": 1, "swing_check": 1, "ball_valve": 1}}


def rise(minutes, **more):
    """Return the evidence of a rise test of 6 in in so many minutes."""
    return [{"kind": "rise test", "rise": "6 in", "in": f"{minutes} min", "from": "4 in", "weather": "wettest", **more}]


def contacts(off=5.0, lead=25.0, lag=29.0, high=32.0, **more):
    """Return [contacts] tables from the levels in inches at which off turns dry and the others wet."""
    wets = {"off": off + 1.0, "lead": lead, "lag": lag, "high": high}
    return {
        name: {"wet_at": f"{wet} in", "dry_at": f"{wet - 1.0} in", **more.get(name, {})} for name, wet in wets.items()
    }


MAINS = {"pump2.supply": "mains", "supply": {}, "sizing.power": {"circuits": "separate"}}
SMALL = {**MAINS, "pit.diameter": "18 in", "pit.depth": "24 in", "discharge.outlet": "10 ft"}
# What turns the sound site into one that raises the remark.
RAISES = {
    "not_wettest": {"sizing.evidence.0.weather": "dry"},
    "uncertain_test": {"sizing.evidence": [{**rise(1)[0], "rise": "0.3 in", "in": "9 s"}]},
    "evidence_disagrees": {
        "sizing.evidence": [*rise(3), {"kind": "drained area", "area": "200 ft2", "rain": "0.5 in/h"}]
    },
    "nothing_measured": {"sizing.evidence": None},
    "gravel_stores": {"sizing.basin.wall": "perforated", "sizing.basin.holes": 200},
    "not_pressure_pipe": {"sizing.piping.material": "cellular-core DWV"},
    "pressure_over_rating": {"pump.curve": [["0 gpm", "250 ft"], ["60 gpm", "220 ft"], ["120 gpm", "0 ft"]],
                             "sizing.motor.maximum_flow": "200 gpm"},
    "velocity_high": {"discharge.riser.pipe": "1.5 in", "discharge.header.pipe": "1.5 in"},
    "velocity_low": {"discharge.header.pipe": "4 in", "sizing.evidence": rise(6)},
    "below_minimum_flow": {"discharge.outlet": "22.7 ft", "discharge.riser.length": "22 ft",
                           "sizing.evidence": rise(40),
                           "sizing.motor.minimum_flow": "6 gpm"},
    "beyond_run_out": {"sizing.motor.maximum_flow": "30 gpm", "sizing.motor.minimum_flow": "1 gpm"},
    "lag_gains_little": {"discharge.riser.pipe": "1.5 in", "discharge.header.pipe": "1.5 in",
                         "discharge.header.length": "160 ft"},
    "weaker_pump_shut_out": {"pump1.curve": HIGHER, "pump2.curve": [["0 gpm", "12 ft"], ["30 gpm", "6 ft"],
                             ["60 gpm", "0 ft"]], "discharge.header.length": "90 ft"},
    "no_weep_hole": {"pump.weep_hole": None},
    "larger_pipe_pays": {"discharge.riser": NARROW, "discharge.header.pipe": "1.25 in",
                         "discharge.header.length": "80 ft", "sizing.motor.outlet": "1.25 in"},
    "no_room": {"sizing.motor.body_diameter": "15 in"},
    "below_code_minimum": {"pit.depth": "22 in", "discharge.outlet": "10 ft"},
    "pit_too_small": {**SMALL, "sizing.evidence": rise(0.75)},
    "starts_alone": {**SMALL, "sizing.evidence": rise(2)},
    "always_the_same_lead": {**MAINS, "settings": {"duty": 1}},
    "short_run": {**SMALL, "sizing.motor.least_run": "60 s", "sizing.evidence": rise(6)},
    "short_rest": {"sizing.motor.least_rest": "10 min"},
    "holes_too_small": {"sizing.basin.wall": "perforated", "sizing.basin.holes": 2},
    "no_check_valve": {"discharge.riser.fittings.swing_check": None},
    "no_full_open_valve": {"discharge.riser.fittings.ball_valve": None},
    "drains_back": {"contacts": contacts(off=5.0, lead=7.5, lag=10.0, high=12.5), "discharge.riser.length": "70 ft",
                    "sizing.evidence": rise(30), "discharge.riser.pipe": "3 in"},
    "basin_floats": {"sizing.basin.held_down": False},
    "open_pit": {"sizing.basin.cover": "none"},
    "both_pumps_not_enough": {"sizing.evidence": rise(0.25)},
    "one_pump_not_enough": {"sizing.evidence": rise(0.6)},
    "no_wear_reserve": {"sizing.evidence": rise(0.68)},
    "no_fault_covered": {"sizing.evidence": rise(0.66)},
    "never_draws_down": {"sizing.evidence": rise(0.7)},
    "draw_down_cut_short": {"sizing.evidence": rise(0.8), "controller.sensing": "nothing"},
    "floods_while_waiting": {"contacts": contacts(lead=31.0, lag=33.0, high=34.5), "sizing.evidence": rise(0.7)},
    "long_runs": {"sizing.evidence": rise(2.5), "settings": {"max_run": "60 s", "blind_run": "55 s",
                  "pump_down_lead": "40 s", "pump_down_lag": "45 s", "pump_down_high": "50 s"}},
    "power_cut_floods": MAINS,
    "generator_too_small": {"supply.generator": {"starts_after": "20 s"}, "sizing.power.generator": "3000 W"},
    "sanitary_sewer": {"sizing.outfall.to": "sanitary sewer"},
    "outfall_unknown": {"sizing.outfall.to": "unknown"},
    "outfall_too_near": {"sizing.outfall.distance": "2 ft", "discharge.seeps_back": "20 %"},
    "no_freeze_relief": {"sizing.outfall.freeze_relief": False},
    "battery_too_small": {"supply.battery.capacity": "80 Ah"},
    "battery_sags": {"supply.battery.resistance": "12 mohm"},
    "recharge_too_slow": {"supply.charger.current": "3 A"},
    "cable_drop": {"sizing.power.cable": "60 ft"},
    "cable_too_thin": {"sizing.power.cable_gauge": 10},
    "battery_fuse": {"sizing.power.fuse": None},
    "battery_gas": {"sizing.power.battery": "flooded"},
    "one_circuit": {"sizing.power.circuits": "shared"},
    "inverter_too_small": {"supply.inverter.limit": "1000 W"},
    "controller_on_mains": {"supply.controller": "mains"},
    "no_alarm_heard": {"sizing.power.alarm": False},
    "off_too_low": {"contacts": contacts(off=3.2)},
    "contacts_too_close": {"contacts": contacts(lead=30.0, lag=31.0, high=32.0)},
    "high_too_near_floor": {"contacts": contacts(high=35.0)},
    "drain_drowned": {"contacts": contacts(), "sizing.basin.inlet": "20 in"},
    "drain_stands": {"contacts": contacts(lead=18.0), "sizing.basin.inlet": "20 in"},
    "sensor_cannot_read": {"pump2.supply": "battery", "pump2.volts": "12 V", "sizing.motor2.sensor":
                           "current transformer"},
    "float_travel": {"contacts": contacts(lead=10.0, lag=20.0),
                     "sizing.floats": {"kind": "tethered", "travel": "6 in"}},
    "contact_missing": {"contacts": {k: v for k, v in contacts().items() if k != "lag"}},
    "high_normally_open": {"contacts": contacts(high=32.0) | {"high": {"wet_at": "32 in", "dry_at": "31 in",
                           "normally_closed": False}}},
    "outlasts_blind_run": {**MAINS, "pit.diameter": "48 in", "controller.sensing": "nothing", "contacts": contacts()},
    "no_current_sensing": {"controller.sensing": "feedback"},
    "pipe_too_short": {"sizing.outfall.distance": "60 ft"},
    "small_difference": {"sizing.evidence": [{"kind": "pump-down test", "falls": "12 in", "in": "60 s",
                         "from": "28 in", "weather": "wettest", "ran": "pump 1"}]},
}  # fmt: skip


def test_nothing_is_remarked_on_a_sound_site():
    assert remarks.raised(size(SOUND), SAY) == []
    assert remarks.verdict([]) == "fits"


def test_every_remark_of_the_catalogue_has_its_site():
    assert set(RAISES) == {remark.name for remark in CATALOGUE}
    assert len(CATALOGUE) == len({remark.name for remark in CATALOGUE})


# By default every fifth.
@pytest.mark.parametrize("name", [
    name if place % 5 == 0 else pytest.param(name, marks=pytest.mark.long) for place, name in enumerate(sorted(RAISES))
])  # fmt: skip
def test_some_site_raises_it_and_its_own_cure_cures_it(name):
    remark = by_name(name)
    data = edited(SOUND, RAISES[name])
    before = size(data)
    reason = remark.raised(before, SAY)
    assert reason is not None and len(reason) > 20
    cures = remarks.working_cures(before, remark, SAY)
    assert cures and len({cure.text for cure in cures}) == len(cures)
    for cure in cures:
        after = size(tried(data, cure.edits, before.rates_m3s))
        assert remark.raised(after, SAY) is None
        assert cure.text and cure.edits


def cures_of(name, edits):
    result = size(edited(SOUND, edits))
    reason = by_name(name).raised(result, SAY)
    return reason, " | ".join(cure.text for cure in remarks.working_cures(result, by_name(name), SAY))


@pytest.mark.long
def test_a_pit_too_small_is_told_plainly_with_each_cure_in_numbers():
    reason, texts = cures_of("pit_too_small", {**SMALL, "sizing.evidence": rise(0.7)})
    assert "starts per hour" in reason and "limit 15" in reason
    for way in ("in wide", "in deep", "smaller pumps"):
        assert way in texts
    often = {"sizing.motor.starts_per_hour": 30, "sizing.evidence": rise(0.58)}
    assert "alternate" in cures_of("pit_too_small", {**SMALL, **often, "settings": {"duty": 1}})[1]
    narrow = {"contacts": contacts(5, 9, 12, 15)}
    assert "contacts at off" in cures_of("pit_too_small", {**SMALL, **often, **narrow})[1]


@pytest.mark.long
def test_remarks_of_random_sites_are_cured_by_the_cures_that_are_printed():
    draw, told, uncured = random.Random(11), 0, []
    for _ in range(4):
        data = random_site(draw)
        result = size(data)
        for item in remarks.raised(result, SAY):
            told += 1
            for cure in item.cures:
                assert item.remark.raised(size(tried(data, cure.edits, result.rates_m3s)), SAY) is None
            if not item.cures:
                uncured.append(item.remark.name)
    assert told > 20
    assert len(uncured) <= 0.02 * told


def test_a_cure_that_breaks_the_site_is_no_cure():
    result = size(edited(SOUND, {"sizing.basin.cover": "none"}))
    broken = Cure("no pit at all", {"pit.depth": "1 in"})
    assert remarks.works(result, by_name("open_pit"), broken, SAY) is None
    with pytest.raises(InputError):
        size(edited(SOUND, broken.edits))


def test_the_verdict_goes_by_the_gravest_remark():
    def word(edits):
        return remarks.verdict(remarks.raised(size(edited(SOUND, edits)), SAY, with_cures=False))

    assert word({}) == "fits"
    assert word({"sizing.basin.cover": "loose"}) == "fits with remarks"
    assert word({"sizing.basin.cover": "loose", "sizing.outfall.to": "sanitary sewer"}) == "does not fit"
