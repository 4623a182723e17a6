"""Horn, beacon and alarm relay tried from the silence button."""

from ._steps import at_once, ready, timing

ORDER = 10
PURPOSE = "Silence held for 3 s with no alarm sounds the horn, lights the beacon and drops the alarm relay."
CLAUSES = ("A2", "A3")
NEEDS = ("silence", "horn", "beacon", "relay")
CAUTION = "The horn sounds and the alarm relay calls: tell the household and whoever answers the call first."
REAL_TIME = True
HOLD_S = 3  # A2


def run(bench):
    ready(bench)
    bench.check("the alarm relay is energised while all is well", bench.is_on("relay"))
    bench.press("silence", for_s=HOLD_S - 1)
    bench.check("a short press sounds nothing", not bench.is_on("horn"))
    bench.wait(1)

    bench.press("silence", for_s=HOLD_S + 2)
    pressed, let_go = bench.mark_ms, bench.kit.now_ms()
    timing(bench, "silence held to horn", bench.when("horn", 1, 1, since_ms=pressed) - pressed, HOLD_S * 1000)
    bench.when("beacon", 1, 1, since_ms=pressed)
    bench.when("relay", 0, 1, since_ms=pressed)
    at_once(bench, "silence let go to horn quiet", bench.when("horn", 0, 2) - let_go)
    bench.when("relay", 1, 1)
    bench.check("the test leaves no alarm", not bench.is_on("beacon"))
