"""The work of `sumpbench replay --long`, `replay-benchmark` and `replay-trial`: counts and measurements."""

import json
import tempfile

import numpy as np
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from host_sim.errors import InputError
from host_sim.replay import account as words
from host_sim.replay import benchmark as bench
from host_sim.replay import other_firmware, plain_data, streaming, trial
from host_sim.replay.inputs import MADE_BY, SUMMARY, check_folder, mapping_of, settings_for_levels, site_of
from host_sim.report import files
from host_sim.report.console import console
from host_sim.report.units import units as unit_system


def refuse_with_long(given):
    """Raise InputError for options, {name: value}, that mean nothing to counts of a long log."""
    told = [name for name, value in given.items() if value]
    if told:
        raise InputError(f"--long only counts and simulates nothing: leave out {', '.join(told)}, or leave out --long "
                         "and give a night of the log", told[0])  # fmt: skip


def run_streaming(path, site, mapping, ask, settings, firmware, units_name, out):
    """Take a long log through the firmware and count; returns the exit code as `run()` does.  Raises InputError."""
    check_folder(out)
    units, screen = unit_system(units_name), console()
    module = other_firmware.load(firmware) if firmware else None
    plan = site_of(site)
    values = settings_for_levels(plan, settings)
    found_map = mapping_of(screen, path, mapping, ask)
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console(stderr=True), transient=True) as bar:
        task = bar.add_task("the long log", total=1.0)
        found = streaming.run(path, found_map, plan, values, module, lambda done: bar.update(task, completed=done))
    for line in words.streaming_lines(found, plan, units):
        screen.print(Text(line))
    files.write(out, SUMMARY, json.dumps({"made_by": MADE_BY, **plain_data.streaming_json(found)
}, indent=1) + "\n")
    screen.print(Text(f"Day by day: {out}/{SUMMARY}"))
    if found.coarse:
        screen.print(Text("The controller was not fed with this log: it proves nothing about it.", style="bold"))
    elif not any(found.starts):
        screen.print(Text("No pump ever ran in this log: it proves nothing about the controller.", style="bold"))
    screen.print(Text(words.CAUTIONS))
    return 0 if any(found.starts) else 1


def benchmark(rows, as_json, folder):
    """Measure a long log against reading it only, in Parquet and CSV; prints, returns 0.  Raises InputError."""
    if not 10_000 <= rows <= 10 * bench.YEAR_ROWS:
        raise InputError(f"{rows} rows: from 10,000 to {10 * bench.YEAR_ROWS:,} are allowed", "--rows")
    with tempfile.TemporaryDirectory(dir=folder) as place:
        found = [part for suffix in ("parquet", "csv") for part in bench.compare(place, rows, suffix)]
    if as_json:
        print(json.dumps(found, indent=1))
        return 0
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("format", "what", "rows", "wall s", "processor s", "rows / processor s", "peak MB"):
        table.add_column(heading, justify="right")
    for part in found:
        what = "read only" if part["what"] == "read" else "through the firmware"
        table.add_row(part["format"], what, f"{part['rows']:,}", f"{part['seconds']:.1f}", f"{part['cpu_s']:.1f}",
                      f"{part['rows_per_s']:,.0f}", f"{part['peak_bytes'] / 1e6:.0f}")  # fmt: skip
    console().print(table)
    return 0


def trials(nights, as_json):
    """Simulate nights and score the findings and the inflow found in their logs; prints, returns 0."""
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console(stderr=True), transient=True) as bar:
        task = bar.add_task("findings", total=2.0)
        table, misses = trial.score_findings(nights, lambda done: bar.update(task, completed=done))
        rows = trial.score_inflow(min(nights, 110), lambda done: bar.update(task, completed=1.0 + done))
    errors, volumes = np.array([row[1] for row in rows]), np.array([abs(row[2]) for row in rows])
    inside = np.array([row[3] for row in rows])
    if as_json:
        print(json.dumps({"findings": table, "misses": misses, "inflow": rows}, indent=1))
        return 0
    shown = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("finding", "present, found", "present, missed", "absent, found", "absent, not found", "left open"):
        shown.add_column(heading, justify="left" if heading == "finding" else "right")
    for kind, counts in table.items():
        shown.add_row(kind, *map(str, counts))
    screen = console()
    screen.print(shown)
    screen.print(Text(f"Inflow on {len(rows)} nights, as a share of the night's mean: error median "
                      f"{np.median(errors):.1%}, worst {errors.max():.1%} ({rows[int(errors.argmax())][0]}); volume "
                      f"median {np.median(volumes):.1%}, worst {volumes.max():.1%}; truth within the band "
                      f"{inside.mean():.0%} of the time"))  # fmt: skip
    return 0
