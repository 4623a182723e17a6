"""Sizing against handbooks, closed forms, EPANET and EPA SWMM."""

import random
import statistics
from math import log, pi, sqrt

import pytest

from host_sim.benchmark import swmm_pit
from host_sim.plant import friction, hydraulics
from host_sim.plant.equipment import Battery as Cell
from host_sim.sizing import battery, cycling, head, inflow, limits, room
from host_sim.sizing.document import edited
from host_sim.sizing.model import size
from host_sim.sizing.say import Say
from tests.sizing_sites import CURVE, FOOT, GALLON, GPM, INCH, SOUND, random_site

US = Say("us")
WORKED = {
    "name": "Our own worked case, an 18 in pit",
    "pit": {"diameter": "18 in", "depth": "24 in", "floor_area": "600 ft2"},
    "pump": {"curve": CURVE, "intake": "3 in", "rated_current": "8 A"},
    "contacts": {
        name: {"wet_at": f"{wet} in", "dry_at": f"{wet - 1} in"}
        for name, wet in (("off", 7), ("lead", 14), ("lag", 16), ("high", 18))
    },
    # Static lift 10 ft from the level at off; the line stands in the riser, the other pump has its own.
    "discharge": {
        "outlet": "126 in",
        "riser": {
            "pipe": "1.5 in",
            "length": "30 ft",
            "fittings": {"elbow_90": 3, "swing_check": 1, "ball_valve": 1, "exit": 1},
        },
    },
    "sizing": {
        "evidence": [{"kind": "rise test", "rise": "4 in", "in": "1 min", "from": "6 in", "weather": "wettest"}]
    },
}  # fmt: skip


def first(data):
    """Return the first estimate of the inflow of a document."""
    return size(data).design.estimates[0]


# Source: fill test, rise rate times area: an 18 in pit, 1 in/min = 1.1016 gpm.
def test_a_rise_test_gives_rate_times_area():
    found = first(edited(WORKED, {"sizing.evidence.0.rise": "1 in"}))
    assert found.measured_m3s / GPM == pytest.approx(1.1016, abs=1e-4)
    assert inflow.rise_rate_m3s(pi / 4 * (18 * INCH) ** 2, INCH, 60) / GPM == pytest.approx(1.1016, abs=1e-4)


# Source: ISO Guide to the expression of uncertainty: errors of a product add as squares of their shares.
def test_the_uncertainty_of_a_rise_test_is_that_of_its_parts():
    found = first(WORKED)
    shares = (sqrt(2) / 8 / 4, 2 / 60, 0.5 / 18)
    expected = sqrt(sum(share**2 for share in shares))
    assert found.uncertainty == pytest.approx(expected, rel=0.02)
    assert found.low_m3s < found.measured_m3s < found.high_m3s


# Source: conservation of water: with 30 gpm pumped and the level falling 6 in/min in an 18 in pit, the rest ran in.
def test_a_pump_down_test_gives_what_the_fall_does_not_explain():
    test = {"kind": "pump-down test", "falls": "6 in", "in": "1 min", "from": "14 in", "pump_rate": "30 gpm"}
    found = first(edited(WORKED, {"sizing.evidence": [test]}))
    assert found.measured_m3s / GPM == pytest.approx(30 - 6 * 1.1016, abs=1e-3)


# Source: T = V/Q + V/(Qp - Q) with 8.8128 gal and 34.605 gpm (US Army EI 11C201): 74.37 s at 10 gpm.
def test_counted_starts_give_the_inflow_back():
    flow = inflow.logged_m3s(3600 / 74.37, 3600, 8.8128 * GALLON, 34.605 * GPM)
    assert flow / GPM == pytest.approx(10.0, rel=2e-4)
    log_test = {"kind": "log", "starts": 48.41, "over": "1 h", "stops_at": "6 in", "starts_at": "14 in",
                "pump_rate": "34.605 gpm"}  # fmt: skip
    assert first(edited(WORKED, {"sizing.evidence": [log_test]})).measured_m3s / GPM == pytest.approx(10.0, rel=1e-3)


# Source: rational method: 0.9 x 2 in/h x 1000 ft2 = 18.7 gpm.
def test_a_drained_area_gives_the_rational_flow():
    area = {"kind": "drained area", "area": "1000 ft2", "rain": "2 in/h", "runoff": "90 %"}
    assert first(edited(WORKED, {"sizing.evidence": [area]})).measured_m3s / GPM == pytest.approx(18.7, abs=0.02)


# Source: linear recharge Q = C (hw - h): a recovery takes (A/C) ln((hw - h1)/(hw - h2)).
def test_the_pits_own_recovery_gives_the_conductance_back():
    area, c = pi / 4 * (18 * INCH) ** 2, 2.0 * GPM / FOOT
    seconds = area / c * log((30 - 6) / (30 - 14))
    assert inflow.conductance_m2s(area, 30 * INCH, 6 * INCH, 14 * INCH, seconds) == pytest.approx(c, rel=1e-9)
    test = {"kind": "recovery", "water_table": "30 in", "from": "6 in", "to": "14 in", "in": f"{seconds:.6f} s",
            "highest_water_table": "40 in"}  # fmt: skip
    found = first(edited(WORKED, {"sizing.evidence": [test]}))
    assert found.conductance_m2s == pytest.approx(c, rel=1e-6)
    assert found.measured_m3s == pytest.approx(c * (40 - 4) * INCH, rel=1e-6)


# Our own worked case, confirmed by EPANET: 34.605 gpm at 14.331 ft.
def test_our_own_worked_operating_point_stands_on_the_page():
    result = size(WORKED)
    at = next(p for p in result.points if p.which == head.ALONE_1 and p.contact == "off")
    assert at.flow_m3s / GPM == pytest.approx(34.605, abs=0.002)
    assert at.tdh_m[0] / FOOT == pytest.approx(14.331, abs=0.001)


# Our own worked case on one shared line, confirmed by EPANET: 46.75 gpm together, not 69.
def test_two_pumps_on_one_line_do_not_give_twice_the_flow():
    line = {"pipe": "1.5 in", "length": "29.999 ft", "fittings": WORKED["discharge"]["riser"]["fittings"]}
    shared = {"discharge.riser": {"pipe": "1.5 in", "length": "0.001 ft"}, "discharge.header": line}
    result = size(edited(WORKED, {**shared, "sizing.motor.outlet": "1.5 in"}))
    assert result.flow(head.BOTH, "off") / GPM == pytest.approx(46.75, abs=0.03)
    assert head.lag_gain(result.points, "off") == pytest.approx(46.75 / 34.605 - 1, abs=0.002)


# Source: Wisconsin NR 110.14 and Sanks: 2 to 8 ft/s is 9.3-37.3, 12.7-50.8, 20.9-83.7 gpm in 1-1/4, 1-1/2, 2 in pipe.
@pytest.mark.parametrize(("nominal", "least", "most"), [(1.25, 9.3, 37.3), (1.5, 12.7, 50.8), (2.0, 20.9, 83.7)])
def test_the_velocity_limits_in_gallons(nominal, least, most):
    area = pi / 4 * hydraulics.pipe_diameter_m(nominal) ** 2
    assert limits.limit("velocity_low") * area / GPM == pytest.approx(least, abs=0.06)
    assert limits.limit("velocity_high") * area / GPM == pytest.approx(most, abs=0.06)


# Source: Hazen-Williams with C = 150 beside Darcy-Weisbach, on a whole line at its operating point.
def test_hazen_williams_would_move_the_operating_point_little():
    result = size(WORKED)
    at = next(p for p in result.points if p.which == head.ALONE_1 and p.contact == "off")
    diameter, flow = hydraulics.pipe_diameter_m(1.5), at.flow_m3s
    hazen = 30 * FOOT * 10.67 * (flow / 150) ** 1.852 / diameter**4.8704
    darcy = 30 * FOOT * friction.friction_slope(flow, diameter)
    assert 0.86 <= hazen / darcy <= 1.02


# Source: T = 4V/Qp at the worst inflow Qp/2 (US Army EI 11C201; MIL-HDBK-1005/9A): 61.1 s, 58.9 starts, 29 each.
def test_the_code_minimum_pit_is_told_its_starts():
    volume, rate = 8.8128 * GALLON, 34.605 * GPM
    shortest = cycling.shortest_cycle_s(volume, rate)
    assert 3600 / shortest == pytest.approx(58.9, abs=0.05)
    assert cycling.volume_for_starts_m3(58.9, rate) / GALLON == pytest.approx(8.8128, rel=1e-3)
    result = size(edited(WORKED, {"sizing.evidence.0.rise": "16 in", "sizing.evidence.0.from": "4 in"}))
    turns = result.cycling
    turns.late_s = 0.0  # the handbook knows no debounce
    worst = turns.worst(0)
    mean = turns.rate_m3s(0)
    assert turns.band_m3 / GALLON == pytest.approx(8.8128, abs=1e-4)
    assert worst == pytest.approx(mean / 2, rel=0.03)
    assert turns.cycle(0, worst).time_s == pytest.approx(cycling.shortest_cycle_s(turns.band_m3, mean), rel=0.002)
    assert turns.starts(0, turns.worst()) == pytest.approx(0.5 * 3600 / turns.time_s(turns.worst()), rel=1e-9)
    assert 28.0 < turns.starts(0, turns.worst()) < 31.0


# Source: International Plumbing Code (2021) 1113.1.2.
def test_the_code_minimum_is_18_by_24_inches():
    assert limits.limit("pit_diameter") / INCH == pytest.approx(18.0)
    assert limits.limit("pit_depth") / INCH == pytest.approx(24.0)


# Source: orifice equation, Cd 0.6: a 0.5 in hole under 1 ft passes 2.95 gpm, so under half a foot 2.95 / sqrt(2).
def test_holes_pass_by_the_orifice_equation():
    result = size(edited(SOUND, {"sizing.basin": {"wall": "perforated", "holes": 10, "hole": "0.5 in"}}))
    assert result.room.entrance_m3s / GPM == pytest.approx(10 * 2.95 / sqrt(2), abs=0.05)


# Source: Archimedes: a cubic foot of water weighs 62.4 lb; 1.5 ft of water table over off in a 30 in pit.
def test_the_uplift_is_the_weight_of_the_displaced_water():
    result = size(edited(SOUND, {"sizing.basin.water_table": "30 in"}))
    feet = (30 * INCH - result.contacts[0].dry_m) / FOOT
    pounds = feet * pi / 4 * 2.5**2 * 62.37
    assert result.room.uplift_kg / 0.45359237 == pytest.approx(pounds, rel=1e-3)


# Source: Peukert: 100 Ah at 20 h: k 1.2 8.71 h at 10 A, 3.79 h at 20 A, 1.26 h at 50 A; k 1.1 4.35 h at 20 A.
@pytest.mark.parametrize(("k", "amps", "hours"), [(1.2, 10, 8.71), (1.2, 20, 3.79), (1.2, 50, 1.26), (1.1, 20, 4.35)])
def test_peukert(k, amps, hours):
    low, high = battery.bounds_s(Cell(360000.0, peukert=k), amps, 1.0, 1.0)
    assert low == pytest.approx(high)
    assert low / 3600 == pytest.approx(hours, abs=0.006)


# Source: 20 A at 27 % duty, 100 Ah at 20 h, k 1.2: 14.0 h by the running current, 18.2 h by the mean current.
def test_both_bounds_of_a_battery_at_a_duty():
    low, high = battery.bounds_s(Cell(360000.0, peukert=1.2), 20.0, 0.27, 1.0)
    assert low / 3600 == pytest.approx(14.0, abs=0.05)
    assert high / 3600 == pytest.approx(18.2, abs=0.05)
    # And turned round: the charge for 14.0 h is the battery's own.
    need = battery.needed_as(Cell(1.0, peukert=1.2), 20.0, 0.27, 1.0, low)
    assert need / 3600 == pytest.approx(100.0, rel=1e-9)


# Source: the AWG formula; 10 AWG has 5.26 mm2, and annealed copper of 1/58 ohm mm2/m (IEC 60028) there and back over
# 20 ft at 20 A loses 3.277 mohm/m x 12.19 m x 20 A = 0.799 V.
def test_the_cable_loses_by_ohms_law():
    assert limits.awg_area_m2(10) * 1e6 == pytest.approx(5.26, abs=0.01)
    assert battery.drop_v(20.0, 20 * FOOT, 10) == pytest.approx(20 / 58e6 * 40 * FOOT / 5.261e-6, rel=1e-3)


# Source: ASTM D1785, Sch 40 PVC 1120 at 73 F: 370, 330, 280 psi for 1-1/4, 1-1/2, 2 in.
@pytest.mark.parametrize(("nominal", "psi"), [(1.25, 370), (1.5, 330), (2.0, 280)])
def test_the_pipes_pressure_rating(nominal, psi):
    edits = {"discharge.riser.pipe": f"{nominal} in", "sizing.motor.outlet": "1.25 in",
             "sizing.piping.material": "PVC schedule 40"}  # fmt: skip
    assert size(edited(WORKED, edits)).pressure[2][0] / limits.PSI == pytest.approx(psi)


# Source: plane geometry: two equal circles in a circle need its diameter; two and a third need the tangent circle.
def test_what_fits_into_a_round_pit():
    assert room.free_circle_m(2.0, 1.0, 1.0, 0.0) == pytest.approx(2 / 3, rel=2e-3)  # Descartes: a third of the radius
    assert room.needed_width_m(1.0, 1.0, 2 / 3, 0.0) == pytest.approx(2.0, rel=2e-3)
    assert room.free_circle_m(1.9, 1.0, 1.0, 0.0) < 0.0


def epanet_flows(result, which, level_m, folder):
    """Return the flows of both pumps in m3/s as EPANET has them for a sized site, 0 for a pump that stands."""
    wntr = pytest.importorskip("wntr", reason="wntr (EPANET) is not installed")
    net = wntr.network.WaterNetworkModel()
    net.options.hydraulic.headloss = "D-W"
    net.options.hydraulic.viscosity = 1.098
    net.options.hydraulic.accuracy = 1e-6
    net.options.hydraulic.trials = 500
    net.options.time.duration = 0
    discharge = result.inputs.discharge
    net.add_reservoir("pit", base_head=level_m)
    net.add_reservoir("outlet", base_head=discharge.outlet_m)
    end = "outlet"
    if discharge.header is not None:
        pipe = discharge.header
        net.add_junction("join", elevation=0.0)
        net.add_pipe("header", "join", "outlet", pipe.length_m, pipe.diameter_m, pipe.roughness_m, pipe.k)
        end = "join"
    turning = head.TURNING[which]
    for n in (0, 1):
        if not turning[n]:
            continue
        riser = discharge.risers[n]
        net.add_junction(f"a{n}", elevation=0.0)
        net.add_curve(f"c{n}", "HEAD", list(result.inputs.pumps[n].curve.points))
        net.add_pump(f"p{n}", "pit", f"a{n}", pump_type="HEAD", pump_parameter=f"c{n}")
        net.add_pipe(f"r{n}", f"a{n}", end, riser.length_m, riser.diameter_m, riser.roughness_m, riser.k)
    found = wntr.sim.EpanetSimulator(net).run_sim(file_prefix=str(folder / "net")).link["flowrate"]
    return [float(found[f"p{n}"].iloc[0]) if turning[n] else 0.0 for n in (0, 1)]


# Source: EPANET 2.2 (US EPA) through wntr, an independent judge.
@pytest.mark.long
def test_operating_points_of_thirty_two_random_sites_agree_with_epanet(tmp_path, record_property):
    draw, gaps, sites = random.Random(41), [], 0
    while sites < 32:
        result = size(random_site(draw, weep=False))
        sites += 1
        for which, contact in ((head.ALONE_1, "off"), (head.BOTH, "high")):
            ours = next(p for p in result.points if p.which == which and p.contact == contact)
            judged = epanet_flows(result, which, ours.level_m, tmp_path)
            gaps.append(abs(sum(judged) / ours.flow_m3s - 1.0))
    median, worst = statistics.median(gaps), max(gaps)
    record_property("median", median)
    record_property("worst", worst)
    print(f"operating points against EPANET: median {median:.3%}, worst {worst:.3%} of {sites} sites")
    assert median < 0.001 and worst < 0.005


# Source: EPA SWMM 5.2 through pyswmm at dt 0.1 s, given the pump's flow at each level; SWMM knows no debounce.
@pytest.mark.long
def test_the_cycles_of_twelve_random_sites_agree_with_swmm(tmp_path, record_property):
    pytest.importorskip("pyswmm", reason="pyswmm (EPA SWMM) is not installed")
    draw, gaps = random.Random(43), []
    while len(gaps) < 12:
        result = size(random_site(draw))
        turns, pit = result.cycling, result.inputs.pit
        turns.late_s = 0.0
        flow = turns.rate_m3s(0) * draw.uniform(0.2, 0.75)
        promised = turns.cycle(0, flow).time_s
        if promised > 900.0:
            continue
        regime = turns.regimes[0]
        rates = [(pit.level_m(v), cycling.out_m3s(regime, v)) for v in regime.volumes if pit.level_m(v) <= pit.floor_m]
        on, off = result.contacts[1].wet_m, result.contacts[0].dry_m
        seconds = 6.5 * promised
        text = swmm_pit.model(pit.area_m2(0.0), pit.floor_m + 0.3, off, on, off, rates, flow, seconds)
        starts = swmm_pit.run(text, tmp_path, starts=True)[2]
        judged = (starts[-1] - starts[1]) / (len(starts) - 2)
        gaps.append(abs(promised / judged - 1.0))
    median, worst = statistics.median(gaps), max(gaps)
    record_property("median", median)
    record_property("worst", worst)
    print(f"cycle time against SWMM: median {median:.2%}, worst {worst:.2%} of {len(gaps)} sites")
    assert worst < 0.01
