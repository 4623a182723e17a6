"""Quiet time after silence, reminders, and the chirp of a missed alarm."""

from ._steps import drain, fill, ready, shorter, timing

ORDER = 140
PURPOSE = "A silenced alarm that recurs stays quiet for `quiet` only; high water reminds; a missed alarm chirps."
CLAUSES = ("A2",)
NEEDS = ("off", "lead", "lag", "high", "selector_1", "selector_2", "horn")
CAUTION = "The horn sounds several times over half an hour."
CHIRPS_S, CHIRP_S = (600, 1800), 10  # A2: 10 s at 10, 30 and 60 min; the first two are awaited


def run(bench):
    shorter(bench, quiet=60000, remind_high=300000, remind_other=3600000)
    ready(bench)
    for n in (1, 2):
        bench.selector(n, "off")  # no pump runs in this procedure
    fill(bench, "high")
    bench.when("horn", 1, bench.setting_s("debounce") + 5)
    bench.wait(2)
    bench.press("silence")
    silenced = bench.when("horn", 0, 2)

    bench.water("off", "lead", "lag")
    bench.wait(5)
    bench.water("off", "lead", "lag", "high")
    bench.wait(bench.setting_s("debounce") + 2)
    found = bench.alarm("high_water")
    bench.check("the alarm is active again", found == "unacknowledged", found)
    quiet_ms = bench.setting("quiet")
    loud = bench.when("horn", 1, quiet_ms / 1000 + 10)
    timing(bench, "silence to horn, alarm recurring meanwhile", loud - silenced, quiet_ms)

    bench.press("silence")
    silenced = bench.when("horn", 0, 2)
    remind_ms = bench.setting("remind_high")
    loud = bench.when("horn", 1, remind_ms / 1000 + 10)
    timing(bench, "silence to reminder, high still wet", loud - silenced, remind_ms)

    # Cleared before it was acknowledged: the horn chirps ever more seldom.  The pit empties, as lag wet with no pump
    # able to run would call in its turn (D5).
    bench.water("off", "lead", "lag")
    gone_ms = bench.when("horn", 0, bench.setting_s("debounce") + 2)
    gone = bench.alarm("high_water")
    bench.check("cleared, unacknowledged", gone == "returned", gone)
    drain(bench, "lag")
    for due_s in CHIRPS_S:
        on = bench.when("horn", 1, due_s + 10)
        timing(bench, f"return to the chirp at {due_s // 60} min", on - gone_ms, due_s * 1000)
        timing(bench, "length of a chirp", bench.when("horn", 0, CHIRP_S + 5) - on, CHIRP_S * 1000)
    bench.press("silence")
