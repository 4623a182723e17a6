"""Streaming of long logs: in blocks as at once, edges by arithmetic as row by row, in memory that does not grow."""

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from host_sim.cli.app import app
from host_sim.errors import InputError
from host_sim.replay import account, benchmark, openloop, streaming
from host_sim.replay.reading import export, mapping, table_log
from tests.replay_nights import demo, logged, night

pyarrow = pytest.importorskip("pyarrow")
pytest.importorskip("pyarrow.csv")
pytest.importorskip("pyarrow.parquet")


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """Give (site, log, {suffix: (path, mapping)}) of three hours."""
    site, folder = demo(3.0), tmp_path_factory.mktemp("long")
    log = logged(night(site), mains=True)
    keep = (log.time_s < 4000.0) | (log.time_s > 4700.0)
    log.time_s, log.level_m, log.mains = log.time_s[keep], log.level_m[keep], log.mains[keep]
    found = {}
    for suffix in ("csv", "parquet"):
        export.write(log, folder / f"log.{suffix}")
        found[suffix] = (folder / f"log.{suffix}", export.mapping_of(log, suffix))
    return site, log, found


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_streaming_counts_what_reading_the_whole_log_shows(files, suffix):
    site, _, found = files
    path, how = found[suffix]
    log = table_log.read(path, how)
    loop = openloop.run(log, site)
    streamed = streaming.run(path, how, site)
    for n in (0, 1):
        on = np.array([out[n] for _, out in loop.outputs])
        assert streamed.starts[n] == int((np.diff(on, prepend=0) == 1).sum())
    assert sum(streamed.starts) > 20
    assert streamed.rows == log.rows_read
    assert streamed.gaps == len(log.gaps) == 1
    assert streamed.highest_m == pytest.approx(np.nanmax(log.level_m))


def test_small_blocks_change_nothing(files, monkeypatch):
    site, _, found = files
    path, how = found["parquet"]
    whole = streaming.run(path, how, site)
    monkeypatch.setattr(streaming, "BLOCK_ROWS", 97)
    assert streaming.run(path, how, site) == whole


def test_rows_out_of_order_are_left_out_and_counted(files, tmp_path):
    site, _, found = files
    path, how = found["csv"]
    lines = path.read_text().splitlines()
    lines[50], lines[51] = lines[51], lines[50]
    lines.insert(70, lines[60])
    (tmp_path / "log.csv").write_text("\n".join(lines) + "\n")
    spoilt = streaming.run(tmp_path / "log.csv", how, site)
    assert spoilt.lost["out of order or repeated"] == 2
    assert spoilt.starts == streaming.run(path, how, site).starts


def test_floats_over_an_array_are_those_of_a_row_by_row_reading():
    """Against each contact taken by itself, row by row: noise, drop-outs, and a memory across arrays."""
    site, rng = demo(), np.random.default_rng(5)
    floats, wet = openloop.Floats(site.contacts), [False] * 4
    for length in (1, 2, 997, 3000):
        level = np.cumsum(rng.normal(0.0, 0.01, length)) + rng.uniform(0.1, 0.5)
        level[rng.random(length) < 0.05] = np.nan
        for found, here in zip(floats.words(level), level, strict=True):
            for i, contact in enumerate(site.contacts):
                if contact is not None and here >= contact.wet_m:
                    wet[i] = True
                elif contact is not None and here <= contact.dry_m:
                    wet[i] = False
            assert found == sum(1 << i for i in range(4) if wet[i])
    assert len(floats.words(np.array([]))) == 0


def test_days_of_rows_are_found_without_looking_at_every_row():
    day = 86400.0
    times = np.array([5.0, day - 1.0, day, day + 1.0, 3.0 * day, 3.5 * day])
    days, edges = streaming._days(times)
    assert (days.tolist(), edges.tolist()) == ([0.0, 1.0, 3.0], [0, 2, 4])
    days, edges = streaming._days(np.append(times, 1e15))  # a clock that jumped
    assert (days.tolist()[:3], edges.tolist()) == ([0.0, 1.0, 3.0], [0, 2, 4, 6])


def test_a_log_without_a_level_is_refused(files):
    site, _, found = files
    how = mapping.read({"time": {"column": "time"}, "contacts": {"lead": {"column": "mains"}}})
    with pytest.raises(InputError, match="judged by its level"):
        streaming.run(found["csv"][0], how, site)


def test_a_column_of_words_is_refused(files, tmp_path):
    site, _, _ = files
    (tmp_path / "log.csv").write_text("time,level_m\n2024-01-01T00:00:00Z,deep\n")
    columns = mapping.read({"time": {"column": "time"}, "level": {"column": "level_m", "unit": "m"}})
    with pytest.raises(InputError):
        streaming.run(tmp_path / "log.csv", columns, site)


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_date_and_time_in_two_columns_are_streamed(tmp_path, suffix):
    days, clocks = ["2024-03-09", "2024-03-09", "2024-03-10"], ["22:59", "23:00", "00:01"]
    table = pyarrow.table({"d": days, "t": clocks, "h": [100.0, 110.0, 120.0]})
    write = pyarrow.csv.write_csv if suffix == "csv" else pyarrow.parquet.write_table
    write(table, tmp_path / f"log.{suffix}")
    how = mapping.read({"time": {"column": "d", "time_of_day": "t"}, "level": {"column": "h", "unit": "mm"}})
    found = streaming.run(tmp_path / f"log.{suffix}", how, demo())
    assert (found.rows, found.duration_s, found.lost["no time"]) == (3, 3720.0, 0)
    log = table_log.read(tmp_path / f"log.{suffix}", how)
    assert list(log.time_s) == [0.0, 60.0, 3720.0]


@pytest.mark.long
def test_the_benchmark_measures_both_over_the_same_rows(tmp_path):
    read, replayed = benchmark.compare(tmp_path, 40_000, "parquet")
    assert read["rows"] == replayed["rows"] == 40_000
    assert replayed["steps"] > 0
    assert min(read["rows_per_s"], replayed["rows_per_s"], read["peak_bytes"]) > 0


def test_the_command_counts_a_long_log_day_by_day(files, tmp_path):
    _, log, found = files
    path, how = found["csv"]
    (tmp_path / "map.toml").write_text(mapping.as_toml(how))
    out = tmp_path / "out"
    done = CliRunner().invoke(app, ["replay", str(path), "--long", "--site", "demo", "--mapping",
                                    str(tmp_path / "map.toml"), "--out", str(out)])  # fmt: skip
    assert done.exit_code == 0, done.output
    assert done.output.rstrip().splitlines()[-1] == account.CAUTIONS
    told = json.loads((out / "account.json").read_text())
    assert told["rows"] == len(log.time_s)
    assert sum(day["starts"][0] for day in told["days"]) == told["starts"][0] > 10
