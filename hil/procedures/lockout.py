"""Lockout after repeated failed starts, and its reset."""

from ._steps import SENSE_CURRENT, begin, cycle, drain, off_limit_s, other, pump, ready, shorter

ORDER = 200
PURPOSE = "A pump that fails to start `retries` times in a row is locked out until reset."
CLAUSES = ("S5", "R4", "A1")
NEEDS = ("off", "lead", "current_1", "current_2", "pump_1", "pump_2")
CAUTION = "The horn sounds and pumps start: unplug both pumps. On site find and repair the cause before the reset."
RESTING, LOCKED_OUT = 3, 4  # register pump_n_state


def run(bench):
    shorter(bench, sensing=SENSE_CURRENT, retry=60000, flood_retry=60000)
    ready(bench, sensing=SENSE_CURRENT)
    for n in (1, 2):
        bench.draws(n, "none")
    bad, _ = begin(bench)
    bench.draws(other(bad), "normal")
    retries = bench.setting("retries")
    for failure in range(1, retries + 1):
        if failure > 1:
            begin(bench)
        bench.wait(bench.setting_s("start_proof") + bench.setting_s("min_run") + 2)
        state = bench.value(f"pump_{bad}_state")
        wanted = LOCKED_OUT if failure == retries else RESTING
        bench.check(f"after failure {failure} of {retries}", state == wanted, f"state {state}")
        drain(bench)
        bench.when(pump(other(bad)), 0, off_limit_s(bench))
        bench.press("silence")
        bench.wait(bench.setting_s("retry") + 2)
    found = bench.alarm(f"pump_{bad}_unavailable")
    bench.check("its alarm is active", found == "acknowledged", found)
    bench.check("a locked-out pump does not lead", cycle(bench) == other(bad))
    bench.wait(bench.setting_s("min_off"))

    bench.draws(bad, "normal")
    bench.press("reset")
    bench.wait(1)
    found = bench.alarm(f"pump_{bad}_unavailable")
    bench.check("the reset clears it", found == "normal" and bench.value(f"pump_{bad}_state") == 0, found)
    bench.check("the pump leads again", bad in (cycle(bench), rested_cycle(bench)))


def rested_cycle(bench):
    """A cycle after both have rested."""
    bench.wait(bench.setting_s("min_off"))
    return cycle(bench)
