"""However a log is damaged: it is read or refused in words, in order, with every loss counted, and never invented."""

import csv
import io
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.replay.reading import cleaning, mapping, stamps, table_log
from host_sim.replay.reading.log import UNKNOWN
from tests.replay_nights import zone_with_daylight_saving

MAP = mapping.read({"time": {"column": "t", "format": "seconds"}, "level": {"column": "h", "unit": "mm"},
                    "mains": {"column": "m"}})  # fmt: skip
CELLS = st.one_of(
    st.floats(-50, 2000).map(lambda x: f"{x:.1f}"),
    st.sampled_from(["", "NA", "-9999", "1e400", "nan", "12 in", "30 cm", "3 parsec", "??", "12,5", "0x10"]),
)
ROWS = st.lists(
    st.tuples(st.one_of(st.integers(0, 400).map(str), st.sampled_from(["", "noon", "nan", "1e999"])), CELLS,
              st.sampled_from(["1", "0", "", "on", "?"])),
    min_size=1, max_size=60,
)  # fmt: skip


def read(text):
    """Return the Log of a CSV text."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return table_log.read(path, MAP)


def written(rows):
    """Return rows as a CSV text with its header."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(["t", "h", "m"])
    writer.writerows(rows)
    return text.getvalue()


@given(ROWS)
def test_a_damaged_log_is_in_order_and_every_row_is_accounted_for(rows):
    try:
        log = read(written(rows))
    except InputError as error:
        refused = str(error)
    else:
        refused = ""
    if refused:
        strange = any(row[-1] == "?" for row in rows)
        comma = any(row[1] == "12,5" for row in rows)
        assert ("no row" in refused or (strange and "neither on nor off" in refused)
                or (comma and "has a decimal comma" in refused))  # fmt: skip
        return
    assert (np.diff(log.time_s) > 0).all()
    lost = {f.kind: f.count for f in log.issues}
    gone = lost.get("no time", 0) + lost.get("duplicate", 0) + lost.get("conflicting duplicate", 0)
    assert len(log.time_s) + gone == log.rows_read == len(rows)
    assert set(np.unique(log.mains)) <= {UNKNOWN, 0, 1}
    # A reading that is left out is told as one of these kinds.
    kinds = ("drop-out", "out of range", "spike")
    told = sum(f.count for f in log.issues if f.kind in kinds and "level" in f.text)
    assert int(np.isnan(log.level_m).sum()) == told


@given(ROWS)
def test_no_level_is_invented(rows):
    try:
        log = read(written(rows))
    except InputError:
        return
    given_m = set()
    for _, cell, _ in rows:
        number = cell.split(" ")[0]
        factor = {"in": 0.0254, "cm": 0.01}.get(cell.partition(" ")[2], 0.001)
        try:
            given_m.add(round(float(number) * factor, 9))
        except ValueError:
            continue
    assert {round(float(x), 9) for x in log.level_m[~np.isnan(log.level_m)]} <= given_m


@given(st.binary(max_size=400), st.integers(0, 200))
def test_torn_and_spoilt_bytes_are_read_or_refused_in_words(noise, place):
    whole = written([(t, 100 + t, 1) for t in range(40)]).encode()
    for spoilt in (whole[:place] + noise + whole[place:], whole[: max(1, len(whole) - place)], noise):
        try:
            log = read(spoilt)
        except InputError:
            continue
        assert (np.diff(log.time_s) > 0).all()


@given(st.permutations(list(range(30))), st.lists(st.integers(0, 29), max_size=10))
def test_order_and_repetition_of_rows_change_nothing(order, again):
    rows = [(10 * t, 100 + t, 1) for t in range(30)]
    log = read(written([rows[i] for i in order] + [rows[i] for i in again]))
    assert list(log.time_s) == [10.0 * t for t in range(30)]
    assert np.allclose(log.level_m, [0.1 + 0.001 * t for t in range(30)])


@given(st.integers(0, 2**31 - 1), st.integers(1, 6), st.floats(0.12, 5.0))
def test_every_lone_spike_is_found_and_no_water_is_taken_for_one(seed, count, height):
    rng = np.random.default_rng(seed)
    water = 0.2 + 0.05 * np.sin(np.arange(600) / 40.0) + rng.normal(0, 0.001, 600)
    level = water.copy()
    places = 10 + 90 * np.arange(count) + rng.integers(0, 80, count)
    level[places] += height * rng.choice([-1, 1], count)
    issues = []
    cleaning.spikes(level, issues)
    assert set(np.flatnonzero(np.isnan(level))) == set(places)
    assert issues[0].count == count


# Zones of the IANA time zone database whose clocks move by an hour, by half an hour, and never.
ZONES = (zone_with_daylight_saving()[0], zone_with_daylight_saving(1800)[0], "Etc/GMT+5", "+05:30", "UTC")


@given(st.sampled_from(ZONES), st.integers(1_577_836_800, 1_735_689_600), st.sampled_from([60, 600, 1800]))
def test_local_stamps_go_back_to_the_utc_that_they_came_from(zone, begins, step):
    # Forty hours around any time of 2020 to 2024, so that the jumps of summer time are among them.
    utc = begins + step * np.arange(0, 40 * 3600 // step)
    info = stamps.zone_of(zone)
    walls = [datetime.fromtimestamp(int(t), UTC).astimezone(info).strftime("%Y-%m-%d %H:%M:%S") for t in utc]
    issues = []
    seconds, known = stamps.parse(walls, "iso", issues)
    back = stamps.to_utc(seconds, known, info, issues)
    inside = [f for f in issues if f.kind == "repeated hour"]
    if inside and "no second pass" in inside[0].text:
        return  # the log ends or begins within the hour that comes twice
    assert np.array_equal(back, utc)
