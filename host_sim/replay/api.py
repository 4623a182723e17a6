"""The replay as a library: `read`, `account`, `what_if`, `replay`, and their results as Arrow tables.

    from host_sim.replay import api

    log = api.read("flood.csv", site="my-basement.toml")     # mapping: flood.csv.map.toml, or mapping="..."
    found = api.account(log, "my-basement.toml", was="single")
    found.limits, found.findings, found.flow                 # dataclasses; what each holds stands in its docstring
    api.tables(found)["inflow"].to_pandas()                  # pyarrow.Table, or pandas where that is installed
    api.what_if(found, ["repaired", "pump=150%"])            # list of Outcome
    api.replay("journal.jsonl").passed                       # our own journal, bit for bit

Everything is SI, times are seconds since the log began.  What cannot be used
raises `host_sim.errors.InputError`, whose `problems` are sentences.
"""

import json
from pathlib import Path

import numpy as np

from host_sim.errors import InputError
from host_sim.replay import exact, night, other_firmware, plain_data
from host_sim.replay.inputs import MADE_BY, beside, settings_for_levels, site_of
from host_sim.replay.reading import mapping as maps
from host_sim.replay.reading import sources, table_log
from host_sim.report.units import US

FORMATS = (".parquet", ".csv")


def read(path, site, mapping=None):
    """Return the `reading.log.Log` of a file: one of our journals, CSV (also gzip), or Parquet.

    `site` is a Site, a site file or a packaged scenario's name; `mapping` is a
    Mapping, its TOML file, or None for the one beside the log.  Raises InputError.
    """
    plan = _site(site)
    if sources.is_journal(path):
        found, issues = sources.journal(path)
        return sources.log_of(found, plan, Path(path).name, issues)
    how = mapping if isinstance(mapping, maps.Mapping) else maps.load(mapping or beside(path))
    log = table_log.read(path, how)
    table_log.require_water(log, how)
    return sources.with_levels(log, plan)


def account(log, site, was="single", settings=(), firmware=None, units=US):
    """Return the `night.Account` of a Log: what it can tell, findings, inflow, runs; nothing is tried yet.

    `was` is what controlled the pumps, "single" or "duplex"; `settings` are
    NAME=VALUE texts and `firmware` a folder, of our controller fed with the
    logged water.  Raises InputError.
    """
    plan = _site(site)
    module = other_firmware.load(firmware) if firmware else None
    values = settings_for_levels(plan, list(settings)) if log.level_m is not None else None
    return night.explain(log, plan, was, values, module, units)


def what_if(found, changes=(), settings=(), firmware=None):
    """Return [Outcome]: the night of an Account simulated as it was, then with each change ("repaired", "pump=150%").

    Without changes the usual ones are tried; [] where the log tells no inflow but
    bounds.  The outcomes are kept in `found.outcomes`.  Raises InputError.
    """
    module = other_firmware.load(firmware) if firmware else None
    found.outcomes, found.sweep, found.axes = [], [], []
    night.try_changes(found, list(changes), settings=list(settings), module=module)
    return found.outcomes


def replay(path, settings=None, firmware=None):
    """Return the `exact.Replay` of a journal of ours; `passed` says whether every output came out as recorded.

    `settings` is a list of integers in the firmware's order, or None for those of
    the journal.  Raises InputError.
    """
    module = other_firmware.load(firmware) if firmware else None
    return exact.replay(sources.journal(path)[0], settings, module, collect=True)


def tables(found):
    """Return {name: pyarrow.Table} of an Account: rows, inflow, findings, runs, outcomes.

    `.to_pandas()` of each gives a data frame.  Raises InputError where pyarrow is missing.
    """
    import pyarrow as pa  # slow to import, and an extra of its own

    flow = found.flow
    inflow = {"time_s": [], "low_m3s": [], "flow_m3s": [], "high_m3s": [], "held": []}
    if flow is not None:
        inflow = {"time_s": flow.time_s, "low_m3s": flow.low_m3s,
                  "flow_m3s": np.full(len(flow.time_s), np.nan) if flow.bounds else flow.flow_m3s,
                  "high_m3s": flow.high_m3s, "held": flow.held}  # fmt: skip
    findings = [{"kind": f.kind, "confidence": f.confidence, "start_s": f.start_s, "end_s": f.end_s, "text": f.text,
                 "evidence": f.evidence, "causes": f.causes} for f in found.findings]  # fmt: skip
    runs = [{"pump": one.pump, "start_s": one.start_s, "end_s": one.end_s, "by": one.why}
 for one in found.runs]
    outcomes = [{"change": one.change, "highest_m": one.highest_m, "floor_wet_s": one.floor_wet_s,
                 "first_alarm_s": one.first_alarm_s, "starts": one.starts, "floor_dry": one.dry}
                for one in found.outcomes]  # fmt: skip
    schemas = _schemas(pa)
    return {
        "rows": pa.table(rows_of(found)),
        "inflow": pa.table(inflow, schema=schemas["inflow"]),
        "findings": pa.Table.from_pylist(findings, schema=schemas["findings"]),
        "runs": pa.Table.from_pylist(runs, schema=schemas["runs"]),
        "outcomes": pa.Table.from_pylist(outcomes, schema=schemas["outcomes"]),
    }


def _schemas(pa):
    number, text, truth = pa.float64(), pa.string(), pa.bool_()
    return {
        "inflow": pa.schema([("time_s", number), ("low_m3s", number), ("flow_m3s", number), ("high_m3s", number),
                             ("held", truth)]),
        "findings": pa.schema([("kind", text), ("confidence", text), ("start_s", number), ("end_s", number),
                               ("text", text), ("evidence", pa.list_(text)), ("causes", pa.list_(text))]),
        "runs": pa.schema([("pump", pa.int64()), ("start_s", number), ("end_s", number), ("by", text)]),
        "outcomes": pa.schema([("change", text), ("highest_m", number), ("floor_wet_s", number),
                               ("first_alarm_s", number), ("starts", pa.int64()), ("floor_dry", truth)]),
    }  # fmt: skip


def rows_of(found):
    """Return {column: array} of an Account's log, a row each, with what was found beside it.

    `time` is a datetime64 on the log's own clock; `pumps_on` is how many pumps
    ran, recorded or found in the level (-1: not known); the inflow is nan where
    the log does not tell it, and its low and high are then bounds.
    """
    log, flow = found.log, found.flow
    begins = np.datetime64(log.begins.replace(tzinfo=None), "ms")
    table = {"time": begins + (log.time_s * 1000.0).round().astype("timedelta64[ms]"), "time_s": log.time_s}
    if log.level_m is not None:
        table["level_m"] = log.level_m
    for name, values in log.contacts.items():
        table[f"contact_{name}"] = values
    for n in (0, 1):
        for name, values in ((f"pump_{n + 1}", log.pumps[n]), (f"current_{n + 1}_a", log.current_a[n])):
            if values is not None:
                table[name] = values
    if log.mains is not None:
        table["mains"] = log.mains
    if log.rain_m_s is not None:
        table["rain_m_s"] = log.rain_m_s
    table["pumps_on"] = night.pumps_on(log, found.parts).astype(np.int8)
    empty = np.full(len(log.time_s), np.nan)
    for name in ("low", "flow", "high"):
        known = flow is not None and not (flow.bounds and name == "flow")
        values = np.interp(log.time_s, flow.time_s, getattr(flow, f"{name}_m3s")) if known else empty
        table[f"inflow_{name}_m3s"] = values
    return table


def check_export(path):
    """Raise InputError where an export cannot be written to a path, or would overwrite what no replay of ours wrote."""
    path = Path(path)
    if path.suffix.lower() not in FORMATS:
        raise InputError(f"{path.name}: a name that ends in {' or '.join(FORMATS)} is required", "--export")
    if path.suffix.lower() == ".parquet":
        _pyarrow()
    if path.exists() and not _is_ours(path):
        raise InputError(f"{path} is there already, and no replay of ours wrote it: name another file", "--export")


def export(found, path):
    """Write an Account's rows with what was found to a Parquet or CSV file.

    A Parquet file carries the whole account as JSON in its metadata.  Raises
 InputError where it cannot be written.
    """
    check_export(path)
    path, rows = Path(path), rows_of(found)
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        if path.suffix.lower() == ".csv":
            _csv(rows, path)
            return
        pa, pq = _pyarrow()
        table = pa.table(rows).replace_schema_metadata(
            {"made_by": MADE_BY, "account": json.dumps(plain_data.as_json(found))})
        pq.write_table(table, path)
    except OSError as error:
        raise InputError(f"{path} cannot be written ({error.strerror or error})", "--export") from error


def _csv(rows, path):
    with path.open("w", newline="", encoding="utf-8") as file:
        file.write(f"# {MADE_BY}: SI units; nan and -1: not known\n")
        file.write(",".join(rows) + "\n")
        for cells in zip(*rows.values(), strict=True):
            file.write(",".join(str(cell) if not isinstance(cell, float) else f"{cell:.9g}" for cell in cells) + "\n")


def _pyarrow():
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise InputError(f"Parquet {table_log.INSTALL}", "--export") from error
    return pa, pq


def _is_ours(path):
    try:
        if path.suffix.lower() == ".csv":
            with path.open(encoding="utf-8", errors="replace") as file:
                return file.readline().startswith(f"# {MADE_BY}:")
        return (_pyarrow()[1].read_schema(path).metadata or {}).get(b"made_by") == MADE_BY.encode()
    except (OSError, ValueError):
        return False


def _site(site):
    return site if hasattr(site, "pit") else site_of(site)
