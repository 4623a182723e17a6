"""Power to a pump lost in mid-run: breaker, GFCI or cord."""

from duplexsump.control.pump import RUN_LOST

from ._steps import SENSE_CURRENT, begin, cause_named, drain, off_limit_s, other, pump, ready, taken_over, timing

ORDER = 170
PURPOSE = "A pump that loses its current in mid-run is switched off, the other takes over, and no dry run is reported."
CLAUSES = ("S5", "S5b", "D3")
NEEDS = ("off", "lead", "current_1", "current_2", "pump_1", "pump_2")
CAUTION = "The horn sounds. The other pump takes over: water over its inlet, or unplug both pumps."


def run(bench):
    ready(bench, sensing=SENSE_CURRENT)
    leader, _ = begin(bench)
    bench.wait(bench.setting_s("start_proof") + bench.setting_s("start_spacing") + 5)
    bench.check("the pump runs with its current", bench.is_on(pump(leader)))

    bench.draws(leader, "none")
    gone = bench.mark_ms
    proof_ms = bench.setting("start_proof")
    off = bench.when(pump(leader), 0, proof_ms / 1000 + 5)
    timing(bench, "current lost to pump off", off - gone, proof_ms)
    taken_over(bench, leader, off)
    cause_named(bench, leader, RUN_LOST)
    found = bench.alarm(f"pump_{leader}_unavailable")
    bench.check("alarm: pump unavailable", found == "unacknowledged", found)

    bench.wait(bench.setting_s("min_run"))
    drain(bench)
    bench.when(pump(other(leader)), 0, off_limit_s(bench))
