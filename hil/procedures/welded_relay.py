"""A welded pump relay."""

from ._steps import SENSE_CURRENT, begin, both_off, drain, fill, off_limit_s, other, pump, ready, timing

ORDER = 250
PURPOSE = (
    "Current with the output off raises the alarm that the pump will not stop; it counts as running and never leads."
)
CLAUSES = ("S6", "A1", "A3")
NEEDS = ("off", "lead", "lag", "current_1", "current_2", "pump_1", "pump_2", "horn", "relay")
CAUTION = (
    "The horn sounds, the alarm relay drops out. On site only its plug or breaker stops a welded pump. Unplug "
    "both pumps."
)


def run(bench):
    ready(bench, sensing=SENSE_CURRENT)
    bad, _ = begin(bench)
    bench.wait(bench.setting_s("min_run") + 3)
    bench.draws(bad, "normal", welded=True)
    drain(bench)
    off = bench.when(pump(bad), 0, off_limit_s(bench))
    alarm, proof_ms = f"pump_{bad}_will_not_stop", bench.setting("start_proof")
    horn = bench.when("horn", 1, proof_ms / 1000 + 5)
    timing(bench, "relay off with current to horn", horn - off, proof_ms)
    found = bench.alarm(alarm)
    bench.check("alarm: pump will not stop", found == "unacknowledged", found)
    bench.check("the alarm relay drops out", not bench.is_on("relay"))
    bench.press("silence")

    bench.wait(bench.setting_s("min_off"))
    fill(bench, "lead")
    both_off(bench, bench.setting_s("debounce") + 10)
    bench.water("off", "lead", "lag")
    bench.when(pump(other(bad)), 1, bench.setting_s("debounce") + 5)
    bench.stays(pump(bad), 0, 5)

    bench.wait(bench.setting_s("min_run"))
    drain(bench, "lag")
    bench.when(pump(other(bad)), 0, off_limit_s(bench))
    bench.draws(bad, "normal")
    bench.wait(2)
    found = bench.alarm(alarm)
    bench.check("without current the alarm clears", found == "normal", found)
