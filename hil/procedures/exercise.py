"""Pumps that have stood for days are run for a moment."""

from ._steps import SENSE_CURRENT, both_off, first_on, fitted, other, pump, ready, timing

ORDER = 370
PURPOSE = "A pump idle for `exercise` days is run for a moment once there is water, and one that fails is named."
CLAUSES = ("D7",)
NEEDS = ("stride", "off", "current_1", "current_2", "pump_1", "pump_2", "horn")
CAUTION = "The horn sounds. An exercise starts a pump with nobody near: cover on, nobody's hands in the pit."
DAY_H = 24
STRIDE_H = 20  # less than a day at a stretch: the controller takes a longer one for a fault of its clock


def run(bench):
    fitted(bench, "off")
    ready(bench, exercise=1, sensing=SENSE_CURRENT)
    bench.stride(STRIDE_H)
    both_off(bench, 5)
    bench.stride(DAY_H - STRIDE_H)
    bench.wait(120)
    bench.note("the days were let pass in two strides: a controller that is looked at all the while was not tried")
    both_off(bench, 20)

    bench.draws(2, "none")
    bench.water("off")
    wet = bench.mark_ms
    first, on = first_on(bench, bench.setting_s("min_off") + 5, wet)
    timing(bench, "off wet to the exercise", on - wet, bench.setting("debounce"))
    bench.check("pump 1 has the first exercise", first == 1, f"pump {first}")
    timing(bench, "exercise of a good pump", bench.when(pump(first), 0, 70) - on, bench.setting("exercise_run"))
    found = bench.alarm(f"pump_{first}_exercise_failed")
    bench.check("it has passed", found == "normal", found)

    on = bench.when(pump(other(first)), 1, bench.setting_s("min_off") + 5)
    off = bench.when(pump(other(first)), 0, 70)
    timing(bench, "exercise of a dead pump", off - on, bench.setting("start_proof"))
    bench.when_alarm(f"pump_{other(first)}_exercise_failed", 2, "unacknowledged")
    bench.check("the horn tells", bench.is_on("horn"))
    bench.press("silence")
    both_off(bench, bench.setting_s("min_off"))
    bench.water()
