"""A float that chatters in the waves, or a loose wire."""

from hil.kits.base import Missing

from ._steps import contact, fitted, ready, timing, until

ORDER = 75
PURPOSE = "A contact that changes over 5 times in 10 s reads wet until steady for 10 s; a minute of it is an alarm."
CLAUSES = ("L1",)
NEEDS = ("off",)
STEADY_S = 10  # L1
TOLD_S = 60  # L1
FLUTTER_S = 0.4
CHANGES = 2 * round((TOLD_S + 10) / FLUTTER_S / 2)


def run(bench):
    fitted(bench, "off")
    ready(bench)
    if not contact_moves(bench):
        raise Missing("forced inputs bypass the chatter filter: only a real contact can chatter", "off")
    # With the off float, which alone starts no pump.
    for change in range(CHANGES):
        bench.float("off", wet=change % 2 == 0)
        last = bench.mark_ms
        bench.wait(FLUTTER_S)
    bench.wait(bench.setting_s("debounce") + 2)
    found = bench.alarm("chattering")
    bench.check("alarm: chattering", found == "unacknowledged", found)
    bench.check("the contact, now dry, is held wet", reads_wet(bench))
    dry = until(bench, lambda: not reads_wet(bench), STEADY_S + 5, "off to read dry once steady")
    timing(bench, "last change to off dry", dry - last, STEADY_S * 1000 + bench.setting("debounce"))
    found = bench.alarm("chattering")
    bench.check("chattering: cleared, unacknowledged", found == "returned", found)


def contact_moves(bench):
    """Return whether the contact itself moves with the float, as the board reads it."""
    before = bench.states()["closed"] & contact("off")
    bench.float("off")
    bench.wait(0.5)
    after = bench.states()["closed"] & contact("off")
    bench.float("off", wet=False)
    bench.wait(STEADY_S + 1)
    return before != after


def reads_wet(bench):
    """Return whether the off contact reads wet."""
    return bool(bench.states()["wet"] & contact("off"))
