"""One night of the campaign: the real firmware and the single float switch in the same pit, and what was held."""

from bisect import bisect_left

from duplexsump.control import settings as s

from host_sim.proof.campaign import excused, nights
from host_sim.proof.campaign.monitor import Watched
from host_sim.proof.told import warning
from host_sim.run import closed_loop
from host_sim.run.closed_loop import Night as LoopNight
from host_sim.run.controllers import Duplex
from host_sim.site.load import read_site

# I14 is judged with this much grace: a motor spins down and the level is sampled on the grid.
DRY_GRACE_S = 1.0
# High water is told so long after the water has passed the float: its debounce, and the tick that follows.
DEBOUNCE_GRACE_S = 2.0
FLOAT_GROUP = "float"


def run(seed, number, control_class=Watched):
    """Return the record of night `number`: a flat dictionary of numbers and texts.

    `control_class` is the controller, for canaries.
    """
    return judged(nights.draw(seed, number), control_class)


def judged(night, control_class=Watched):
    """Return the record of a Night, drawn or written."""
    return judge(night, *played(night, control_class))


def played(night, control_class=Watched):
    """Return (the loop's Night, its Trace, the Trace of the single float switch) of a Night, run to its end."""
    site = read_site(night.text, source=f"night {night.seed}/{night.number}")
    work = LoopNight(site, site.seed, control_class(site), list(site.faults))
    trace = work.run(False, None)
    return work, trace, closed_loop.run(site, controller="single", curves=False)


def judge(night, work, trace, single):
    """Return the record of a Night from what `played()` gave."""
    site, control = work.site, work.control
    dry_s = longest_dry_s(trace, site, night.names)
    # The float switch has no controller that could die and no second pump: it only floods or does not.
    row = excused.no_reading(night, trace, site)
    record = _record(night, site, trace, single, dry_s, control)
    record["excused"] = "; ".join(_excused(night, site, trace, dry_s, row))
    record["broken"] = "; ".join(_broken(night, site, trace, control, dry_s, work, row))
    return record


def _record(night, site, trace, single, dry_s, control):
    totals = trace.totals
    wet_at = totals.floor_first_s
    lead_s = warning.lead_s(trace, night.names)
    return {
        "seed": night.seed, "number": night.number, "faults": " ".join(night.faults), "kinds": " ".join(night.names),
        "must": night.must, "excused": "",
        "sensing": night.sensing, "level": night.level,
        "battery": night.battery, "peak_gpm": round(night.peak_gpm, 2),
        "dry": wet_at is None, "floor_wet_s": totals.floor_wet_s, "floor_first_s": _or_none(wet_at),
        "first_alarm_s": _or_none(totals.first_alarm_s), "lead_s": _or_none(lead_s),
        "after_high_s": _or_none(_after_high_s(trace, site)),
        "highest_mm": round(totals.highest_m * 1000.0, 1), "longest_dry_run_s": round(dry_s, 1),
        "starts": sum(totals.starts), "steps": totals.steps, "looked_at": control.steps,
        "single_dry": single.totals.floor_first_s is None, "single_wet_s": single.totals.floor_wet_s,
        "balance": totals.balance_relative, "wall_s": totals.wall_s + single.totals.wall_s,
    }  # fmt: skip


def _excused(night, site, trace, dry_s, row):
    # Why a promise was not asked for, as the written table has it; `row`: what it says of a dry run, if anything.
    unwarned = trace.totals.floor_first_s is not None and warning.lead_s(trace, night.names) is None
    if unwarned and (reason := excused.untold(night, trace, site)):
        yield reason
    if row and dry_s > dry_limit_s(night, site) + DRY_GRACE_S:
        yield row["reason"]


def _or_none(value):
    return float("nan") if value is None else value


def longest_dry_s(trace, site, faults=()):
    """Return the longest stretch, in seconds, in which a pump turned in a pit that was empty to its intake.

    A pump that moves nothing under water (air lock, shut valve) is not dry: its alarms and the floor judge it.  One
    whose relay is welded, by a fault of `faults`, is left out: nobody commands it, and S6 has it unplugged.
    """
    return longest_dry(trace, site, faults)[0]


def longest_dry(trace, site, faults=()):
    """Return (seconds, second at which it began) of the stretch that `longest_dry_s` measures."""
    longest, since = (0.0, 0.0), {}
    for event in trace.events:
        if event.kind not in ("motor", "pump"):
            continue
        n = event.data["pump"]
        if f"pump{n}-relay-welded" in faults:
            continue
        if n in since:
            longest = max(longest, (event.time_s - since[n], since.pop(n)))
        if event.kind == "motor" and event.data["what"] == "dry" and _empty(trace, site.pumps[n - 1], event.time_s):
            since[n] = event.time_s
    return max([longest, *((trace.duration_s - t, t) for t in since.values())])


def _empty(trace, pump, time_s):
    # Whether the water does not cover a pump's intake at the first point from a time on.
    place = min(bisect_left(trace.time_s, time_s), len(trace.time_s) - 1)
    return trace.level_m[place] < pump.intake_m + pump.cover_m


def _after_high_s(trace, site):
    """Return how long after the water last passed `high` the floor got wet: no honest float can warn sooner."""
    if trace.totals.floor_first_s is None:
        return None
    return trace.totals.floor_first_s - warning.passed_s(trace, site.contacts[3].wet_m)


def _broken(night, site, trace, control, dry_s, work, row):
    # Everything that the table, the alarms' promise, I14, the invariants and the second phase say was not held.
    totals = trace.totals
    for invariant, ms, text in control.broken[:3]:
        yield f"{invariant} at {ms / 1000:.1f} s: {text}"
    if totals.floor_first_s is not None:
        if night.must == "dry":
            yield f"table: the floor was wet at {totals.floor_first_s:.1f} s, these faults must be survived dry"
        yield from _called(night, trace, site)
    limit = dry_limit_s(night, site)
    if row and limit + DRY_GRACE_S < dry_s <= row["longest_s"]:
        began_s = longest_dry(trace, site, night.names)[1]
        if not excused.stands(trace, began_s + row["called_s"]):
            yield f"alarm: pumps ran dry from {began_s:.1f} s on, and nobody was called"
    elif dry_s > limit + DRY_GRACE_S:
        name = "I14" if _single_float(night) else "dry"
        yield f"{name}: a dry run of {dry_s:.1f} s, {limit:.1f} s allowed"
    if totals.balance_relative > 1e-6:
        yield f"the plant made or lost {totals.balance_relative:.1e} of its water"
    yield from _recovered(site, trace, work)


def _called(night, trace, site):
    # Called by an alarm that names the trouble, and as soon as the water has passed `high`, where that float is good.
    wet_s, lead_s = trace.totals.floor_first_s, warning.lead_s(trace, night.names)
    if lead_s is None and excused.untold(night, trace, site):
        return
    if lead_s is None:
        yield f"alarm: the floor was wet at {wet_s:.1f} s and no alarm that names it had called"
    elif not any(name.startswith("high-") for name in night.names):
        after_s = _after_high_s(trace, site)
        if lead_s < min(after_s - DEBOUNCE_GRACE_S, nights.ENOUGH_S):
            yield f"alarm: called {lead_s:.1f} s before the floor was wet, {after_s:.1f} s after the water passed high"


def dry_limit_s(night, site):
    """Return the longest dry run allowed in a night, in seconds: `blind_run`, or the written table's where longer."""
    return max(site.settings[s.BLIND_RUN_MS] / 1000.0, nights.dry_run_s(night))


def _single_float(night):
    faults, _pairs = nights.table()
    return night.must == "dry" and len(night.names) == 1 and faults[night.names[0]][0] == FLOAT_GROUP


def _recovered(site, trace, work):
    # Phase two: the faults are gone and reset was given; within two cycles all is normal again.
    c = work.control.controller
    if not work.control.powered:
        yield "phase two: the controller is dead"
        return
    if c.belief.suspect or c.blind.reason:
        yield f"phase two: suspects {c.belief.suspect}, blind pumping {bool(c.blind.reason)}"
    if c.pair.ready != 3:
        yield f"phase two: pumps ready {c.pair.ready}, states {c.pumps[0].state} {c.pumps[1].state}"
    since = nights.RESET_S + 600.0
    begun = [event for event in trace.events if event.kind == "pump" and event.data["on"] and event.time_s > since]
    if not begun and not _runs_at(trace, since):
        yield "phase two: no pump has started, and none was running"
    if site.settings[s.DUTY] == s.ALTERNATE and len(begun) >= 4 and len({event.data["pump"] for event in begun}) < 2:
        yield f"phase two: pump {begun[0].data['pump']} alone has led {len(begun)} times"
    if any(event.kind == "floor" and event.data["wet"] and event.time_s > since for event in trace.events):
        yield "phase two: the floor got wet after everything was mended"


def _runs_at(trace, at_s):
    # Whether some pump is on: after a flood it may have started long before, and have the whole floor to draw down.
    switched = [event for event in trace.events if event.kind == "pump" and event.time_s <= at_s]
    return any({event.data["pump"]: event.data["on"] for event in switched}.values())


__all__ = ["Duplex", "longest_dry_s", "run"]
