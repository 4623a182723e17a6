"""Import of CSV and Parquet logs by a Mapping."""

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from host_sim.errors import InputError
from host_sim.replay.reading import cleaning, doubts, held, rows_by_name, stamps, texts
from host_sim.replay.reading.cells import Reader, states
from host_sim.replay.reading.log import Log, note

PARQUET = (".parquet", ".pq")
INSTALL = 'needs pyarrow: in a clone of this project, run  pip install ".[logs]"'


def read(path, mapping):
    """Return the Log in a file.  Raises InputError for a file or column that cannot be used, or without any row."""
    issues = []
    table, rows = load(path, mapping, issues)
    if not rows:
        raise InputError("has no rows of readings", str(path))
    return make(Path(path).name, table, mapping, issues, rows)


def kind_of(path, mapping):
    """Return "csv" or "parquet"."""
    return mapping.kind or ("parquet" if texts.suffix(path) in PARQUET else "csv")


def load(path, mapping, issues):
    """Return ({column: list of cells}, number of rows)."""
    try:
        work = _parquet if kind_of(path, mapping) == "parquet" else _csv
        table, rows = work(Path(path), mapping, issues)
    except (OSError, EOFError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"cannot be read: {error}", str(path)) from error
    return rows_by_name.spread(table, mapping, issues, path) if mapping.names else (table, rows)


def _wanted(path, mapping, header, issues):
    unused = [name for name in header if name and name not in mapping.columns()]
    if unused and not mapping.names:
        named = ", ".join(f'"{name}"' for name in unused[:6]) + (" and more" if len(unused) > 6 else "")
        note(issues, "unused column", len(unused), f"columns that the mapping leaves out ({named})")
    lacking = [name for name in mapping.columns() if name not in header]
    if lacking:
        given = ", ".join(f'"{name}"' for name in header)
        raise InputError([f'has no column "{name}"; it has {given}' for name in lacking], str(path))
    return mapping.columns()


def _csv(path, mapping, issues):
    with texts.opened(path, mapping.encoding) as file:
        header, passed = texts.header(file, path, mapping.delimiter, mapping.skip, mapping.columns())
        rows = csv.reader(file, delimiter=mapping.delimiter)
        wanted = _wanted(path, mapping, header, issues)
        places = [header.index(name) for name in wanted]
        need = max(places) + 1
        cells, torn, first, number = [[] for _ in places], 0, 0, 0
        for number, row in enumerate(rows, 1):
            if len(row) < need:
                torn += bool(row)
                first = first or (number if row else 0)
                continue
            for column, place in zip(cells, places, strict=True):
                column.append(row[place])
    note(issues, "comment", passed, "lines before the columns' names, passed over")
    note(issues, "incomplete line", torn, "lines with fewer cells than the header, dropped", first)
    return dict(zip(wanted, cells, strict=True)), len(cells[0])


def _parquet(path, mapping, issues):
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise InputError(f"Parquet {INSTALL}", str(path)) from error
    try:
        header = pq.read_schema(path).names
        wanted = _wanted(path, mapping, header, issues)
        table = pq.read_table(path, columns=wanted)
    except pa.ArrowException as error:
        raise InputError(f"is not readable as Parquet: {error}", str(path)) from error
    return {name: table.column(name).to_pylist() for name in wanted}, table.num_rows


def make(name, table, mapping, issues, rows):
    """Return the Log of columns of cells: one clock, in order, cleaned, with everything that was met counted."""
    zone = stamps.zone_of(mapping.zone) if mapping.zone else None
    cells = table[mapping.time]
    if mapping.time_of_day:
        cells = stamps.joined(cells, table[mapping.time_of_day])
    seconds, known = stamps.parse(cells, mapping.clock, issues)
    utc = stamps.to_utc(seconds, known, zone, issues)
    columns = {}

    def numbers(key, column):
        if column is not None:
            reader = Reader(column, mapping, issues)
            columns[key] = reader.read(table[column.name], table.get(column.unit_column))

    def truths(key, state):
        if state is not None:
            columns[key] = states(table[state.name], state, mapping)

    numbers("level", mapping.level)
    numbers("rain", mapping.rain)
    truths("mains", mapping.mains)
    for contact, state in mapping.contacts.items():
        truths(contact, state)
    for i in (0, 1):
        truths(f"pump{i}", mapping.pumps[i])
        numbers(f"current{i}", mapping.currents[i])
    doubts.stamps_scrambled(utc, [columns[key] for key in ("level",) if key in columns], name)
    places, again = cleaning.order(utc, issues)
    places = cleaning.duplicates(places, again, list(columns.values()), issues)
    if not len(places):
        raise InputError(f'no row has a time that can be read in column "{mapping.time}" as {mapping.clock}', name)
    begins = _begins(utc[places[0]], zone, mapping, known.any())
    columns = {key: values[places] for key, values in columns.items()}
    found = Log(name, begins, utc[places] - utc[places[0]], issues=issues, rows_read=rows)
    changes = mapping.rows == "changes" or (
        not mapping.rows and (bool(mapping.names) or _looks_held(found.time_s, columns)))  # fmt: skip
    found.gaps = [] if changes else cleaning.gaps(found.time_s, issues)
    _channels(found, columns, mapping)
    if changes:
        held.apply(found)
    return found


def _looks_held(time_s, columns):
    numbers = [columns[key] for key in ("level", "rain", "current0", "current1") if key in columns]
    return held.looks_held(time_s, numbers, [values for key, values in columns.items() if values.dtype.kind == "i"])


def _begins(second, zone, mapping, known):
    if mapping.clock == "seconds":
        return datetime(1970, 1, 1) + timedelta(seconds=float(second))
    when = datetime(1970, 1, 1) + timedelta(seconds=float(second))
    if zone is not None or known:
        return when.replace(tzinfo=UTC).astimezone(zone or UTC)
    return when


def _channels(found, columns, mapping):
    issues = found.issues
    if "level" in columns:
        found.level_m = columns["level"]
        cleaning.drop_outs(found.level_m, "the level", issues, cleaning.LOWEST_M, cleaning.HIGHEST_M)
        apart = float(np.median(np.diff(found.time_s))) if len(found.time_s) > 1 else 0.0
        cleaning.spikes(found.level_m, issues, mapping.spike_m, apart)
    if "rain" in columns:
        found.rain_m_s = columns["rain"]
        cleaning.drop_outs(found.rain_m_s, "the rain", issues, 0.0, 1.0 / 60.0)
    found.mains = columns.get("mains")
    for contact in mapping.contacts:
        found.contacts[contact] = columns[contact]
    for i in (0, 1):
        found.pumps[i] = columns.get(f"pump{i}")
        found.current_a[i] = columns.get(f"current{i}")
        if found.current_a[i] is not None:
            cleaning.drop_outs(found.current_a[i], f"current {i + 1}", issues, -1.0, 500.0)
    for key, values in (("mains", found.mains), *found.contacts.items(),
                        ("pump 1", found.pumps[0]), ("pump 2", found.pumps[1])):  # fmt: skip
        if values is not None:
            note(issues, "drop-out", int((values < 0).sum()), f"missing readings of {key}")


def require_water(log, mapping):
    """Raise InputError where a log, read by a mapping, has no two rows, or no reading of the water at all."""
    if len(log.time_s) < 2:
        lines = ["two rows at different times are required: this log has one"]
        if log.rows_read > 1 and not mapping.time_of_day:
            lines = [f"two rows at different times are required: all {log.rows_read} have one time. If date and time "
                     "are in two columns, name the second as time_of_day in [time]"]  # fmt: skip
        raise InputError(lines, log.name)
    if log.level_m is not None and not np.isnan(log.level_m).all():
        return
    if any((values >= 0).any() for values in log.contacts.values()):
        return
    if any(values is not None and (values >= 0).any() for values in log.pumps):
        return
    raise InputError("has no readable level, no readable contact and no readable pump state", log.name)
