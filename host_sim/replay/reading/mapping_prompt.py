"""`--map`: guesses the mapping of a log from its columns and asks a person to confirm."""

import csv
import re
from pathlib import Path

from host_sim.errors import InputError
from host_sim.replay.reading import stamps, table_log
from host_sim.replay.reading.mapping import CLOCKS, State
from host_sim.replay.reading.mapping import read as read_mapping

SNIFFED = 65536  # characters looked at
UNITS = {
    "length": ("mm", "cm", "in", "inch", "inches", "ft", "m"),
    "current": ("A", "amps", "mA"),
    "rate": ("mm/h", "in/h"),
}
HINTS = (
    ("time", r"time|date|stamp|zeit"),
    ("level", r"level|depth|height|water|stage|pegel"),
    ("rain", r"rain|precip"),
    ("mains", r"mains|power|supply|grid"),
    ("current1", r"(amp|curr).*1|^amps?$|^current$"),
    ("current2", r"(amp|curr).*2"),
    ("pump1", r"(pump|^p).*1|^pump$|^run"),
    ("pump2", r"(pump|^p).*2"),
    ("off", r"^off$|stop|off.?(float|contact)"),
    ("lead", r"lead|float.?1|start"),
    ("lag", r"lag|float.?2"),
    ("high", r"high|alarm|float.?3"),
)
ROLES = tuple(name for name, _ in HINTS)
_DATE = re.compile(r"^\s*\d{1,4}([-/.])\d{1,2}\1\d{1,4}\s*$")
_TIME_OF_DAY = re.compile(r"^\s*\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?\s*([AaPp][Mm])?\s*$")


def sample(path):
    """Return (header, first rows of cells, delimiter, lines before the header) of a log.  Raises InputError."""
    path = Path(path)
    if path.suffix.lower() in table_log.PARQUET:
        try:
            import pyarrow.parquet as pq
        except ImportError as error:
            raise InputError(f"Parquet {table_log.INSTALL}", str(path)) from error
        try:
            batch = next(pq.ParquetFile(path).iter_batches(batch_size=20))
        except (OSError, ValueError, StopIteration) as error:
            raise InputError(f"cannot be read: {error}", str(path)) from error
        rows = [[str(cell) for cell in row.values()] for row in batch.to_pylist()]
        return batch.schema.names, rows, ",", 0
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            lines = file.read(SNIFFED).splitlines()
    except OSError as error:
        raise InputError(f"cannot be read: {error}", str(path)) from error
    if len(lines) < 2:
        raise InputError("has no header with rows below it", str(path))
    delimiter, skip = _shape(lines)
    rows = list(csv.reader(lines[skip : skip + 21], delimiter=delimiter))
    return [name.strip().lstrip("\ufeff") for name in rows[0]], rows[1:], delimiter, skip


def _shape(lines):
    # The delimiter that splits most lines into the same number of cells; the header is the first such line.
    best = (0, ",", 0)
    head = lines[:60]
    for delimiter in (",", ";", "\t", "|"):
        counts = [line.count(delimiter) for line in head]
        most = max(set(counts), key=counts.count)
        if most and counts.count(most) * most > best[0]:
            best = (counts.count(most) * most, delimiter, counts.index(most))
    return best[1], best[2]


def guess(header, rows):
    """Return {role: column} for the columns whose names tell what they hold; each column has one role."""
    found, taken = {}, set()
    for role, pattern in HINTS:
        for name in header:
            if name not in taken and role not in found and re.search(pattern, name, re.IGNORECASE):
                found[role] = name
                taken.add(name)
    return found


def guess_unit(name, kind):
    """Return the unit that stands in a column's name, as "depth [in]" or "level_mm", or None."""
    parts = re.split(r"[\s_\[\]()]+", name)
    for unit in UNITS[kind]:
        if unit in parts[1:] or f"({unit})" in name or f"[{unit}]" in name:
            return unit
    return None


def guess_clock(cells):
    """Return the format of the time of these cells, or None."""
    cells = [cell for cell in cells if cell and cell.strip()]
    for clock in CLOCKS:
        issues = []
        values, _ = stamps.parse(cells, clock, issues)
        if issues or not cells:
            continue
        if clock == "unix s" and values.min() < 1e8:
            clock = "seconds"
        elif clock == "unix s" and values.max() > 1e11:
            clock = "unix ms"
        return clock
    for clock in ("%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M", "%m/%d/%Y %H:%M:%S", "%m/%d/%Y %H:%M",
                  "%m/%d/%Y %I:%M:%S %p", "%m/%d/%Y %I:%M %p", "%Y-%m-%d %H:%M"):  # fmt: skip
        issues = []
        stamps.parse(cells, clock, issues)
        if not issues:
            return clock
    return None


def ask(path, answer):
    """Return the Mapping of a log; `answer(question, default)` returns what a person says (a text).

    Raises InputError where an answer cannot be used.
    """
    header, rows, delimiter, skip = sample(path)
    roles = guess(header, rows)

    def column(role, question):
        said = answer(f"{question} (columns: {', '.join(header)}; Enter alone for none)", roles.get(role, ""))
        if said and said not in header:
            raise InputError(f'"{said}": no such column; there are {", ".join(header)}', "--map")
        return said

    roles["time"], roles["time_of_day"] = _date_and_time(header, rows, roles.get("time", ""))
    time = column("time", "Which column holds the time?")
    if not time:
        raise InputError("a log without a time cannot be read: name the column of the time", "--map")
    second = column("time_of_day", "Which column holds the time of day, if that is not the same one?")
    clock = answer(
        'Format of the time? ("iso", "unix s", "unix ms", "seconds", or a pattern such as "%m/%d/%Y %H:%M")',
        guess_clock(_cells(rows, header, time, second)) or "iso",
    )
    zone = answer("Time zone, if the times do not carry one? (such as Etc/GMT+5 or -05:00; Enter alone if unknown)", "")
    data = {"file": {"delimiter": delimiter, "skip": skip}, "time": {"column": time, "format": clock, "zone": zone}}
    if second:
        data["time"]["time_of_day"] = second
    level = column("level", "Which column holds the water level?")
    if level:
        unit = answer("Unit of its numbers? (in, ft, mm, cm, m)", guess_unit(level, "length") or "in")
        zero = answer("At a reading of 0, how high above the pit bottom is the water?", "0 in")
        data["level"] = {"column": level, "unit": unit, "zero": zero}
    for role in ("off", "lead", "lag", "high"):
        if name := column(role, f"Which column holds the {role} contact?"):
            data.setdefault("contacts", {})[role] = {"column": name, **_words(rows, header, name, "wet", answer)}
    for role in ("pump1", "pump2"):
        if name := column(role, f"Which column tells whether pump {role[4]} is on?"):
            data[role] = {"column": name, **_words(rows, header, name, "on", answer)}
    for role in ("current1", "current2"):
        if name := column(role, f"Which column holds the current of pump {role[-1]}?"):
            data[role] = {"column": name, "unit": answer("Unit of its numbers?", guess_unit(name, "current") or "A")}
    if name := column("mains", "Which column tells whether the mains is on?"):
        data["mains"] = {"column": name, **_words(rows, header, name, "present", answer)}
    if name := column("rain", "Which column holds the rain?"):
        data["rain"] = {"column": name, "unit": answer("Unit of its numbers?", guess_unit(name, "rate") or "mm/h")}
    return read_mapping(data, "--map")


def _cells(rows, header, time, second):
    # The stamps of the first rows, joined where date and time stand in two columns.
    places = [header.index(name) for name in (time, second) if name]
    rows = [row for row in rows if len(row) > max(places)]
    first = [row[places[0]] for row in rows]
    return stamps.joined(first, [row[places[1]] for row in rows]) if second else first


def _date_and_time(header, rows, time):
    # (column of the time, column of the time of day or ""): two of them where one holds dates and one times of day.
    dates, times = [], []
    for place, name in enumerate(header):
        cells = [row[place] for row in rows if len(row) > place and row[place].strip()]
        if cells and all(_DATE.match(cell) for cell in cells):
            dates.append(name)
        elif cells and all(_TIME_OF_DAY.match(cell) for cell in cells):
            times.append(name)
    return (dates[0], times[0]) if dates and times else (time, "")


def _words(rows, header, name, key, answer):
    place = header.index(name)
    seen = sorted({row[place].strip() for row in rows if len(row) > place})[:6]
    default = next((word for word in seen if word in State("").yes), "1")
    found = ", ".join(seen)
    said = answer(f'Which values of "{name}" mean {key}? (found: {found}; separate several with commas)', default)
    return {key: [word.strip() for word in said.split(",") if word.strip()]}


def guessed(path):
    """Return the Mapping that can be guessed without asking.  Raises InputError naming what cannot."""
    return ask(path, lambda question, default: default)



