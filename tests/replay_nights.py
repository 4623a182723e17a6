"""Nights of an invented pit whose truth is known, and the logs that a logger would have kept of them."""

from datetime import UTC, datetime

import numpy as np

from host_sim.replay.reading.log import Log
from host_sim.run.closed_loop import run
from host_sim.site.faults import parse_fault
from host_sim.site.load import load_site, packaged

BEGINS = datetime(2024, 3, 9, 19, 0, tzinfo=UTC)


def demo(hours=14.0, **changes):
    """Return the packaged demo site without its troubles, so many hours of it; `changes` are fields of the Site."""
    site = load_site(packaged("demo"))
    site.faults, site.actions = [], []
    site.duration_s = hours * 3600.0
    for name, value in changes.items():
        setattr(site, name, value)
    return site


def night(site, *faults, controller="duplex", seed=1):
    """Return the trace of a site with faults written as texts."""
    given = [parse_fault(text, site.begins_s) for text in faults]
    return run(site, faults=given, seed=seed, controller=controller)


def logged(trace, every_s=1.0, noise_m=0.002, seed=1, pumps=False, contacts=False, mains=False):
    """Return the Log that a logger keeps of a trace: sampled, noisy, to the millimetre."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, trace.duration_s, every_s)
    level = np.interp(time, trace.time_s, trace.level_m) + rng.normal(0.0, noise_m, len(time))
    log = Log("invented night", BEGINS, time, np.round(level, 3))
    if pumps:
        for n in (0, 1):
            log.pumps[n] = np.zeros(len(time), np.int8)
            for one in trace.runs:
                if one.pump == n + 1:
                    log.pumps[n][(time >= one.start_s) & (time < one.end_s)] = 1
    if contacts:
        for name, changes in trace.contact_changes.items():
            at, wet = np.array([t for t, _ in changes]), np.array([w for _, w in changes], np.int8)
            log.contacts[name] = wet[np.searchsorted(at, time, side="right") - 1]
    if mains:
        log.mains = np.ones(len(time), np.int8)
        for span in trace.supply:
            if span.name == "none":
                log.mains[(time >= span.start_s) & (time < span.end_s)] = 0
    return log


def true_inflow(site, time_s):
    """Return the inflow that a site was given, as an array over times."""
    places = np.searchsorted(site.inflow.times_s, time_s, side="right") - 1
    return np.asarray(site.inflow.rates_m3s)[places]


