"""A level transmitter out of range or frozen."""

from ._steps import SENSE_NOTHING, at_most, first_on, off_limit_s, pump, ready, run_dry, start_limit_s, timing

ORDER = 320
PURPOSE = "A transmitter out of range for 2 s, or frozen during a run, has failed, and blind pumping takes over."
CLAUSES = ("L5", "L6", "A1")
NEEDS = ("level", "pump_1", "pump_2")
CAUTION = "The horn sounds, the alarm relay drops out. Pumps run blind: water over the inlets, or unplug both pumps."
ONLY_HIGH = 8  # setting fitted: no float but high
HELD_MS = 2000  # L5; the limits are those of NAMUR NE 43: failed below 3.6 mA and above 21.0 mA
LOOK_MS = 15000  # L5: at the pump that runs, and again at the other
PAUSE_MS = 8000  # no pump runs in between
ABOVE_MM = 30


def run(bench):
    ready(bench, transmitter=1, fitted=ONLY_HIGH, normally_closed=bench.setting("normally_closed") & ONLY_HIGH)
    lead_mm, off_mm = bench.setting("level_lead") + ABOVE_MM, bench.setting("level_off") - ABOVE_MM
    bench.transmitter(level_mm=lead_mm)
    raised = bench.mark_ms
    leader, at = first_on(bench, start_limit_s(bench), raised)
    timing(bench, "level at lead to pump on", at - raised, bench.setting("debounce"))
    bench.wait(bench.setting_s("min_run"))
    bench.transmitter(level_mm=off_mm)
    lowered = bench.mark_ms
    off = bench.when(pump(leader), 0, off_limit_s(bench))
    timing(bench, "level at off to pump off", off - lowered, bench.setting("debounce"))

    for ma in (3.7, 20.8):
        bench.transmitter(ma=ma)
        bench.wait(HELD_MS / 1000 + 2)
        found = bench.alarm("transmitter_failed")
        bench.check(f"{ma} mA is within range", found == "normal", found)
        bench.transmitter(level_mm=off_mm)
        bench.wait(bench.setting_s("lag_min_off"))
    longest_ms = run_dry(bench)
    for ma in (3.5, 21.1):
        failed(bench, ma, longest_ms)
        bench.transmitter(level_mm=off_mm)
        bench.wait(3)
        found = bench.alarm("transmitter_failed")
        bench.check("a valid signal clears it", found in ("normal", "returned"), found)
    frozen(bench, lead_mm)


def failed(bench, ma, longest_ms):
    """A loop current out of range is a failure, and blind pumping takes over."""
    bench.transmitter(ma=ma)
    began = bench.mark_ms
    alarm_ms = bench.when_alarm("transmitter_failed", HELD_MS / 1000 + 3, "unacknowledged")
    timing(bench, f"{ma} mA to transmitter failed", alarm_ms - began, HELD_MS)
    found = bench.alarm("level_lost")
    bench.check("alarm: level lost", found == "unacknowledged", found)
    n, on = first_on(bench, bench.setting_s("min_off") + 70, began)
    at_most(bench, f"blind run at {ma} mA", bench.when(pump(n), 0, longest_ms / 1000 + 10) - on, longest_ms)
    bench.press("silence")


def frozen(bench, lead_mm):
    """A level that does not move while the one pump is proved running, nor while the other is."""
    bench.draw_normally()
    bench.wait(bench.setting_s("min_off"))
    bench.press("reset")
    bench.transmitter(level_mm=lead_mm)
    leader, on = first_on(bench, start_limit_s(bench), bench.mark_ms)
    proof_ms = bench.setting("start_proof") if bench.setting("sensing") == SENSE_NOTHING else 0
    look_ms = LOOK_MS + proof_ms
    over = bench.when(pump(leader), 0, look_ms / 1000 + 5)
    timing(bench, "run with the level frozen to the look at the other pump", over - on, look_ms)
    other = bench.when(pump(3 - leader), 1, PAUSE_MS / 1000 + 5)
    timing(bench, "no pump between the two looks", other - over, PAUSE_MS)
    alarm_ms = bench.when_alarm("transmitter_failed", look_ms / 1000 + 10, "unacknowledged")
    timing(bench, "run of the other to transmitter failed", alarm_ms - other, look_ms)
    bench.press("silence")
