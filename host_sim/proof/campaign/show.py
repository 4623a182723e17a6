"""What `sumpbench campaign` prints and writes."""

import json
import math
import sys
import time
from pathlib import Path

from rich.text import Text

from host_sim.errors import InputError
from host_sim.proof.campaign import campaign, nights, report
from host_sim.report.console import console, table_of


def run(nights_wanted, seed, out, workers, scheduler, only, as_json):
    """Run a campaign or one night of it.  Returns 0, or 1 where a promise was broken.  Raises InputError."""
    if nights_wanted < 1:
        raise InputError(f"--nights {nights_wanted}: 1 or more is wanted")
    if workers < 1:
        raise InputError(f"--workers {workers}: 1 or more is wanted")
    if only is not None:
        return _only(seed, only)
    shelf = campaign.Shelf(out, seed)
    before, began = len(shelf.wanted(nights_wanted)), time.perf_counter()
    bar = _bar(began, before) if sys.stderr.isatty() else None
    whole = campaign.run(shelf, nights_wanted, workers, scheduler, bar)
    shelf.close()
    if bar:
        sys.stderr.write("\n")
    records = shelf.wanted(nights_wanted)
    if not records:
        raise InputError("no night was finished: nothing to tell")
    seconds = time.perf_counter() - began
    _write(records, out)
    if as_json:
        print(json.dumps(_summary(records), indent=1))
    else:
        _tell(records, len(records) - before, seconds, workers, out)
    if not whole:
        sys.stderr.write(f"interrupted: {len(records)} of {nights_wanted} nights are kept; the same command goes on\n")
    return 1 if any(record["broken"] for record in records) else 0


def _bar(began, before):
    def show(done, total):
        rate = (done - before) / max(1e-9, time.perf_counter() - began)
        left = (total - done) / rate / 60.0 if rate else math.inf
        sys.stderr.write(f"\r{done} of {total} nights, {rate:.1f} a second, {left:.1f} min left\x1b[K")

    return show


def _only(seed, number):
    night = nights.draw(seed, number)
    record = campaign.one(seed, number)
    print(night.text.strip())
    for name, value in record.items():
        print(f"# {name}: {value}")
    return 1 if record["broken"] else 0


def _write(records, out):
    campaign.write_parquet(records, Path(out) / "nights.parquet")
    report.picture(records, Path(out) / "campaign.png")


def _summary(records):
    rows = report.by_fault(records)
    return {"nights": len(records), "broken": sum(bool(r["broken"]) for r in records),
            "by_fault": [_plain(row) for row in rows],
            "table": [_plain(row) for row in report.must_rows(records).values()],
            "worst": [{"night": report.reproduction(r), "broken": r["broken"]}
                      for r in report.worst(records)]}  # fmt: skip


def _plain(row):
    found = dict(vars(row))
    if math.isinf(found["least_lead_s"]):
        found["least_lead_s"] = None
    return found


def _tell(records, ran, seconds, workers, out):
    screen = console()
    columns = (("fault", "left", 24), ("must", "left", 7), ("nights", "right", 6), ("dry", "right", 6),
               ("flooded, called", "right", 8), ("silent", "right", 6), ("least warning", "right", 8),
               ("broken", "right", 6), ("float switch dry", "right", 8))  # fmt: skip
    table = table_of("Fault campaign against the real firmware", columns)
    for row in report.by_fault(records):
        _row(table, row)
    screen.print(table)
    kept = table_of("\nThe written table", columns)
    for row in report.must_rows(records).values():
        _row(kept, row)
    screen.print(kept)
    for record in report.worst(records):
        said = record["broken"] or f"flooded {record['floor_wet_s']:.0f} s, called {record['lead_s']:.0f} s before"
        screen.print(Text(f"{report.reproduction(record)}   {record['faults'] or '(no fault)'}: {said}"))
    for record in records:
        if record.get("excused"):
            screen.print(Text(f"{report.reproduction(record)}   {record['faults']}: {record['excused']}"))
    broken = sum(bool(record["broken"]) for record in records)
    rate = ran / seconds / workers if ran else 0.0
    screen.print(f"\n{len(records)} nights, {broken} with a broken promise; {ran} run now in {seconds:.0f} s, "
                 f"{rate:.2f} nights a second and core; {out}/nights.parquet, {out}/campaign.png")  # fmt: skip


def _row(table, row):
    lead = "" if math.isinf(row.least_lead_s) else f"{row.least_lead_s:.0f} s"
    table.add_row(row.name, row.must, str(row.nights), str(row.dry), str(row.alarmed), str(row.silent), lead,
                  str(row.broken), str(row.single_dry))  # fmt: skip
