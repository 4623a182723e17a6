"""More inflow than both pumps carry."""

from ._steps import begin, drain, fill, first_starts, off_limit_s, pump, ready, shorter, start_limit_s, timing

ORDER = 120
PURPOSE = (
    "Both pumps running for `not_keeping_up`, or, with high dry, lag wet for 60 s or lead wet for `not_keeping_up`, "
    "raise a high-priority alarm, with horn and alarm relay."
)
CLAUSES = ("D5", "A1", "A3")
NEEDS = ("off", "lead", "lag", "high", "pump_1", "pump_2", "horn", "relay")
CAUTION = (
    "Both pumps run for not_keeping_up (10 min unless set otherwise), then one for as long again: water over the "
    "inlets, or unplug both pumps."
)
SHORT_MS = 120000  # longer than lag's own time
LAG_MS = 60000  # D5


def run(bench):
    shorter(bench, not_keeping_up=SHORT_MS)
    ready(bench)
    limit_ms, debounce_ms = bench.setting("not_keeping_up"), bench.setting("debounce")
    # Where high has read wet, the contacts below it raise nothing: what is left is the two pumps' own time.
    began = bench.kit.now_ms()
    fill(bench, "high")
    _, both = first_starts(bench, 2, start_limit_s(bench), began)[-1]
    bench.when_alarm("high_water", debounce_ms / 1000 + 2, "unacknowledged")
    bench.press("silence")
    alarm_ms = bench.when_alarm("not_keeping_up", limit_ms / 1000 + 10, "unacknowledged")
    timing(bench, "both running to the alarm", alarm_ms - both, limit_ms)
    bench.check("the horn sounds", bench.is_on("horn"))
    bench.check("the alarm relay drops out", not bench.is_on("relay"))
    _over(bench, "high")

    begin(bench, "lag")
    wet = bench.mark_ms
    alarm_ms = bench.when_alarm("not_keeping_up", LAG_MS / 1000 + 10, "unacknowledged")
    timing(bench, "lag wet to the alarm", alarm_ms - wet, debounce_ms + LAG_MS)
    bench.check("lag wet: the alarm relay drops out", not bench.is_on("relay"))
    _over(bench, "lag")

    begin(bench)
    wet = bench.mark_ms
    alarm_ms = bench.when_alarm("not_keeping_up", limit_ms / 1000 + 10, "unacknowledged")
    timing(bench, "lead wet to the alarm", alarm_ms - wet, debounce_ms + limit_ms)
    bench.check("lead wet: the alarm relay drops out", not bench.is_on("relay"))
    _over(bench, "lead")


def _over(bench, top):
    bench.press("silence")
    drain(bench, top)
    for n in (1, 2):
        bench.when(pump(n), 0, off_limit_s(bench))
    bench.wait(1)
    found = bench.alarm("not_keeping_up")
    bench.check(f"the alarm has cleared after {top}", found == "normal", found)
