"""Loss and return of the mains while a pump runs."""

from ._steps import (
    GAP_S,
    MAINS,
    at_most,
    at_once,
    begin,
    both_off,
    drain,
    first_on,
    off_limit_s,
    pump,
    ready,
    running,
    shorter,
    timing,
)

ORDER = 330
PURPOSE = (
    "With the mains lost a mains pump's output drops at once and an alarm is raised, without a pump fault; the "
    "return must last; with lag or high wet a mains that is not seen is used all the same."
)
CLAUSES = ("A4", "A1")
NEEDS = ("off", "lead", "lag", "high", "mains", "pump_1", "pump_2")
CAUTION = (
    "The horn sounds, the alarm relay drops out, pumps start: unplug both pumps. Switch the mains off at the "
    "breaker, never by pulling live wires."
)
GRACE_MS = 30000  # shorter than in service, longer than a rest


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
    _lag(bench, settle_ms)
    _high(bench)


def _lag(bench, settle_ms):
    # The mains is lost with lead wet; lag tells at once, and after a while calls a pump all the same.
    bench.wait(bench.setting_s("lag_min_off"))
    found = bench.alarm("mains_lost")
    bench.check("no alarm yet: mains_grace is not over", found == "normal", found)
    trips = _trips(bench)
    debounce_ms = bench.setting("debounce")
    bench.water("off", "lead", "lag")
    wet = bench.mark_ms
    alarm_ms = bench.when_alarm("mains_lost", debounce_ms / 1000 + 3, "unacknowledged")
    at_most(bench, "lag wet to mains lost", alarm_ms - wet, debounce_ms)
    n, on = first_on(bench, bench.setting_s("flood_settle") + 10, wet)
    timing(bench, "lag wet to a pump without mains", on - wet, debounce_ms + bench.setting("flood_settle"))
    found = bench.alarm("no_pump")
    bench.check("it is no pump with a supply that is seen", found == "unacknowledged", found)

    bench.press("silence")
    bench.mains(True)
    bench.stays(pump(n), 1, settle_ms / 3000)
    bench.mains(False)
    bench.stays(pump(n), 1, 3)
    bench.mains(True)
    timing(bench, "mains back to its alarm cleared, lag wet", _cleared(bench), settle_ms)
    bench.check("no fault of either pump", _trips(bench) == trips, f"trips {trips} to {_trips(bench)}")
    _level_ends(bench, "lag")


def _high(bench):
    # High wet asks no time; and the mains that returns counts sooner.
    bench.mains(False)
    bench.wait(bench.setting_s("lag_min_off"))
    bench.water("off")
    bench.wait(GAP_S)
    bench.water("off", "lead")
    bench.wait(GAP_S)
    bench.water("off", "lead", "lag", "high")
    wet = bench.mark_ms
    _, on = first_on(bench, bench.setting_s("flood_settle") + 10, wet)
    timing(bench, "high wet to a pump without mains", on - wet, bench.setting("debounce"))
    bench.press("silence")
    bench.wait(bench.setting_s("min_run"))
    bench.mains(True)
    timing(bench, "mains back to its alarm cleared, high wet", _cleared(bench), bench.setting("flood_settle"))
    _level_ends(bench, "high")


def _cleared(bench):
    # How long after the last change at the mains its alarm has cleared, in ms; it has been acknowledged.
    back = bench.mark_ms
    return bench.when_alarm("mains_lost", bench.setting_s("mains_settle") + 10, "normal") - back


def _level_ends(bench, top):
    drain(bench, top)
    bench.wait(off_limit_s(bench))
    found = running(bench)
    bench.check(f"the level ends the run, from {top} down", not found, ", ".join(found) or "none runs")


def _trips(bench):
    return [bench.value(f"trips_{n}") for n in (1, 2)]
