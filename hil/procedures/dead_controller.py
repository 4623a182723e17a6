"""Loss of the controller's power drops the alarm relay."""

from ._steps import START_UP_MS, at_most, begin, pump, ready, running

ORDER = 20
PURPOSE = "A controller that loses power drops the pumps and the alarm relay at once: a fail-safe alarm."
CLAUSES = ("A3",)
NEEDS = ("power", "lead", "pump_1", "pump_2", "relay")
CAUTION = (
    "A pump starts: water over the inlets, or unplug both pumps. The alarm relay drops out: warn whoever answers it. "
    "Cut the controller's power at its plug or breaker, never by pulling live wires."
)
REAL_TIME = True
HOLD_UP_MS = 500  # hold-up of a small power supply; common practice, no source


def run(bench):
    ready(bench)
    leader, _ = begin(bench)
    bench.wait(1)
    bench.check("the alarm relay is energized at rest", bench.is_on("relay"))

    bench.power(False)
    at_most(bench, "power lost to alarm relay dropped", bench.when("relay", 0, 5) - bench.mark_ms, HOLD_UP_MS)
    at_most(bench, "power lost to pump off", bench.when(pump(leader), 0, 5) - bench.mark_ms, HOLD_UP_MS)
    bench.wait(3)
    bench.check("the relay stays dropped without power", not bench.is_on("relay"))
    bench.check("no pump runs without power", not running(bench), running(bench) or "none")
    bench.note("check that the alarm arrives where the relay sends it: this procedure reads the relay only")

    bench.water()
    bench.power(True)
    at_most(bench, "power back to alarm relay energized", bench.when("relay", 1, 60) - bench.mark_ms, START_UP_MS)
