"""Reading somebody's log: units, clocks, summer time, and every kind of damage met, counted and told."""

import csv
import tomllib
from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from host_sim.errors import InputError
from host_sim.replay.reading import export, mapping, mapping_prompt, table_log
from tests.replay_nights import demo, logged, night, zone_with_daylight_saving


def csv_log(folder, header, rows, name="log.csv"):
    """Write a CSV and return its path."""
    path = folder / name
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows(rows)
    return path


def level_map(**time):
    """Return a mapping of two columns, time and level in mm."""
    return mapping.read({"time": {"column": "t", **time}, "level": {"column": "h", "unit": "mm"}})


def counted(log):
    """Return {kind: count} of what was found in a log."""
    found = {}
    for issue in log.issues:
        found[issue.kind] = found.get(issue.kind, 0) + issue.count
    return found


def test_each_cell_may_carry_its_own_unit(tmp_path):
    rows = [["2024-03-09 10:00:00", "150"], ["2024-03-09 10:00:01", "6 in"], ["2024-03-09 10:00:02", "0.16 m"],
            ["2024-03-09 10:00:03", "12 furlongs of it"]]  # fmt: skip
    log = table_log.read(csv_log(tmp_path, ["t", "h"], rows), level_map())
    assert np.allclose(log.level_m[:3], [0.150, 0.1524, 0.160])
    assert np.isnan(log.level_m[3])
    assert counted(log)["other unit"] == 2
    assert counted(log)["no number"] == 1


def test_the_zero_of_the_sensor_is_added_in_its_own_unit(tmp_path):
    rows = [[0, 10], [1, 11]]
    given = {"time": {"column": "t", "format": "seconds"}, "level": {"column": "h", "unit": "in", "zero": "2 in"}}
    log = table_log.read(csv_log(tmp_path, ["t", "h"], rows), mapping.read(given))
    assert np.allclose(log.level_m, [12 * 0.0254, 13 * 0.0254])


def test_a_unit_column_tells_the_unit_of_each_row(tmp_path):
    rows = [["0", "10", "in"], ["1", "254", "mm"], ["2", "25.4", "cm"]]
    given = {"time": {"column": "t", "format": "seconds"}, "level": {"column": "h", "unit_column": "u"}}
    log = table_log.read(csv_log(tmp_path, ["t", "h", "u"], rows), mapping.read(given))
    assert np.allclose(log.level_m, 0.254)


def test_the_hour_that_comes_twice_is_told_apart_by_the_order_of_the_rows(tmp_path):
    # A zone with daylight saving and its jump back, from the IANA time zone database.
    zone, _, back = zone_with_daylight_saving()
    times = [back + timedelta(minutes=m) for m in (-70, -50, -30, -10, 10, 30, 50, 70)]
    stamps = [time.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M") for time in times]
    assert stamps[1:4] == stamps[4:7]
    rows = [[stamp, 100 + i] for i, stamp in enumerate(stamps)]
    log = table_log.read(csv_log(tmp_path, ["t", "h"], rows), level_map(zone=zone))
    assert np.allclose(np.diff(log.time_s), 1200.0)
    assert counted(log) == {"repeated hour": 6}
    assert log.begins.astimezone(UTC) == times[0]
    assert log.at(log.time_s[-1]).strftime("%Y-%m-%d %H:%M") == stamps[-1]


def test_the_hour_that_never_was_is_counted_and_keeps_its_order(tmp_path):
    # A zone with daylight saving and its jump forward, from the IANA time zone database.
    zone, forward, _ = zone_with_daylight_saving()
    before, after = (forward.astimezone(ZoneInfo(zone)) + timedelta(minutes=m) for m in (-70, 30))
    rows = [[before, 1], [before + timedelta(minutes=20), 2], [after, 3]]
    rows = [[f"{wall:%Y-%m-%d %H:%M}", level] for wall, level in rows]
    log = table_log.read(csv_log(tmp_path, ["t", "h"], rows), level_map(zone=zone))
    assert np.allclose(np.diff(log.time_s), [1200.0, 1200.0])
    assert counted(log) == {"skipped hour": 1}


def test_without_a_zone_a_clock_set_back_is_named(tmp_path):
    rows = [[f"2024-10-27 {stamp}", 100] for stamp in ("02:58", "02:59", "02:00", "02:01")]
    log = table_log.read(csv_log(tmp_path, ["t", "h"], rows), level_map())
    assert counted(log)["clock set back"] == 1
    assert any("zone" in issue.text for issue in log.issues)


def test_stamps_with_offsets_need_no_zone_and_mix_with_utc(tmp_path):
    rows = [["2024-03-09T10:00:00Z", 1], ["2024-03-09T11:00:10+01:00", 2], ["2024-03-09T05:00:20-0500", 3]]
    log = table_log.read(csv_log(tmp_path, ["t", "h"], rows), level_map())
    assert np.allclose(log.time_s, [0.0, 10.0, 20.0])


@pytest.mark.parametrize(
    ("clock", "cells"),
    [
        ("unix s", ["1710000000", "1710000001.5"]),
        ("unix ms", ["1710000000000", "1710000001500"]),
        ("seconds", ["7", "8.5"]),
        ("%d.%m.%Y %H:%M:%S.%f", ["09.03.2024 16:00:00.0", "09.03.2024 16:00:01.5"]),
        ("iso", ["2024/03/09 16:00", "2024-03-09 16:00:01,5"]),
    ],
)
def test_every_format_of_time(tmp_path, clock, cells):
    log = table_log.read(csv_log(tmp_path, ["t", "h"], [[cell, 100] for cell in cells]), level_map(format=clock))
    assert np.allclose(log.time_s, [0.0, 1.5])
    assert not log.issues


def test_date_and_time_may_stand_in_two_columns(tmp_path):
    rows = [["03/19/2024", "10:59 PM", 1], ["03/19/2024", " 11:00 PM", 2], ["03/20/2024", "12:01 AM", 3]]
    path = csv_log(tmp_path, ["Date", "Time", "h"], rows)
    given = {"column": "Date", "time_of_day": "Time", "format": "%m/%d/%Y %I:%M %p"}
    found = mapping.read({"time": given, "level": {"column": "h", "unit": "mm"}})
    log = table_log.read(path, found)
    assert list(log.time_s) == [0.0, 60.0, 3720.0] and not log.issues
    assert mapping.read(tomllib.loads(mapping.as_toml(found))) == found
    # What looking alone finds is the same.
    guessed = mapping_prompt.guessed(path_with_level(path))
    assert (guessed.time, guessed.time_of_day, guessed.clock) == ("Date", "Time", "%m/%d/%Y %I:%M %p")


def path_with_level(path):
    """Return the path of a copy in which the level's column is called so."""
    again = path.with_name("named.csv")
    again.write_text(path.read_text().replace("Date,Time,h", "Date,Time,Level (mm)"))
    return again


def test_a_column_that_holds_date_and_time_is_not_asked_for_a_second(tmp_path):
    rows = [["2024-03-09 10:00", "x", 1], ["2024-03-09 10:01", "y", 2]]
    found = mapping_prompt.guessed(csv_log(tmp_path, ["Date", "Operating time", "Level (mm)"], rows))
    assert (found.time, found.time_of_day, found.clock) == ("Date", None, "iso")


def test_duplicates_disorder_gaps_drop_outs_and_spikes_are_counted(tmp_path):
    rows = [[t, 100 + t / 10] for t in range(200)]
    rows[50], rows[51] = rows[51], rows[50]  # out of order
    rows.insert(20, list(rows[19]))  # the same again
    rows.insert(40, [rows[39][0], 900])  # another reading at the same time
    rows = [row for row in rows if not 100 <= row[0] < 160]  # a gap
    rows[10][1] = ""  # a drop-out
    rows[70][1] = 600  # a spike
    rows[80][1] = -9999  # what a logger writes without a sensor
    rows[90][0] = "yesterday"
    log = table_log.read(csv_log(tmp_path, ["t", "h"], rows), level_map(format="seconds"))
    assert counted(log) == {"no time": 1, "out of order": 1, "duplicate": 1, "conflicting duplicate": 1, "gap": 1,
                            "drop-out": 1, "spike": 1, "out of range": 1}  # fmt: skip
    assert np.isnan(log.level_m).sum() == 3
    assert len(log.gaps) == 1 and log.gaps[0] == (99.0, 160.0)
    assert (np.diff(log.time_s) > 0).all()


def test_a_torn_line_and_a_footer_are_left_out_and_told(tmp_path):
    path = csv_log(tmp_path, ["t", "h"], [[0, 1], [1, 2], [2, 3]])
    path.write_text(path.read_text() + "END OF DATA\n", encoding="utf-8")
    log = table_log.read(path, level_map(format="seconds"))
    assert len(log.time_s) == 3
    assert counted(log) == {"incomplete line": 1}


def test_water_that_really_jumps_is_no_spike(tmp_path):
    # A pump that takes the pit down between two rows: the level stays down.
    rows = [[10 * t, 100 + 20 * (t % 12)] for t in range(120)]
    log = table_log.read(csv_log(tmp_path, ["t", "h"], rows), level_map(format="seconds"))
    assert "spike" not in counted(log)
    assert not np.isnan(log.level_m).any()


def test_states_are_read_by_their_words(tmp_path):
    given = {"time": {"column": "t", "format": "seconds"}, "contacts": {"lead": {"column": "f", "wet": ["WET"]}},
             "pump1": {"column": "p", "on": ["run"]}, "mains": {"column": "m"}}  # fmt: skip
    rows = [[0, "WET", "run", 1], [1, "DRY", "stop", 0], [2, "", "run", ""]]
    log = table_log.read(csv_log(tmp_path, ["t", "f", "p", "m"], rows), mapping.read(given))
    assert list(log.contacts["lead"]) == [1, 0, -1]
    assert list(log.pumps[0]) == [1, 0, 1]
    assert list(log.mains) == [1, 0, -1]
    assert counted(log) == {"drop-out": 2}


def test_a_mapping_that_is_wrong_is_told_whole(tmp_path):
    path = tmp_path / "map.toml"
    path.write_text('[file]\ndelimiter = ";;"\n[time]\ncolumn = "t"\nformat = "sundial"\nzone = "No/Such"\n'
                    '[level]\ncolumn = "h"\nunit = "gpm"\n[pump3]\ncolumn = "x"\n')  # fmt: skip
    with pytest.raises(InputError) as caught:
        mapping.load(path)
    told = str(caught.value)
    for word in (";;", "sundial", "No/Such", "gpm", "pump3"):
        assert word in told


def test_a_column_that_is_not_there_is_told_with_those_that_are(tmp_path):
    with pytest.raises(InputError, match=r'no column "h".*"depth"'):
        table_log.read(csv_log(tmp_path, ["t", "depth"], [[0, 1]]), level_map())


def test_a_mapping_is_written_as_it_is_read():
    given = {
        "file": {"kind": "csv", "delimiter": ";", "decimal": ",", "skip": 3},
        "time": {"column": "Zeit", "format": "%d.%m.%Y %H:%M", "zone": "Etc/GMT+5"},
        "level": {"column": "Pegel [cm]", "unit": "cm", "zero": "50 mm", "spike": "3 cm"},
        "contacts": {"high": {"column": "hoch", "wet": ["ja", "1"]}},
        "current2": {"column": "A2", "unit": "mA"},
        "rain": {"column": "mm", "unit": "mm/h"},
    }
    first = mapping.read(given)
    again = mapping.read(tomllib.loads(mapping.as_toml(first)))
    assert again == first
    assert first.level.factor == pytest.approx(0.01)


def test_the_mapping_is_guessed_from_names_and_cells(tmp_path):
    rows = [["09.03.2024 16:00:00", "12,5", "1", "4,2", "1"], ["09.03.2024 16:00:10", "12,6", "0", "0", "1"]]
    path = tmp_path / "log.csv"
    lines = ["Logger 7", "Timestamp;Water level (cm);Pump 1;Amps 1;Mains", *(";".join(row) for row in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = mapping_prompt.guessed(path)
    assert (found.time, found.clock, found.delimiter, found.skip) == ("Timestamp", "%d.%m.%Y %H:%M:%S", ";", 1)
    assert (found.level.name, found.level.unit) == ("Water level (cm)", "cm")
    assert found.pumps[0].name == "Pump 1"
    assert found.currents[0].name == "Amps 1"
    assert found.mains.name == "Mains"


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_a_log_comes_back_from_every_format(tmp_path, suffix):
    pytest.importorskip("pyarrow") if suffix == "parquet" else None
    log = logged(night(demo(0.5)), pumps=True, contacts=True, mains=True)
    log.level_m[7] = np.nan
    log.pumps[0][9] = -1
    log.current_a[0] = np.where(log.pumps[0] == 1, 7.5, 0.0)
    log.rain_m_s = np.full(len(log.time_s), 1e-6)
    path = tmp_path / f"log.{suffix}"
    export.write(log, path)
    again = table_log.read(path, export.mapping_of(log, suffix))
    assert again.begins == log.begins
    assert np.array_equal(again.time_s, log.time_s)
    assert np.array_equal(again.level_m, log.level_m, equal_nan=True)
    assert np.array_equal(again.current_a[0], log.current_a[0])
    assert np.array_equal(again.rain_m_s, log.rain_m_s)
    assert np.array_equal(again.mains, log.mains)
    for n in (0, 1):
        assert np.array_equal(again.pumps[n], log.pumps[n])
    for name in log.contacts:
        assert np.array_equal(again.contacts[name], log.contacts[name])
