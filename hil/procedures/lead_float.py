"""The lead float, stuck wet and stuck dry."""

from ._steps import (
    LATE_MS,
    are_suspect,
    at_most,
    both_off,
    first_on,
    fitted,
    off_limit_s,
    pump,
    ready,
    run_dry,
    running,
    runs,
    start_limit_s,
    stick,
    suspects,
    timing,
)

ORDER = 270
PURPOSE = (
    "A lead float stuck wet runs no pump dry for long; stuck dry, the lag float starts the pumps and lead is suspect."
)
CLAUSES = ("L2", "L3", "R1", "I13", "I14")
NEEDS = ("off", "lead", "lag", "pump_1", "pump_2")
CAUTION = "The horn sounds. Stuck wet, pumps run dry, up to blind_run (35 s) each: unplug both pumps."


def run(bench):
    fitted(bench, "off", "lead", "lag")
    ready(bench)
    longest_ms = run_dry(bench)
    stick(bench, "lead", wet=True)
    wet = bench.mark_ms
    bench.wait((2 * longest_ms + bench.setting("debounce") + bench.setting("start_spacing") + LATE_MS) / 1000 + 2)
    seen = runs(bench, wet)
    bench.check("a pump was started", bool(seen), f"{len(seen)} starts")
    for n, on, off in seen:
        at_most(bench, f"dry run of pump {n}", off - on, longest_ms)
    found = suspects(bench)
    bench.check("lead is suspect", "lead" in found, ", ".join(found) or "no suspect")
    both_off(bench, 2 * bench.setting_s("lag_min_off"))
    bench.float("lead", wet=False)
    bench.wait(3)
    bench.draw_normally()
    bench.press("reset")
    bench.press("silence")
    bench.wait(bench.setting_s("min_off"))

    stick(bench, "lead", wet=False)
    bench.float("off")
    bench.wait(5)
    bench.float("lag")
    wet = bench.mark_ms
    _, at = first_on(bench, start_limit_s(bench), wet)
    timing(bench, "lag wet with lead dry to pump on", at - wet, bench.setting("debounce"))
    bench.when_alarm("floats_out_of_sequence", bench.setting_s("sequence_time") + 5)
    are_suspect(bench, "lead")
    bench.press("silence")
    bench.float("lag", wet=False)
    bench.wait(3)
    bench.check("pumping lasts until off is dry", bool(running(bench)), running(bench) or "none")
    bench.float("off", wet=False)
    for n in (1, 2):
        bench.kit.run_until(lambda n=n: not bench.is_on(pump(n)), round(1000 * off_limit_s(bench)))
    both_off(bench, 3)
