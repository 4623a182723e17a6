"""The verdict in one line, and the comparison with the common fit-out: one pump on one float switch."""

from collections import Counter

from host_sim.report.clock import Clock, lasting

PRIORITIES = ("high", "medium", "low")
MOST_NAMED = 3  # alarms named in the verdict, which stays one line; the timeline has all


def margin(trace, units):
    """Return the margin between the highest water and the floor, such as "3.2 in below the floor"."""
    gap_m = trace.floor_m - trace.totals.highest_m
    if abs(units.level.number(gap_m)) < 0.5 * 10**-units.level.decimals:
        return "level with the floor"
    side = "below" if gap_m > 0 else "above"
    return f"{units.level.text(abs(gap_m))} {side} the floor"


def verdict(trace, units):
    """Return one sentence: whether the floor stayed dry, the margin, and when horn or relay first called.

    Where neither called, it names the alarms that were raised without a call.
    """
    clock = Clock(trace.begins_s, trace.duration_s)
    totals = trace.totals
    peak = f"highest water {margin(trace, units)} at {clock.at(totals.highest_at_s)}"
    alarm = _alarm(trace, clock)
    if trace.floor_dry:
        return f"The floor stayed dry: {peak}; {alarm}."
    first = "" if totals.floor_first_s is None else f" from {clock.at(totals.floor_first_s)}"
    return f"The floor got wet{first}, for {lasting(totals.floor_wet_s)}: {peak}; {alarm}."


def _alarm(trace, clock):
    # Low alarms call nobody, but whoever reads "no alarm" would not look for them.
    if trace.controller == "single":
        return "no alarm fitted"
    if trace.totals.first_alarm_s is not None:
        return f"horn or relay first called at {clock.at(trace.totals.first_alarm_s)}"
    if not trace.alarms:
        return "no alarm"
    return f"no call by horn or relay, but {quiet_alarms(trace)}"


def quiet_alarms(trace):
    """Return the alarms of a run as words, each named once: "a low alarm (a selector not in AUTO)"."""
    first = {}
    for alarm in trace.alarms:
        first.setdefault(alarm.text, alarm)
    texts, priorities = list(first), {alarm.priority for alarm in first.values()}
    named = "; ".join(texts[:MOST_NAMED]) + (f"; and {len(texts) - MOST_NAMED} more" if len(texts) > MOST_NAMED else "")
    kind = f"{priorities.pop()} alarm" if len(priorities) == 1 else "alarm"
    count = ("an" if kind == "alarm" else "a") if len(texts) == 1 else str(len(texts))
    return f"{count} {kind}{'' if len(texts) == 1 else 's'} ({named})"


def first_call(trace, clock):
    """Return when the horn, alarm or service relay first called, "none", or "none fitted" for a float switch."""
    if trace.controller == "single":
        return "none fitted"
    first = trace.totals.first_alarm_s
    return "none" if first is None else clock.at(first)


def alarm_count(trace):
    """Return how many alarms were raised, by priority: "1 medium, 2 low", "none", or "none fitted"."""
    if trace.controller == "single":
        return "none fitted"
    counts = Counter(alarm.priority for alarm in trace.alarms)
    return ", ".join(f"{counts[priority]} {priority}" for priority in PRIORITIES if counts[priority]) or "none"


def rows(trace, units):
    """Return the figures of one run as (label, text) pairs, in the order of the comparison table."""
    clock = Clock(trace.begins_s, trace.duration_s)
    totals = trace.totals
    figures = [
        ("highest water, above pit bottom", units.level.text(totals.highest_m)),
        ("margin to the floor", margin(trace, units)),
        ("time of the highest water", clock.at(totals.highest_at_s)),
        ("water on the floor", "none" if trace.floor_dry else lasting(totals.floor_wet_s)),
        ("alarms raised", alarm_count(trace)),
        ("first call by horn or relay", first_call(trace, clock)),
    ]
    for pump in (1, 2):
        fitted = pump == 1 or trace.controller == "duplex"
        figures.append((f"pump {pump} starts", str(totals.starts[pump - 1]) if fitted else "not fitted"))
        figures.append((f"pump {pump} run time", hours(totals.run_s[pump - 1]) if fitted else "not fitted"))
        figures.append((f"pump {pump} dry running", dry_running(trace, pump) if fitted else "not fitted"))
    figures.append(("total inflow", units.volume.text(totals.inflow_m3)))
    figures.append(("total pumped", units.volume.text(totals.pumped_m3)))
    figures.append(("battery used", f"{totals.battery_used:.0%}" if trace.battery_v else "no battery"))
    return figures


def dry_running(trace, pump):
    """Return the time that a pump turned without moving water, as words: "6 min 30 s in 47 runs, longest 8 s"."""
    total, runs = trace.totals.dry_s[pump - 1], trace.totals.dry_runs_s[pump - 1]
    if len(runs) < 2:
        return lasting(total)
    return f"{lasting(total)} in {len(runs)} runs, longest {lasting(max(runs))}"


def hours(seconds):
    """Return a running time as decimal hours, as on an hour meter."""
    return f"{seconds / 3600:.2f} h"


def comparison(duplex, single, units):
    """Return rows (label, duplex text, single text) of the two runs of the same night."""
    pairs = zip(rows(duplex, units), rows(single, units), strict=True)
    return [(label, ours, theirs) for (label, ours), (_, theirs) in pairs]


def summary(trace):
    """Return the figures of a run as a plain dictionary in SI units, ready for JSON."""
    totals = trace.totals
    return {
        "controller": trace.controller,
        "floor_dry": trace.floor_dry,
        "floor_m": trace.floor_m,
        "highest_m": totals.highest_m,
        "highest_at_s": totals.highest_at_s,
        "floor_wet_s": totals.floor_wet_s,
        "floor_first_s": totals.floor_first_s,
        "first_alarm_s": totals.first_alarm_s,
        "starts": list(totals.starts),
        "run_s": list(totals.run_s),
        "dry_s": list(totals.dry_s),
        "longest_dry_s": [max(runs, default=0.0) for runs in totals.dry_runs_s],
        "energy_j": list(totals.energy_j),
        "inflow_m3": totals.inflow_m3,
        "pumped_m3": totals.pumped_m3,
        "battery_used": totals.battery_used,
        "balance_relative": totals.balance_relative,
        "steps": totals.steps,
        "wall_s": totals.wall_s,
    }
