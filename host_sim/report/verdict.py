"""The verdict in one line, and the comparison with what most pits have: one pump on one float switch."""

from host_sim.report.clock import Clock, lasting


def margin(trace, units):
    """Return where the highest water stood against the floor, such as "3.2 in below the floor"."""
    gap_m = trace.floor_m - trace.totals.highest_m
    if abs(units.level.number(gap_m)) < 0.5 * 10**-units.level.decimals:
        return "level with the floor"
    side = "below" if gap_m > 0 else "above"
    return f"{units.level.text(abs(gap_m))} {side} the floor"


def verdict(trace, units):
    """Return one sentence: whether the floor stayed dry, how near it was, and when the alarm called."""
    clock = Clock(trace.begins_s, trace.duration_s)
    totals = trace.totals
    peak = f"highest water {margin(trace, units)} at {clock.at(totals.highest_at_s)}"
    called = called_at(trace, clock)
    alarm = "the alarm first called at " + called
    if trace.controller == "single":
        alarm = "it has no alarm"
    elif called == "never":
        alarm = "the alarm never called"
    if trace.floor_dry:
        return f"The floor stayed dry: {peak}; {alarm}."
    first = "" if totals.floor_first_s is None else f" from {clock.at(totals.floor_first_s)}"
    return f"The floor got wet{first}, for {lasting(totals.floor_wet_s)}: {peak}; {alarm}."


def called_at(trace, clock):
    """Return when horn, alarm relay or service relay first called, or "never"; a float switch has no alarm."""
    if trace.controller == "single":
        return "never (none fitted)"
    first = trace.totals.first_alarm_s
    return "never" if first is None else clock.at(first)


def rows(trace, units):
    """Return the figures of one run as (label, text) pairs, in the order of the comparison table."""
    clock = Clock(trace.begins_s, trace.duration_s)
    totals = trace.totals
    figures = [
        ("highest water above the pit's bottom", units.level.text(totals.highest_m)),
        ("against the floor", margin(trace, units)),
        ("time of the highest water", clock.at(totals.highest_at_s)),
        ("water on the floor", "none" if trace.floor_dry else lasting(totals.floor_wet_s)),
        ("alarm first called", called_at(trace, clock)),
    ]
    for pump in (1, 2):
        fitted = pump == 1 or trace.controller == "duplex"
        figures.append((f"pump {pump} starts", str(totals.starts[pump - 1]) if fitted else "not fitted"))
        figures.append((f"pump {pump} running", hours(totals.run_s[pump - 1]) if fitted else "not fitted"))
        figures.append((f"pump {pump} running dry", lasting(totals.dry_s[pump - 1]) if fitted else "not fitted"))
    figures.append(("water that came in", units.volume.text(totals.inflow_m3)))
    figures.append(("water pumped out", units.volume.text(totals.pumped_m3)))
    figures.append(("battery used", f"{totals.battery_used:.0%}" if trace.battery_v else "no battery"))
    return figures


def hours(seconds):
    """Return a running time as decimal hours, the way an hour meter shows it."""
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
        "energy_j": list(totals.energy_j),
        "inflow_m3": totals.inflow_m3,
        "pumped_m3": totals.pumped_m3,
        "battery_used": totals.battery_used,
        "balance_relative": totals.balance_relative,
        "steps": totals.steps,
        "wall_s": totals.wall_s,
    }
