"""Bounds on the inflow by water balance: every rise came in, but for what may have run back; runs bound what left."""

import dataclasses
from datetime import datetime

import numpy as np
import pytest

from host_sim.replay import inflow, limits, night, recorded
from host_sim.replay.balance import AREA, balance
from host_sim.replay.reading.log import Log
from tests.replay_nights import demo, logged, true_inflow
from tests.replay_nights import night as simulate

EVERY_S = 30.0


def sawtooth(site, low_m=0.17, high_m=0.33, teeth=12, rows=15):
    """Return a log that rises `teeth` times from low to high in `rows` rows, and falls between two rows."""
    level = np.tile(np.linspace(low_m, high_m, rows), teeth)
    return Log("sawtooth", datetime(2024, 1, 1), EVERY_S * np.arange(len(level)), level)


def bounds_of(log, site, both=True):
    rates = inflow.Rates(site)
    found = limits.limits_of(log, site, rates)
    return balance(log, site, rates, found, both, recorded.runs_of(log, found)), found


def test_every_rise_came_in_less_what_the_discharge_may_have_let_back():
    site = demo()
    log = sawtooth(site)
    flow, found = bounds_of(log, site)
    rise = site.pit.volume_m3(0.33) - site.pit.volume_m3(0.17)
    line = max(pipe.volume_m3 for pipe in site.discharge.risers) + site.discharge.header.volume_m3
    least, most = flow.volume_range_m3
    doubt = (3.0 * np.sqrt(2.0) * max(found.noise_m, 0.0005) + found.step_m / 2.0) * site.pit.area_m2(0.3)
    whole = rise * (1.0 - AREA) - line
    assert 0.99 * 12 * (whole - doubt) <= least <= 12 * whole
    assert least > 6 * rise / 2.0 and most > 12 * rise


def test_water_that_stands_or_falls_shows_no_inflow():
    site = demo()
    log = sawtooth(site)
    log.level_m = np.linspace(0.34, 0.16, len(log.level_m))
    assert bounds_of(log, site)[0].volume_range_m3[0] == 0.0
    log.level_m[:] = 0.25
    assert bounds_of(log, site)[0].volume_range_m3[0] == 0.0


def test_noise_is_no_rise():
    site = demo()
    log = sawtooth(site)
    log.level_m = 0.25 + np.random.default_rng(3).normal(0.0, 0.004, len(log.level_m))
    flow, _ = bounds_of(log, site)
    one = site.pit.volume_m3(0.33) - site.pit.volume_m3(0.17)
    assert flow.volume_range_m3[0] < 0.2 * one


@pytest.mark.parametrize("fault", ["", "pump1-check-leaking=5 gpm", "pump1-worn=40%"])
def test_the_truth_lies_within_and_recorded_runs_leave_less_open(fault):
    site = demo(6.0)
    trace = simulate(site, fault) if fault else simulate(site)
    truth = np.trapezoid(true_inflow(site, np.arange(0.0, trace.duration_s, 10.0)), dx=10.0)
    widths = {}
    for pumps in (False, True):
        flow = night.explain(logged(trace, EVERY_S, pumps=pumps), site, "duplex", judged=False).flow
        least, most = flow.volume_range_m3
        assert flow.bounds and least < truth < most
        widths[pumps] = (least / truth, most / truth)
    assert widths[True][1] < 0.35 * widths[False][1]
    assert widths[True][0] >= widths[False][0] > 0.05


def test_in_a_gap_nobody_knows_what_ran():
    site = demo(4.0)
    log = logged(simulate(site), EVERY_S, pumps=True)
    whole, _ = bounds_of(log, site)
    keep = (log.time_s < 5000.0) | (log.time_s > 8600.0)
    torn = dataclasses.replace(log, time_s=log.time_s[keep], level_m=log.level_m[keep], gaps=[(4999.0, 8601.0)],
                               pumps=[None if v is None else v[keep] for v in log.pumps])  # fmt: skip
    less, _ = bounds_of(torn, site)
    assert less.volume_range_m3[1] > whole.volume_range_m3[1] + 0.5 * 3600.0 * less.rate_m3s
    assert less.volume_range_m3[0] <= whole.volume_range_m3[0]
