"""A pump's on/off column alone: starts, run time, bounds on the inflow, and nothing that it cannot show."""

import dataclasses

import numpy as np
import pytest
from typer.testing import CliRunner

from host_sim.cli.app import app
from host_sim.replay import account as words
from host_sim.replay import night, recorded, share
from host_sim.replay.reading import export, mapping, sources
from host_sim.report.units import US
from tests.replay_nights import demo, logged, true_inflow
from tests.replay_nights import night as simulate


def runs_only(site, trace, every_s=1.0):
    """Return a log of the pumps' states alone."""
    log = logged(trace, every_s, pumps=True)
    return sources.with_levels(dataclasses.replace(log, level_m=None), site)


@pytest.mark.long
@pytest.mark.parametrize(("controller", "every_s"), [("single", 1.0), ("duplex", 1.0), ("single", 60.0),
                                                     ("duplex", 300.0)])  # fmt: skip
def test_bounds_from_run_states_hold(controller, every_s):
    site = demo(8.0)
    trace = simulate(site, controller=controller)
    account = night.explain(runs_only(site, trace, every_s), site, controller)
    flow = account.flow
    assert flow.bounds and len(flow.time_s) >= 4
    edges = flow.spans
    grid = np.arange(0.0, trace.duration_s)
    total = np.concatenate(([0.0], np.cumsum(true_inflow(site, grid))))
    mean = np.diff(np.interp(edges, np.arange(len(total)), total), axis=1)[:, 0] / np.diff(edges, axis=1)[:, 0]
    inside = (mean >= flow.low_m3s) & (mean <= flow.high_m3s)
    assert inside.mean() > 0.95
    least, most = flow.volume_range_m3
    assert least < most < 4.0 * total[-1]


def test_starts_and_run_time_are_those_of_the_record():
    site = demo(3.0)
    trace = simulate(site)
    account = night.explain(runs_only(site, trace), site, "duplex")
    found = account.recorded
    assert found.every
    for pump in (1, 2):
        mine = [one for one in trace.runs if one.pump == pump]
        least, most = found.run_s[pump]
        assert found.starts[pump] == len(mine)
        assert least <= sum(one.end_s - one.start_s for one in mine) <= most
    lines = words.run_lines(account)
    assert lines[0].startswith("pump 1: starts ") and lines[3].startswith("longest time without a run")


def test_rows_too_far_apart_give_at_least_so_many_starts():
    site = demo(6.0)
    trace = simulate(site, controller="single")
    account = night.explain(runs_only(site, trace, 60.0), site, "single")
    found = account.recorded
    assert not found.every and found.starts[1] <= len(trace.runs)
    least, most = found.run_s[1]
    assert least <= sum(one.end_s - one.start_s for one in trace.runs) <= most
    assert "at least starts" in words.run_lines(account)[0]
    assert "at least so many starts" in words.can_tell(account)[1]


def test_the_share_of_rows_bounds_what_it_was_drawn_from():
    rng = np.random.default_rng(4)
    for true in (0.02, 0.3, 0.9):
        bounds = [share.bounds(int((rng.random(50) < true).sum()), 50, recorded.SURE) for _ in range(400)]
        assert np.mean([low <= true <= high for low, high in bounds]) > 0.98


def test_nothing_is_said_of_the_floor_and_the_pumps_condition():
    site = demo(3.0)
    account = night.explain(runs_only(site, simulate(site, "pump1-air-locked@1h+40min", controller="single")), site,
                            "single")  # fmt: skip
    told = "\n".join(words.page(account, US))
    assert "the highest water is not known" in told and "stayed dry" not in told
    assert [finding.kind for finding in account.findings] == ["long run"]
    assert account.findings[0].confidence == "cannot be told from this log"
    assert not account.outcomes and account.pump_ran


@pytest.mark.long
def test_the_command_explains_a_log_of_run_states_alone(tmp_path):
    site = demo(1.0)
    log = runs_only(site, simulate(site))
    export.write(log, tmp_path / "log.csv")
    (tmp_path / "log.csv.map.toml").write_text(mapping.as_toml(export.mapping_of(log, "csv")))
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "log.csv"), "--site", "demo", "--out",
                                    str(tmp_path / "out")])  # fmt: skip
    assert done.exit_code == 0, done.output
    told = (tmp_path / "out" / "account.txt").read_text()
    assert "Bounds by water balance" in told and "RUNS BY THE RECORD" in told
    assert (tmp_path / "out" / "strip.png").exists()
