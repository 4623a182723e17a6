"""Overcurrent and locked rotor."""

from ._steps import SENSE_CURRENT, at_most, begin, other, pump, ready, timing

ORDER = 220
PURPOSE = (
    "Overcurrent trips a pump after overload_time, a locked rotor 1 s after the inrush; with both tripped an "
    "alarm is raised."
)
CLAUSES = ("S7", "D3", "A1")
NEEDS = ("lead", "current", "pump_1", "pump_2", "relay")
CAUTION = (
    "The horn sounds, the alarm relay drops out. Never jam a pump to test this: the bench simulates the current. "
    "Unplug both pumps."
)
OVERLOAD = 4  # register pump_n_cause
ROTOR_MS = 2000  # S7: a second for the start, a second of it


def run(bench):
    ready(bench, sensing=SENSE_CURRENT)
    leader, _ = begin(bench)
    bench.wait(bench.setting_s("start_proof") + bench.setting_s("start_spacing") + 3)
    bench.draws(other(leader), "locked")

    bench.draws(leader, "over")
    over, overload_ms = bench.mark_ms, bench.setting("overload_time")
    off = bench.when(pump(leader), 0, overload_ms / 1000 + 5)
    timing(bench, "overcurrent to trip", off - over, overload_ms)
    on = bench.when(pump(other(leader)), 1, 5)
    at_most(bench, "take-over by the other pump", on - off, 100)
    off = bench.when(pump(other(leader)), 0, 10, since_ms=on)
    timing(bench, "start with a locked rotor to trip", off - on, ROTOR_MS)
    for n in (1, 2):
        cause = bench.value(f"pump_{n}_cause")
        bench.check(f"the cause is named: overload of pump {n}", cause == OVERLOAD, f"cause {cause}")
    bench.wait(1)
    found = bench.alarm("no_pump")
    bench.check(
        "no pump available: a high-priority alarm", found == "unacknowledged" and not bench.is_on("relay"), found
    )
    bench.water()
    bench.press("silence")
