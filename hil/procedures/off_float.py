"""The off float: lifted, cut and stuck."""

from ._steps import (
    LATE_MS,
    SENSE_CURRENT,
    are_suspect,
    both_off,
    first_on,
    fitted,
    pump,
    ready,
    start_limit_s,
    stick,
    timing,
)

ORDER = 260
PURPOSE = "An off float alone starts nothing; cut, pumping stops by time; stuck wet, it is suspect after two stops."
CLAUSES = ("D1", "L2", "L3", "L4")
NEEDS = ("off", "lead", "pump_1", "pump_2")
CAUTION = "The horn sounds. A pump runs for up to three draw-down times: water over the inlets, or unplug both pumps."


def run(bench):
    fitted(bench, "off", "lead")
    ready(bench)
    bench.float("off")
    both_off(bench, 10)
    bench.float("off", wet=False)
    bench.wait(5)

    stops_by_time(bench)
    bench.float("off")
    bench.wait(3)
    bench.press("silence")
    bench.float("off", wet=False)
    bench.wait(bench.setting_s("min_off"))
    stuck_wet(bench)


def stops_by_time(bench):
    """Circuit open: the pump starts, off is suspect, and the draw-down is timed from lead dry (L3)."""
    stick(bench, "off", wet=False)
    bench.float("lead")
    wet = bench.mark_ms
    leader, started = first_on(bench, start_limit_s(bench), wet)
    alarm_ms = bench.when_alarm("floats_out_of_sequence", bench.setting_s("sequence_time") + 5)
    rule_ms = bench.setting("debounce") + bench.setting("sequence_time")
    timing(bench, "lead wet to floats out of sequence", alarm_ms - wet, rule_ms)
    are_suspect(bench, "off")
    bench.float("lead", wet=False)
    dry = bench.mark_ms + bench.setting("debounce")
    draw_ms = min(bench.setting("pump_down_lead") or bench.setting("blind_run"), bench.setting("blind_run"))
    if bench.setting("sensing") != SENSE_CURRENT:
        draw_ms = min(draw_ms, bench.setting("blind_run") - (dry - started))
    off = bench.when(pump(leader), 0, draw_ms / 1000 + 5)
    timing(bench, "lead dry to stop by time", off - dry, draw_ms)


def stuck_wet(bench):
    """Circuit closed: two provisional stops, then off is suspect (L4)."""
    stick(bench, "off", wet=True)
    bench.wait(3)
    down_ms = bench.setting("pump_down_lead") or bench.setting("blind_run")
    for stop in (1, 2):
        bench.float("lead")
        leader, _ = first_on(bench, start_limit_s(bench), bench.mark_ms)
        bench.wait(bench.setting_s("min_run"))
        bench.float("lead", wet=False)
        dry = bench.mark_ms + bench.setting("debounce")
        lapse(bench, leader)
        off = bench.when(pump(leader), 0, 3 * down_ms / 1000 + 10)
        timing(bench, f"lead dry to provisional stop {stop}", off - dry, 3 * down_ms)
        both_off(bench, (2 * down_ms + LATE_MS) / 1000)
    are_suspect(bench, "off")
    found = bench.alarm("floats_out_of_sequence")
    bench.check("alarm: floats out of sequence", found == "unacknowledged", found)
    bench.press("silence")


def lapse(bench, leader):
    """Take the load off for a second: a draw-down loaded throughout says nothing against off (L4)."""
    if bench.setting("sensing") == SENSE_CURRENT:
        bench.wait(1)
        bench.draws(leader, "none")
        bench.wait(1)
        bench.draws(leader)
