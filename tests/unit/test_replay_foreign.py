"""Logs as people have them: compressed, commented, with commas, scrambled, inverted, hourly; read right or refused."""

import gzip
import tracemalloc
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from duplexsump.control import settings as s
from typer.testing import CliRunner

from host_sim.cli.app import app
from host_sim.errors import InputError
from host_sim.replay import account as words
from host_sim.replay import limits, night
from host_sim.replay.findings import floats
from host_sim.replay.findings.finding import CANNOT
from host_sim.replay.reading import export, mapping, mapping_prompt, sources, table_log
from host_sim.replay.reading.log import Log
from host_sim.replay.second_log.logger import Logger, log_of
from host_sim.replay.second_log.pit import simulate as second_pit
from host_sim.report.units import US
from host_sim.site.load import read_site
from tests.replay_nights import demo, logged
from tests.replay_nights import night as simulate


@pytest.fixture(scope="module")
def hour():
    """Give (log of an hour with contacts and pumps, its lines as CSV, its Mapping)."""
    import tempfile

    log = logged(simulate(demo(1.0)), contacts=True, pumps=True)
    with tempfile.TemporaryDirectory() as folder:
        export.write(log, Path(folder) / "log.csv")
        lines = (Path(folder) / "log.csv").read_text().splitlines()
    return log, lines, export.mapping_of(log, "csv")


def saved(path, lines):
    """Write lines to a file and return its path."""
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def same(log, other):
    """Tell whether two logs have the same rows."""
    return np.array_equal(log.time_s, other.time_s) and np.allclose(log.level_m, other.level_m, equal_nan=True)


def test_a_gzip_file_is_read_whatever_its_name(tmp_path, hour):
    log, lines, how = hour
    for name in ("log.csv.gz", "log.csv"):
        (tmp_path / name).write_bytes(gzip.compress(("\n".join(lines) + "\n").encode()))
        assert same(table_log.read(tmp_path / name, mapping.read(mapping.as_table(how))), log)
        assert mapping_prompt.guessed(tmp_path / name).level.name == "level_m"
    (tmp_path / "torn.csv.gz").write_bytes((tmp_path / "log.csv.gz").read_bytes()[:4000])
    with pytest.raises(InputError, match="cannot be read"):
        table_log.read(tmp_path / "torn.csv.gz", how)


def test_lines_of_comment_before_the_header_are_passed_over_and_counted(tmp_path, hour):
    log, lines, how = hour
    path = saved(tmp_path / "log.csv", ["# logger 12, channels: 3", "# in m", *lines])
    found = table_log.read(path, how)
    assert same(found, log)
    assert [(issue.count, issue.kind) for issue in found.issues if issue.kind == "comment"] == [(2, "comment")]
    assert mapping_prompt.guessed(path).skip == 2
    marked = saved(tmp_path / "marked.csv", ["# " + lines[0], *lines[1:]])
    assert same(table_log.read(marked, how), log)
    assert mapping_prompt.guessed(marked).level.name == "level_m"


def with_commas(lines):
    """Return lines with semicolons between cells and commas in numbers."""
    return [line.replace(",", ";").replace(".", ",") for line in lines]


def test_decimal_commas_are_guessed_or_refused_by_name(tmp_path, hour):
    log, lines, _ = hour
    path = saved(tmp_path / "log.csv", with_commas(lines))
    how = mapping_prompt.guessed(path)
    assert (how.decimal, how.delimiter) == (",", ";")
    assert same(table_log.read(path, how), log)
    how.decimal = "."
    with pytest.raises(InputError, match=r'"level_m": "0,\d+" has a decimal comma \(3600 of 3600 cells\): set decimal'):
        table_log.read(path, how)
    how.delimiter = ","
    with pytest.raises(InputError, match='names the columns, is not split by ",": set delimiter = ";"'):
        table_log.read(path, how)


@pytest.mark.parametrize("kind", ["booleans", "numbers", "words"])
def test_parquet_states_of_every_type_are_read_though_the_first_rows_are_off(tmp_path, kind):
    import pyarrow as pa
    import pyarrow.parquet as pq

    on = np.arange(60) >= 40
    column = {"booleans": pa.array(on.tolist()), "numbers": pa.array(on.astype(float)),
              "words": pa.array(np.where(on, "Running", "Stopped").tolist()).dictionary_encode()}[kind]  # fmt: skip
    pq.write_table(pa.table({"time": [f"2024-03-09T10:00:{i:02d}" for i in range(60)], "level_mm": [200.0] * 60,
                             "pump 1": column}), tmp_path / "log.parquet")  # fmt: skip
    log = table_log.read(tmp_path / "log.parquet", mapping_prompt.guessed(tmp_path / "log.parquet"))
    assert np.array_equal(log.pumps[0], on)


def test_scrambled_stamps_are_refused_and_a_log_with_its_newest_row_first_is_not(tmp_path, hour):
    log, lines, how = hour
    rows = [line.split(",", 1) for line in lines[1:]]
    order = np.random.default_rng(1).permutation(len(rows))
    wrong = [f"{rows[place][0]},{rest}" for place, (_, rest) in zip(order, rows, strict=True)]
    with pytest.raises(InputError, match="the times are misread or wrong"):
        table_log.read(saved(tmp_path / "wrong.csv", [lines[0], *wrong]), how)
    assert same(table_log.read(saved(tmp_path / "newest.csv", [lines[0], *lines[:0:-1]]), how), log)
    mixed = [lines[1 + place] for place in order]
    assert same(table_log.read(saved(tmp_path / "mixed.csv", [lines[0], *mixed]), how), log)


def test_contacts_that_read_the_opposite_of_the_water_are_refused_by_name(hour):
    log, _, _ = hour
    turned = {name: (1 - values).astype(np.int8) for name, values in log.contacts.items()}
    site = demo(1.0)
    other = logged(simulate(site), contacts=True)
    other.contacts = {**other.contacts, "lead": (1 - other.contacts["lead"]).astype(np.int8)}
    with pytest.raises(InputError, match=r"contact lead: reads wet while the water is below it.*wet = \[\"0\"\]"):
        sources.with_levels(other, site)
    other.level_m, other.contacts = None, turned
    with pytest.raises(InputError, match="contact off, lead, lag, high: reads wet"):
        sources.with_levels(other, site)


def test_a_float_that_hangs_is_no_inverted_contact():
    site = demo(3.0)
    for fault in ("lead-stuck-dry@1h+90min", "off-stuck-wet@1h+90min", "high-stuck-wet@1h"):
        log = logged(simulate(site, fault), contacts=True)
        assert sources.with_levels(log, site) is log


def test_a_broken_wire_of_a_normally_closed_contact_reads_wet():
    site = demo(0.1)
    for closed, wet, dry in ((0, "shorted", "broken"), (8, "broken", "shorted")):
        site.settings = list(site.settings)
        site.settings[s.NORMALLY_CLOSED] = closed
        assert floats._wire(site, "high", "wet") == f"its wire is {wet}"
        assert floats._wire(site, "high", "dry") == f"its wire is {dry}"


def test_a_contact_that_never_reads_dry_may_be_normally_closed_and_is_not_established_as_stuck():
    site = demo(0.5)
    log = logged(simulate(site), contacts=True)
    log.contacts["high"] = np.ones(len(log.time_s), np.int8)
    found = next(finding for finding in night.explain(log, site, "duplex").findings if finding.kind == "float sticking")
    assert found.confidence == "likely" and "normally-closed" in found.causes[-1]
    assert "never read dry" in found.evidence[-1]


def hourly(path, rows=26_304):
    """Write three years of an hourly level in meters and return the path."""
    rng, begins = np.random.default_rng(2), datetime(2020, 1, 1)
    level = 0.25 + 0.1 * np.sin(np.arange(rows) / 50.0) + rng.normal(0.0, 0.01, rows)
    return saved(path, ["time,level", *(f"{(begins + timedelta(hours=i)).isoformat()},{x:.3f}"
                                        for i, x in enumerate(level))])  # fmt: skip


HOURLY = mapping.read({"time": {"column": "time"}, "level": {"column": "level", "unit": "m"}})


@pytest.mark.long
def test_three_years_of_hourly_rows_take_little_memory_and_tell_what_they_can(tmp_path):
    log, site = table_log.read(hourly(tmp_path / "log.csv"), HOURLY), demo(1.0)
    tracemalloc.start()
    account = night.explain(log, site, "single")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 40e6, f"{peak / 1e6:.0f} MB"
    assert not account.limits.resolved and account.flow.bounds and account.judged is None
    assert "whether it stayed dry cannot be told" in words.headline(account, US)


def test_a_long_log_of_hourly_rows_is_not_taken_for_one_gap_after_another(tmp_path):
    pytest.importorskip("pyarrow")
    path = hourly(tmp_path / "log.csv", 2000)
    (tmp_path / "log.csv.map.toml").write_text(mapping.as_toml(HOURLY))
    done = CliRunner().invoke(app, ["replay", str(path), "--long", "--site", "demo", "--out", str(tmp_path / "out")])
    told = " ".join(done.output.split())
    assert done.exit_code == 1  # nothing was compared
    assert "cannot tell starts, run time and alarms: one row every 3600 s" in told
    assert "no row shows water on the floor" in told and "gaps" not in told and "pump 1 0" not in told


def test_a_long_log_tells_how_long_the_floor_was_wet(tmp_path):
    pytest.importorskip("pyarrow")
    rows = [f"2024-01-01T00:{i // 60:02d}:{i % 60:02d},{0.7 if 600 <= i < 1500 else 0.3}" for i in range(3000)]
    path = saved(tmp_path / "log.csv", ["time,level", *rows])
    (tmp_path / "log.csv.map.toml").write_text(mapping.as_toml(HOURLY))
    done = CliRunner().invoke(app, ["replay", str(path), "--long", "--site", "demo", "--out", str(tmp_path / "out")])
    assert "water on the floor for 15 min" in " ".join(done.output.split())


def test_a_healthy_night_raises_no_alarm_about_pumps_that_the_water_does_not_follow():
    for controller, every_s in (("single", 1.0), ("duplex", 5.0)):
        site = demo(2.0)
        account = night.explain(logged(simulate(site, controller=controller), every_s), site, controller)
        assert account.judged is not None and not account.judged.alarms
        told = "\n".join(words.judged_lines(account, US))
        assert "would have made" not in told and "starts by our controller" not in told


def test_a_journal_is_judged_by_its_exact_replay_alone():
    site = demo(1.0)
    account = night.explain(sources.log_of(simulate(site).journal, site), site, "duplex")
    assert account.judged is None
    assert words.judged_lines(account, US) == ["this is a journal: its exact replay says what our controller did"]


def test_the_hint_names_the_extra_as_a_clone_takes_it():
    assert '".[logs]"' in table_log.INSTALL


def test_inches_come_first_and_alone_unless_asked_otherwise():
    site = demo(1.0)
    account = night.explain(logged(simulate(site)), site, "duplex", judged=False)
    told = "\n".join(words.page(account, US))
    assert " in " in told and "mm" not in told and "liter" not in told
    assert "in steps of 0.04 in" in limits.lines(account.limits, account)[0]


def test_water_that_comes_and_goes_between_coarse_rows_is_no_spike_and_wets_the_floor(tmp_path):
    # Two hours over the floor in an hourly log: no sensor's error, but a flood that drained between two rows.
    level = 0.2 + 0.05 * np.sin(np.arange(200) / 9.0)
    level[100:102] = demo().pit.floor_m + 0.1
    rows = [f"{datetime(2024, 1, 1) + timedelta(hours=k)},{h:.3f}" for k, h in enumerate(level)]
    log = table_log.read(saved(tmp_path / "log.csv", ["time,level", *rows]), HOURLY)
    assert not [issue for issue in log.issues if issue.kind == "spike"]
    assert "got wet" in words.headline(night.explain(log, demo(1.0), "single"), US)
    rows = [f"{datetime(2024, 1, 1) + timedelta(seconds=k)},{h:.3f}" for k, h in enumerate(level)]
    log = table_log.read(saved(tmp_path / "fine.csv", ["time,level", *rows]), HOURLY)
    assert [issue.count for issue in log.issues if issue.kind == "spike"] == [2]  # no water moves so within a second


def test_columns_that_the_mapping_leaves_out_are_told(tmp_path, hour):
    _, lines, how = hour
    wider = [lines[0] + ",power_W", *(line + ",700" for line in lines[1:])]
    log = table_log.read(saved(tmp_path / "log.csv", wider), how)
    assert 'columns that the mapping leaves out ("power_W"): 1' in words.data_issues(log)


def test_several_rows_over_the_floor_are_surer_than_one():
    # Every 15 min, an inch over the floor: one such row may be a reading's error, seven in a row are a flood.
    site = demo(4.0)
    for wet, sure in ((1, False), (7, True)):
        level = 0.25 + np.random.default_rng(2).normal(0.0, 0.015, 16)
        level[5 : 5 + wet] = site.pit.floor_m + 0.03
        log = Log("coarse", datetime(2024, 1, 1), 900.0 * np.arange(16), level)
        account = night.explain(log, site, "single")
        assert account.floor_sure is sure and not account.floor_dry


@pytest.mark.long
def test_under_a_flood_the_pump_that_runs_is_not_called_idle():
    # The inflow is more than the one pump moves: on the floor the water rises slowly for an hour under a running pump.
    made = second_pit("too much inflow", "float switch", 7004)
    account = night.explain(log_of(made, Logger(1, 1, 3, "level")), read_site(made.site, Path(), "flood"), "single")
    assert "not keeping up" in {finding.kind for finding in account.findings}
    assert not [span for span in account.judged.spans if span.ran == 0 and span.end_s - span.start_s > 600.0]


def test_the_inflow_s_bounds_stand_on_the_terminal(tmp_path):
    site = demo(1.0)
    log = logged(simulate(site), every_s=30.0)
    export.write(log, tmp_path / "log.csv")
    (tmp_path / "log.csv.map.toml").write_text(mapping.as_toml(export.mapping_of(log, "csv")))
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "log.csv"), "--site", "demo", "--out",
                                    str(tmp_path / "out")])  # fmt: skip
    assert done.exit_code == 0 and "Bounds by water balance" in " ".join(done.output.split())


@pytest.mark.parametrize(("every_s", "hidden"), [(1.0, False), (10.0, True)])
def test_rows_that_hide_a_start_at_the_lag_float_say_so(every_s, hidden):
    site = demo(0.5)
    account = night.explain(logged(simulate(site), every_s), site, "duplex", judged=False)
    assert ("late start: float" in account.limits.unseen) == hidden
    assert ("lead float that hangs" in " ".join(words.can_tell(account))) == hidden


def foreign(kind, controller, seed, logger):
    """Return the Account of a night of the second pit as a logger kept it."""
    made = second_pit(kind, controller, seed)
    site = read_site(made.site, Path(), "second log")
    was = "single" if controller == "float switch" else "duplex"
    return night.explain(log_of(made, logger), site, was, judged=False)


@pytest.mark.long
def test_water_over_the_floor_for_hours_is_never_nothing_wrong():
    account = foreign("too much inflow", "float switch", 9532, Logger(1, 1, 3, "level and run"))
    assert any(finding.kind in ("high water", "not keeping up") for finding in account.findings)
    assert "Nothing wrong" not in words.cause(account)


@pytest.mark.long
def test_a_motor_that_rests_as_the_pit_fills_does_not_start_late():
    account = foreign("too much inflow", "our controller", 9548, Logger(1, 5, 0, "level"))
    assert "late start" not in {finding.kind for finding in account.findings}


@pytest.mark.long
def test_steps_on_a_wet_floor_make_no_pump_weak():
    # 5 mm steps, no noise: on the floor nothing moves for minutes, and a line through that is no draw-down.
    account = foreign("air-locked pump", "float switch", 9505, Logger(5, 5, 0, "level"))
    named = {finding.kind for finding in account.findings if finding.confidence != CANNOT}
    assert "weak pump" not in named
    account = foreign("air-locked pump", "float switch", 9505, Logger(1, 10, 0, "level and run"))
    found = {finding.kind: finding.confidence for finding in account.findings}
    assert found["not pumping"] == "established" and found.get("not keeping up") != "established"


@pytest.mark.long
def test_an_inflow_that_swells_by_itself_is_not_called_water_that_returns():
    account = foreign("healthy", "float switch", 9549, Logger(1, 1, 0, "level"))
    assert {finding.kind for finding in account.findings if finding.confidence != CANNOT} <= {"short cycling"}


@pytest.mark.long
def test_an_inflow_that_grows_over_one_long_run_makes_no_pump_weak():
    # Seven pieces of one run are one draw-down, and far from a fill nobody knows what came in.
    account = foreign("too much inflow", "float switch", 9608, Logger(1, 1, 3, "level"))
    assert "weak pump" not in {finding.kind for finding in account.findings}
    assert "not keeping up" in {finding.kind for finding in account.findings}
