"""High water with both pumps tripped: flood retries."""

import itertools

from ._steps import (
    SENSE_CURRENT,
    drain,
    fill,
    first_on,
    first_starts,
    off_limit_s,
    other,
    pump,
    ready,
    start_limit_s,
    timing,
)

ORDER = 210
PURPOSE = (
    "High wet and no pump available: both are retried in turn after 10, 30 and 60 s; one that pumps is available again."
)
CLAUSES = ("R3", "R4", "S5")
NEEDS = ("off", "lead", "lag", "high", "current_1", "current_2", "pump_1", "pump_2")
CAUTION = "The high-water alarm sounds. Pumps start again and again: water over the inlets, or unplug both pumps."
LADDER_S = (10, 30, 60)  # R3; then every `flood_retry`
FIT = (0, 1, 2)  # register pump_n_state


def run(bench):
    ready(bench, sensing=SENSE_CURRENT)
    for n in (1, 2):
        bench.draws(n, "none")
    began = bench.kit.now_ms()
    fill(bench, "high")
    proof_ms, flood_ms = bench.setting("start_proof"), bench.setting("flood_min_off")
    last, _ = first_starts(bench, 2, start_limit_s(bench), began)[-1]
    out = bench.when(pump(last), 0, proof_ms / 1000 + 10)
    bench.press("silence")

    # As many failing tries as it takes to lock both pumps out, and at least one of each kind.
    tried = []
    for turn in range(max(len(LADDER_S), 2 * bench.setting("retries") - 2)):
        n, at = first_on(bench, bench.setting_s("flood_retry") + 30, out)
        wait_ms = 1000 * LADDER_S[turn] if turn < len(LADDER_S) else bench.setting("flood_retry")
        timing(bench, f"retry {turn + 1} after both tripped", at - out, max(wait_ms, flood_ms))
        tried.append(n)
        out = bench.when(pump(n), 0, proof_ms / 1000 + 5)
    seen = ", ".join(f"pump {n}" for n in tried)
    in_turn = all(later == other(earlier) for earlier, later in itertools.pairwise(tried))
    bench.check("the retries alternate", in_turn, seen)

    good = other(tried[-1])
    bench.draws(good, "normal")
    n, at = first_on(bench, bench.setting_s("flood_retry") + 30, out)
    bench.check("the repaired pump has the next retry", n == good, f"pump {n}")
    bench.wait(bench.setting_s("dry_run") + 1)
    state = bench.value(f"pump_{good}_state")
    bench.check("a retry that stays loaded clears the lockout", state in FIT, f"state {state}")
    found = bench.alarm(f"pump_{good}_unavailable")
    bench.check("the pump is available again", found != "unacknowledged" and found != "acknowledged", found)
    drain(bench, "high")
    bench.when(pump(good), 0, off_limit_s(bench))
