"""A month of statuses as one Parquet file, for DuckDB or any reader of columns."""

import time
from calendar import monthrange
from datetime import UTC, datetime
from pathlib import Path

from hil.remote.fleet.store import STATUS_FIELDS
from host_sim.errors import InputError


def stretch(month):
    """Return (begin, end) in s since 1970-01-01 of a month "2026-11" in UTC.  Raises InputError."""
    try:
        first = datetime.strptime(month, "%Y-%m").replace(tzinfo=UTC)
    except ValueError as error:
        raise InputError(f'"{month}": write year and month, as in {time.strftime("%Y-%m")}', "--month") from error
    return first.timestamp(), first.timestamp() + monthrange(first.year, first.month)[1] * 86400.0


def export(store, month, folder):
    """Write `folder`/status-MONTH.parquet; return (path, rows).  Raises InputError."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise InputError('pyarrow is missing: python -m pip install "sumpbench[fleet]"', "parquet") from error
    begin, end = stretch(month)
    kinds = {"pit": pa.dictionary(pa.int32(), pa.string()), "box": pa.dictionary(pa.int32(), pa.string()),
             "alarms": pa.dictionary(pa.int32(), pa.string()), "at": pa.float64(), "up": pa.int8(), "mains": pa.int8(),
             "n": pa.int64()}  # fmt: skip
    schema = pa.schema([(name, kinds.get(name, pa.int64())) for name in STATUS_FIELDS])
    path, count = Path(folder) / f"status-{month}.parquet", 0
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(".part")
        with pq.ParquetWriter(part, schema, compression="zstd") as writer:
            for rows in store.all_statuses(begin, end):
                columns = [
                    pa.array(column, kind.type) for column, kind in zip(zip(*rows, strict=True), schema, strict=True)
                ]
                writer.write_table(pa.Table.from_arrays(columns, schema=schema))
                count += len(rows)
        part.replace(path)
    except OSError as error:
        raise InputError(f"cannot be written: {error}", str(path)) from error
    return path, count
