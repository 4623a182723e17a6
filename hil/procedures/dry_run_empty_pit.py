"""An off float stuck wet while the pit is pumped empty."""

from ._steps import SENSE_CURRENT, are_suspect, begin, both_off, drain, fitted, pump, ready, timing

ORDER = 190
PURPOSE = "Underload with lead, lag and high dry means an empty pit: the pump stops without a fault, off is suspect."
CLAUSES = ("R1", "L2")
NEEDS = ("off", "lead", "current", "pump_1", "pump_2")
CAUTION = "Never run a real pump dry to test this: the bench simulates the underload current. Unplug both pumps."


def run(bench):
    fitted(bench, "off")
    ready(bench, sensing=SENSE_CURRENT)
    leader, _ = begin(bench)
    bench.wait(bench.setting_s("start_proof") + 5)
    bench.water("off")
    bench.wait(bench.setting_s("debounce") + 1)
    trips = bench.value(f"trips_{leader}")

    bench.draws(leader, "under")
    under = bench.mark_ms
    dry_run_ms = bench.setting("dry_run")
    timing(bench, "underload to stop", bench.when(pump(leader), 0, dry_run_ms / 1000 + 5) - under, dry_run_ms)
    both_off(bench, bench.setting_s("start_spacing") + 5)
    are_suspect(bench, "off")
    cause, now = bench.value(f"pump_{leader}_cause"), bench.value(f"trips_{leader}")
    bench.check("no fault of the pump", cause == 0 and now == trips, f"cause {cause}, trips {trips} to {now}")
    bench.press("silence")
    drain(bench)
