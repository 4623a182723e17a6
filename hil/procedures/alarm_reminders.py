"""Quiet time after silence, reminders, and the chirp of a missed alarm."""

from ._steps import drain, fill, ready, shorter, timing

ORDER = 140
PURPOSE = "A silenced alarm that recurs stays quiet for `quiet` only; high water reminds; a missed alarm chirps."
CLAUSES = ("A2",)
NEEDS = ("off", "lead", "lag", "high", "selector_1", "selector_2", "horn")
CAUTION = "The horn sounds several times, up to a minute at a time."
CHIRP_ON_S, CHIRP_OFF_S = 60, 540  # A2: 1 min in every 10


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

    # Cleared before it was acknowledged: the horn chirps 1 min in every 10.
    bench.water("off", "lead", "lag")
    bench.wait(bench.setting_s("debounce") + 1)
    gone = bench.alarm("high_water")
    bench.check("cleared, unacknowledged", gone == "returned", gone)
    quiet = bench.when("horn", 0, CHIRP_ON_S + 10)
    on = bench.when("horn", 1, CHIRP_OFF_S + 10)
    timing(bench, "pause between two chirps", on - quiet, CHIRP_OFF_S * 1000)
    timing(bench, "length of a chirp", bench.when("horn", 0, CHIRP_ON_S + 10) - on, CHIRP_ON_S * 1000)
    bench.press("silence")
    drain(bench, "lag")
