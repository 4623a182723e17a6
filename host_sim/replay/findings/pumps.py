"""Pumps that move too little, nothing, or start too often; and the mains."""

import numpy as np
from duplexsump.control import settings as s
from duplexsump.control.records import CURRENT_LOCKED, CURRENT_NONE, CURRENT_OVER, CURRENT_UNDER

from host_sim.replay.findings.finding import CANNOT, ESTABLISHED, LIKELY, Finding, spans
from host_sim.replay.inflow import KERNEL_S

WEAK, VERY_WEAK = 0.86, 0.72  # of what the curve and the pipe say; common practice, no source
NOTHING = 0.15
LEAST_DRAWS = 4
MANY_DRAWS = 8
NEAR_S = 300.0  # of a fill, for a run in which nothing was moved to be held against it
SHOWN_S = 20.0  # of water that stands still or rises under a pump that is on
FELL = 0.10  # of what should be moved, from one part of the night to the next


def _groups(context):
    # Draw-downs by pump where that is known, else by turns, since two pumps usually alternate.
    draws = [d for d in context.flow.draw_downs if d.on == 1 and d.expected_m3s > 0.0
             and d.error_m3s < 0.3 * d.expected_m3s and d.end_s - d.start_s >= 4.0] if context.flow else []  # fmt: skip
    # Down to the intake a pump draws air, and that is no wear.
    off = context.site.contacts[0]
    lowest = off.dry_m - 0.04 if off is not None else 0.0
    draws = _one_a_run([d for d in draws if d.rate_m3s < 1.6 * d.expected_m3s and d.end_m > lowest])
    known = [d for d in draws if d.mask in (1, 2)]
    if len(known) > 0.5 * len(draws):
        return {f"pump {n}": [d for d in known if d.mask == n] for n in (1, 2)}, n_of
    odd, even = ([d for d in draws if d.order % 2 == k] for k in (1, 0))
    if min(len(odd), len(even)) >= LEAST_DRAWS:
        a, b = (float(np.median([d.share for d in group])) for group in (odd, even))
        spread = max(_spread(odd), _spread(even))
        if abs(a - b) > max(0.1, 3.0 * spread):
            return {"every other run": odd if a < b else even}, n_of
    return {"the pump": draws}, n_of


def _one_a_run(draws):
    # Of each run the stretch nearest to a fill: over the rest of a long run an inflow that grows and a pump that moves
    # less and less look the same, and its pieces are no draw-downs of their own.
    found = {}
    for d in draws:
        if d.near_s <= 2.0 * KERNEL_S and (d.order not in found or d.near_s < found[d.order].near_s):
            found[d.order] = d
    return list(found.values())


def n_of(name):
    """Return the number of the pump that a group stands for: 1 where the log does not tell."""
    return int(name[-1]) if name[-1].isdigit() else 1


def _spread(draws):
    shares = np.array([d.share for d in draws])
    return float(np.median(np.abs(shares - np.median(shares)))) * 1.4826 / np.sqrt(len(shares)) * 2.0


def weak(context):
    """Pumps whose draw-downs are slower than curve and piping give, and since when."""
    if context.flow is None:
        return []
    found = []
    groups, number = _groups(context)
    coarse = context.log.spacing_s > 3.0 and not context.recorded and not context.log.levels_at_contacts_only
    for name, draws in groups.items():
        draws = [d for d in draws if not coarse or d.end_s - d.start_s > 5.0 * context.log.spacing_s]
        if len(draws) < LEAST_DRAWS:
            lengthy = [d for d in draws if d.end_s - d.start_s > 120.0]
            if not lengthy:
                continue
            draws = lengthy
        shares = np.array([d.share for d in draws])
        split = _split(shares)
        tail = shares[split:]
        share, before = float(np.median(tail)), float(np.median(shares[:split])) if split else None
        if share >= WEAK or share <= NOTHING or (before is not None and before - share < FELL):
            continue
        if WEAK - share < 3.0 * _error(draws[split:]):
            continue
        found.append(_weak(context, name, number(name), draws, split, share, before))
    return found


def _error(draws):
    # Standard error of the median share, from the scatter and from what each draw-down's own line allows.
    own = float(np.median([d.error_m3s / d.expected_m3s for d in draws]))
    return max(_spread(draws) / 2.0, 1.25 * own / np.sqrt(len(draws)))


def _split(shares):
    """Return the place from which the shares are clearly lower than before, or 0."""
    # The place at which two levels fit best; whether they differ clearly is asked afterwards.
    n, best, place = len(shares), np.inf, 0
    for i in range(3, n - 2):
        a, b = float(np.median(shares[:i])), float(np.median(shares[i:]))
        misfit = float(np.abs(shares[:i] - a).sum() + np.abs(shares[i:] - b).sum())
        if a - b > FELL and misfit < best:
            best, place = misfit, i
    if not place:
        return 0
    a, b = float(np.median(shares[:place])), float(np.median(shares[place:]))
    noise = 1.4826 * float(np.median(np.abs(np.concatenate((shares[:place] - a, shares[place:] - b))))) + 0.01
    return place if (a - b) / noise * np.sqrt(min(place, n - place)) > 5.0 else 0


def _weak(context, name, number, draws, split, share, before):
    first, last = draws[split], draws[-1]
    moved = float(np.median([d.rate_m3s for d in draws[split:]]))
    should = float(np.median([d.expected_m3s for d in draws[split:]]))
    evidence = [
        f"{len(draws) - split} draw-downs from {context.clock(first.start_s)} to {context.clock(last.end_s)} delivered "
        f"{context.rate(moved)}; curve and piping give {context.rate(should)} ({share:.0%})"
    ]
    if before is not None:
        evidence.append(f"the {split} draw-downs before delivered {before:.0%} of the expected flow")
    n = len(draws) - split
    confidence = CANNOT if n < LEAST_DRAWS else LIKELY
    if share < VERY_WEAK and n >= MANY_DRAWS and context.recorded:  # else which pump ran is no more than inferred
        confidence = ESTABLISHED
    start = first.start_s if split else 0.0
    who = name if name.startswith("pump ") or name == "the pump" else "the pump that runs every other time"
    level = float(np.median([(d.start_m + d.end_m) / 2.0 for d in draws[split:]]))
    lost = context.rates.lost(number, level, share)
    return Finding("weak pump", confidence, start, context.log.duration_s,
                   f"{who} delivers {share:.0%} of the expected flow", evidence,
                   ["worn impeller", "partly clogged inlet", "partly closed valve", "leak or break in the discharge"],
                   f"pump{number}-worn={lost:.3f}", 2.5 if share < VERY_WEAK else 1.0)  # fmt: skip


def not_pumping(context):
    """Runs in which a pump was on by the record and the water did not fall for it; and what its current says."""
    found = []
    if context.recorded and context.flow is not None:
        for n in (1, 2):
            bad = [d for d in context.flow.draw_downs if d.mask == n and d.share < NOTHING
                   and d.near_s < NEAR_S and d.error_m3s < 0.1 * d.expected_m3s]  # fmt: skip
            shown = sum(d.end_s - d.start_s for d in bad)
            least = max(SHOWN_S, 5.0 * context.log.spacing_s)
            if shown >= least or (len(bad) > 1 and shown >= max(SHOWN_S / 2.0, 5.0 * context.log.spacing_s)):
                when = f"{context.clock(bad[0].start_s)} to {context.clock(bad[-1].end_s)}"
                evidence = [f"{len(bad)} runs from {when} delivered "
                            f"{context.rate(float(np.median([d.rate_m3s for d in bad])))}; expected "
                            f"{context.rate(bad[0].expected_m3s)}"]  # fmt: skip
                causes = ["jammed impeller", "air lock", "closed valve", "check valve stuck shut", "no power"]
                still = [part.end_s for part in context.parts if part.mask == n
                         and context.flow.delivered.get(part.start_s, (1.0,))[0] < NOTHING]  # fmt: skip
                sure = ESTABLISHED if shown >= least else LIKELY
                found.append(Finding("not pumping", sure, bad[0].start_s, max([bad[-1].end_s, *still]),
                                     f"pump {n} ran and delivered no water", evidence, causes,
                                     f"pump{n}-air-locked", 3.0))  # fmt: skip
    return found


_SAYS = {
    CURRENT_NONE: ("drew no current", ["tripped breaker", "unplugged cord", "open motor winding"], "breaker-open"),
    CURRENT_UNDER: ("ran underloaded", ["air lock", "closed valve or stuck check valve", "dry running"], "air-locked"),
    CURRENT_OVER: ("drew overload current", ["debris in the impeller", "worn bearings"], "jammed"),
    CURRENT_LOCKED: ("drew locked-rotor current", ["jammed rotor"], "jammed"),
}


def currents(context):
    """What a motor draws while it is on, by the site's own limits."""
    log, values, found = context.log, context.site.settings, []
    for n in (0, 1):
        bands, on = _bands(log, n, values), log.pumps[n]
        if bands is None or on is None:
            continue
        for band, (text, causes, fault) in _SAYS.items():
            least = {CURRENT_NONE: values[s.START_PROOF_MS] / 1000.0, CURRENT_LOCKED: 1.0}.get(band, 5.0)
            bad = spans((on == 1) & (bands == band), log.time_s, max(least - 0.2, log.spacing_s))
            if not bad:
                continue
            first, last = bad[0], bad[-1]
            evidence = [f"{len(bad)} times from {context.clock(first[0])} to {context.clock(last[1])}, "
                        f"{sum(b - a for a, b in bad):.0f} s in total"]  # fmt: skip
            end = log.duration_s if _never_well(log, n, bands, last[1]) else last[1]
            confidence, severity = ESTABLISHED, 3.0 if band != CURRENT_UNDER else 2.0
            rated = [d.share for d in _draws_during(context, n, bad)]
            if band in (CURRENT_NONE, CURRENT_LOCKED) and rated and np.median(rated) > 0.5:
                # A pump that delivers turns, whatever its current reads.
                confidence, severity, fault = CANNOT, 0.5, ""
                causes = ["current sensor or its wiring", *causes]
                evidence.append(f"but it delivered {np.median(rated):.0%} of the expected flow in that time")
            found.append(Finding("not pumping", confidence, first[0], end, f"pump {n + 1} {text}", evidence, causes,
                                 f"pump{n + 1}-{fault}" if fault else "", severity))  # fmt: skip
    return found


def _draws_during(context, n, times):
    # The draw-downs of pump n alone that could be rated, within any of these (start s, end s).
    draws = context.flow.draw_downs if context.flow is not None else []
    return [d for d in draws if d.mask == n + 1 and d.error_m3s < 0.3 * d.expected_m3s
            and any(start < d.end_s and end > d.start_s for start, end in times)]  # fmt: skip


def _never_well(log, n, bands, after_s):
    # Whether the pump never ran with a normal current again.
    later = log.time_s > after_s
    return not ((log.pumps[n] == 1) & (bands == 2) & later).any()


def _bands(log, n, values):
    if log.bands is not None:
        return log.bands[n]
    if log.current_a[n] is None or values[s.SENSING] != s.SENSE_CURRENT:
        return None
    edges = [values[place + n] for place in (s.NO_CURRENT_1_MA, s.UNDERLOAD_1_MA, s.OVERLOAD_1_MA)]
    edges.append(3 * values[s.RATED_1_MA + n])
    milliamps = np.nan_to_num(log.current_a[n], nan=-1.0) * 1000.0
    return np.where(milliamps < 0.0, -1, np.searchsorted(edges, milliamps, side="right"))


def short_cycling(context):
    """Hours in which one pump exceeded its motor's limit of starts."""
    starts, shared = _starts(context)
    limit, found = context.site.settings[s.STARTS_PER_HOUR], []
    for name, times in starts.items():
        times = np.array(times)
        if len(times) <= limit:
            continue
        # A start shows in the first row after it, so of coarse rows a shorter stretch is surely within the hour.
        ends = np.searchsorted(times, times + 3600.0 - min(context.log.spacing_s, 600.0))
        counts = ends - np.arange(len(times))
        together = shared > 1 and not (counts > limit * shared).any()
        over = counts > limit * (1 if together else shared)
        if not over.any():
            continue
        worst = int(np.argmax(counts))
        first = float(times[np.flatnonzero(over)[0]])
        last = float(times[min(len(times) - 1, ends[np.flatnonzero(over)[-1]] - 1)])
        count = counts[worst] if together else counts[worst] / shared
        evidence = [f"{count:.0f} starts in the hour from {context.clock(times[worst])}; motor limit {limit}"]
        if together:
            evidence.append("which pump made them the water does not show; by turns each made half")
        band = _band(context)
        if band:
            evidence.append(band)
        confidence = ESTABLISHED if context.recorded else CANNOT if together else LIKELY
        text = f"{name} exceeds its motor's limit of starts per hour"
        if together:
            text = "one pump exceeds its motor's limit of starts per hour, unless the two take turns"
        found.append(Finding("short cycling", confidence, first, last, text, evidence,
                             ["pit or float travel too small", "leaking check valve", "discharge water that returns"],
                             "", 0.8))  # fmt: skip
    return found


def _starts(context):
    # ({name: start times}, pumps that share them)
    if context.recorded:
        found = {}
        for n in (0, 1):
            values = context.log.pumps[n]
            if values is not None:
                on = (values == 1).astype(np.int8)
                found[f"pump {n + 1}"] = context.log.time_s[np.flatnonzero(np.diff(on, prepend=0) == 1)]
        return found, 1
    # The water shows that a pump started, not which: a pair may have shared the starts, unless one always leads.
    fixed = context.pumps > 1 and context.site.settings[s.DUTY] == s.FIXED
    name = "the pump" if context.pumps == 1 else "each pump, even by turns,"
    if fixed:
        name = f"pump {context.site.settings[s.PRIMARY]}, which always leads by the site file,"
    return {name: [run.start_s for run in context.runs]}, 1 if fixed else context.pumps


def _band(context):
    off, lead = context.site.contacts[0], context.site.contacts[1]
    if off is None or lead is None:
        return ""
    held = context.amount(context.site.pit.volume_m3(lead.wet_m) - context.site.pit.volume_m3(off.dry_m))
    return f"pump-down from {context.level(lead.wet_m)} to {context.level(off.dry_m)} holds only {held} per cycle"


LONG = 3.0  # times the draw-down of a pit that fills at half of what the pump moves; our own choice
LEAST_LONG_S = 600.0


def long_runs(context):
    """Runs so long that the pump hardly kept up, moved little, or was not told to stop: which, only a level tells."""
    log, cycle = context.log, context.limits.cycle_s
    on = np.logical_or.reduce([values == 1 for values in log.pumps if values is not None])
    found = []
    for start, end in spans(on, log.time_s, max(LEAST_LONG_S, LONG * (cycle if cycle == cycle else 0.0)), 0.0):
        evidence = [f"from {context.clock(start)} to {context.clock(end)} a pump was on at every row",
                    "what it moved cannot be told from this log"]  # fmt: skip
        found.append(Finding("long run", CANNOT, start, end,
                             f"a pump ran for {(end - start) / 60.0:.0f} min without a stop", evidence,
                             ["more inflow than the pump can carry", "a pump that delivers little or nothing",
                              "the off float hung up wet"], "", 1.5))  # fmt: skip
    return found


def mains(context):
    """Stretches without mains, where it was recorded."""
    if context.log.mains is None:
        return []
    return [_outage(context, start, end) for start, end in spans(context.log.mains == 0, context.log.time_s, 2.0)]


def _outage(context, start, end):
    evidence = [f"from {context.clock(start)} to {context.clock(end)}, {(end - start) / 60.0:.0f} min"]
    fell = _fell_m(context, start, end)
    if fell > 0.05 and context.site.supply.battery is None:
        # Without the mains and without a battery nothing pumps: one of the two records is wrong.
        evidence.append(f"but the water fell by {context.level(fell)} in that time, as a pump lowers it: the record of "
                        "the mains, or the clock of one of the two, is suspect")  # fmt: skip
        return Finding("no mains", CANNOT, start, end, "the mains was recorded as out while a pump lowered the water",
                       evidence, ["the mains column is suspect", "a supply that the site file does not name"], "",
                       1.2)  # fmt: skip
    return Finding("no mains", ESTABLISHED, start, end, "the mains was out", evidence, ["the mains was out"],
                   "mains-lost", 1.2)  # fmt: skip


def _fell_m(context, start, end):
    # How far the water fell within a time, the row at either end left out; 0 without a level.
    log = context.log
    if log.level_m is None or log.levels_at_contacts_only:
        return 0.0
    rows = (log.time_s > start + log.spacing_s) & (log.time_s < end - log.spacing_s) & ~np.isnan(log.level_m)
    level = log.level_m[rows]
    return float((np.maximum.accumulate(level) - level).max() - 6.0 * context.sigma_m) if len(level) else 0.0
