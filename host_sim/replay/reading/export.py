"""Writes a log in the formats that can be read: CSV and Parquet with the mapping that reads them, and our journal."""

import csv
from pathlib import Path

import numpy as np

from host_sim.replay.reading.log import UNKNOWN
from host_sim.replay.reading.mapping import Column, Mapping, State


def mapping_of(log, kind, zone="UTC"):
    """Return the Mapping of what `write()` makes of a log."""
    found = Mapping("time", "iso", zone, kind)
    if log.level_m is not None:
        found.level = Column("level_m", "length", "m", None, 1.0)
    found.contacts = {name: State(name, ("1",)) for name in log.contacts}
    for i in (0, 1):
        if log.pumps[i] is not None:
            found.pumps[i] = State(f"pump_{i + 1}", ("1",))
        if log.current_a[i] is not None:
            found.currents[i] = Column(f"current_{i + 1}_a", "current", "A", None, 1.0)
    if log.mains is not None:
        found.mains = State("mains", ("1",))
    if log.rain_m_s is not None:
        found.rain = Column("rain_m_s", "rate", "m/s", None, 1.0)
    return found


def columns(log):
    """Return {column: list of cells} of a log; stamps are ISO with the offset that the log's clock has."""
    table = {"time": [log.at(t).isoformat(timespec="milliseconds")
                      for t in log.time_s]}  # fmt: skip

    def numbers(name, values):
        if values is not None:
            table[name] = [None if np.isnan(x) else float(x) for x in values]

    def truths(name, values):
        if values is not None:
            table[name] = [None if x == UNKNOWN else int(x) for x in values]

    numbers("level_m", log.level_m)
    for name, values in log.contacts.items():
        truths(name, values)
    for i in (0, 1):
        truths(f"pump_{i + 1}", log.pumps[i])
        numbers(f"current_{i + 1}_a", log.current_a[i])
    truths("mains", log.mains)
    numbers("rain_m_s", log.rain_m_s)
    return table


def write(log, path):
    """Write a log as CSV or Parquet, by the name's ending.  Raises ImportError where pyarrow is missing."""
    table = columns(log)
    if Path(path).suffix.lower() in (".parquet", ".pq"):
        import pyarrow as pa
        import pyarrow.parquet as pq

        pq.write_table(pa.table(table), path)
        return
    with Path(path).open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow(table)
        rows.writerows(zip(*table.values(), strict=True))
