"""A higher float that turns wet over a dry one."""

from ._steps import are_suspect, first_on, fitted, none_suspect, off_limit_s, pump, ready, start_limit_s, timing

ORDER = 60
PURPOSE = "A wet float above a dry one starts its pump at once, and the float that did not move is suspect."
CLAUSES = ("L2", "D1", "A1")
NEEDS = ("off", "lead", "pump_1", "pump_2")
CAUTION = "The horn sounds. A pump runs with the off float dry: with no water over its inlet unplug both pumps."


def run(bench):
    fitted(bench, "off", "lead")
    ready(bench)
    debounce_ms, sequence_ms = bench.setting("debounce"), bench.setting("sequence_time")

    bench.water("lead")
    wet = bench.mark_ms
    leader, at = first_on(bench, start_limit_s(bench), wet)
    timing(bench, "lead wet with off dry to pump on", at - wet, debounce_ms)
    bench.check("no alarm before sequence_time", bench.alarm("floats_out_of_sequence") == "normal")
    alarm_ms = bench.when_alarm("floats_out_of_sequence", sequence_ms / 1000 + 3)
    timing(bench, "lead wet to floats out of sequence", alarm_ms - wet, debounce_ms + sequence_ms)
    are_suspect(bench, "off")
    bench.check("the pump keeps running", bench.is_on(pump(leader)))

    bench.water("off", "lead")
    bench.wait(bench.setting_s("debounce") + 1)
    none_suspect(bench, "once off is wet")
    bench.water("off")
    bench.wait(3)
    bench.check("the pump runs until off is dry", bench.is_on(pump(leader)))
    bench.water()
    timing(bench, "off dry to pump off", bench.when(pump(leader), 0, off_limit_s(bench)) - bench.mark_ms, debounce_ms)
    bench.press("silence")
    found = bench.alarm("floats_out_of_sequence")
    bench.check("the alarm has cleared", found == "normal", found)
