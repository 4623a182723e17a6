"""A higher float that turns wet over a dry one."""

from ._steps import are_suspect, believes_all, first_on, fitted, off_limit_s, pump, ready, start_limit_s, timing

ORDER = 60
PURPOSE = "A wet float over a dry one starts what it asks for at once, and the float that missed its turn is named."
CLAUSES = ("L2", "D1", "A1")
NEEDS = ("off", "lead", "pump_1", "pump_2")
CAUTION = "The horn sounds. A pump runs although the off float is dry: with no water over its intake have its cord out."


def run(bench):
    fitted(bench, "off", "lead")
    ready(bench)
    debounce_ms, sequence_ms = bench.setting("debounce"), bench.setting("sequence_time")

    bench.water("lead")
    wet = bench.mark_ms
    leader, at = first_on(bench, start_limit_s(bench), wet)
    timing(bench, "lead wet over a dry off to pump on", at - wet, debounce_ms)
    bench.check("no alarm before the floats have had their time", bench.alarm("floats_out_of_sequence") == "normal")
    told = bench.when_alarm("floats_out_of_sequence", sequence_ms / 1000 + 3)
    timing(bench, "lead wet to floats out of sequence", told - wet, debounce_ms + sequence_ms)
    are_suspect(bench, "off")
    bench.check("the pump goes on", bench.is_on(pump(leader)))

    bench.water("off", "lead")
    bench.wait(bench.setting_s("debounce") + 1)
    believes_all(bench, "once off is wet")
    bench.water("off")
    bench.wait(3)
    bench.check("the pump goes on until off is dry", bench.is_on(pump(leader)))
    bench.water()
    timing(bench, "off dry to pump off", bench.when(pump(leader), 0, off_limit_s(bench)) - bench.mark_ms, debounce_ms)
    bench.press("silence")
    found = bench.alarm("floats_out_of_sequence")
    bench.check("the alarm is over", found == "normal", found)
