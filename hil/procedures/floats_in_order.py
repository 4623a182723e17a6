"""Water rising and falling past all four floats."""

from ._steps import both_off, first_on, fitted, off_limit_s, other, pump, ready, running, start_limit_s, timing

ORDER = 50
PURPOSE = "Floats in order: lead starts one pump, lag the other, both run until the off float is dry."
CLAUSES = ("D1", "L1")
NEEDS = ("off", "lead", "lag", "high", "pump_1", "pump_2")
CAUTION = "The high-water alarm sounds and both pumps start: with no water in the pit unplug both pumps."
REAL_TIME = True
STEP_S = 4  # longer than the debounce, and than the 2 s of L7


def run(bench):
    fitted(bench, "off", "lead", "lag", "high")
    ready(bench)
    debounce_ms = bench.setting("debounce")

    bench.water("off")
    both_off(bench, STEP_S)
    bench.water("off", "lead")
    wet = bench.mark_ms
    first, at = first_on(bench, start_limit_s(bench), wet)
    timing(bench, "lead wet to first pump", at - wet, debounce_ms)
    bench.stays(pump(other(first)), 0, max(STEP_S, bench.setting_s("start_spacing")))
    bench.water("off", "lead", "lag")
    timing(bench, "lag wet to second pump", bench.when(pump(other(first)), 1, 10) - bench.mark_ms, debounce_ms)
    bench.wait(STEP_S)
    bench.water("off", "lead", "lag", "high")
    bench.wait(STEP_S)

    for wet_still in (("off", "lead", "lag"), ("off", "lead"), ("off",)):
        bench.water(*wet_still)
        bench.wait(STEP_S)
        names = " and ".join(wet_still)
        bench.check(f"both pumps keep running with {names} wet", len(running(bench)) == 2, running(bench) or "none")
    bench.wait(bench.setting_s("min_run"))
    bench.water()
    dry = bench.mark_ms
    for n in (1, 2):
        timing(bench, f"off dry to pump {n} off", bench.when(pump(n), 0, off_limit_s(bench)) - dry, debounce_ms)
