"""A mains pump with a battery pump behind it."""

from ._steps import BATTERY, FIXED, MAINS, at_most, begin, between, cycle, drain, off_limit_s, ready, timing

ORDER = 340
PURPOSE = "With the mains lost the battery pump takes over at once, and hands back only to a mains pump proved running."
CLAUSES = ("A4", "D1", "D2", "D3")
NEEDS = ("off", "lead", "mains", "battery", "pump_1", "pump_2")
CAUTION = "Batteries give off explosive gas while they charge: ventilate, no sparks, no open flame. The horn sounds."
FULL_V = 1.0  # above the lower limit at rest: a full lead-acid battery


def run(bench):
    bench.settings(duty=FIXED, primary=1, supply_1=MAINS, supply_2=BATTERY)
    bench.battery(bench.setting_s("battery_low") + FULL_V)
    ready(bench)
    bench.check("the primary leads", cycle(bench) == 1)
    bench.wait(bench.setting_s("min_off"))
    leader, _ = begin(bench)
    bench.check("and leads again: fixed duty", leader == 1, f"pump {leader}")
    bench.wait(bench.setting_s("min_run") + bench.setting_s("start_spacing"))

    bench.mains(False)
    gone = bench.mark_ms
    bench.when("pump_1", 0, 2)
    at_most(bench, "mains lost to battery pump on", bench.when("pump_2", 1, 5) - gone, 200)
    bench.wait(max(bench.setting_s("min_off"), 10) + 2)  # until the mains pump has rested
    bench.press("silence")
    bench.check("the battery pump runs", bench.is_on("pump_2"))

    # Its current comes late, which shows that the proof is waited for.
    bench.draws(1, "none")
    bench.mains(True)
    back, settle_ms = bench.mark_ms, bench.setting("mains_settle")
    on = bench.when("pump_1", 1, settle_ms / 1000 + 10)
    timing(bench, "mains back to mains pump on", on - back, settle_ms)
    proof_ms = bench.setting("start_proof")
    bench.wait(proof_ms / 2000)
    bench.draws(1, "normal")
    off = bench.when("pump_2", 0, proof_ms / 1000 + 5, since_ms=on)
    between(bench, "both on: mains pump on to battery pump off", off - on, proof_ms // 2, proof_ms)
    bench.check("the mains pump keeps running", bench.is_on("pump_1"))
    drain(bench)
    bench.when("pump_1", 0, off_limit_s(bench))
    bench.note("a battery under a real pump was not tested here: the hose test with the mains off does that")
