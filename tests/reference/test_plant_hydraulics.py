"""Hydraulics against handbook values and against EPANET."""

import random
import statistics
import warnings

import pytest

from host_sim.plant import friction
from host_sim.plant import hydraulics as hy
from host_sim.plant.discharge import Drive, Lines, Outlet
from host_sim.plant.equipment import Discharge, Motor, Pump, Seepage
from host_sim.plant.geometry import cylinder
from host_sim.plant.seepage import flow_m3s
from tests.plant_sites import FOOT, GPM, INCH

CURVE = hy.Curve(tuple((q * GPM, h * FOOT) for q, h in ((0, 23), (15, 20), (33, 15), (45, 10), (60, 0))))
FITTINGS = {"elbow_90": 3, "swing_check": 1, "ball_valve": 1, "exit": 1}


# Source: ASTM D1785, outside diameter less two minimum walls, Schedule 40.
@pytest.mark.parametrize(("size", "inner_in"), [(1.25, 1.380), (1.5, 1.610), (2.0, 2.067)])
def test_schedule_40_plastic_pipe_has_its_own_inner_diameter(size, inner_in):
    assert hy.pipe_diameter_m(size) / INCH == pytest.approx(inner_in, abs=0.0005)


# Our own arithmetic, no published table: Darcy-Weisbach with Colebrook, water at 60 F, roughness 1.5e-6 m.
@pytest.mark.parametrize(
    ("size", "gpm", "ft_in_100"),
    [
        (1.5, 10, 0.772), (1.5, 20, 2.619), (1.5, 30, 5.385), (1.5, 40, 9.004), (1.5, 50, 13.436), (1.5, 60, 18.650),
        (1.25, 30, 11.274), (2.0, 60, 5.613),
    ],
)  # fmt: skip
def test_our_own_friction_table(size, gpm, ft_in_100):
    assert 100 * friction.friction_slope(gpm * GPM, hy.pipe_diameter_m(size)) == pytest.approx(ft_in_100, abs=0.0011)


# Source: Hazen-Williams with C = 150, SI form, which runs at 0.86 to 1.02 of Darcy-Weisbach here.
@pytest.mark.parametrize("gpm", [10, 20, 30, 40, 50, 60])
def test_hazen_williams_stands_beside_it(gpm):
    diameter, flow = hy.pipe_diameter_m(1.5), gpm * GPM
    hazen = 10.67 * (flow / 150.0) ** 1.852 / diameter**4.8704
    assert 0.86 <= hazen / friction.friction_slope(flow, diameter) <= 1.02


# Source: Crane TP-410 (2009), A-26 and: K = n * fT; fT as printed, 0.021, 0.020, 0.019, from memory.
@pytest.mark.parametrize(
    ("name", "size", "k"),
    [
        ("elbow_90", 1.25, 30 * 0.021), ("elbow_90", 1.5, 30 * 0.020), ("swing_check", 1.5, 100 * 0.020),
        ("swing_check_straight", 2.0, 50 * 0.019), ("ball_valve", 2.0, 3 * 0.019), ("exit", 1.25, 1.0),
    ],
)  # fmt: skip
def test_fittings(name, size, k):
    assert hy.fitting_k(name, hy.pipe_diameter_m(size)) == pytest.approx(k, rel=1e-12)


# Our own worked case, no published one: the same equations by hand, confirmed by EPANET.
def test_our_own_worked_operating_point():
    line = hy.pipe(1.5, 30 * FOOT, FITTINGS)
    flow, head = hy.operating_point(CURVE, 10 * FOOT, [line])
    assert flow / GPM == pytest.approx(34.605, abs=0.002)
    assert head / FOOT == pytest.approx(14.331, abs=0.001)


# Source: of the library `fluids`, a fit that rounds to what Crane TP-410 (2009) prints, as its documentation says.
def test_the_handbook_s_friction_factors_are_those_that_are_printed():
    from fluids.friction import ft_Crane
    from fluids.piping import nearest_pipe

    for size, printed in hy.TURBULENT_FRICTION.items():
        assert round(ft_Crane(nearest_pipe(NPS=size, schedule="40")[1]), 3) == printed


# Source: orifice equation, Cd 0.6 (handbook value): a 0.5 in hole under 1 ft.
def test_orifice():
    area = 3.141592653589793 / 4 * (0.5 * INCH) ** 2
    assert friction.orifice_m3s(area, 1 * FOOT) / GPM == pytest.approx(2.95, abs=0.005)


# Source: soil and holes in a row: the wall stands at the level at which both pass the same flow (orifice, Cd 0.6).
def test_perforations_limit_what_the_soil_lets_through():
    area = 3.141592653589793 / 4 * (0.25 * INCH) ** 2
    few, many, open_wall = (
        Seepage(3 * GPM / FOOT, 0.0, False, holes)
        for holes in (((2 * INCH, 4 * area),), ((2 * INCH, 400 * area),), ())
    )
    outside, level = 24 * INCH, 6 * INCH
    free = flow_m3s(open_wall, outside, level)
    assert free == pytest.approx(3 * GPM * 1.5, rel=1e-9)
    assert flow_m3s(many, outside, level) == pytest.approx(free, rel=1e-3)
    held = flow_m3s(few, outside, level)
    wall = outside - held / few.conductance_m2s
    assert held == pytest.approx(friction.orifice_m3s(4 * area, wall - level), rel=1e-6)
    assert 0.3 * free < held < 0.9 * free
    assert flow_m3s(few, outside, outside) == 0.0


def epanet(level_m, outlet_m, curves, risers, header):
    """Return the flow of each pump in m3/s as EPANET has it."""
    wntr = pytest.importorskip("wntr", reason="wntr (EPANET) is not installed")
    net = wntr.network.WaterNetworkModel()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns that roughness keeps its unit, which is what is wanted
        net.options.hydraulic.headloss = "D-W"
    net.options.hydraulic.viscosity = 1.098  # relative to 1.1e-5 ft2/s: water at 60 F
    net.options.hydraulic.accuracy = 1e-6
    net.options.hydraulic.trials = 500
    net.options.time.duration = 0
    net.add_reservoir("pit", base_head=level_m)
    net.add_reservoir("outlet", base_head=outlet_m)
    end = "outlet"
    if header is not None:
        net.add_junction("join", elevation=0.0)
        net.add_pipe("header", "join", "outlet", header.length_m, header.diameter_m, header.roughness_m, header.k)
        end = "join"
    for n, (curve, riser) in enumerate(zip(curves, risers, strict=True)):
        net.add_junction(f"a{n}", elevation=0.0)
        # Of more than three points EPANET takes the straight lines between them and fits no power curve.
        net.add_curve(f"c{n}", "HEAD", list(curve.points))
        net.add_pump(f"p{n}", "pit", f"a{n}", pump_type="HEAD", pump_parameter=f"c{n}")
        net.add_pipe(f"r{n}", f"a{n}", end, riser.length_m, riser.diameter_m, riser.roughness_m, riser.k)
    results = wntr.sim.EpanetSimulator(net).run_sim(file_prefix=str(epanet.folder / "net"))
    return [float(results.link["flowrate"][f"p{n}"].iloc[0]) for n in range(len(curves))]


@pytest.fixture(autouse=True)
def _folder(tmp_path):
    epanet.folder = tmp_path


def random_curve(draw):
    """Return an invented falling curve of five points."""
    most, head = draw.uniform(30, 90) * GPM, draw.uniform(16, 40) * FOOT
    shares = [0.0, 0.25, 0.5, 0.75, 1.0]
    falls = sorted(draw.uniform(0.02, 0.3) for _ in range(4))
    heads = [1.0]
    for fall in falls:
        heads.append(heads[-1] - fall / sum(falls))
    heads[-1] = 0.0
    return hy.Curve(tuple((s * most, h * head) for s, h in zip(shares, heads, strict=True)))


# Source: EPANET 2.2 (US EPA) through wntr, as an independent judge.
def test_operating_points_of_forty_random_sites_agree_with_epanet(record_property):
    draw, gaps = random.Random(20), []
    while len(gaps) < 40:
        curve = random_curve(draw)
        size = draw.choice([1.25, 1.5, 2.0])
        line = hy.pipe(size, draw.uniform(10, 80) * FOOT, {"elbow_90": draw.randint(0, 6), "swing_check": 1, "exit": 1})
        static = draw.uniform(0.2, 0.8) * curve.shutoff_m
        flow, _ = hy.operating_point(curve, static, [line])
        velocity = flow / line.area_m2
        if velocity * line.diameter_m / friction.VISCOSITY < 4000:
            continue  # laminar or critical: no pump is chosen to run there
        gaps.append(abs(epanet(0.0, static, [curve], [line], None)[0] / flow - 1.0))
    record_property("median", statistics.median(gaps))
    record_property("worst", max(gaps))
    print(f"operating point against EPANET: median {statistics.median(gaps):.2%}, worst {max(gaps):.2%} of 40 sites")
    assert statistics.median(gaps) < 0.001
    assert max(gaps) < 0.004


def shared(curves, risers, header, outlet_m):
    """Return Lines of two pumps on one header in an 18 in pit."""
    pumps = tuple(Pump(curve, 3 * INCH, 1 * INCH, Motor()) for curve in curves)
    pit = cylinder(18 * INCH, 24 * INCH, 50.0)
    return Lines(pit, pumps, Discharge(outlet_m, risers, header))


# Our own worked case, confirmed by EPANET: two such pumps that share the whole line give 46.75 gpm together, not 69.
def test_two_pumps_on_one_header_give_far_less_than_twice_one():
    none = hy.Pipe(hy.pipe_diameter_m(1.5), 1e-6)
    lines = shared((CURVE, CURVE), (none, none), hy.pipe(1.5, 30 * FOOT, FITTINGS), 10 * FOOT + 0.3)
    both = lines.solve(0.3, (Drive(True), Drive(True)), Outlet())
    one = lines.solve(0.3, (Drive(True), Drive()), Outlet())
    assert (both[0] + both[1]) / GPM == pytest.approx(46.75, abs=0.01)
    assert one[0] / GPM == pytest.approx(34.605, abs=0.003)
    assert one[1] == 0.0


# Source: EPANET 2.2 through wntr.
def test_twelve_random_pairs_on_one_header_agree_with_epanet(record_property):
    draw, gaps = random.Random(7), []
    while len(gaps) < 12:
        curves = (random_curve(draw), random_curve(draw))
        risers = tuple(hy.pipe(1.5, draw.uniform(6, 15) * FOOT, {"swing_check": 1}) for _ in range(2))
        header = hy.pipe(draw.choice([1.5, 2.0]), draw.uniform(10, 60) * FOOT, {"elbow_90": 2, "exit": 1})
        outlet = draw.uniform(0.2, 0.6) * min(c.shutoff_m for c in curves)
        found = shared(curves, risers, header, outlet).solve(0.3, (Drive(True), Drive(True)), Outlet())
        if min(found[:2]) < 5 * GPM:
            continue  # the weaker pump's check is shut; EPANET's pumps have checks too, but nothing is to compare
        judged = epanet(0.3, outlet, curves, risers, header)
        gaps += [abs(a / b - 1.0) for a, b in zip(judged, found[:2], strict=True)]
    record_property("median", statistics.median(gaps))
    record_property("worst", max(gaps))
    print(f"two pumps on one header against EPANET: median {statistics.median(gaps):.2%}, worst {max(gaps):.2%}")
    assert max(gaps) < 0.01


# Source: conservation of energy: what the pump gives is static head, losses and what the weep hole throws away.
@pytest.mark.parametrize("seed", range(8))
def test_the_heads_of_a_pair_close(seed):
    draw = random.Random(seed)
    curves = (random_curve(draw), random_curve(draw))
    risers = tuple(hy.pipe(1.5, draw.uniform(6, 15) * FOOT, {"swing_check": 1}) for _ in range(2))
    header = hy.pipe(1.5, draw.uniform(10, 60) * FOOT, {"elbow_90": 2, "exit": 1})
    outlet = 0.4 * min(c.shutoff_m for c in curves)
    out_1, out_2, through_1, through_2 = shared(curves, risers, header, outlet).solve(
        0.3, (Drive(True), Drive(True)), Outlet()
    )
    common = outlet - 0.3 + header.loss_m(out_1 + out_2)
    for curve, riser, out, through in zip(curves, risers, (out_1, out_2), (through_1, through_2), strict=True):
        if out > 0.0:
            assert curve.head_m(through) == pytest.approx(common + riser.loss_m(out), abs=1e-6)
        else:
            assert curve.shutoff_m <= common + 1e-9
