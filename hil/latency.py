"""The time from a contact's change to the relay's at the pins, over many phases of the controller's tick."""

import statistics

PHASES = 20
STEP_MS = 37  # no divisor of the tick of 100 ms, so that every phase comes
RUN_S = 60.0


def measure(bench, phases=PHASES):
    """Return {"median_ms", "worst_ms", "samples", "debounce_ms", "values_ms"}: from `off` dry to the relay dropping.

    A pump is started and rested each time; what is timed is its stop, since no
    rest, hold or spacing stands before a stop.  The debounce that the settings
    ask for is subtracted.  The kit's own grain is part of what is measured.
    """
    debounce_ms = bench.setting("debounce")
    bench.draw_normally()
    bench.ready()
    found = []
    for phase in range(phases):
        bench.kit.run_ms(1 + phase * STEP_MS % 100)
        bench.water("off", "lead")
        bench.kit.run_until(lambda: bench.is_on("pump_1") or bench.is_on("pump_2"), round(RUN_S * 1000.0))
        wire = "pump_1" if bench.is_on("pump_1") else "pump_2"
        bench.water("off")
        bench.wait(bench.setting_s("min_run") + 1.0)
        bench.kit.run_ms(1 + phase * STEP_MS % 100)
        bench.water()
        stopped_ms = bench.when(wire, 0, within_s=RUN_S)
        found.append(stopped_ms - bench.mark_ms - debounce_ms)
        bench.wait(bench.setting_s("min_off"))
    return {
        "median_ms": statistics.median(found),
        "worst_ms": max(found),
        "samples": len(found),
        "debounce_ms": debounce_ms,
        "values_ms": found,
    }
