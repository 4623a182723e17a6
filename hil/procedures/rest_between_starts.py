"""Rest between starts of a pump, and spacing of two starts."""

from ._steps import (
    ALTERNATE,
    GAP_S,
    drain,
    fill,
    first_on,
    first_starts,
    off_limit_s,
    other,
    pump,
    ready,
    start_limit_s,
    timing,
)

ORDER = 100
PURPOSE = "A pump rests after a stop, less at higher water, and two starts keep their spacing."
CLAUSES = ("S1", "S2")
NEEDS = ("off", "lead", "lag", "high", "pump_1", "pump_2")
CAUTION = "The high-water alarm sounds. Both pumps start several times: with no water in the pit unplug both pumps."


def run(bench):
    ready(bench, duty=ALTERNATE)
    # Quick cycles, so that the pump whose turn it is again has not rested long enough.
    leader, off = quick_cycle(bench)
    second, _ = quick_cycle(bench)
    bench.check("the other pump takes the next turn", second == other(leader), f"pump {second}")
    wet = fill(bench, "lead")
    again, at = first_on(bench, start_limit_s(bench), wet)
    bench.check("then the first pump leads again", again == leader, f"pump {again}")
    rest_ms = max(bench.setting("lag_min_off"), wet + bench.setting("debounce") - off)
    timing(bench, "rest with lead wet and no pump running", at - off, rest_ms)

    bench.wait(GAP_S)
    bench.water("off", "lead", "lag")
    bench.when(pump(other(leader)), 1, start_limit_s(bench))
    bench.wait(bench.setting_s("min_run"))
    drain(bench, "lag")
    off = max(bench.when(pump(n), 0, off_limit_s(bench)) for n in (1, 2))
    wet = fill(bench, "high")
    (_, first), (_, second) = first_starts(bench, 2, start_limit_s(bench), off)
    rest_ms = max(bench.setting("flood_min_off"), wet + bench.setting("debounce") - off)
    timing(bench, "rest with high wet", first - off, rest_ms)
    timing(bench, "spacing of the two starts", second - first, bench.setting("start_spacing"))


def quick_cycle(bench):
    """A cycle as short as it can be; return (the pump that led, the instant of its stop)."""
    since_ms = bench.kit.now_ms()
    fill(bench, "lead")
    leader, _ = first_on(bench, start_limit_s(bench), since_ms)
    bench.wait(max(0, bench.setting_s("min_run") - GAP_S))
    drain(bench)
    return leader, bench.when(pump(leader), 0, off_limit_s(bench))
