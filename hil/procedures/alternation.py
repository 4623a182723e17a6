"""Taking turns over several cycles."""

from ._steps import ALTERNATE, cycle, ready

ORDER = 80
PURPOSE = "Over four cycles the lead turn changes from pump to pump, and each pump starts twice."
CLAUSES = ("D2",)
NEEDS = ("off", "lead", "pump_1", "pump_2")
CAUTION = "Each pump runs four times in a few minutes: with no water in the pit have the cords out."


def run(bench):
    ready(bench, duty=ALTERNATE)
    before = [bench.value("starts_1"), bench.value("starts_2")]
    leaders = []
    for _ in range(4):
        leaders.append(cycle(bench))
        bench.wait(bench.setting_s("min_off"))  # nobody is skipped for his rest
    told = ", ".join(f"pump {n}" for n in leaders)
    bench.check("the lead turn changes at each cycle", leaders in ([1, 2, 1, 2], [2, 1, 2, 1]), told)
    for n in (1, 2):
        found = bench.value(f"starts_{n}") - before[n - 1]
        bench.measure(f"starts of pump {n}", found, "starts", 2, 2)
