"""More inflow than both pumps carry."""

from ._steps import begin, drain, off_limit_s, other, pump, ready, shorter, timing

ORDER = 120
PURPOSE = "Both pumps running for `not_keeping_up` raise a high-priority alarm, with horn and alarm relay."
CLAUSES = ("D5", "A1", "A3")
NEEDS = ("off", "lead", "lag", "pump_1", "pump_2", "horn", "relay")
CAUTION = (
    "Both pumps run for not_keeping_up (10 min unless set otherwise): water over the inlets, or unplug both pumps."
)
SHORT_MS = 60000


def run(bench):
    shorter(bench, not_keeping_up=SHORT_MS)
    ready(bench)
    leader, _ = begin(bench, "lag")
    both = bench.when(pump(other(leader)), 1, 30)
    limit_ms = bench.setting("not_keeping_up")
    alarm_ms = bench.when_alarm("not_keeping_up", limit_ms / 1000 + 10, "unacknowledged")
    timing(bench, "both running to the alarm", alarm_ms - both, limit_ms)
    bench.check("the horn sounds", bench.is_on("horn"))
    bench.check("the alarm relay drops out", not bench.is_on("relay"))

    bench.press("silence")
    drain(bench, "lag")
    for n in (1, 2):
        bench.when(pump(n), 0, off_limit_s(bench))
    bench.wait(1)
    found = bench.alarm("not_keeping_up")
    bench.check("the alarm has cleared", found == "normal", found)
