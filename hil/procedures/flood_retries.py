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
    starts,
    timing,
)

ORDER = 210
PURPOSE = (
    "No pump available: with lag wet both rest; with high wet they are tried in turn after 10 s, one at once after "
    "the other, then after 30 and 60 s, running on without current; one that pumps is available again."
)
CLAUSES = ("R3", "R4", "S5")
NEEDS = ("off", "lead", "lag", "high", "current_1", "current_2", "thermal_1", "thermal_2", "pump_1", "pump_2")
CAUTION = "The high-water alarm sounds. Pumps start again and again: water over the inlets, or unplug both pumps."
REST_S = 65.0  # with lag wet: longer than the first of R3's times
FOLLOWS_S = 1  # R3: the other pump's try, once nothing is seen of the first
TRIES_S = (10, FOLLOWS_S, 30, 60)  # R3; then every `flood_retry`
IDLE = 0  # register pump_n_state


def run(bench):
    ready(bench, sensing=SENSE_CURRENT)
    for n in (1, 2):
        bench.draws(n, "none")
    began = bench.kit.now_ms()
    fill(bench, "lag")
    last, _ = first_starts(bench, 2, start_limit_s(bench), began)[-1]
    bench.when(pump(last), 0, bench.setting_s("start_proof") + 10)
    bench.press("silence")
    out = bench.kit.now_ms()
    bench.stays(pump(last), 0, min(REST_S, bench.setting_s("retry") / 2))
    seen = ", ".join(f"pump {n}" for n, _ in starts(bench, out)) or "no start"
    bench.check("with lag wet a tripped pump rests", seen == "no start", seen)

    trips = _trips(bench)
    tried, proved = _high(bench)
    good = tried[0]
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
    bench.check("a retry that stayed loaded has released the pump", state == IDLE, f"state {state}")


def _high(bench):
    # A try goes on without a current; once its proof is due the other pump's follows, then the next is counted down.
    proof_ms = bench.setting("start_proof")
    bench.water("off", "lead", "lag", "high")
    since = bench.mark_ms + bench.setting("debounce")
    tried = []
    for turn, least_s in enumerate(TRIES_S):
        wait_s = max(least_s, bench.setting_s("start_spacing") - proof_ms / 1000)
        n, at = first_on(bench, wait_s + 30, since)
        timing(bench, f"high wet: retry {turn + 1}", at - since, round(1000 * wait_s))
        since = at + proof_ms
        tried.append(n)
        bench.stays(pump(n), 1, proof_ms / 1000 + 2)
        if len(tried) in (2, 3):  # the one that has run for longer is out again, and its try is the next
            _end(bench, tried[-2])
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
