"""Horn, beacon and alarm relay tested by the silence button."""

from ._steps import at_once, ready, timing

ORDER = 10
PURPOSE = "Silence held for 3 s with no alarm active sounds the horn, lights the beacon and drops the alarm relay."
CLAUSES = ("A2", "A3")
NEEDS = ("silence", "horn", "beacon", "relay")
CAUTION = "The horn sounds and the alarm relay drops out: warn the household and whoever answers the alarm first."
REAL_TIME = True
HOLD_S = 3  # A2


def run(bench):
    ready(bench)
    bench.check("the alarm relay is energized at rest", bench.is_on("relay"))
    bench.press("silence", for_s=HOLD_S - 1)
    bench.check("a short press does not sound the horn", not bench.is_on("horn"))
    bench.wait(1)

    bench.press("silence", for_s=HOLD_S + 2)
    pressed, let_go = bench.mark_ms, bench.kit.now_ms()
    timing(bench, "silence held to horn", bench.when("horn", 1, 1, since_ms=pressed) - pressed, HOLD_S * 1000)
    bench.when("beacon", 1, 1, since_ms=pressed)
    bench.when("relay", 0, 1, since_ms=pressed)
    at_once(bench, "silence released to horn off", bench.when("horn", 0, 2) - let_go)
    bench.when("relay", 1, 1)
    bench.check("the test leaves no alarm", not bench.is_on("beacon"))
