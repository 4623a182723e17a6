"""A high float stuck wet over a dry pit: blind pumping."""

from ._steps import at_most, first_on, other, pump, ready, run_dry, stick, timing

ORDER = 310
PURPOSE = "With the level lost both pumps, then one at a time, run one draw-down, with growing rests in an empty pit."
CLAUSES = ("L6", "L2", "A1")
NEEDS = ("high", "pump_1", "pump_2", "relay")
CAUTION = "Alarms for minutes. Pumps run dry, up to blind_run (35 s) each: unplug both pumps."
RESTS_S = (10, 60, 300)  # L6; then 10 and 30 min


def run(bench):
    ready(bench)
    longest_ms = run_dry(bench)
    stick(bench, "high", wet=True)
    bench.when_alarm("level_lost", bench.setting_s("sequence_time") + longest_ms / 500 + 10)
    bench.press("silence")
    bench.check("the alarm relay drops out", not bench.is_on("relay"))
    bench.kit.run_until(lambda: not (bench.is_on("pump_1") or bench.is_on("pump_2")), 5000)

    off, before = bench.kit.now_ms(), None
    for turn in range(len(RESTS_S) + 1):
        n, on = first_on(bench, (RESTS_S[turn - 1] if turn else bench.setting_s("min_off")) + 10, off)
        if turn:
            timing(bench, f"rest {turn}", on - off, 1000 * RESTS_S[turn - 1])
        if turn > 1:  # the first turn may have been skipped for a pump's rest
            bench.check(f"run {turn + 1} is by the other pump", n == other(before), f"pump {n}")
        bench.stays(pump(other(n)), 0, 2)
        off, before = bench.when(pump(n), 0, longest_ms / 1000 + 10), n
        at_most(bench, f"blind run {turn + 1}", off - on, longest_ms)
        if not turn and bench.is_on(pump(other(n))):  # the first run after high has turned wet takes both
            off = bench.when(pump(other(n)), 0, longest_ms / 1000 + 10)

    bench.float("high", wet=False)
    bench.wait(bench.setting_s("debounce") + 1)
    found = bench.alarm("level_lost")
    bench.check("once the float has moved, the level is valid again", found in ("normal", "returned"), found)
