"""A contact that bounces."""

from ._steps import both_off, drain, first_on, fitted, ready, start_limit_s, timing

ORDER = 70
PURPOSE = "A contact changes only after its new state has lasted for `debounce` without a break."
CLAUSES = ("L1",)
NEEDS = ("off", "lead", "pump_1", "pump_2")
CAUTION = "A pump starts: water over the inlets, or unplug both pumps."


def run(bench):
    fitted(bench, "lead")
    ready(bench)
    bench.water("off")
    bench.wait(3)
    bench.float("lead")
    bench.wait(bench.setting_s("debounce") / 2)
    bench.float("lead", wet=False)
    both_off(bench, bench.setting_s("debounce") + bench.setting_s("lag_min_off"))

    bench.float("lead")
    wet = bench.mark_ms
    _, at = first_on(bench, start_limit_s(bench), wet)
    timing(bench, "lead wet to pump on", at - wet, bench.setting("debounce"))
    bench.wait(bench.setting_s("min_run"))
    drain(bench)
