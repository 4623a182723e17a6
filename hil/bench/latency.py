"""The time from a contact's change to the relay's at the pins, over many phases of the controller's tick."""

import statistics

PHASES = 20
FEWER = 8  # where every one of them takes its time
STEP_MS = 37  # no divisor of the tick of 100 ms, so that every phase comes
START_S = 120.0  # a rest, and a spacing on top
STOP_S = 10.0


def measure(bench):
    """Return {"median_ms", "worst_ms", "samples", "debounce_ms", "values_ms"}: from `off` dry to the relay dropping.

    What is timed is a pump's stop, since no rest, hold or spacing stands before a
    stop.  The debounce that the settings ask for is subtracted; the kit's own
    grain is part of what is measured.
    Raises Failed where no pump starts or stops.
    """
    phases = FEWER if bench.timing_ms else PHASES
    debounce_ms = bench.setting("debounce")
    bench.draw_normally()
    bench.ready()
    found = []
    for phase in range(phases):
        bench.water("off", "lead")
        wire, _ = bench.when_any(("pump_1", "pump_2"), 1, START_S)
        bench.water("off")
        bench.wait(bench.setting_s("min_run") + 1.0)
        bench.kit.run_ms(1 + phase * STEP_MS % 100)
        bench.water()
        stopped_ms = bench.when(wire, 0, within_s=STOP_S + debounce_ms / 1000.0)
        found.append(stopped_ms - bench.mark_ms - debounce_ms)
    return {
        "median_ms": statistics.median(found),
        "worst_ms": max(found),
        "samples": len(found),
        "debounce_ms": debounce_ms,
        "values_ms": found,
    }
