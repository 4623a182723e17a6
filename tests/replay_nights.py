"""Nights of an invented pit whose truth is known, and the logs that a logger would have kept of them."""

import dataclasses
from datetime import UTC, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

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


@cache
def flood_night():
    """Return (site, trace, log) of a night in which the one float of the one pump hung and the floor got wet."""
    site = demo(8.0, begins_s=22 * 3600.0)
    trace = night(site, "lead-stuck-dry@3h+90min", controller="single")
    return site, trace, logged(trace)


def by_contacts(log):
    """Return a copy of a log that has contacts alone."""
    return dataclasses.replace(log, level_m=None, pumps=[None, None], mains=None)


def true_inflow(site, time_s):
    """Return the inflow that a site was given, as an array over times."""
    places = np.searchsorted(site.inflow.times_s, time_s, side="right") - 1
    return np.asarray(site.inflow.rates_m3s)[places]




@cache
def zone_with_daylight_saving(shift_s=3600, year=2024):
    """Return (name, clocks go forward, clocks go back) of the first zone that moves its clocks twice a year.

    The zone is the first by name in the IANA time zone database that moves them
    by `shift_s` in `year`; the two instants are in UTC, to the half hour.
    """
    halves = [datetime(year, 1, 1, tzinfo=UTC) + timedelta(minutes=30 * i) for i in range(48 * 366)]
    for name in sorted(available_timezones()):
        zone = ZoneInfo(name)
        months = [halves[48 * day].astimezone(zone).utcoffset().total_seconds() for day in range(0, 366, 30)]
        if max(months) - min(months) != shift_s:
            continue
        offsets = [at.astimezone(zone).utcoffset().total_seconds() for at in halves]
        jumps = [(b - a, at) for a, b, at in zip(offsets, offsets[1:], halves[1:], strict=False) if a != b]
        if sorted(jump for jump, _ in jumps) == [-shift_s, shift_s]:
            moves = dict(jumps)
            return name, moves[shift_s], moves[-shift_s]
    raise LookupError(f"no zone moves its clocks by {shift_s} s in {year}")
