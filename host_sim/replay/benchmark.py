"""How fast a long log goes through the firmware, beside merely reading the same file with pyarrow, in one run.

Each measurement runs in a process of its own, so that its peak of memory is its own.
"""

import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from host_sim.replay import streaming
from host_sim.replay.reading import mapping

DAY_S = 86400
YEAR_ROWS = 365 * DAY_S
BEGINS_S = 1704067200  # 2024-01-01 00:00 UTC


WEEK_S = 7 * DAY_S
GPM = 6.30902e-5


def pattern(seed=1):
    """Return a week of an invented pit's level at one row a second: six quiet days of 0.4 gpm, one flood of 15 gpm.

    An array of 604,800 levels in metres.
    """
    # The simulator is kept out of the process that measures merely reading.
    from host_sim.plant.inflow import combine, steps_of_flow
    from host_sim.run.closed_loop import run
    from host_sim.site.load import load_site, packaged

    site = load_site(packaged("demo"))
    site.faults, site.actions = [], []
    site.duration_s = float(WEEK_S)
    flood = [(3.0, 0.4), (3.3, 15.0), (3.8, 0.4)]
    flows = [(0.0, 0.4), *flood, (7.0, 0.4)]
    site.inflow = combine([steps_of_flow([(days * DAY_S, q * GPM) for days, q in flows])])
    trace = run(site, seed=seed)
    return np.interp(np.arange(WEEK_S), trace.time_s, trace.level_m)


def write(path, rows, seed=1):
    """Write a log of so many rows, one a second, with two millimetres of noise, as CSV or Parquet by its name."""
    import pyarrow as pa
    import pyarrow.csv as pc
    import pyarrow.parquet as pq

    week, rng = pattern(seed), np.random.default_rng(seed)
    schema = pa.schema([("time", pa.timestamp("s", tz="UTC")), ("level_mm", pa.float64())])
    opened = pc.CSVWriter(path, schema) if str(path).endswith(".csv") else pq.ParquetWriter(path, schema)
    with opened as writer:
        for start in range(0, rows, DAY_S):
            n = min(DAY_S, rows - start)
            first = start % WEEK_S
            level = np.round(1000.0 * week[first : first + n] + rng.normal(0.0, 2.0, n), 0)
            stamps = pa.array(BEGINS_S + start + np.arange(n), pa.int64()).cast(pa.timestamp("s", tz="UTC"))
            writer.write_table(pa.table([stamps, pa.array(level)], schema=schema))


def mapping_of():
    """Return the mapping of what `write()` writes."""
    return mapping.read({"time": {"column": "time", "zone": "UTC"}, "level": {"column": "level_mm", "unit": "mm"}})


def measure(what, path):
    """Measure one thing in this process: "read" or "replay".

    Returns a dictionary with rows, seconds on the wall and of the processor,
    rows a second of the processor, and the peak of memory in bytes.
    """
    began, rows, extra = time.perf_counter(), 0, {}
    if what == "read":
        for _, columns in streaming.blocks(path, mapping_of()):
            rows += len(columns["level_mm"])
    else:
        from host_sim.site.load import load_site, packaged

        found = streaming.run(path, mapping_of(), load_site(packaged("demo")))
        rows = found.rows
        extra = {"steps": found.steps, "edges": found.edges, "starts": found.starts}
    seconds = time.perf_counter() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    used = time.process_time()
    return {"what": what, "rows": rows, "seconds": seconds, "cpu_s": used, "rows_per_s": rows / used,
            "peak_bytes": peak, **extra}  # fmt: skip


def compare(folder, rows, suffix):
    """Write a log into `folder` and return [reading, replaying] as `measure()` gives them, each in its own process."""
    path = Path(folder) / f"year.{suffix}"
    write(path, rows)
    found = []
    for what in ("read", "replay"):
        done = subprocess.run([sys.executable, "-m", "host_sim.replay.benchmark", what, str(path)], capture_output=True,
                              text=True, check=False, env=_environment())  # fmt: skip
        if done.returncode:
            raise RuntimeError(f"{what} of {path} failed: {done.stderr.strip()[-400:]}")
        found.append({**json.loads(done.stdout), "format": suffix, "file_bytes": path.stat().st_size})
    path.unlink()
    return found


def _environment():
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}


if __name__ == "__main__":
    print(json.dumps(measure(sys.argv[1], sys.argv[2])))
