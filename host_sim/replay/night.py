"""Everything about one night together: the log, what was reconstructed, what was judged, what was tried."""

from dataclasses import dataclass, field

import numpy as np
from duplexsump.control.records import CONTACT_NAMES

from host_sim.replay import inflow, judge, recorded, segments, whatif
from host_sim.replay.balance import balance
from host_sim.replay.findings.detect import detect
from host_sim.replay.findings.finding import runs, spans
from host_sim.replay.limits import MOST_NOISE_M, limits_of
from host_sim.report.clock import lasting
from host_sim.report.units import US
from host_sim.run.trace import FaultSpan, Run, Span, Totals, Trace

MOST_FAULTS = 4
# How near a simulation must come to the log to be one of the same night; our own choice.
NEAR_M = 0.03  # of the highest water, beside the readings' noise
NEAR_SHARE = 0.35  # of the time that the floor was wet
NEAR_S = 120.0  # and so much beside, since a floor just wet is a matter of millimeters


@dataclass
class Account:
    """What `explain()` found of one log."""

    log: object
    site: object
    was: str
    parts: list
    flow: object
    findings: list
    judged: object
    highest_m: float
    highest_at_s: float
    floor_wet_s: float
    floor_first_s: float | None
    runs: list = field(default_factory=list)
    outcomes: list = field(default_factory=list)  # the night again, then the changes
    faults: list = field(default_factory=list)  # those that the night was run again with
    limits: object = None  # what the log can tell: `limits.Limits`
    recorded: object = None  # what the recorded pump states tell: `recorded.Runs`, or None
    sweep: list = field(default_factory=list)
    axes: list = field(default_factory=list)

    @property
    def floor_dry(self):
        """Whether the log shows no water on the floor."""
        return self.floor_first_s is None

    @property
    def floor_known(self):
        """Whether the log tells of the floor: by a level, or by a contact below it that stayed dry all the time."""
        log, floor_m = self.log, self.site.pit.floor_m
        if not log.levels_at_contacts_only or not self.floor_dry:
            return log.level_m is not None
        fitted = [(name, contact) for name, contact in zip(CONTACT_NAMES, self.site.contacts, strict=True)
                  if contact is not None and name in log.contacts]  # fmt: skip
        return any(contact.wet_m <= floor_m and not (log.contacts[name] == 1).any() for name, contact in fitted)

    @property
    def floor_sure(self):
        """Whether what the log says of the floor is more than its noise: a clear row, or no row near it."""
        if self.limits is None or self.limits.contacts_only:
            return True
        doubt = 4.0 * min(self.limits.noise_m, MOST_NOISE_M) + self.limits.step_m / 2.0
        return (self.limits.resolved and abs(self.highest_m - self.site.pit.floor_m) > doubt) or (
            not self.floor_dry and self._over_floor_m(doubt))  # fmt: skip

    def _over_floor_m(self, doubt_m):
        # Whether rows in a row stand so high over the floor that together they are more than noise: the error of a mean
        # goes with the root of their number.
        good = ~np.isnan(self.log.level_m)
        over = self.log.level_m[good] - self.site.pit.floor_m
        edges = np.flatnonzero(np.diff(np.concatenate(([False], over > 0.0, [False])).astype(np.int8)))
        return any(over[a:b].mean() > doubt_m / np.sqrt(b - a) or over[a:b].max() > doubt_m
                   for a, b in zip(edges[::2], edges[1::2], strict=True))  # fmt: skip

    def reproduced(self):
        """Return (whether the simulation as it was shows the logged flood, in words how near and by what limit)."""
        if not self.outcomes or self.highest_m != self.highest_m:
            return False, "nothing was simulated"
        again, units = self.outcomes[0], self.limits.units if self.limits is not None else US
        apart = abs(again.highest_m - self.highest_m)
        most = NEAR_M + 3.0 * (self.limits.noise_m if self.limits is not None else 0.0)
        said = f"highest water {units.level.text(apart)} apart (limit {units.level.text(most)})"
        near = apart <= most and again.dry == self.floor_dry
        if not self.floor_dry:
            low, high = (1.0 - NEAR_SHARE) * self.floor_wet_s - NEAR_S, (1.0 + NEAR_SHARE) * self.floor_wet_s + NEAR_S
            near = near and low <= again.floor_wet_s <= high
            said += (f", floor wet {lasting(again.floor_wet_s)} against {lasting(self.floor_wet_s)} "
                     f"(limit {lasting(max(0.0, low))} to {lasting(high)})")  # fmt: skip
        return near, said

    @property
    def pump_ran(self):
        """Whether any pump ran, by the record or by the water; None where the log does not show runs."""
        return bool(self.runs) or (None if self.limits is not None and not self.limits.resolved else False)


def explain(log, site, was, settings=None, module=None, units=US, judged=True, pumps=None):
    """Return the Account of a log, with nothing tried yet; `units` are those of the evidence.

    Without `judged` the firmware is not taken through it.  `pumps` is how many
    pumps may have run: by `was` where left out.
    """
    pumps = pumps or (1 if was == "single" else 2)
    parts, flow, found, limits = reconstruct(log, site, units, pumps)
    ran = pumps_on(log, parts)
    # Rows too far apart hide contacts that turned in between: what the firmware made of them would prove nothing.
    judgement = None
    if judged and limits.resolved and not log.every_change:  # a journal has its exact replay
        judgement = judge.judge(log, site, ran, settings, module)
    highest, at, wet, first = _water(log, site, parts)
    account = Account(log, site, was, parts, flow, found, judgement, highest, at, wet, first)
    account.runs, account.limits, account.recorded = _runs(log, parts), limits, recorded.runs_of(log, limits)
    return account


def reconstruct(log, site, units=US, pumps=2):
    """Return (Segments, Inflow or None, Findings, Limits) of a log; water that a leaking check lets back is no inflow.

    Where the log does not show the pit's cycles there are no Segments, and the Inflow is bounds by water balance.
    """
    rates = inflow.Rates(site)
    limits = limits_of(log, site, rates, units)
    if not limits.resolved:
        runs_seen = recorded.runs_of(log, limits)
        flow = balance(log, site, rates, limits, pumps > 1 or log.pumps[1] is not None, runs_seen)
        # Where the run states were recorded as well, the bounds are those that leave less open.
        by_runs = recorded.bounds(log, site, rates, limits, runs_seen)
        both = [one for one in (flow, by_runs) if one is not None]
        flow = min(both, key=_open_m3s, default=None)
        if len(both) > 1:  # of the total both hold
            least, most = zip(*(one.volume_range_m3 for one in both), strict=True)
            flow.volume_range_m3 = (max(least), min(most))
        return [], flow, detect(log, site, [], flow, rates, units, limits, pumps), limits
    parts = segments.segments(log, site, rates.nominal(), pumps)
    flow = inflow.reconstruct(log, parts, site, rates)
    found = detect(log, site, parts, flow, rates, units, limits, pumps)
    knee = max((finding.knee_s for finding in found), default=0.0)
    if knee > 0.0:
        clean = segments.without_backflow(log, site, parts, knee, rates.nominal())
        flow = inflow.reconstruct(log, clean, site, rates) or flow
    return parts, flow, found, limits


def _open_m3s(flow):
    # How much a band leaves open, its mean over the time that it covers.
    return float(np.mean(flow.high_m3s - flow.low_m3s))


def pumps_on(log, parts):
    """Return an array of n: how many pumps ran at each row, recorded or found; -1 where nobody knows."""
    if any(values is not None for values in log.pumps):
        known = [values for values in log.pumps if values is not None]
        total = sum(np.maximum(values, 0).astype(int) for values in known)
        return np.where(np.logical_or.reduce([values < 0 for values in known]), -1, total)
    found = np.full(len(log.time_s), -1)
    for part in parts:
        a, b = np.searchsorted(log.time_s, (part.start_s, part.end_s))
        found[a:b] = part.on
    return found


def _water(log, site, parts):
    # (highest level, when, seconds over the floor, when first); of marks the level is known only now and then.
    if log.level_m is None or np.isnan(log.level_m).all():
        return float("nan"), 0.0, 0.0, None
    level = log.level_m.copy()
    good = ~np.isnan(level)
    top = int(np.nanargmax(level))
    over, time = level[good] > site.pit.floor_m, log.time_s[good]
    if not over.any():
        return float(level[top]), float(log.time_s[top]), 0.0, None
    # Every row counts: a wet one stands for the time half-way to its neighbours, or all the way to a wet one.
    wet = float((np.diff(time) * (over[1:].astype(float) + over[:-1])).sum() / 2.0)
    return float(level[top]), float(log.time_s[top]), wet, float(time[np.flatnonzero(over)[0]])


def _runs(log, parts):
    if any(values is not None for values in log.pumps):
        found = []
        for n, values in enumerate(log.pumps):
            if values is None:
                continue
            for start, end in spans(values == 1, log.time_s, 0.0):
                found.append(Run(n + 1, start, end, "recorded"))
        return sorted(found, key=lambda one: one.start_s)
    return [Run(1, one.start_s, one.end_s, "inferred from the level") for one in runs(parts)]


def try_changes(account, changes=None, axes=(), progress=None, settings=(), module=None):
    """Run the night again as it was and with each change, and sweep the axes, into the account.

    `settings` and `module` are those of our controller, as `whatif.Trial` takes them.
    Raises InputError for a change that cannot be made.
    """
    log, flow = account.log, account.flow
    if flow is None or flow.bounds:
        return
    account.faults = _faults(account)
    good = log.level_m[~np.isnan(log.level_m)]
    trial = whatif.Trial(account.site, flow, log.begins_s, float(good[0]), account.faults, account.was,
                         settings, module)  # fmt: skip
    wanted = changes or whatif.proposals(account.site, account.was, account.faults)
    total = len(wanted) + 1
    for done, change in enumerate(["", *wanted]):
        account.outcomes.append(trial.run(change))
        if progress is not None:
            progress((done + 1) / total)
    if axes:
        account.axes = [whatif.axis(text) for text in axes]
        account.sweep = whatif.sweep(trial, account.axes, progress)


def _faults(account):
    # One fault of a kind at a time: two findings often tell of one thing.
    found, taken = [], []
    for finding in account.findings:
        text = finding.fault_text(account.log.duration_s)
        part = finding.fault.split("=")[0].split("-")[0]
        overlap = any(part == other and finding.start_s < end and start < finding.end_s for other, start, end in taken)
        if text and not overlap and len(found) < MOST_FAULTS:
            found.append(text)
            taken.append((part, finding.start_s, finding.end_s))
    return found


def as_trace(account):
    """Return the night as a Trace, so that it can be drawn like any other run.

    What was found wrong stands where a simulated run has its faults; what the
    log does not tell is left out.
    """
    log, site = account.log, account.site
    known = any(values is not None for values in log.pumps)
    trace = Trace(site.name, "duplex" if known else "single", 0, log.begins_s, log.duration_s, site.pit.floor_m,
                  site.pit.floor_m)  # fmt: skip
    for name, contact in zip(CONTACT_NAMES, site.contacts, strict=True):
        if contact is not None:
            trace.contact_trip_m[name], trace.contact_release_m[name] = contact.wet_m, contact.dry_m
    time, level = _line(account)
    trace.time_s, trace.level_m = list(time), list(level)
    flow = account.flow
    trace.inflow_m3s = list(np.interp(time, flow.time_s, flow.flow_m3s)) if flow else [0.0] * len(time)
    trace.current_a = [[0.0] * len(time)] * 2
    trace.runs = account.runs
    if log.mains is not None:
        lost = spans(log.mains == 0, log.time_s, 0.0)
        edges = [0.0, *(t for span in lost for t in span), log.duration_s]
        names = ["mains", "none"] * len(edges)
        trace.supply = [Span(n, a, b) for n, a, b in zip(names, edges, edges[1:], strict=False) if b > a]
    shown = [f for f in account.findings if f.kind != "no mains"][:8]
    trace.faults = [FaultSpan(f"{f.kind} ({f.confidence})", f.text, f.start_s, f.end_s) for f in shown]
    totals = trace.totals = Totals(account.highest_m, account.highest_at_s, account.floor_wet_s, account.floor_first_s)
    for one in trace.runs:
        totals.starts[one.pump - 1] += 1
        totals.run_s[one.pump - 1] += one.end_s - one.start_s
    totals.first_alarm_s = None
    return trace


def _line(account):
    # The level to draw: at most 40,000 points, every turn kept; of a journal the stretches between its marks.
    log = account.log
    if log.level_m is None:
        return np.array([0.0, log.duration_s]), np.array([np.nan, np.nan])
    good = np.flatnonzero(~np.isnan(log.level_m))
    time, level = log.time_s[good], log.level_m[good]
    if len(time) > 40000:
        step = len(time) // 20000 + 1
        cut = len(time) // step * step
        blocks = level[:cut].reshape(-1, step)
        rows = np.arange(0, cut, step)
        keep = np.unique(np.concatenate((rows + blocks.argmin(axis=1), rows + blocks.argmax(axis=1), [len(time) - 1])))
        time, level = time[keep], level[keep]
    return np.append(time, log.duration_s), np.append(level, level[-1])
