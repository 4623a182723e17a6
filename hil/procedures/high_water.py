"""High water: heard, seen, called out, silenced, and over."""

from ._steps import at_once, drain, fill, off_limit_s, pump, ready, timing

ORDER = 130
PURPOSE = "High water sounds the horn, lights the beacon, drops the alarm relay; silence stops the horn, nothing else."
CLAUSES = ("A1", "A2", "A3", "I4")
NEEDS = ("high", "pump_1", "pump_2", "horn", "beacon", "relay")
CAUTION = "The horn sounds, the alarm relay calls, and both pumps start: water over the intakes, or cords out."
REAL_TIME = True


def run(bench):
    ready(bench)
    wet = fill(bench, "high")
    debounce_ms = bench.setting("debounce")
    timing(bench, "high wet to horn", bench.when("horn", 1, debounce_ms / 1000 + 5) - wet, debounce_ms)
    timing(bench, "high wet to alarm relay dropped", bench.when("relay", 0, 1) - wet, debounce_ms)
    timing(bench, "high wet to beacon", bench.when("beacon", 1, 1) - wet, debounce_ms)
    found = bench.alarm("high_water")
    bench.check("the alarm is not acknowledged yet", found == "unacknowledged", found)
    bench.wait(2)
    bench.check("the horn goes on", bench.is_on("horn"))

    bench.press("silence")
    at_once(bench, "silence to horn quiet", bench.when("horn", 0, 2) - bench.mark_ms)
    found = bench.alarm("high_water")
    bench.check("silence acknowledges", found == "acknowledged", found)
    bench.check("the beacon stays", bench.is_on("beacon"))
    bench.check("the relay goes on calling", not bench.is_on("relay"))
    bench.stays("horn", 0, 5)

    bench.wait(bench.setting_s("start_spacing"))
    bench.water("off", "lead", "lag")
    dry = bench.mark_ms
    timing(bench, "high dry to relay energised", bench.when("relay", 1, debounce_ms / 1000 + 5) - dry, debounce_ms)
    found = bench.alarm("high_water")
    bench.check("the alarm is over", found == "normal", found)
    drain(bench, "lag")
    for n in (1, 2):
        bench.when(pump(n), 0, off_limit_s(bench))
    bench.note("who must hear the horn: go there and listen, doors shut; this procedure sees the horn's output only")
