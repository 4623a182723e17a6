"""A lead pump that runs too long below lag."""

from ._steps import ALTERNATE, begin, between, drain, off_limit_s, other, pump, ready, shorter, timing

ORDER = 110
PURPOSE = "A lead pump that has run for max_run with the water below lag stops, and the other takes over."
CLAUSES = ("D4",)
NEEDS = ("off", "lead", "pump_1", "pump_2")
CAUTION = "Each pump runs for max_run (20 min unless set otherwise): water over the inlets, or unplug both pumps."
SHORT_MS = 60000


def run(bench):
    shorter(bench, max_run=max(SHORT_MS, bench.setting("blind_run")))
    ready(bench, duty=ALTERNATE)
    before = bench.value("long_runs")
    leader, started = begin(bench)
    max_run_ms = bench.setting("max_run")
    off = bench.when(pump(leader), 0, max_run_ms / 1000 + 10)
    timing(bench, "run of the first pump", off - started, max_run_ms)
    on = bench.when(pump(other(leader)), 1, 10)
    between(bench, "stop of the first to start of the other", on - off, 100, 100)
    counted = bench.value("long_runs") - before
    bench.check("the long run is counted once", counted == 1, counted)

    drain(bench)
    bench.when(pump(other(leader)), 0, off_limit_s(bench))
