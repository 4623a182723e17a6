"""How well the reconstruction sees: simulated nights with noise, gaps and faults whose truth is known.

Each night is a pit, an inflow and a fault of our own invention, drawn from a
seed; a logger keeps its level (and nothing else), with noise, drop-outs, spikes
and holes.  `score_findings()` counts for every finding whether it was there and whether it
was named; `score_inflow()` how far the inflow found lies from the one given.
"""

from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np
from duplexsump.control import settings

from host_sim.plant.inflow import combine, steps_of_flow
from host_sim.replay import night as nights
from host_sim.replay.findings.finding import CANNOT
from host_sim.replay.inflow import KERNEL_S
from host_sim.replay.reading import cleaning
from host_sim.replay.reading.log import Log
from host_sim.run.closed_loop import run
from host_sim.site.faults import parse_fault
from host_sim.site.load import load_site, packaged

GPM = 6.30902e-5
TRUTH_S = 2.0 * KERNEL_S
LOW_M = 0.03  # so far below the stop level a run was not stopped by its float; our own choice
# kind of night: (fault, controller, what is there by the fault's own nature)
NIGHTS = {
    "nothing wrong": ("", "duplex", ()),
    "worn pump": ("pump1-worn={worn}%", "duplex", ("weak pump",)),
    "pump wears in the night": ("pump1-worn={worn}%@{late}h", "single", ("weak pump",)),
    "leaking check valve": ("pump1-check-leaking={leak} gpm", "duplex", ("leaking check valve",)),
    "lead float hangs": ("lead-stuck-dry@{late}h+90min", "duplex", ("late start",)),
    "off float hangs": ("off-stuck-wet@{late}h+2h", "duplex", ("low stop",)),
    "single pump jams": ("pump1-jammed@{late}h+40min", "single", ("late start",)),
    "single pump without mains": ("mains-lost@{late}h+40min", "single", ("late start",)),
    "short float travel": ("", "duplex", ()),
    "water comes back": ("", "duplex", ("recirculation",)),
    "too much water": ("", "single", ()),
}
KINDS_SCORED = ("late start", "low stop", "weak pump", "leaking check valve", "short cycling", "recirculation",
         "not keeping up")  # fmt: skip


@dataclass
class Night:
    """One simulated night: its truth and its log."""

    kind: str
    site: object
    trace: object
    log: Log
    present: set = field(default_factory=set)


def make(kind, seed, hours=4.0, **logger):
    """Return a Night of a kind of NIGHTS, drawn from a seed."""
    rng = np.random.default_rng([seed, list(NIGHTS).index(kind)])
    fault, controller, present = NIGHTS[kind]
    site = load_site(packaged("demo"))
    site.faults, site.actions = [], []
    site.duration_s = hours * 3600.0
    site.inflow = combine([_storm(rng, site.duration_s, kind)])
    if kind == "short float travel":
        low = site.contacts[0].wet_m + 0.06
        site.contacts = [site.contacts[0], replace(site.contacts[1], wet_m=low, dry_m=low - 0.0254), *site.contacts[2:]]
    if kind == "water comes back":
        site.discharge = replace(site.discharge, recirculated=float(rng.uniform(0.2, 0.4)),
                                 recirculation_s=60.0 * float(rng.integers(5, 16)))  # fmt: skip
    text = fault.format(worn=int(rng.integers(30, 46)), late=round(float(rng.uniform(1.2, 2.2)), 2),
                        leak=round(float(rng.uniform(3.0, 9.0)), 2))  # fmt: skip
    faults = [parse_fault(text, site.begins_s)] if text else []
    trace = run(site, faults=faults, seed=seed, controller=controller)
    night = Night(kind, site, trace, logged(trace, rng, **logger), set(present))
    night.present |= _by_trace(night)
    return night


def _storm(rng, duration_s, kind):
    # A base flow and one flood, in gpm.
    base, peak = float(rng.uniform(1.0, 4.0)), float(rng.uniform(4.0, 16.0))
    if kind == "too much water":
        peak = float(rng.uniform(38.0, 50.0))
    if kind == "leaking check valve":  # it shows only where the line is empty before the pit is full
        base, peak = float(rng.uniform(0.7, 2.5)), float(rng.uniform(0.0, 2.0))
    if kind == "water comes back":
        peak = float(rng.uniform(2.0, 6.0))
    middle, width = float(rng.uniform(0.3, 0.7)) * duration_s, float(rng.uniform(0.08, 0.2)) * duration_s
    time = np.arange(0.0, duration_s + 1.0, 60.0)
    flow = base + peak * np.exp(-0.5 * ((time - middle) / width) ** 2)
    return steps_of_flow([(float(t), float(q) * GPM) for t, q in zip(time, flow, strict=True)])


def logged(trace, rng, every_s=1.0, noise_m=None, holes=None):
    """Return the Log that a logger keeps of a trace's level, cleaned as a table log is."""
    noise = float(rng.uniform(0.0005, 0.003)) if noise_m is None else noise_m
    time = np.arange(0.0, trace.duration_s, every_s)
    level = np.round(np.interp(time, trace.time_s, trace.level_m) + rng.normal(0.0, noise, len(time)), 3)
    level[rng.random(len(time)) < 0.002] = np.nan
    places = rng.integers(0, len(time), max(1, len(time) // 3000))
    level[places] += rng.choice([-1, 1], len(places)) * 0.5
    keep = np.ones(len(time), bool)
    for _ in range(int(rng.integers(0, 4)) if holes is None else holes):
        start = float(rng.uniform(0.0, trace.duration_s))
        keep &= (time < start) | (time > start + float(rng.uniform(60.0, 600.0)))
    log = Log("simulated", datetime(2024, 1, 1, 19), time[keep], level[keep])
    log.time_s = log.time_s - log.time_s[0] + 0.0
    log.gaps = cleaning.gaps(log.time_s, log.issues)
    cleaning.spikes(log.level_m, log.issues, spacing_s=every_s)
    return log


def _by_trace(night):
    # What follows from the run itself, whatever caused it.
    trace, site, found = night.trace, night.site, set()
    limit = site.settings[settings.STARTS_PER_HOUR]
    for pump in (1, 2):
        starts = np.array([one.start_s for one in trace.runs if one.pump == pump])
        if len(starts) and (np.searchsorted(starts, starts + 3600.0) - np.arange(len(starts))).max() > limit:
            found.add("short cycling")
    time, level = np.array(trace.time_s), np.array(trace.level_m)
    lead, stop = site.contacts[1].wet_m, site.contacts[0].dry_m
    for one in trace.runs:
        if np.interp(one.end_s, time, level) < stop - LOW_M:
            found.add("low stop")  # as where the firmware suspects the off float and stops by time
        inside = (time >= one.start_s + 5.0) & (time <= one.end_s)
        if one.moved_m3 > 0.3 * 0.002 * (one.end_s - one.start_s) and inside.sum() > 3:
            rising = (np.diff(level[inside]) > 0.0) & (level[inside][1:] > lead)
            if (np.diff(time[inside]) * rising).sum() > 70.0:
                found.add("not keeping up")
    return found


def findings_of(night):
    """Return (Inflow or None, findings) of a night's log."""
    _, flow, found, _ = nights.reconstruct(night.log, night.site, pumps=1 if NIGHTS[night.kind][1] == "single" else 2)
    return flow, found


def score_findings(count, progress=None):
    """Return ({finding: [there: named, there: missed, absent: named, absent: not named, left open]}, misses).

    `count` nights, the kinds in turn; `misses` are (kind, seed, finding, "missed" or "false").  What is called no
    more than "cannot be told from this log" is left open.
    """
    table = {kind: [0, 0, 0, 0, 0] for kind in KINDS_SCORED}
    misses = []
    for seed in range(count):
        kind = list(NIGHTS)[seed % len(NIGHTS)]
        night = make(kind, seed)
        found = findings_of(night)[1]
        named = {finding.kind for finding in found if finding.confidence != CANNOT}
        hinted = {finding.kind for finding in found} - named
        for finding in KINDS_SCORED:
            there, told = finding in night.present, finding in named
            if finding in hinted:
                table[finding][4] += 1
                continue
            table[finding][(0 if told else 1) if there else (2 if told else 3)] += 1
            if there != told:
                misses.append((kind, seed, finding, "missed" if there else "false"))
        if progress is not None:
            progress((seed + 1) / count)
    return table, misses


def _mean_inflow(trace, time_s):
    # The mean inflow in m3/s over TRUTH_S about each of an array of times, as far as the trace reaches.
    fine = np.arange(0.0, trace.duration_s + 5.0, 5.0)
    sums = np.concatenate(([0.0], np.cumsum(np.interp(fine, trace.time_s, trace.inflow_m3s))))
    a, b = (np.clip(np.searchsorted(fine, time_s + half), 0, len(fine)) for half in (-TRUTH_S / 2.0, TRUTH_S / 2.0))
    return (sums[b] - sums[a]) / np.maximum(b - a, 1)


def score_inflow(count, progress=None, every_s=1.0):
    """Return a list of (kind, mean error, error of the volume, share of the truth within the band), one a night.

    Errors are shares of the night's mean inflow, over the stretches that the log covers.  What is found is the mean of
    the fills near each instant, and a level shows no inflow but that of its fills: so the truth is the mean over the
    same stretch, TRUTH_S, and not a burst of returning water that comes while a pump runs.
    """
    found = []
    for seed in range(count):
        kind = list(NIGHTS)[seed % len(NIGHTS)]
        night = make(kind, 1000 + seed, every_s=every_s)
        flow, _ = findings_of(night)
        truth = _mean_inflow(night.trace, flow.time_s)
        seen = ~flow.held & (flow.time_s <= night.log.time_s[-1])
        error = np.abs(flow.flow_m3s - truth)[seen].mean() / truth[seen].mean()
        volume = flow.flow_m3s[seen].sum() / truth[seen].sum() - 1.0
        inside = ((truth >= flow.low_m3s) & (truth <= flow.high_m3s))[seen].mean()
        found.append((kind, float(error), float(volume), float(inside)))
        if progress is not None:
            progress((seed + 1) / count)
    return found
