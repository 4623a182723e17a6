"""A measured water table: from a file, or from the PyPI package `gensor` (MIT licence), put on the pit's level.

`gensor` carries hourly pressures of two observation wells and of the air
beside them, July 2020 to March 2022, about 15,000 rows.  Water over a logger
is the well's pressure less the air's, in centimetres of water.  Only the
package's data files are read; the package itself is not imported.

Known defects of that data, handled here: Latin-1 text; a logger's preamble of
its own before the rows; a closing line that is no row; hours that one of the
two files lacks; a few samples with the logger out of the water, which show as
a column near zero or a sudden drop (14 in one well, 4 in the other).
"""

import csv
from bisect import bisect_left
from datetime import datetime, timedelta
from importlib.util import find_spec
from pathlib import Path

WELLS = {"a": "PB01A_moni_AV319_220427183019_AV319.csv", "b": "PB02A_plain.csv"}
AIR = "Barodiver_220427183008_BY222.csv"
OUT_OF_WATER_M = 0.10  # a column below this is a logger in the air
JUMP_M = 0.30  # an hour's change beyond this is no groundwater
INSTALL = 'install it with  pip install "sumpbench[measured]"'


def _folder():
    spec = find_spec("gensor")
    if spec is None or not spec.origin:
        raise ValueError(f"the measured water table lies in the PyPI package gensor, which is not installed: {INSTALL}")
    return Path(spec.origin).parent / "testdata"


def _pressures(path):
    # {time: cmH2O}; the rows begin after the line that names the columns.
    found, rows = {}, False
    with path.open(encoding="latin-1", newline="") as file:
        for row in csv.reader(file):
            if row and row[0] == "Date/time":
                rows = True
            elif rows and len(row) >= 2:
                try:
                    found[datetime.fromisoformat(row[0].replace("/", "-"))] = float(row[1])
                except ValueError:
                    continue  # the closing line
    return found


def water_columns(well):
    """Return (list of (datetime, metres of water over the logger), list of sentences on defects) for well "a" or "b".

    Samples with the logger out of the water are left out, and said so.
    Raises ValueError when the package is missing or the well is unknown.
    """
    if well not in WELLS:
        raise ValueError(f'well "{well}": "a" or "b" is wanted')
    folder = _folder()
    try:
        wet, air = _pressures(folder / WELLS[well]), _pressures(folder / AIR)
    except OSError as error:
        raise ValueError(f"the installed gensor lacks its data file: {error}; {INSTALL}") from error
    both = sorted(set(wet) & set(air))
    columns = [(time, (wet[time] - air[time]) / 100.0) for time in both]
    kept, out = [], 0
    for time, column in columns:
        if column < OUT_OF_WATER_M or (kept and abs(column - kept[-1][1]) > JUMP_M and _near(time, kept[-1][0])):
            out += 1
            continue
        kept.append((time, column))
    notes = [f"{out} samples with the logger out of the water left out"]
    alone = len(wet) - len(both)
    if alone:
        notes.append(f"{alone} hours of the well have no air pressure and are left out")
    return kept, notes


def _near(a, b):
    return a - b <= timedelta(hours=6)


def _from_file(path):
    with path.open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.reader(file) if row and not row[0].startswith("#")]
    points = []
    for row in rows[1:]:
        points.append((datetime.fromisoformat(row[0].strip()), float(row[1])))
    if len(points) < 2:
        raise ValueError("wanted: a header and rows of an ISO time and a level in metres")
    return points


def levels(points, begins, duration_s, zero_m, scale=1.0):
    """Return [(s, level m)] from a time on: (measured - zero) * scale, so that `zero_m` lies at the pit's bottom.

    Raises ValueError when the measurements do not cover the run.
    """
    times = [time for time, _ in points]
    end = begins + timedelta(seconds=duration_s)
    if begins < times[0] or end > times[-1]:
        raise ValueError(f"the measurements run from {times[0]} to {times[-1]}, the run from {begins} to {end}")
    first = max(0, bisect_left(times, begins) - 1)
    last = min(len(times), bisect_left(times, end) + 1)
    return [((t - begins).total_seconds(), (h - zero_m) * scale) for t, h in points[first:last]]


def read_series(table, duration_s, folder):
    """Return [(s, level m)] from a table [groundwater.series], or None after noting problems."""
    source = table.text("source", choices=("gensor", "file"))
    well = table.text("well", None) if source == "gensor" else None
    name = table.text("file", None if source != "file" else "water_table.csv")
    zero = table.quantity("zero", "distance")
    scale = table.quantity("scale", "number", 1.0, above=0.0, most=100.0)
    text = table.text("begins")
    if None in (source, zero, scale, text):
        return None
    try:
        begins = datetime.fromisoformat(text)
        points = water_columns(well or "b")[0] if source == "gensor" else _from_file(folder / name)
        return levels(points, begins, duration_s, zero, scale)
    except (ValueError, OSError) as error:
        table.problem("source", str(error))
        return None
