"""Exercise of pumps that have been idle for days."""

from ._steps import SENSE_CURRENT, both_off, first_on, fitted, other, pump, ready, timing

ORDER = 370
PURPOSE = "A pump idle for `exercise` days runs briefly once there is water; one that fails raises an alarm."
CLAUSES = ("D7",)
NEEDS = ("stride", "off", "current_1", "current_2", "pump_1", "pump_2", "horn")
CAUTION = "The horn sounds. An exercise starts a pump without warning: cover on, hands out of the pit."
DAY_H = 24
STRIDE_H = 20  # less than a day at once: the controller takes a longer jump for a fault of its clock


def run(bench):
    fitted(bench, "off")
    ready(bench, exercise=1, sensing=SENSE_CURRENT)
    bench.stride(STRIDE_H)
    both_off(bench, 5)
    bench.stride(DAY_H - STRIDE_H)
    bench.wait(120)
    bench.note("the days passed in two jumps of the clock: continuous running was not tested")
    both_off(bench, 20)

    bench.draws(2, "none")
    bench.water("off")
    wet = bench.mark_ms
    first, on = first_on(bench, bench.setting_s("min_off") + 5, wet)
    timing(bench, "off wet to the exercise", on - wet, bench.setting("debounce"))
    bench.check("pump 1 is exercised first", first == 1, f"pump {first}")
    timing(bench, "exercise of a good pump", bench.when(pump(first), 0, 70) - on, bench.setting("exercise_run"))
    found = bench.alarm(f"pump_{first}_exercise_failed")
    bench.check("its exercise passed", found == "normal", found)

    on = bench.when(pump(other(first)), 1, bench.setting_s("min_off") + 5)
    off = bench.when(pump(other(first)), 0, 70)
    timing(bench, "exercise of a dead pump", off - on, bench.setting("start_proof"))
    bench.when_alarm(f"pump_{other(first)}_exercise_failed", 2, "unacknowledged")
    bench.check("the horn sounds", bench.is_on("horn"))
    bench.press("silence")
    both_off(bench, bench.setting_s("min_off"))
    bench.water()
