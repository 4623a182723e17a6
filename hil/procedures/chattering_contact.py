"""A float that chatters in the waves, or a loose wire."""

from hil.kits.base import Missing

from ._steps import contact, fitted, ready, timing, until

ORDER = 75
PURPOSE = "A contact that changes more than 5 times in 10 s is told, and counts as wet until steady for 10 s."
CLAUSES = ("L1",)
NEEDS = ("off",)
STEADY_S = 10  # L1
CHANGES = 6  # L1
FLUTTER_S = 0.4


def run(bench):
    fitted(bench, "off")
    ready(bench)
    if not contact_moves(bench):
        raise Missing("inputs are forced, which acts behind the chatter limit: only a real contact can chatter", "off")
    # The off float is taken: by itself it starts no pump.
    for change in range(CHANGES):
        bench.float("off", wet=change % 2 == 0)
        last = bench.mark_ms
        bench.wait(FLUTTER_S)
    bench.wait(bench.setting_s("debounce") + 2)
    found = bench.alarm("chattering")
    bench.check("the chatter is told", found == "unacknowledged", found)
    bench.check("dry by now, the contact is held wet", reads_wet(bench))
    dry = until(bench, lambda: not reads_wet(bench), STEADY_S + 5, "off reads dry once it is steady")
    timing(bench, "last change to off dry", dry - last, STEADY_S * 1000 + bench.setting("debounce"))
    found = bench.alarm("chattering")
    bench.check("the chatter is over", found == "returned", found)


def contact_moves(bench):
    """Tell whether the contact itself moves with the float, as the board reads it."""
    before = bench.states()["closed"] & contact("off")
    bench.float("off")
    bench.wait(0.5)
    after = bench.states()["closed"] & contact("off")
    bench.float("off", wet=False)
    bench.wait(STEADY_S + 1)
    return before != after


def reads_wet(bench):
    """Tell whether the off contact counts as wet."""
    return bool(bench.states()["wet"] & contact("off"))
