"""Power-up delay, the same after repeated power-ups."""

from ._steps import GAP_S, START_UP_MS, begin, between, both_off, drain, first_on, ready

ORDER = 30
PURPOSE = "After each power-up both pumps stay off for the delay, and for the rest of pumps that have just stopped."
CLAUSES = ("S4", "S1")
NEEDS = ("power", "off", "lead", "lag", "high", "pump_1", "pump_2")
CAUTION = (
    "The high-water alarm sounds and both pumps start: water over the inlets, or unplug both pumps. "
    "Cut the controller's power at its plug or breaker, never by pulling live wires."
)
APART_S = 5  # how long the power stays off


def run(bench):
    ready(bench)
    hold_ms = bench.setting("boot_hold")

    # Both pumps count as just stopped, so the longer of delay and rest applies.
    rest_ms, flood_rest_ms = bench.setting("lag_min_off"), bench.setting("flood_min_off")
    begin(bench)
    restart(bench, "first power-up", max(hold_ms, rest_ms))
    restart(bench, "second, lead wet", max(hold_ms, rest_ms))
    bench.water("off", "lead", "lag")
    bench.wait(GAP_S)
    bench.water("off", "lead", "lag", "high")
    restart(bench, "third, high wet", max(hold_ms, flood_rest_ms))
    drain(bench, "high")


def restart(bench, name, wait_ms):
    """Cut the power, bring it back, measure the time to the first start, the controller's own start-up included."""
    bench.wait(1)
    bench.power(False)
    both_off(bench, APART_S)
    bench.power(True)
    back = bench.mark_ms
    _, at = first_on(bench, (wait_ms + START_UP_MS) / 1000 + 10, back)
    between(bench, name, at - back, wait_ms, wait_ms + START_UP_MS)
