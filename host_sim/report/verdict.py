"""The verdict in one line, and the comparison with the common fit-out: one pump on one float switch."""

from host_sim.report.clock import Clock, lasting


def margin(trace, units):
    """Return the margin between the highest water and the floor, such as "3.2 in below the floor"."""
    gap_m = trace.floor_m - trace.totals.highest_m
    if abs(units.level.number(gap_m)) < 0.5 * 10**-units.level.decimals:
        return "level with the floor"
    side = "below" if gap_m > 0 else "above"
    return f"{units.level.text(abs(gap_m))} {side} the floor"


def verdict(trace, units):
    """Return one sentence: whether the floor stayed dry, the margin, and the time of the first alarm."""
    clock = Clock(trace.begins_s, trace.duration_s)
    totals = trace.totals
    peak = f"highest water {margin(trace, units)} at {clock.at(totals.highest_at_s)}"
    if trace.controller == "single":
        alarm = "no alarm fitted"
    else:
        alarm = "no alarm" if totals.first_alarm_s is None else f"first alarm at {clock.at(totals.first_alarm_s)}"
    if trace.floor_dry:
        return f"The floor stayed dry: {peak}; {alarm}."
    first = "" if totals.floor_first_s is None else f" from {clock.at(totals.floor_first_s)}"
    return f"The floor got wet{first}, for {lasting(totals.floor_wet_s)}: {peak}; {alarm}."


def first_alarm(trace, clock):
    """Return when the horn, alarm or service relay first called, "none", or "none fitted" for a float switch."""
    if trace.controller == "single":
        return "none fitted"
    first = trace.totals.first_alarm_s
    return "none" if first is None else clock.at(first)


def rows(trace, units):
    """Return the figures of one run as (label, text) pairs, in the order of the comparison table."""
    clock = Clock(trace.begins_s, trace.duration_s)
    totals = trace.totals
    figures = [
        ("highest water, above pit bottom", units.level.text(totals.highest_m)),
        ("margin to the floor", margin(trace, units)),
        ("time of the highest water", clock.at(totals.highest_at_s)),
        ("water on the floor", "none" if trace.floor_dry else lasting(totals.floor_wet_s)),
        ("first alarm", first_alarm(trace, clock)),
    ]
    for pump in (1, 2):
        fitted = pump == 1 or trace.controller == "duplex"
        figures.append((f"pump {pump} starts", str(totals.starts[pump - 1]) if fitted else "not fitted"))
        figures.append((f"pump {pump} run time", hours(totals.run_s[pump - 1]) if fitted else "not fitted"))
        figures.append((f"pump {pump} dry running", lasting(totals.dry_s[pump - 1]) if fitted else "not fitted"))
    figures.append(("total inflow", units.volume.text(totals.inflow_m3)))
    figures.append(("total pumped", units.volume.text(totals.pumped_m3)))
    figures.append(("battery used", f"{totals.battery_used:.0%}" if trace.battery_v else "no battery"))
    return figures


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
        "energy_j": list(totals.energy_j),
        "inflow_m3": totals.inflow_m3,
        "pumped_m3": totals.pumped_m3,
        "battery_used": totals.battery_used,
        "balance_relative": totals.balance_relative,
        "steps": totals.steps,
        "wall_s": totals.wall_s,
    }
