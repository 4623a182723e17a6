"""A controller without power calls for help by itself."""

from ._steps import START_UP_MS, at_most, begin, pump, ready, running

ORDER = 20
PURPOSE = "A controller that loses its power drops the pumps and the alarm relay at once, so that the relay calls."
CLAUSES = ("A3",)
NEEDS = ("power", "lead", "pump_1", "pump_2", "relay")
CAUTION = (
    "The alarm relay calls whatever it is wired to: tell whoever answers. The power is the controller's own; "
    "cut it at its plug or breaker, never by pulling live wires."
)
REAL_TIME = True
HOLD_UP_MS = 500  # what a small power supply lives on after the power has gone; common practice, no source


def run(bench):
    ready(bench)
    leader, _ = begin(bench)
    bench.wait(1)
    bench.check("the alarm relay is energised while all is well", bench.is_on("relay"))

    bench.power(False)
    at_most(bench, "power gone to alarm relay dropped", bench.when("relay", 0, 5) - bench.mark_ms, HOLD_UP_MS)
    at_most(bench, "power gone to pump off", bench.when(pump(leader), 0, 5) - bench.mark_ms, HOLD_UP_MS)
    bench.wait(3)
    bench.check("the relay stays dropped while there is no power", not bench.is_on("relay"))
    bench.check("no pump runs while there is no power", not running(bench), running(bench) or "none")
    bench.note("listen where the relay's call arrives: this procedure sees the relay, not the telephone")

    bench.water()
    bench.power(True)
    at_most(bench, "power back to alarm relay energised", bench.when("relay", 1, 60) - bench.mark_ms, START_UP_MS)
