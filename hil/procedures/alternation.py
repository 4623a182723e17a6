"""Alternation over several cycles."""

from ._steps import ALTERNATE, cycle, ready

ORDER = 80
PURPOSE = "Over four cycles the lead alternates, and each pump starts twice."
CLAUSES = ("D2",)
NEEDS = ("off", "lead", "pump_1", "pump_2")
CAUTION = "Each pump starts twice in a few minutes: with no water in the pit unplug both pumps."


def run(bench):
    ready(bench, duty=ALTERNATE)
    before = [bench.value("starts_1"), bench.value("starts_2")]
    leaders = []
    for _ in range(4):
        leaders.append(cycle(bench))
        bench.wait(bench.setting_s("min_off"))  # so that no turn is skipped for a rest
    seen = ", ".join(f"pump {n}" for n in leaders)
    bench.check("the lead alternates at each cycle", leaders in ([1, 2, 1, 2], [2, 1, 2, 1]), seen)
    for n in (1, 2):
        found = bench.value(f"starts_{n}") - before[n - 1]
        bench.measure(f"starts of pump {n}", found, "starts", 2, 2)
