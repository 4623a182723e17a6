"""The lag float, stuck wet and stuck dry."""

from ._steps import are_suspect, both_off, first_on, fitted, other, pump, ready, start_limit_s, stick, timing

ORDER = 280
PURPOSE = (
    "A lag float stuck wet becomes suspect after sequence_time; stuck dry, high water still starts the second pump."
)
CLAUSES = ("L2", "D1")
NEEDS = ("off", "lead", "lag", "high", "pump_1", "pump_2")
CAUTION = "The horn sounds. Stuck wet, both pumps run dry for sequence_time (20 s): unplug both pumps."


def run(bench):
    fitted(bench, "off", "lead", "lag", "high")
    ready(bench)
    stick(bench, "lag", wet=True)
    wet = bench.mark_ms
    found_ms = bench.setting("debounce") + bench.setting("sequence_time")
    for n in (1, 2):
        bench.when(pump(n), 1, bench.setting_s("start_spacing") + bench.setting_s("debounce") + 2)
    for n in (1, 2):
        timing(bench, f"lag stuck wet to pump {n} off", bench.when(pump(n), 0, found_ms / 1000 + 5) - wet, found_ms)
    are_suspect(bench, "lag")
    both_off(bench, bench.setting_s("min_off"))
    bench.float("lag", wet=False)
    bench.wait(3)
    bench.press("silence")

    stick(bench, "lag", wet=False)
    bench.float("off")
    bench.wait(3)
    bench.float("lead")
    leader, _ = first_on(bench, start_limit_s(bench), bench.mark_ms)
    bench.wait(bench.setting_s("start_spacing") + 2)
    bench.float("high")
    wet = bench.mark_ms
    on = bench.when(pump(other(leader)), 1, bench.setting_s("debounce") + 5)
    timing(bench, "high wet with lag dry to second pump", on - wet, bench.setting("debounce"))
    bench.when_alarm("floats_out_of_sequence", bench.setting_s("sequence_time") + 5)
    are_suspect(bench, "lag")
    bench.press("silence")
    for name in ("high", "lead", "off"):
        bench.float(name, wet=False)
        bench.wait(3)
    both_off(bench, 3)
