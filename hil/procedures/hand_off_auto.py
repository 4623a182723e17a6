"""The hand-off-auto selectors."""

from ._steps import at_once, begin, both_off, drain, fill, other, pump, ready, running, shorter, timing

ORDER = 150
PURPOSE = "OFF stops a pump at once and keeps it off; HAND runs it at any level, after its rest, up to its limit."
CLAUSES = ("M1", "I2", "S1", "D3", "A1")
NEEDS = ("off", "lead", "lag", "selector_1", "selector_2", "pump_1", "pump_2", "relay")
CAUTION = (
    "HAND runs a pump for hand_limit (5 min unless set otherwise): water over the inlet, or unplug both pumps. "
    "OFF on a selector makes no pump safe to touch: unplug it or lock it out before any work on it."
)


def run(bench):
    shorter(bench, hand_limit=20000)
    ready(bench)
    leader, _ = begin(bench)
    bench.wait(bench.setting_s("min_run") + 1)
    bench.selector(leader, "off")
    turned = bench.mark_ms
    at_once(bench, "selector OFF to pump off", bench.when(pump(leader), 0, 2) - turned)
    bench.when(pump(other(leader)), 1, bench.setting_s("start_spacing") + 2)
    bench.selector(other(leader), "off")
    at_once(bench, "selector OFF to the other pump off", bench.when(pump(other(leader)), 0, 2) - bench.mark_ms)
    fill(bench, "lag")
    both_off(bench, bench.setting_s("min_off") + 5)
    found = bench.alarm("no_pump")
    bench.check(
        "no pump available: a high-priority alarm", found == "unacknowledged" and not bench.is_on("relay"), found
    )

    drain(bench, "lag")
    bench.wait(2)
    bench.press("silence")
    bench.selector(leader, "auto")
    bench.selector(other(leader), "auto")
    bench.wait(2)
    by_hand(bench, leader)


def by_hand(bench, n):
    """HAND in an empty pit: the pump runs, rests after a stop, and stops at its limit."""
    before = bench.value("hand_overruns")
    bench.selector(n, "hand")
    at_once(bench, "HAND to pump on", bench.when(pump(n), 1, 3) - bench.mark_ms)
    bench.wait(bench.setting_s("min_run") + 2)
    bench.selector(n, "auto")
    off = bench.when(pump(n), 0, 3)
    bench.wait(1)
    bench.selector(n, "hand")
    on = bench.when(pump(n), 1, bench.setting_s("min_off") + 5)
    timing(bench, "rest of the pump in HAND", on - off, bench.setting("min_off"))
    off = bench.when(pump(n), 0, bench.setting_s("hand_limit") + 5)
    timing(bench, "HAND to its limit", off - on, bench.setting("hand_limit"))
    counted = bench.value("hand_overruns") - before
    bench.check("the limit is counted once", counted == 1, counted)
    bench.check("no pump runs", not running(bench), running(bench) or "none")
    bench.selector(n, "auto")
    bench.wait(1)
