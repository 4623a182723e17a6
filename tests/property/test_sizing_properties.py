"""Properties of the sizing: what must hold on every site, however it is drawn."""

import copy
import random

import pytest
from duplexsump.control import settings as control
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from host_sim import units
from host_sim.run import closed_loop
from host_sim.site.load import read_site
from host_sim.sizing import battery, cycling, head, room
from host_sim.sizing.document import edited, look, to_toml
from host_sim.sizing.model import size
from host_sim.sizing.say import SHOWN, Say, text_of
from host_sim.sizing.site_out import sized
from tests.property.examples import in_proportion
from tests.sizing_sites import SOUND, random_site

SEEDS = st.integers(0, 10**6)
FEW = examples(max_examples=in_proportion(12))


@given(SEEDS, st.floats(0.02, 0.9), st.floats(0.02, 0.9))
@FEW
def test_more_inflow_never_means_fewer_gallons_pumped(seed, a, b):
    turns = size(random_site(random.Random(seed))).cycling
    low, high = sorted((a, b))
    rate = cycling.out_m3s(turns.regimes[0], turns.off_m3)
    pumped = []
    for share in (low, high):
        cycle = turns.cycle(0, share * rate)
        # What is pumped in a cycle: the water between its highest and lowest level, and what ran in meanwhile.
        fall = turns.lead_m3 + share * rate * turns.late_s - turns.off_m3
        fall += (rate - share * rate) * turns.late_s
        pumped.append((fall + share * rate * cycle.run_s) / cycle.time_s)
        assert pumped[-1] == pytest.approx(share * rate, rel=2e-3)
    assert pumped[1] >= pumped[0] * (1.0 - 2e-3)


@pytest.mark.parametrize("seed", [3, 8])
def test_more_inflow_never_means_fewer_gallons_pumped_in_the_simulator(seed):
    result = size(random_site(random.Random(seed), share=0.5))
    gallons = []
    for share in (0.1, 0.3, 0.5, 0.7, 0.9):
        flow = share * result.flow(head.ALONE_1, "off")
        gallons.append(closed_loop.run(read_site(to_toml(sized(result, flow, 1.0)))).totals.pumped_m3)
    # A run that is cut off by the end of the hour is at most one band of water.
    for before, after in zip(gallons, gallons[1:], strict=False):
        assert after >= before - result.cycling.band_m3
    assert gallons[-1] > 2.0 * gallons[0]


@pytest.mark.long
@given(SEEDS)
@FEW
def test_a_bigger_pipe_never_lowers_the_flow(seed):
    data = random_site(random.Random(seed))
    flows = []
    for nominal in (1.5, 2.0, 2.5, 3.0):
        result = size(edited(data, head.resized(data, nominal)))
        flows.append([p.flow_m3s for p in result.points if p.contact == "off"])
    for smaller, larger in zip(flows, flows[1:], strict=False):
        assert all(b >= a * (1.0 - 1e-9) for a, b in zip(smaller, larger, strict=True))


@pytest.mark.long
@given(SEEDS, st.sampled_from([1.1, 1.4, 2.0]))
@FEW
def test_a_wider_pit_never_starts_more_often(seed, wider):
    data = random_site(random.Random(seed))
    key = "side" if "side" in data["pit"] else "diameter"
    across = units.read(data["pit"][key], "length")
    # The rise test stays what it was as an inflow: the same water rises less in a wider pit.
    seconds = units.read(data["sizing"]["evidence"][0]["in"], "time") * wider**2
    grown = edited(data, {f"pit.{key}": f"{across * wider:.6f} m", "sizing.evidence.0.in": f"{seconds} s"})
    before, after = size(data), size(grown)
    assert after.design.inflow_m3s == pytest.approx(before.design.inflow_m3s, rel=0.1)
    assert after.starts["anywhere"] <= before.starts["anywhere"] * 1.0001


@given(SEEDS)
@FEW
def test_contacts_that_are_chosen_stand_in_order_and_the_settings_are_taken(seed):
    result = size(random_site(random.Random(seed)))
    wets, dries = [c.wet_m for c in result.contacts], [c.dry_m for c in result.contacts]
    assert wets == sorted(wets) and dries == sorted(dries)
    assert all(dry < wet for dry, wet in zip(dries, wets, strict=True))
    assert wets[-1] < result.inputs.pit.floor_m
    assert dries[0] >= result.inputs.pumps[0].intake_m + result.inputs.pumps[0].cover_m
    assert control.check(result.settings) == []
    # The written site is the sized site.
    site = read_site(to_toml(sized(result)))
    assert site.settings == result.settings
    assert [round(c.wet_m, 4) for c in site.contacts] == [round(wet, 4) for wet in wets]


@given(st.sampled_from(sorted(SHOWN)), st.floats(1e-3, 1e3))
def test_units_round_trip_through_the_text_of_a_site_file(kind, shown):
    if kind not in units.KINDS:
        return
    factor = SHOWN[kind][0][0]
    text = text_of(shown * factor, kind, 9)
    assert units.read(text, kind) == pytest.approx(shown * factor, rel=1e-4, abs=1e-9 * factor)


@given(st.sampled_from([k for k in SHOWN if k in units.KINDS]), st.floats(0.5, 500.0))
def test_what_is_shown_in_either_system_is_the_same_quantity(kind, value):
    for system in ("us", "si"):
        say = Say(system)
        number = say.number(value, kind)
        assert units.read(f"{number:.12g} {say.unit(kind)}", kind) == pytest.approx(value, rel=1e-6)


@given(st.floats(1.0, 60.0), st.floats(0.01, 1.0), st.floats(0.01, 1.0), st.floats(1.0, 2.0))
def test_the_bounds_of_a_battery_enclose_and_shrink_with_duty(amps, one, two, k):
    from host_sim.plant.equipment import Battery

    cell = Battery(360000.0, peukert=k)
    low, high = sorted((one, two))
    for duty in (low, high):
        least, most = battery.bounds_s(cell, amps, duty, 0.4)
        assert least <= most * (1.0 + 1e-12)
    assert battery.bounds_s(cell, amps, high, 0.4)[0] <= battery.bounds_s(cell, amps, low, 0.4)[0] * (1.0 + 1e-12)


@given(st.floats(0.1, 0.4), st.floats(0.1, 0.4), st.floats(0.05, 0.2), st.booleans())
@examples(max_examples=in_proportion(25))
def test_what_fits_goes_on_fitting_in_a_wider_pit(one, two, floats, square):
    width = room.needed_width_m(one, two, floats, 0.0254, square)
    for times in (1.001, 1.2, 2.0):
        assert room.free_circle_m(width * times, one, two, 0.0254, square) >= floats - 1e-4
    assert room.free_circle_m(width * 0.98, one, two, 0.0254, square) < floats
    assert width >= max(one + two, floats)


@given(SEEDS)
@FEW
def test_a_site_file_written_and_read_again_is_the_same(seed):
    import tomllib

    data = random_site(random.Random(seed))
    assert tomllib.loads(to_toml(data)) == data


def test_an_edit_changes_one_key_and_not_its_source():
    before = copy.deepcopy(SOUND)
    after = edited(SOUND, {"pit.depth": "40 in", "sizing.evidence.0.in": "9 min", "supply": None, "new.deep.key": 1})
    assert before == SOUND
    assert look(after, "pit.depth") == "40 in" and look(after, "sizing.evidence.0.in") == "9 min"
    assert "supply" not in after and look(after, "new.deep.key") == 1


@pytest.mark.parametrize("evidence", [
    {"kind": "drained area", "area": "1500 ft2", "rain": "2 in/h"},
    {"kind": "drained area", "area": "1500 ft2", "rain": "4 in"},
    {"kind": "recovery", "water_table": "40 in", "from": "6 in", "to": "20 in", "in": "4 min",
     "highest_water_table": "5 ft"},
])  # fmt: skip
def test_a_storm_that_overwhelms_is_the_storm_that_gives_that_flow(evidence):
    result = size(edited(SOUND, {"sizing.evidence": [evidence]}))
    kind, value = result.reserve.both_overwhelmed[-1]
    key = {"rate": "rain", "length": "rain", "distance": "highest_water_table"}[kind]
    unit = {"rate": "m/s", "length": "m", "distance": "m"}[kind]
    level = result.inputs.pumps[0].intake_m + result.inputs.pumps[0].cover_m
    if kind == "distance":  # the estimate counts from the lowest level, the storm from off
        value -= result.contacts[0].dry_m - level
    again = size(edited(SOUND, {"sizing.evidence": [{**evidence, key: f"{value:.12g} {unit}"}]}))
    assert again.design.estimates[0].measured_m3s == pytest.approx(result.reserve.both_m3s, rel=2e-3)
