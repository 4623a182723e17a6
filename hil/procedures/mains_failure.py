"""Loss and return of the mains while a pump runs."""

from ._steps import MAINS, at_once, begin, both_off, drain, first_on, pump, ready, shorter, timing

ORDER = 330
PURPOSE = (
    "With the mains lost a mains pump's output drops at once and an alarm is raised, without a pump fault; the "
    "return must last."
)
CLAUSES = ("A4", "A1")
NEEDS = ("off", "lead", "lag", "high", "mains", "pump_1", "pump_2")
CAUTION = (
    "The horn sounds, the alarm relay drops out, pumps start: unplug both pumps. Switch the mains off at the "
    "breaker, never by pulling live wires."
)
GRACE_MS = 10000  # shorter than in service


def run(bench):
    shorter(bench, mains_grace=GRACE_MS)
    ready(bench, supply_1=MAINS, supply_2=MAINS)
    leader, _ = begin(bench)
    bench.wait(bench.setting_s("min_run"))
    trips = bench.value(f"trips_{leader}")

    bench.mains(False)
    gone = bench.mark_ms
    at_once(bench, "mains lost to pump off", bench.when(pump(leader), 0, 2) - gone)
    grace_ms = bench.setting("mains_grace")
    alarm_ms = bench.when_alarm("mains_lost", grace_ms / 1000 + 3, "unacknowledged")
    timing(bench, "mains lost to its alarm", alarm_ms - gone, grace_ms)
    found = bench.alarm("no_pump")
    bench.check("no pump available: a high-priority alarm", found == "unacknowledged", found)
    bench.press("silence")
    now, cause = bench.value(f"trips_{leader}"), bench.value(f"pump_{leader}_cause")
    bench.check("no fault of the pump", now == trips and cause == 0, f"trips {trips} to {now}, cause {cause}")

    bench.wait(bench.setting_s("lag_min_off"))
    settle_ms = bench.setting("mains_settle")
    bench.mains(True)
    both_off(bench, settle_ms / 3000)
    bench.mains(False)  # the return did not last
    bench.wait(3)
    bench.mains(True)
    back = bench.mark_ms
    first, on = first_on(bench, settle_ms / 1000 + 10, back)
    timing(bench, "mains back to first start", on - back, settle_ms)

    bench.wait(bench.setting_s("min_run"))
    bench.mains(False)
    bench.when(pump(first), 0, 2)
    bench.water("off", "lead", "lag")
    bench.wait(3)
    bench.water("off", "lead", "lag", "high")
    bench.wait(bench.setting_s("lag_min_off"))
    bench.mains(True)
    back = bench.mark_ms
    _, on = first_on(bench, settle_ms / 1000 + 10, back)
    timing(bench, "mains back to first start, high wet", on - back, bench.setting("flood_settle"))
    bench.press("silence")
    drain(bench, "high")
