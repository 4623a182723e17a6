"""Logs with a row only where something changed, and stamps that keep no interval."""

import copy

import numpy as np
import pytest

from host_sim.errors import InputError
from host_sim.replay import account as words
from host_sim.replay import night
from host_sim.replay.reading import held, mapping, mapping_prompt, rows_by_name, table_log
from host_sim.report.units import US
from tests.replay_nights import demo, flood_night, logged, true_inflow
from tests.replay_nights import night as simulate

HOW = mapping.read({
    "file": {"names": "name", "values": "state"},
    "time": {"column": "at", "format": "seconds"},
    "level": {"column": "sump level", "unit": "cm"},
    "pump1": {"column": "pump 1"},
})  # fmt: skip


def events(log, band_m=0.005):
    """Return the CSV lines of an export of changes: a level that moved by a band, a pump that came or went."""
    rows, last, before = [], None, None
    for i, time in enumerate(log.time_s):
        if last is None or abs(log.level_m[i] - last) >= band_m:
            last = log.level_m[i]
            rows.append(f"sump level,{100.0 * last:.1f},{time}")
        if log.pumps[0] is not None and log.pumps[0][i] != before:
            before = log.pumps[0][i]
            rows.append(f"pump 1,{'on' if before else 'off'},{time}")
        if i == 10:
            rows.append(f"lamp,on,{time}")
    return ["name,state,at", *rows]


def read(folder, lines, how=HOW):
    """Return the Log of CSV lines."""
    path = folder / "log.csv"
    path.write_text("\n".join(lines) + "\n")
    return table_log.read(path, how)


def test_an_export_of_changes_is_held_forward_counted_and_said_on_the_first_page(tmp_path):
    site, trace, _ = flood_night()
    log = read(tmp_path, events(logged(trace, noise_m=0.0, pumps=True)))
    assert log.held and not log.gaps and (log.pumps[0] >= 0).all()
    account = night.explain(log, site, "single", judged=False)
    told = words.page(account, US)
    assert told[2].startswith("This log: rows only at changes")
    said = "\n".join(told)
    for part in ("readings held forward", "held forward to just before", "silence counts as no change",
                 'rows of other names in "name", left out: 1'):  # fmt: skip
        assert part in said
    truth = true_inflow(site, account.flow.time_s)
    assert account.flow.flow_m3s.mean() == pytest.approx(truth.mean(), rel=0.05)
    assert account.floor_wet_s == pytest.approx(trace.totals.floor_wet_s, rel=0.25)
    assert "late start" in [finding.kind for finding in account.findings]


def test_without_a_pump_column_the_turns_of_an_export_of_changes_still_show(tmp_path):
    site = demo(2.0)
    trace = simulate(site, controller="single")
    how = copy.deepcopy(HOW)
    how.pumps = [None, None]
    account = night.explain(read(tmp_path, events(logged(trace, noise_m=0.0)), how), site, "single", judged=False)
    assert len(account.runs) == pytest.approx(len(trace.runs), abs=1)
    ends = np.array([one.start_s for one in account.runs[:20]])
    true = np.array([one.start_s for one in trace.runs])
    assert max(np.abs(true - end).min() for end in ends) < 5.0


def test_a_name_that_no_row_bears_is_refused_with_those_there_are(tmp_path):
    how = copy.deepcopy(HOW)
    how.pumps[0].name = "pump"
    with pytest.raises(InputError, match='named "pump"; there are "sump level"'):
        read(tmp_path, events(logged(simulate(demo(0.1)), pumps=True)), how)


def test_the_dialogue_finds_named_rows_and_asks_about_them(tmp_path):
    log = logged(simulate(demo(0.5)), noise_m=0.0, pumps=True)
    (tmp_path / "log.csv").write_text("\n".join(events(log)).replace(",at", ",time") + "\n")
    asked = []

    def answer(question, usual):
        asked.append(question)
        return {"Unit ": "cm", "Is \"s": "height", "At a ": "0 in"}.get(question[:5], usual)

    found = mapping_prompt.ask(tmp_path / "log.csv", answer)
    assert (found.names, found.values, found.level.name, found.pumps[0].name) == ("name", "state", "sump level",
                                                                                 "pump 1")  # fmt: skip
    assert any("one reading" in question for question in asked)
    assert mapping.read(mapping.as_table(found)) == found
    assert table_log.read(tmp_path / "log.csv", found).held


def test_rows_at_an_interval_are_not_taken_for_changes():
    rng, time = np.random.default_rng(1), np.arange(600.0)
    level = 0.3 + rng.normal(0.0, 0.002, 600)
    assert not held.looks_held(time, [level], [np.zeros(600, np.int8)])
    gone = np.delete(time, np.s_[200:300])
    assert not held.looks_held(gone, [np.delete(level, np.s_[200:300])], [])
    sparse = level.copy()
    sparse[::3] = np.nan
    assert not held.looks_held(time, [sparse], [])


def test_irregular_stamps_of_a_reading_with_noise_are_no_changes_and_the_inflow_is_found():
    site = demo(3.0)
    trace = simulate(site, controller="single")
    log, rng = logged(trace), np.random.default_rng(3)
    log.time_s = np.cumsum(rng.exponential(1.5, int(trace.duration_s / 1.6)))
    log.time_s -= log.time_s[0]
    log.level_m = np.round(np.interp(log.time_s, trace.time_s, trace.level_m)
                           + rng.normal(0.0, 0.002, len(log.time_s)), 3)  # fmt: skip
    assert not held.looks_held(log.time_s, [log.level_m], [])
    account = night.explain(log, site, "single", judged=False)
    assert account.limits.resolved and not account.findings
    error = np.abs(account.flow.flow_m3s - true_inflow(site, account.flow.time_s))
    assert error.mean() / true_inflow(site, account.flow.time_s).mean() < 0.05


def test_readings_of_one_instant_share_a_row():
    table = {"at": ["1", "1", "2"], "name": ["sump level", "pump 1", "pump 1"], "state": ["10", "on", "off"]}
    wide, rows = rows_by_name.spread(table, HOW, [], "log")
    assert rows == 2 and wide["sump level"] == ["10", None] and wide["pump 1"] == ["on", "off"]
