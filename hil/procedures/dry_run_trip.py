"""A pump that runs without pumping while there is water."""

from duplexsump.control.pump import NOT_PUMPING

from ._steps import SENSE_CURRENT, begin, cause_named, drain, off_limit_s, other, pump, ready, taken_over, timing

ORDER = 180
PURPOSE = (
    "A pump in underload with lead wet trips as not pumping, the other takes over, and the next rise clears the trip."
)
CLAUSES = ("R1", "R4", "D3")
NEEDS = ("off", "lead", "current", "pump_1", "pump_2")
CAUTION = (
    "The horn sounds. Never run a real pump dry to test this: the bench simulates the underload current. Unplug "
    "both pumps."
)
FIT = (0, 1, 2)  # register pump_n_state: idle, starting, running


def run(bench):
    ready(bench, sensing=SENSE_CURRENT)
    leader, _ = begin(bench)
    bench.wait(bench.setting_s("start_proof") + 5)

    bench.draws(leader, "under")
    under = bench.mark_ms
    dry_run_ms = bench.setting("dry_run")
    off = bench.when(pump(leader), 0, dry_run_ms / 1000 + 5)
    timing(bench, "underload to trip", off - under, dry_run_ms)
    taken_over(bench, leader, off)
    cause_named(bench, leader, NOT_PUMPING)

    bench.wait(bench.setting_s("min_run"))
    drain(bench)
    bench.when(pump(other(leader)), 0, off_limit_s(bench))
    bench.draws(leader, "normal")
    bench.wait(bench.setting_s("min_off"))
    begin(bench)
    bench.wait(1)
    state = bench.value(f"pump_{leader}_state")
    bench.check("lead wet again clears the trip", state in FIT, f"state {state}")
    drain(bench)
