"""The figures of the page as a plumber reads them: each one the right one, told once, with its own source."""

from dataclasses import replace

import pytest
from duplexsump.control import settings

from host_sim.sizing import model, room
from host_sim.sizing.confirm import Check, confirm, inflows
from host_sim.sizing.document import edited
from host_sim.sizing.limits import GPM, limit
from host_sim.sizing.model import size
from host_sim.sizing.remarks.catalogue import by_name
from host_sim.sizing.remarks.raised import raised, verdict, working_cures
from host_sim.sizing.remarks.remark import DEEP
from host_sim.sizing.report.page import MISSED, confirmed, headline
from host_sim.sizing.report.paper import _any_float
from host_sim.sizing.report.parts import parts
from host_sim.sizing.report.sections import all_of
from host_sim.sizing.report.terminal import checked
from host_sim.sizing.say import Say
from host_sim.sizing.trade import fraction
from tests.sizing_sites import SOUND

SAY = Say("us")
BATTERY_PUMP = {"pump2": {"supply": "battery", "rated_current": "18 A", "volts": "12 V", "power_factor": 1.0},
                "supply.inverter": None, "sizing.power.generator": None}  # fmt: skip
APART = {"discharge.header": None, "discharge.riser.fittings.exit": 1, "discharge.riser.length": "39 ft"}


def listed(edits):
    return {part.what: part for part in parts(size(edited(SOUND, edits)), SAY)}


def figures(edits):
    result = size(edited(SOUND, edits))
    return {row.key: row for section in all_of(result, SAY) for row in section.rows}


@pytest.mark.parametrize(("inches", "words"), [(1.25, "1 1/4 in"), (1.5, "1 1/2 in"), (2.0, "2 in"), (0.75, "3/4 in"),
                                               (2.5, "2 1/2 in"), (1.61, "1.61 in")])  # fmt: skip
def test_a_trade_size_is_a_fraction(inches, words):
    assert fraction(inches) == words


def test_outlet_and_pipe_stand_in_trade_sizes_with_a_reducer_where_they_differ():
    found = listed({"sizing.motor.outlet": "1.25 in"})
    assert found["pump 1 (mains)"].rating.endswith("outlet 1 1/4 in")
    assert found["reducer, pump 1"].rating == "1 1/4 in outlet to 2 in pipe"
    assert "2 in pressure pipe, riser 1" in found
    assert not any("reducer" in what for what in listed({"sizing.motor.outlet": "2 in"}))


def test_a_line_for_each_pump_is_no_riser():
    found = listed(APART)
    assert "2 in pressure pipe, pump to outlet, line 1" in found and not any("riser 1" in what for what in found)
    assert figures(APART)["head.line.riser_1.length"].label == "line 1: length"


def test_what_a_valve_must_hold_is_worked_out_and_the_code_asks_for_the_valve():
    valve = listed({})["check valve, one in each riser"]
    result = size(SOUND)
    shutoff, surge, _ = result.pressure
    assert f"{SAY(shutoff + surge, 'pressure')} or more (shut-off {SAY(shutoff, 'pressure')} + surge" in valve.rating
    assert valve.source.startswith("calculated; required by International Plumbing Code")


def test_inverter_and_generator_stand_only_where_there_is_one():
    keys = ("supply.surge", "supply.inverter", "supply.generator")
    assert [key in figures(BATTERY_PUMP) for key in keys] == [False, False, False]
    assert [key in figures({}) for key in keys] == [True, True, False]
    assert [key in figures({**BATTERY_PUMP, "sizing.power.generator": "5000 W"}) for key in keys] == [True, False, True]


def test_a_generator_starts_the_one_mains_pump_once():
    rows = figures({**BATTERY_PUMP, "sizing.power.generator": "5000 W"})
    start, house = 9.5 * 5.0 * 115.0, 1500.0
    assert rows["supply.generator"].value == pytest.approx((start + house) / limit("generator_spare"))
    two = figures({"sizing.power.generator": "5000 W"})
    assert two["supply.generator"].value == pytest.approx((start + 9.5 * 115.0 + house) / limit("generator_spare"))


def test_the_start_of_an_inverter_is_told_for_cable_and_fuse():
    assert "draws about" in listed({})["inverter"].rating and "slow-blow fuse" in listed({})["inverter"].rating


@pytest.mark.parametrize("edits", [{}, BATTERY_PUMP])
def test_the_sensors_range_says_once_what_a_locked_rotor_reads(edits):
    result = size(edited(SOUND, edits))
    found = {part.what: part.rating for part in parts(result, SAY)}
    for n, pump in enumerate(result.inputs.pumps):
        (rating,) = [words for what, words in found.items() if f", pump {n + 1} (" in what and "range" in words]
        assert f"threshold, {SAY(3.0 * pump.motor.rated_a, 'current')} (3 x rated)" in rating
        # The same locked rotor as for the contactor; it lies beyond the range, and reads full scale.
        locked = SAY(pump.motor.rated_a * pump.motor.locked_share, "current")
        assert f"draws about {locked}, reads full scale" in rating and locked in found[f"contactor, pump {n + 1}"]
        assert result.sensors[n].range_a >= 3.0 * pump.motor.rated_a
        if pump.supply != "battery":
            assert rating.index("filtered") < rating.index("amplified")


def test_a_power_failure_that_nothing_bridges_is_marked_as_not_held():
    dark = {"pump2.supply": "mains", "supply": {}, "sizing.evidence.0.in": "1 min"}
    assert figures(dark)["reserve.cut"].within is False
    # A pump on a battery bridges it: nobody has to wake for that.
    assert figures({})["reserve.cut"].within is None and not figures({})["reserve.cut"].held_against(SAY)


def test_a_transmitter_is_no_float():
    edits = {"transmitter": {"span": "1 m", "zero": "1 in"}, "sizing.floats": {"kind": "transmitter"}}
    words = figures(edits)["contacts.floats"].shown(SAY)
    assert words.startswith("level transmitter") and "transmitter floats" not in words


def fake_check(simulated_s, starts):
    return Check(10.0 * GPM, 200.0, simulated_s, (9.0, 9.0), starts, 100.0, 100.0)


def test_where_the_simulation_disagrees_the_headline_says_which_figure_and_not_that_it_fits():
    result = size(SOUND)
    good, bad = fake_check(200.5, (9.0, 9.0)), fake_check(300.0, (28.3, 9.0))
    found = raised(result, SAY, False)
    assert confirmed(verdict(found), [good]) == "fits" and confirmed(verdict(found), []) == "fits"
    word = confirmed(verdict(found), [good, bad])
    assert word == "not confirmed" and confirmed("does not fit", [bad]) == "does not fit"
    said = headline(result, found, word, SAY, [good, bad])
    assert "Fits" not in said and said.startswith("Not confirmed")
    assert "starts per hour of pump 1 at 10.0 gpm: calculated 9, simulated 28.3" in said
    assert "DISAGREES" in checked([good, bad], SAY) and "within" not in checked([good, bad], SAY)
    assert "up to 10.0 gpm" in checked([good], SAY)


def seconds(minutes):
    return {"sizing.evidence.0.in": f"{minutes} min", "sizing.evidence.0.from": "4 in"}


def test_over_a_pit_that_covers_no_fault_the_headline_does_not_say_fits():
    result = size(edited(SOUND, seconds(0.66)))
    found = raised(result, SAY, False)
    assert verdict(found) == "does not fit"
    assert headline(result, found, verdict(found), SAY) == "Does not fit: no fault is covered."


def test_starts_are_promised_only_where_the_cycles_hold():
    result = size(edited(SOUND, {**seconds(0.8), "controller.sensing": "nothing"}))
    found = raised(result, SAY, False)
    believed = result.cycling.believed_m3s()
    assert believed < result.design.inflow_m3s and "draw_down_cut_short" in {item.remark.name for item in found}
    said = headline(result, found, verdict(found), SAY)
    assert f"starts per hour of each motor up to {SAY(believed, 'flow')}" in said


def test_a_leading_pump_that_never_reaches_off_stands_in_the_headline():
    result = size(edited(SOUND, seconds(0.7)))
    found = raised(result, SAY, False)
    assert "cannot draw the water down to off" in headline(result, found, verdict(found), SAY)
    assert "never_draws_down" in {item.remark.name for item in found}


ASSUMED = [{"what": f"starts per hour of pump {n}", "taken": "10", "changes": "how large the pit must be"}
           for n in (1, 2)]  # fmt: skip


def test_where_the_starts_were_assumed_the_first_advice_is_to_look_them_up():
    small = {"pit.diameter": "24 in", "pit.depth": "36 in", "discharge.outlet": "11 ft", **seconds(0.75)}
    for edits, asked in (({"sizing.motor.starts_per_hour": 10.0, "sizing.assumed": ASSUMED}, True), ({}, False)):
        result = size(edited(SOUND, {**small, **edits}))
        cures = working_cures(result, by_name("pit_too_small"), SAY)
        assert ("look up how many starts per hour" in cures[0].text) == asked
        assert cures[0].measures == asked  # it is told, and never applied by itself


def test_a_deep_pit_comes_after_a_wide_one_and_says_what_digging_needs():
    small = {"pit.diameter": "20 in", "pit.depth": "36 in", "discharge.outlet": "11 ft", **seconds(0.9)}
    result = size(edited(SOUND, small))
    cures = [cure for cure in working_cures(result, by_name("pit_too_small"), SAY) if "a pit" in cure.text]
    wide = [place for place, cure in enumerate(cures) if " wide" in cure.text]
    deep = [place for place, cure in enumerate(cures) if " deep" in cure.text]
    assert wide and deep and wide[0] < deep[0]
    for place in deep:
        assert "footing" in cures[place].text and "cave-in" in cures[place].text and "licensed" in cures[place].text
        depth_in = float(cures[place].text.split()[2])
        assert (cures[place].cost == DEEP) == (depth_in > 48.0)


TETHERED = {"sizing.floats": {"kind": "tethered", "travel": "4 in"}, "controller.sensing": "nothing"}


@pytest.mark.long
@pytest.mark.parametrize("edits", [{"controller.sensing": "nothing"}, TETHERED, {}])
def test_the_calculated_cycles_hold_up_to_the_inflow_at_which_draw_downs_are_cut_short(edits):
    # Wide floats in a wide pit, no current sensed: the controller takes off for hung at little more than half of what
    # a pump moves, and a cycle promised above that is none.
    result = size(edited(SOUND, {**edits, "pit.diameter": "28 in", "pit.depth": "30 in", "discharge.outlet": "11 ft",
                                  "sizing.basin.inlet": "12 in"}))  # fmt: skip
    checks = confirm(result)
    assert all(check.agrees for check in checks), [check.disagreement for check in checks]
    assert max(inflows(result)) <= result.cycling.believed_m3s()


def test_floats_of_long_travel_are_believed_at_less_inflow():
    # A drain inlet half way up: lead hangs low, and its travel is most of the band.
    low = {"pit.diameter": "28 in", "pit.depth": "24 in", "discharge.outlet": "10 ft", "sizing.basin.inlet": "12 in"}
    believed = [size(edited(SOUND, {**low, **edits})).cycling.believed_m3s() for edits in (TETHERED, {})]
    assert believed[0] < believed[1]


def test_what_is_said_of_every_float_is_said_once():
    four = [f"the {name} float hung up" for name in ("off", "lead", "lag", "high")]
    assert _any_float(["a", *four, "b"]) == ["a", "any one float hung up", "b"]
    assert _any_float(["a", *four[:3]]) == ["a", *four[:3]] and _any_float(["a"]) == ["a"]


@pytest.mark.parametrize("plate", [8.0, 12.0, 18.0, 25.0])
def test_a_battery_fuse_is_not_blown_by_a_pump_that_labors_below_its_overload_trip(plate):
    # 125 % of the current on the plate, as cord and contactor are (NEC 430.22, from memory), not of the lesser at the
    # duty of the pump: an 18 A pump trips at 21.6 A, and a fuse of 20 A would have gone first.
    pump = {**BATTERY_PUMP["pump2"], "rated_current": f"{plate} A"}
    result = size(edited(SOUND, {**BATTERY_PUMP, "pump2": pump}))
    trip_a = result.settings[settings.OVERLOAD_1_MA + 1] / 1000.0
    assert result.stored.amps < plate and trip_a == pytest.approx(1.2 * plate, abs=0.01)
    assert result.wires.fuse_a >= 1.25 * plate > trip_a


def test_the_headline_of_a_pit_with_points_not_met_does_not_hide_them():
    # The person wanted more hours than the battery has, and nothing holds the basin down.
    short = {**BATTERY_PUMP, "supply.battery.capacity": "40 Ah", "sizing.basin.held_down": False,
             "sizing.power.wanted": "24 h"}  # fmt: skip
    result = size(edited(SOUND, short))
    found = raised(result, SAY, False)
    said = headline(result, found, verdict(found), SAY)
    assert verdict(found) not in ("fits", "does not fit")
    assert said.startswith(f"Fits the pumps' limits, {len(found)} points not met, the worst first: ")
    for item in found:
        if item.remark.name in MISSED:
            assert item.title.lower() in said.lower()
    assert sum(item.remark.name in MISSED for item in found) >= 2


def test_the_bodies_of_the_pumps_are_taken_off_the_pumped_band_and_the_starts_told_for_what_is_left():
    # Two bodies 8 in wide from their inlets up to body_top_m, within the band from off dry to lead wet: by hand.
    result = size(SOUND)
    low, high = result.contacts[0].dry_m, result.contacts[1].wet_m
    tops = [room.body_top_m(result.inputs, n) for n in (0, 1)]
    area = 3.14159265 / 4.0 * (8.0 * 0.0254) ** 2
    expected = sum(area * (min(high, top) - low) for top in tops)
    assert low > max(p.intake_m for p in result.inputs.pumps) and min(tops) > low
    assert result.displaced_m3 == pytest.approx(expected, rel=1e-6) and expected > 0.0
    band = result.cycling.band_m3
    none = replace(result.inputs, plates=tuple(replace(plate, body_m=1e-3) for plate in result.inputs.plates))
    assert room.displaced_m3(none, low, high) < 1e-6
    _, bare = model._worst(result.cycling, result.design.inflow_m3s)
    assert result.starts["design"] == pytest.approx(bare["design"] / (1.0 - expected / band), rel=1e-6)
    row = figures({})["cycling.displaced"]
    assert row.value == result.displaced_m3 and "taken off" in row.label
