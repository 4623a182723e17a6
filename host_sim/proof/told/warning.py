"""How long before a flood somebody was called, by an alarm that names the trouble and stood when the floor got wet.

A horn of an hour ago for something else warns nobody.  What counts: a high or
medium alarm of the flood itself, or one that `told.toml` promises for a fault
of this run, raised before the floor got wet and not over by then; high water of this very
rise that a failing `high` has ended while its relay calls on; and the relays
of a controller that is dead at that moment.
"""

from bisect import bisect_right

from host_sim.proof.told import judge

FLOOD = ("high_water", "no_pump", "not_keeping_up", "battery_low")  # these name a flood whatever its cause is
CALLING = ("high", "medium")  # a low alarm calls nobody
DYING = ("controller-", "mains-")
AGAIN_S = 600.0
CALLS = ("horn", "relay", "service")  # what is heard, or seen from outside


def naming(faults):
    """Return the set of alarms that name the trouble of a run with these faults (names of the registry)."""
    rows = [row for row in judge.table() if any(fault.split("=")[0] in faults for fault in row.faults)]
    return {*FLOOD, *(name for row in rows for name in row.alarms)}


def lead_s(trace, faults):
    """Return the seconds of warning before the floor first got wet, None where nobody was called or it stayed dry."""
    wet_s = trace.totals.floor_first_s
    if wet_s is None:
        return None
    names = naming(faults)
    spans = [span for span in trace.outputs if span.name in CALLS and span.start_s <= wet_s]
    called = [max(alarm.raised_s, span.start_s) for alarm in trace.alarms for span in spans
              if alarm.name in names and alarm.priority in CALLING and alarm.raised_s <= min(wet_s, span.end_s)
              and (_stands(alarm, wet_s) or _calls_on(alarm, span, trace))]  # fmt: skip
    # A controller that dies again and again drops its relays each time.
    again_s = AGAIN_S if any(fault.startswith(DYING) for fault in faults) else 0.0
    called += [span.start_s for span in trace.outputs
               if span.name == "controller" and span.start_s <= wet_s <= span.end_s + again_s]  # fmt: skip
    return wet_s - min(called) if called else None


def _stands(alarm, at_s):
    return alarm.cleared_s is None or alarm.cleared_s >= at_s


def _calls_on(alarm, span, trace):
    # `high` failed under water that has stood over it since: its alarm is over and its call is not (A3).
    high_m = trace.contact_trip_m.get("high")
    same = alarm.name == "high_water" and high_m is not None and alarm.raised_s >= passed_s(trace, high_m)
    return same and span.name != "horn" and span.end_s >= trace.totals.floor_first_s


def passed_s(trace, level_m):
    """Return the s at which the water last rose past `level_m` before the floor first got wet; 0.0: always above."""
    last = bisect_right(trace.time_s, trace.totals.floor_first_s) - 1
    for place in range(last, 0, -1):
        below = trace.level_m[place - 1]
        if below < level_m:
            share = (level_m - below) / max(1e-9, trace.level_m[place] - below)
            return trace.time_s[place - 1] + min(1.0, share) * (trace.time_s[place] - trace.time_s[place - 1])
    return 0.0
