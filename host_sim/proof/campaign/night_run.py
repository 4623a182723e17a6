"""One night of the campaign: the real firmware and the single float switch in the same pit, and what was held."""

from duplexsump.control import settings as s

from host_sim.proof.campaign import nights
from host_sim.proof.campaign.monitor import Watched
from host_sim.run import closed_loop
from host_sim.run.closed_loop import Night as LoopNight
from host_sim.run.controllers import Duplex
from host_sim.site.load import read_site

# I14 is judged with this much grace: a motor spins down and the level is sampled on the grid.
DRY_GRACE_S = 1.0
FLOAT_GROUP = "float"


def run(seed, number, control_class=Watched):
    """Return the record of night `number`: a flat dictionary of numbers and texts (see `FIELDS` for what they mean).

    `control_class` is the controller, for canaries.
    """
    night = nights.draw(seed, number)
    site = read_site(night.text, source=f"night {seed}/{number}")
    control = control_class(site)
    work = LoopNight(site, site.seed, control, list(site.faults))
    trace = work.run(False, None)
    single = closed_loop.run(site, controller="single")
    dry_s = longest_dry_s(trace)
    # The float switch has no controller that could die and no second pump: it only floods or does not.
    record = _record(night, trace, single, dry_s, control)
    record["broken"] = "; ".join(_broken(night, site, trace, control, dry_s, work))
    return record


def _record(night, trace, single, dry_s, control):
    totals = trace.totals
    wet_at = totals.floor_first_s
    alarm = totals.first_alarm_s
    return {
        "seed": night.seed, "number": night.number, "faults": " ".join(night.faults), "kinds": " ".join(night.names),
        "must": night.must, "sensing": night.sensing, "level": night.level,
        "battery": night.battery, "peak_gpm": round(night.peak_gpm, 2),
        "dry": wet_at is None, "floor_wet_s": totals.floor_wet_s, "floor_first_s": _or_none(wet_at),
        "first_alarm_s": _or_none(alarm),
        "lead_s": wet_at - alarm if wet_at is not None and alarm is not None else float("nan"),
        "highest_mm": round(totals.highest_m * 1000.0, 1), "longest_dry_run_s": round(dry_s, 1),
        "starts": sum(totals.starts), "steps": totals.steps, "looked_at": control.steps,
        "single_dry": single.totals.floor_first_s is None, "single_wet_s": single.totals.floor_wet_s,
        "balance": totals.balance_relative, "wall_s": totals.wall_s + single.totals.wall_s,
    }  # fmt: skip


def _or_none(value):
    return float("nan") if value is None else value


def longest_dry_s(trace):
    """Return the longest stretch, in seconds, in which a commanded pump turned without moving water."""
    longest, since = 0.0, {}
    for event in trace.events:
        if event.kind not in ("motor", "pump"):
            continue
        n = event.data["pump"]
        if n in since:
            longest = max(longest, event.time_s - since.pop(n))
        if event.kind == "motor" and event.data["what"] == "dry":
            since[n] = event.time_s
    return max([longest, *(trace.duration_s - t for t in since.values())])


def _broken(night, site, trace, control, dry_s, work):
    # Everything that the table, the alarms' promise, I14, the invariants and the second phase say was not held.
    totals = trace.totals
    for invariant, ms, text in control.broken[:3]:
        yield f"{invariant} at {ms / 1000:.1f} s: {text}"
    if totals.floor_first_s is not None:
        if night.must == "dry":
            yield f"table: the floor was wet at {totals.floor_first_s:.1f} s, these faults must be survived dry"
        if totals.first_alarm_s is None or totals.first_alarm_s > totals.floor_first_s:
            yield f"alarm: the floor was wet at {totals.floor_first_s:.1f} s and nobody had been called"
    if _single_float(night):
        limit = site.settings[s.BLIND_RUN_MS] / 1000.0 + DRY_GRACE_S
        if dry_s > limit:
            yield f"I14: a dry run of {dry_s:.1f} s, blind_run is {limit - DRY_GRACE_S:.1f} s"
    if totals.balance_relative > 1e-6:
        yield f"the plant made or lost {totals.balance_relative:.1e} of its water"
    yield from _recovered(site, trace, work)


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
    if not begun:
        yield "phase two: no pump has started"
    if site.settings[s.DUTY] == s.ALTERNATE and len(begun) >= 4 and len({event.data["pump"] for event in begun}) < 2:
        yield f"phase two: pump {begun[0].data['pump']} alone has led {len(begun)} times"
    if any(event.kind == "floor" and event.data["wet"] and event.time_s > since for event in trace.events):
        yield "phase two: the floor got wet after everything was mended"


__all__ = ["Duplex", "longest_dry_s", "run"]
