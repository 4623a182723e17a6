"""A controller that hangs in mid-run."""

from ._steps import START_UP_MS, at_most, begin, between, both_off, first_on, pump, ready

ORDER = 40
PURPOSE = (
    "A controller that hangs in mid-run is reset by its watchdog, with the pumps off, and serves the demand again."
)
CLAUSES = ("M3", "S4", "A3")
NEEDS = ("hang", "off", "lead", "pump_1", "pump_2", "relay")
CAUTION = "Until the watchdog resets the controller the pump keeps running, whatever the floats do: unplug both pumps."
WATCHDOG_MS = 8388  # the longest watchdog time of an RP2040 (its data sheet)
HOLD_TIMES = 4  # S4: the power-up delay grows to four times its setting


def run(bench):
    ready(bench)
    leader, _ = begin(bench)
    bench.wait(5)

    bench.hang()
    hung = bench.mark_ms
    off = bench.when(pump(leader), 0, 20)
    at_most(bench, "hang to pump off", off - hung, WATCHDOG_MS)
    bench.when("relay", 0, 1)
    both_off(bench, 3)

    rest_ms = bench.setting("lag_min_off")
    longest_ms = max(HOLD_TIMES * bench.setting("boot_hold"), rest_ms) + START_UP_MS
    _, at = first_on(bench, longest_ms / 1000 + 5, off)
    between(bench, "reset to demand served from the contacts", at - off, rest_ms, longest_ms)
    cause = bench.value("reset_cause")
    bench.check("reset cause: watchdog", cause == 1, f"reset cause {cause}")
    bench.check("the alarm relay is energized again", bench.is_on("relay"))
