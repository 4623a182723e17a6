"""High water: horn, beacon, alarm relay, silence, and clearing."""

from ._steps import at_once, drain, fill, off_limit_s, pump, ready, timing

ORDER = 130
PURPOSE = "High water sounds the horn, lights the beacon and drops the alarm relay; silence stops only the horn."
CLAUSES = ("A1", "A2", "A3", "I4")
NEEDS = ("high", "pump_1", "pump_2", "horn", "beacon", "relay")
CAUTION = (
    "The horn sounds, the alarm relay drops out and both pumps start: water over the inlets, or unplug both pumps."
)
REAL_TIME = True


def run(bench):
    ready(bench)
    wet = fill(bench, "high")
    debounce_ms = bench.setting("debounce")
    timing(bench, "high wet to horn", bench.when("horn", 1, debounce_ms / 1000 + 5) - wet, debounce_ms)
    timing(bench, "high wet to alarm relay dropped", bench.when("relay", 0, 1) - wet, debounce_ms)
    timing(bench, "high wet to beacon", bench.when("beacon", 1, 1) - wet, debounce_ms)
    found = bench.alarm("high_water")
    bench.check("the alarm is unacknowledged", found == "unacknowledged", found)
    bench.wait(2)
    bench.check("the horn stays on", bench.is_on("horn"))

    bench.press("silence")
    at_once(bench, "silence to horn off", bench.when("horn", 0, 2) - bench.mark_ms)
    found = bench.alarm("high_water")
    bench.check("silence acknowledges", found == "acknowledged", found)
    bench.check("the beacon stays on", bench.is_on("beacon"))
    bench.check("the alarm relay stays dropped", not bench.is_on("relay"))
    bench.stays("horn", 0, 5)

    bench.wait(bench.setting_s("start_spacing"))
    bench.water("off", "lead", "lag")
    dry = bench.mark_ms
    timing(
        bench, "high dry to alarm relay energized", bench.when("relay", 1, debounce_ms / 1000 + 5) - dry, debounce_ms
    )
    found = bench.alarm("high_water")
    bench.check("the alarm has cleared", found == "normal", found)
    drain(bench, "lag")
    for n in (1, 2):
        bench.when(pump(n), 0, off_limit_s(bench))
    bench.note("listen to the horn where it must be heard, doors closed: this procedure reads the horn's output only")
