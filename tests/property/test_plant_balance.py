"""No water and no charge is made or lost; the closed form follows an independent integration."""

from dataclasses import replace
from functools import cache

import pytest
from duplexsump.control import settings as s
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from host_sim.plant import battery, seepage
from host_sim.plant.discharge import Drive, Outlet
from host_sim.plant.equipment import Inflow
from host_sim.plant.friction import G
from host_sim.plant.hydraulics import DENSITY
from host_sim.plant.water_balance import time_to, volume_after, volume_seconds
from tests.plant_sites import BATTERY, GPM, INCH, PIT, PUMP, SEPARATE, Still, site
from tests.property.examples import in_proportion

LEAST_MOVED_M3 = 1e-6
GROUND = """
[groundwater]
conductance = "3 gpm/ft"
level = "28 in"
two_way = true
holes = [{ level = "6 in", diameter = "0.25 in", count = 20 }, { level = "14 in", diameter = "0.25 in", count = 20 }]
"""
STORED = """
[[inflow]]
kind = "constant"
rate = "9 gpm"
[groundwater]
conductance = "20 gpm/ft"
storage = { area = "40 ft2", start_level = "12 in" }
"""
BASIN = """
[pit]
shape = "basin"
bottom_diameter = "16 in"
top_diameter = "20 in"
depth = "24 in"
floor_area = "600 ft2"
start_level = "6 in"
"""
HYDRAULIC = (
    "pump1-worn", "pump2-worn", "pump1-clogged", "pump1-check-leaking", "pump2-check-missing", "pump1-valve-shut",
    "discharge-burst", "discharge-frozen", "pump1-relay-welded", "pump2-jammed", "mains-lost", "pump1-air-locked",
)  # fmt: skip


@cache
def sites():
    """Return invented sites that differ in pit, pipes and ground."""
    back = SEPARATE.replace("[discharge]", '[discharge]\nseeps_back = "40 %"\nseeps_back_after = "3 min"')
    weep = PUMP + 'weep_hole = "3/16 in"\n'
    return site(), site(inflow=GROUND), site(inflow=STORED, pump=weep), site(pit=BASIN, inflow=GROUND, discharge=back)


@settings(max_examples=in_proportion(80), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    which=st.integers(0, 3),
    start=st.floats(0.0, 0.6),
    gpm=st.floats(0.0, 80.0),
    steps=st.lists(st.tuples(st.integers(0, 1), st.integers(0, 1), st.integers(1, 3000)), min_size=1, max_size=12),
    names=st.lists(st.sampled_from(HYDRAULIC), max_size=3, unique=True),
)
def test_no_water_is_made_or_lost(which, start, gpm, steps, names):
    where = sites()[which]
    heads = where.inflow.heads_m and [where.inflow.heads_m[0]] * 2
    flow = Inflow([0.0, 333.3], [gpm * GPM, 0.5 * gpm * GPM], heads)
    bench = Still(replace(where, start_m=start, inflow=flow), [f"{name}@1min+10min" for name in names])
    for pump_1, pump_2, tenths in steps:
        bench.command(pump_1, pump_2).after(tenths / 10)
    trajectory = bench.plant.trajectory
    trajectory.cut(bench.now_ms / 1000)
    totals = trajectory.totals
    moved = max(totals.moved_m3(), LEAST_MOVED_M3)
    assert abs(totals.balance_m3(trajectory.v)) <= 1e-9 * moved
    assert trajectory.v >= -1e-12
    assert totals.highest_m3 >= trajectory.v - 1e-12


@settings(max_examples=in_proportion(60), deadline=None)
@given(
    minutes=st.lists(st.integers(1, 40), min_size=2, max_size=8),
    gpm=st.floats(1.0, 30.0),
)
def test_what_was_discharged_and_seeps_back_is_all_accounted_for(minutes, gpm):
    where = replace(sites()[3], inflow=Inflow([0.0], [gpm * GPM], [0.4]))
    bench = Still(where)
    for i, length in enumerate(minutes):
        bench.command(i % 2, (i + 1) % 2).after(60 * length)
    bench.command(0, 0).after(3600)
    bench.plant.trajectory.cut(bench.now_ms / 1000)
    totals = bench.plant.trajectory.totals
    share = where.discharge.recirculated
    # An hour after the last run everything that was to come back has come.
    assert totals.returned_m3 == pytest.approx(share * sum(totals.out_m3), rel=1e-9, abs=1e-12)


def test_ground_storage_keeps_its_own_balance():
    where = sites()[2]
    bench = Still(where).command(1, 0).after(3600)
    bench.plant.trajectory.cut(3600.0)
    trajectory = bench.plant.trajectory
    stored = (trajectory.slots.ground_m - where.seepage.storage_start_m) * where.seepage.storage_m2
    came = where.inflow.rates_m3s[0] * trajectory.slots.from_s - trajectory.slots.marks[1]
    assert trajectory.slots.from_s > 3500.0
    assert stored == pytest.approx(came, rel=1e-9)
    assert trajectory.totals.given_m3 == 0.0


@pytest.mark.long
@settings(max_examples=in_proportion(25), deadline=None)
@given(
    which=st.sampled_from([0, 1, 3]),
    start=st.floats(0.02, 0.7),
    gpm=st.floats(0.0, 60.0),
    on=st.tuples(st.booleans(), st.booleans()),
    seconds=st.floats(1.0, 300.0),
)
def test_the_course_follows_an_independent_integration(which, start, gpm, on, seconds):
    where = replace(sites()[which], start_m=start)
    where.inflow = Inflow([0.0], [gpm * GPM], where.inflow.heads_m and [where.inflow.heads_m[0]])
    where.discharge = replace(where.discharge, recirculated=0.0)
    bench = Still(where).command(*(int(x) for x in on))
    seconds = round(seconds, 1)
    bench.after(seconds)
    lines, pit = bench.plant.maker.lines, where.pit
    drives = tuple(Drive(turning=x) for x in on)

    def net(_t, state):
        # Hydraulics solved afresh at each level, not looked up in a table of straight lines.
        out = lines._at(max(state[0], 0.0), drives, Outlet())
        flow = gpm * GPM - out[0] - out[1]
        if where.inflow.heads_m is not None:
            flow += seepage.flow_m3s(where.seepage, where.inflow.heads_m[0], pit.level_m(max(state[0], 0.0)))
        return [flow]

    judged = solve_ivp(net, (0.0, seconds), [pit.volume_m3(start)], rtol=1e-7, atol=1e-9, max_step=5.0)
    scale = max(1e-3, 40 * GPM * seconds)
    # Straight segments stay within 1e-4 of the largest flow (a few 1e-3 for seepage through holes near its end).
    assert bench.volume_m3 == pytest.approx(float(judged.y[0][-1]), abs=2e-3 * scale)


@settings(max_examples=in_proportion(300), deadline=None)
@given(
    v0=st.floats(0.0, 1.0),
    f0=st.floats(-0.01, 0.01),
    b=st.floats(-1.0, 1e-3),
    dt=st.floats(0.0, 1000.0),
)
def test_the_closed_form_integrates_itself(v0, f0, b, dt):
    v1 = volume_after(v0, f0, b, dt)
    # dV/dt = f0 + b (V - v0), integrated over time on both sides.
    total = f0 * dt + b * (volume_seconds(v0, f0, b, dt) - v0 * dt)
    assert v1 - v0 == pytest.approx(total, rel=1e-9, abs=1e-13)
    if abs(f0) > 1e-9 and 0.0 < dt < 100.0 and b * dt > -10.0:
        assert time_to(v0, f0, b, v1) == pytest.approx(dt, rel=1e-5, abs=1e-6)


@settings(max_examples=in_proportion(40), deadline=None)
@given(
    which=st.sampled_from([0, 3]),
    start=st.floats(0.1, 0.6),
    gpm=st.floats(0.0, 40.0),
    on=st.sampled_from([(1, 0), (0, 1), (1, 1)]),
)
def test_energy_is_counted_and_never_comes_from_nowhere(which, start, gpm, on):
    where = replace(sites()[which], start_m=start)
    where.inflow = Inflow([0.0], [gpm * GPM], where.inflow.heads_m and [where.inflow.heads_m[0]])
    bench = Still(where).command(*on).after(0.5)  # past the inrush
    trajectory = bench.plant.trajectory
    trajectory.cut(0.5)
    trajectory.begin()
    totals = trajectory.totals
    before, lifted = list(totals.charge_as), sum(totals.out_m3)
    sums, last, highest = [0.0, 0.0], list(bench.plant.current), bench.level_m
    for _ in range(200):
        bench.after(0.1)
        for n in (0, 1):
            sums[n] += 0.05 * (last[n] + bench.plant.current[n])
        last, highest = list(bench.plant.current), max(highest, bench.level_m)
    trajectory.cut(bench.now_ms / 1000)
    taken = 0.0
    for n in (0, 1):
        motor = where.pumps[n].motor
        charge = totals.charge_as[n] - before[n]
        # The samples flicker while a pump draws air, by 8 % at most.
        assert charge == pytest.approx(sums[n], rel=0.02, abs=1e-6)
        taken += charge * motor.volts * motor.power_factor
    useful = DENSITY * G * (sum(totals.out_m3) - lifted) * (where.discharge.outlet_m - highest)
    assert useful <= 0.75 * taken  # no small pump does better


@settings(max_examples=in_proportion(40), deadline=None)
@given(minutes=st.lists(st.tuples(st.booleans(), st.integers(1, 60)), min_size=1, max_size=6))
def test_charge_taken_from_the_battery_is_what_peukert_says(minutes):
    where = site(
        pit=PIT.replace("6 in", "2 in"),
        inflow='[[inflow]]\nkind = "constant"\nrate = "0 gpm"\n',
        more=BATTERY.replace("peukert = 1.2", 'peukert = 1.2, idle_current = "1 A"'),
    )
    bench = Still(where, ["mains-lost"])
    cell, amps = where.supply.battery, where.pumps[1].motor
    expected, was_on = 0.0, False
    for on, length in minutes:
        bench.command(0, int(on)).after(60 * length)
        if on:
            rush = 0.0 if was_on else amps.start_s
            expected += rush / battery.runtime_s(cell, 1.0 + amps.locked_share * amps.rated_a)
            # In an empty pit it turns in air all along.
            expected += (60 * length - rush) / battery.runtime_s(cell, 1.0 + amps.dry_share * amps.rated_a)
        else:
            expected += 60 * length / battery.runtime_s(cell, 1.0)
        was_on = on
    bench.plant.trajectory.cut(bench.now_ms / 1000)
    assert bench.plant.trajectory.depth == pytest.approx(min(1.0, expected), rel=1e-9, abs=1e-12)


def test_an_empty_battery_collapses_under_load_and_recovers_with_the_charger():
    where = site(more=BATTERY.replace("100 Ah", "5 Ah"))
    bench = Still(where, ["mains-lost+1h"]).command(0, 1).after(1800)
    assert bench.plant.trajectory.head.mode.flat
    assert bench.raw[9] < where.settings[s.BATTERY_DEAD_MV]
    level = bench.level_m
    assert bench.after(600).level_m > level  # it pumps no more
    bench.command(0, 0).after(1800 + 1800)
    assert not bench.command(0, 1).after(60).plant.trajectory.head.mode.flat


def test_the_highest_water_is_that_between_two_looks():
    bench = Still(site(inflow='[[inflow]]\nkind = "constant"\nrate = "20 gpm"\nuntil = "50 s"\n'))
    bench.after(55).command(1, 0).after(300)
    exact = 6 * INCH + 50 * 20 * GPM / bench.site.pit.area_m2(0.1)
    assert bench.site.pit.level_m(bench.plant.trajectory.totals.highest_m3) == pytest.approx(exact, rel=1e-9)
