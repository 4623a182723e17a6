"""A rise that one pump does not stop."""

from ._steps import begin, drain, off_limit_s, other, pump, ready, running, timing

ORDER = 90
PURPOSE = "Water rising past the lag float while one pump runs starts the other and is counted."
CLAUSES = ("D1", "D5", "S2")
NEEDS = ("off", "lead", "lag", "pump_1", "pump_2")
CAUTION = "Both pumps run at once: mind the circuit's rating, and with no water in the pit unplug both pumps."


def run(bench):
    ready(bench)
    before = bench.value("lag_reached")
    leader, started = begin(bench)
    bench.wait(2.1)
    bench.water("off", "lead", "lag")
    spacing_ms, debounce_ms = bench.setting("start_spacing"), bench.setting("debounce")
    due_ms = max(spacing_ms, bench.mark_ms + debounce_ms - started)
    second = bench.when(pump(other(leader)), 1, spacing_ms / 1000 + 10)
    timing(bench, "first start to second", second - started, due_ms)
    counted = bench.value("lag_reached") - before
    bench.check("the water at lag is counted once", counted == 1, counted)

    drain(bench, "lag")
    bench.check("both run until off is dry", len(running(bench)) == 2, running(bench) or "none")
    for n in (1, 2):
        bench.when(pump(n), 0, off_limit_s(bench))
