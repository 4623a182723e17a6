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
    "No pump available: lag wet, both are retried in turn every 60 s; high wet, after 10, 30 and 60 s, running on "
    "without current; one that pumps is available again."
)
CLAUSES = ("R3", "R4", "S5")
NEEDS = ("off", "lead", "lag", "high", "current_1", "current_2", "thermal_1", "thermal_2", "pump_1", "pump_2")
CAUTION = "The high-water alarm sounds. Pumps start again and again: water over the inlets, or unplug both pumps."
LAG_TRIES = 3
LAG_MS = 60000  # R3
LADDER_S = (10, 30, 60)  # R3; then every `flood_retry`
IDLE, LOCKED = 0, 4  # register pump_n_state


def run(bench):
    ready(bench, sensing=SENSE_CURRENT)
    for n in (1, 2):
        bench.draws(n, "none")
    began = bench.kit.now_ms()
    fill(bench, "lag")
    last, _ = first_starts(bench, 2, start_limit_s(bench), began)[-1]
    out = bench.when(pump(last), 0, bench.setting_s("start_proof") + 10)
    bench.press("silence")
    tried = _lag(bench, out)
    _in_turn(bench, tried, "lag wet")
    good = tried[-1]
    if bench.setting("retries") <= LAG_TRIES:  # its first trip and two tries
        state = bench.value(f"pump_{good}_state")
        bench.check(f"pump {good} is locked out", state == LOCKED, f"state {state}")
    else:
        bench.note(f"pump {good} is tripped, not locked out: retries = {bench.setting('retries')}")

    trips = _trips(bench)
    tried, proved = _high(bench)
    bench.press("silence")
    bench.check("without a current no try counts as a trip", _trips(bench) == trips, f"{trips} to {_trips(bench)}")

    _end(bench, good)
    bench.draws(good, "normal")
    n, at = first_on(bench, bench.setting_s("flood_retry") + 30, bench.kit.now_ms())
    timing(bench, "retry 4, pump repaired", at - proved, bench.setting("flood_retry"))
    _in_turn(bench, [*tried, n], "high wet")
    bench.check("the repaired pump has the next retry", n == good, f"pump {n}")
    bench.wait(bench.setting_s("dry_run") + 1)
    found = bench.alarm(f"pump_{good}_unavailable")
    bench.check("the pump is available again", found != "unacknowledged" and found != "acknowledged", found)
    drain(bench, "high")
    for n in (1, 2):
        bench.when(pump(n), 0, off_limit_s(bench))
    state = bench.value(f"pump_{good}_state")  # while it ran, a try and a run looked alike
    bench.check("a retry that stayed loaded has cleared the lockout", state == IDLE, f"state {state}")


def _lag(bench, out):
    # Below high a missing current ends a try: it counts, and so locks a pump out.
    tried = []
    for turn in range(LAG_TRIES):
        n, at = first_on(bench, LAG_MS / 1000 + 30, out)
        timing(bench, f"lag wet: retry {turn + 1}", at - out, LAG_MS)
        tried.append(n)
        out = bench.when(pump(n), 0, bench.setting_s("start_proof") + 5)
    return tried


def _high(bench):
    # A try goes on without a current, and once its proof is due the next one is counted down beside it.
    proof_ms = bench.setting("start_proof")
    bench.water("off", "lead", "lag", "high")
    since = bench.mark_ms + bench.setting("debounce")
    tried = []
    for turn, wait_s in enumerate(LADDER_S):
        n, at = first_on(bench, wait_s + 30, since)
        timing(bench, f"high wet: retry {turn + 1}", at - since, 1000 * wait_s)
        since = at + proof_ms
        tried.append(n)
        bench.stays(pump(n), 1, proof_ms / 1000 + 2)
        if len(tried) == 2:
            _end(bench, tried[0])
    return tried, since


def _end(bench, n):
    # The thermal contact ends a try: the pump is out again.
    bench.thermal(n, open=True)
    bench.when(pump(n), 0, 2)
    bench.wait(1)
    bench.thermal(n, open=False)


def _in_turn(bench, tried, when):
    alternate = all(later == other(earlier) for earlier, later in itertools.pairwise(tried))
    bench.check(f"{when}: the retries alternate", alternate, ", ".join(f"pump {n}" for n in tried))


def _trips(bench):
    return [bench.value(f"trips_{n}") for n in (1, 2)]
