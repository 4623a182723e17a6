"""What a log cannot tell is said, not guessed: rows, steps, run states and mains that contradict the water."""

import dataclasses

import numpy as np
import pytest
from typer.testing import CliRunner

from host_sim.cli.app import app
from host_sim.errors import InputError
from host_sim.replay import account as words
from host_sim.replay import inflow, limits, night, segments
from host_sim.replay.findings.finding import CANNOT, ESTABLISHED
from host_sim.replay.reading import cells, mapping, mapping_prompt
from host_sim.report.units import US
from tests.replay_nights import demo, flood_night, logged, true_inflow
from tests.replay_nights import night as simulate


def explained(log, site, was="duplex"):
    """Return the account of a log, the firmware left out."""
    return night.explain(log, site, was, judged=False)


def test_a_healthy_log_of_30_s_says_first_what_it_cannot_tell():
    site = demo(3.0)
    account = explained(logged(simulate(site), every_s=30.0), site)
    assert not account.limits.resolved and not account.findings
    told = words.page(account, US)
    assert told[2].startswith("This log: one row every 30 s")
    assert "cannot tell: starts and draw-downs" in told[4] and "this pit draws down in" in told[4]
    assert "Nothing wrong found" not in "\n".join(told) and "cannot be told from this log" in words.cause(account)


def test_of_coarse_rows_the_inflow_is_bounds_that_hold():
    site = demo(4.0)
    trace = simulate(site)
    for every_s in (30.0, 60.0, 300.0):
        flow = explained(logged(trace, every_s), site).flow
        truth = true_inflow(site, flow.time_s)
        assert flow.bounds and ((truth >= flow.low_m3s) & (truth <= flow.high_m3s)).all()
        total = np.trapezoid(true_inflow(site, np.arange(0.0, 14400.0, 10.0)), dx=10.0)
        least, most = flow.volume_range_m3
        assert least < total < most


def test_water_above_the_start_level_is_told_from_coarse_rows_without_a_cause():
    site, trace, _ = flood_night()
    account = explained(logged(trace, every_s=60.0), site, "single")
    (high,) = [finding for finding in account.findings if finding.kind == "high water"]
    assert high.confidence == ESTABLISHED and "cannot be told" in high.evidence[1] and not high.fault
    assert words.causes_of(high).startswith("possible causes: no pump started")
    assert not account.floor_dry and not account.outcomes


@pytest.mark.parametrize(("every_s", "resolved", "fine"), [(1.0, 1, 1), (10.0, 1, 0), (30.0, 0, 0)])
def test_the_sites_own_cycle_says_which_spacing_shows_it(every_s, resolved, fine):
    site = demo(1.0)
    found = limits.limits_of(logged(simulate(site), every_s), site, inflow.Rates(site))
    assert (found.resolved, found.fine) == (resolved, fine)
    # By hand: 0.0334 m3 from stop to start, 1.93 L/s; six rows in the shortest cycle.
    assert found.draw_down_s == pytest.approx(0.0334 / 1.933e-3, rel=0.02)
    assert found.needed_s == pytest.approx(found.draw_down_s * 4.0 / 6.0)


def test_a_journal_has_a_row_at_every_change_and_resolves_its_cycles():
    site = demo(1.0)
    log = dataclasses.replace(logged(simulate(site), 30.0), every_change=True)
    assert limits.limits_of(log, site, inflow.Rates(site)).resolved


def test_a_reading_in_steps_is_never_surer_than_its_step():
    still = np.full(100, 0.200)
    still[50:] = 0.201
    found = segments.noise_m(np.arange(100.0), still)
    assert found.step == pytest.approx(0.001)
    assert found == pytest.approx(0.001 / np.sqrt(12.0), rel=0.01)


def test_a_quiet_logger_gives_no_empty_band_on_the_floor():
    site, trace, _ = flood_night()
    account = explained(logged(trace, noise_m=0.0), site, "single")
    flow = account.flow
    wet = np.interp(flow.time_s, account.log.time_s, account.log.level_m) > site.pit.floor_m
    assert wet.any() and (flow.high_m3s[wet] > 0.0).all()
    truth = true_inflow(site, flow.time_s)
    assert ((truth >= flow.low_m3s) & (truth <= flow.high_m3s))[wet].mean() > 0.9


def test_no_cure_without_a_simulation_that_meets_the_log():
    site, _, log = flood_night()
    account = night.explain(log, site, "single", judged=False)
    night.try_changes(account, ["repaired"])
    near, said = account.reproduced()
    assert near and "limit" in said and said in words.cure(account)
    account.outcomes[0] = dataclasses.replace(account.outcomes[0], floor_wet_s=0.3 * account.floor_wet_s)
    assert not account.reproduced()[0]
    assert "cannot be told" in words.cure(account) and "would have stayed" not in words.cure(account)


def test_a_pump_that_is_on_and_moves_nothing_is_a_finding_not_a_flow():
    site = demo(3.0)
    trace = simulate(site, "pump1-air-locked@1h+40min", controller="single")
    account = explained(logged(trace, pumps=True), site, "single")
    kinds = {finding.kind: finding.confidence for finding in account.findings}
    assert kinds.get("not pumping") == ESTABLISHED and "not keeping up" not in kinds
    truth = true_inflow(site, account.flow.time_s)
    assert account.flow.volume_m3() == pytest.approx(np.trapezoid(truth, account.flow.time_s), rel=0.15)


def test_a_mains_record_that_the_water_contradicts_is_not_believed():
    site = demo(1.0)
    site.supply = dataclasses.replace(site.supply, battery=None)
    log = logged(simulate(site), mains=True)
    log.mains[600:1800] = 0
    (out,) = [finding for finding in explained(log, site).findings if finding.kind == "no mains"]
    assert out.confidence == CANNOT and "suspect" in out.evidence[1] and not out.fault


@pytest.mark.parametrize(
    ("on", "off"),
    [("ON", "OFF"), ("true", "false"), ("yes", "no"), ("running", "stopped"), ("1.0", "0.0"), (True, False), (1.0, 0.0),
     (1, 0), ("Run", "Idle")],
)  # fmt: skip
def test_on_and_off_are_read_in_every_spelling(on, off):
    plain = mapping.Mapping("t")
    found = cells.states([off] * 25 + [on, off, None], mapping.State("p"), plain)
    assert list(found[24:]) == [0, 1, 0, -1]


def test_words_that_mean_neither_are_counted_and_refused():
    with pytest.raises(InputError, match=r'"power_W".*"412.5" \(2 cells\).*neither on nor off'):
        cells.states(["0", "412.5", "412.5", "1"], mapping.State("power_W"), mapping.Mapping("t"))


def written(folder, header, rows):
    """Return the path of a CSV."""
    path = folder / "log.csv"
    path.write_text("\n".join([header, *rows]) + "\n")
    return path


def test_a_pump_that_starts_after_row_20_is_guessed_by_its_own_words(tmp_path):
    rows = [f"2024-03-09 10:00:{i:02d},100,{'ON' if i > 40 else 'OFF'}" for i in range(60)]
    found = mapping_prompt.guessed(written(tmp_path, "time,level_mm,pump 1", rows))
    assert found.pumps[0].yes == ("ON",)


@pytest.mark.parametrize(
    ("header", "cell", "said"),
    [
        ("level", "12.5", "Unit of the numbers"),
        ("depth_cm", "12.5", "height of the water, or its depth"),
    ],
)
def test_what_a_header_leaves_open_is_asked_for(tmp_path, header, cell, said):
    rows = [f"2024-03-09 10:00:{i:02d},{cell}" for i in range(30)]
    with pytest.raises(InputError, match=said):
        mapping_prompt.guessed(written(tmp_path, f"time,{header}", rows))


def test_a_setting_is_no_level_and_watts_are_no_mains(tmp_path):
    rows = [f"2024-03-09 10:00:{i:02d},300,{100 + i},{7.5 * i}" for i in range(30)]
    found = mapping_prompt.guessed(written(tmp_path, "time,level_alarm_mm,level_mm,power_W", rows))
    assert found.level.name == "level_mm" and found.mains is None and not found.contacts


def test_watts_that_are_0_in_the_first_rows_are_no_mains_either(tmp_path):
    rows = [f"2024-03-09 10:00:{i:02d},{100 + i},{900 * (i > 40)},{'on' if i > 40 else 'off'}" for i in range(60)]
    found = mapping_prompt.guessed(written(tmp_path, "time,level_mm,power_W,pump", rows))
    assert found.mains is None and found.pumps[0].name == "pump"


def test_a_date_column_may_be_called_when(tmp_path):
    rows = [f"{day:02d}/03/2024 10:00,{100 + day}" for day in range(1, 31)]
    found = mapping_prompt.guessed(written(tmp_path, "when,level_mm", rows))
    assert (found.time, found.clock) == ("when", "%d/%m/%Y %H:%M")


def test_day_and_month_are_taken_from_the_whole_log_or_asked_for(tmp_path):
    rows = [f"03/04/2024 10:{i:02d}:00,100" for i in range(30)]
    with pytest.raises(InputError, match="month or the day comes first"):
        mapping_prompt.guessed(written(tmp_path, "time,level_mm", rows))
    rows += [f"13/04/2024 10:{i:02d}:00,100" for i in range(5)]
    assert mapping_prompt.guessed(written(tmp_path, "time,level_mm", rows)).clock == "%d/%m/%Y %H:%M:%S"


def test_rain_a_day_is_not_rain_an_hour():
    assert mapping_prompt.guess_unit("rain_mmday", "rate") == "mm/day"
    assert mapping_prompt.guess_unit("rain", "rate") is None


def test_depth_below_a_mark_becomes_height():
    level = {"column": "h", "unit": "cm", "zero": "60 cm", "measures": "depth below"}
    found = mapping.read({"time": {"column": "t"}, "level": level})
    assert cells.Reader(found.level, found, []).read(["10", "60"]) == pytest.approx([0.5, 0.0])
    assert mapping.read(mapping.as_table(found)) == found


def test_a_level_without_a_unit_is_refused():
    with pytest.raises(InputError, match="in what the numbers are"):
        mapping.read({"time": {"column": "t"}, "level": {"column": "h"}})


def run(*options):
    """Return what the command ends with."""
    return CliRunner().invoke(app, ["replay", *map(str, options)])


@pytest.mark.parametrize("option", [["--change", "pump=150%"], ["--sweep", "pump=80%:200%:3"], ["--no-what-if"]])
def test_a_long_log_refuses_what_it_would_not_do(tmp_path, option):
    done = run(tmp_path / "x.csv", "--long", "--site", "demo", *option)
    assert isinstance(done.exception, InputError) and "--long only counts" in str(done.exception)


def test_a_journal_that_replays_changed_ends_in_1(tmp_path):
    simulate(demo(0.5)).journal.write(tmp_path / "journal.jsonl")
    same = run(tmp_path / "journal.jsonl", "--set", "duty=1", "--out", tmp_path / "a")
    other = run(tmp_path / "journal.jsonl", "--set", "duty=0", "--out", tmp_path / "b")
    assert (same.exit_code, other.exit_code) == (0, 1), same.output + other.output


def test_settings_and_firmware_reach_the_what_if():
    site = demo(1.5)
    log = logged(simulate(site, controller="single"))
    account = night.explain(log, site, "single", judged=False)
    night.try_changes(account, ["controller=duplex"], settings=["duty=0"])
    plain = night.explain(log, site, "single", judged=False)
    night.try_changes(plain, ["controller=duplex"])
    one, other = (found.outcomes[1].trace.totals.starts for found in (account, plain))
    assert min(one) > 0 and other[1] == 0  # by turns instead of pump 1 alone

    class Broken:
        def __init__(self, settings):
            raise ZeroDivisionError("of this test")

    module = type("module", (), {"Controller": Broken, "__file__": "other"})
    with pytest.raises(InputError, match="ZeroDivisionError"):
        night.try_changes(night.explain(log, site, "single", judged=False), ["controller=duplex"], module=module)
