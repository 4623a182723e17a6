"""A contact that bounces, and one that chatters in the waves."""

from ._steps import both_off, contact, first_on, fitted, ready, start_limit_s, timing, until

ORDER = 70
PURPOSE = "A contact counts only after the debounce; one that keeps changing is held wet until it is steady for 10 s."
CLAUSES = ("L1",)
NEEDS = ("off", "lead", "pump_1", "pump_2")
STEADY_S = 10  # L1
CHANGES = 6  # L1: more than five changes within 10 s chatter
FLUTTER_S = 0.4


def run(bench):
    fitted(bench, "off", "lead")
    ready(bench)
    bench.water("off")
    bench.wait(3)
    bench.float("lead")
    bench.wait(bench.setting_s("debounce") - 0.3)
    bench.float("lead", wet=False)
    both_off(bench, bench.setting_s("debounce") + bench.setting_s("lag_min_off"))

    bench.float("lead")
    wet = bench.mark_ms
    _, at = first_on(bench, start_limit_s(bench), wet)
    timing(bench, "lead wet to pump on", at - wet, bench.setting("debounce"))
    bench.float("lead", wet=False)
    bench.wait(3)

    for change in range(CHANGES):
        bench.float("off", wet=change % 2 == 1)
        bench.wait(FLUTTER_S)
    bench.float("off", wet=False)
    last = bench.mark_ms
    bench.wait(bench.setting_s("debounce") + 2)
    found = bench.alarm("chattering")
    bench.check("the chatter is told", found == "unacknowledged", found)
    bench.check("dry by now, the contact is held wet", reads_wet(bench))
    dry = until(bench, lambda: not reads_wet(bench), STEADY_S + 5, "off reads dry once it is steady")
    timing(bench, "last change to off dry", dry - last, STEADY_S * 1000 + bench.setting("debounce"))
    found = bench.alarm("chattering")
    bench.check("the chatter is over", found == "returned", found)


def reads_wet(bench):
    """Tell whether the off contact counts as wet."""
    return bool(bench.client.states()["wet"] & contact("off"))
