"""Starts on a generator."""

from ._steps import begin, drain, off_limit_s, other, pump, ready, timing

ORDER = 360
PURPOSE = "On a generator the spacing of the two starts is longer, so that the second does not stall it."
CLAUSES = ("S2", "D1")
NEEDS = ("off", "lead", "lag", "generator", "pump_1", "pump_2")
CAUTION = (
    "Never run a generator indoors; it feeds a house only through a transfer switch. Both pumps start: water "
    "over the inlets, or unplug both pumps."
)


def run(bench):
    ready(bench)
    for generator, setting in ((True, "generator_spacing"), (False, "start_spacing")):
        bench.generator(generator)
        leader, started = begin(bench)
        bench.wait(max(0, 2.1 - (bench.kit.now_ms() - started) / 1000))
        bench.water("off", "lead", "lag")
        spacing_ms = max(bench.setting(setting), bench.mark_ms + bench.setting("debounce") - started)
        second = bench.when(pump(other(leader)), 1, spacing_ms / 1000 + 10)
        source = "on a generator" if generator else "on the mains"
        timing(bench, f"first start to second {source}", second - started, spacing_ms)
        bench.wait(bench.setting_s("min_run"))
        drain(bench, "lag")
        for n in (1, 2):
            bench.when(pump(n), 0, off_limit_s(bench))
        bench.wait(bench.setting_s("min_off"))
