"""A pump that draws no current when switched on."""

from duplexsump.control.pump import FAILED_START

from ._steps import SENSE_CURRENT, at_most, begin, cause_named, cycle, drain, off_limit_s, other, pump, ready, timing

ORDER = 160
PURPOSE = "A pump that draws no current after its start trips, the other takes over, and the cause is named."
CLAUSES = ("S5", "D3", "A1")
NEEDS = ("off", "lead", "current_1", "current_2", "pump_1", "pump_2", "horn")
CAUTION = "The horn sounds. The other pump takes over: water over its inlet, or unplug both pumps."
RESTING = 3  # register pump_n_state


def run(bench):
    ready(bench, sensing=SENSE_CURRENT)
    for n in (1, 2):
        bench.draws(n, "none")
    leader, started = begin(bench)
    bench.draws(other(leader), "normal")
    proof_ms, spacing_ms = bench.setting("start_proof"), bench.setting("start_spacing")
    off = bench.when(pump(leader), 0, proof_ms / 1000 + 5, since_ms=started)
    timing(bench, "start without current to pump off", off - started, proof_ms)
    on = bench.when(pump(other(leader)), 1, spacing_ms / 1000 + 5, since_ms=started)
    at_most(bench, "take-over by the other pump", on - off, max(0, spacing_ms - proof_ms) + 100)
    cause_named(bench, leader, FAILED_START)
    state = bench.value(f"pump_{leader}_state")
    bench.check("the pump rests for its retry", state == RESTING, f"state {state}")
    bench.check(
        "the horn sounds: a pump is unavailable", bench.is_on("horn"), bench.alarm(f"pump_{leader}_unavailable")
    )
    bench.press("silence")

    bench.wait(bench.setting_s("min_run"))
    drain(bench)
    bench.when(pump(other(leader)), 0, off_limit_s(bench))
    bench.wait(bench.setting_s("lag_min_off"))
    bench.check("the next cycle skips the pump at rest", cycle(bench) == other(leader))
