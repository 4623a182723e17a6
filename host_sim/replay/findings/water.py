"""Water that comes back, and water that comes too fast."""

from dataclasses import replace

import numpy as np
from duplexsump.control.records import CONTACT_NAMES

from host_sim.replay.findings.finding import CANNOT, ESTABLISHED, LIKELY, Finding, spans
from host_sim.replay.findings.pumps import NOTHING
from host_sim.replay.segments import volumes

STEPS = 1.5  # of the reading, by the plan area: less water than this running back is no more than steps; our own choice
SETTLE_S = 3.0
POINTS = 60
HIGH_M = 0.03  # above the start level, and above the noise; our own choice
MORE = 0.12  # of the inflow: less than this running back is not told; our own choice
LEAST_FILL_S = 30.0
LEAST_FILLS = 4
LEAST_LITRES = 0.25
LAGS_MIN = range(2, 61)
HALF_NIGHT_Z = 2.0  # standard errors in either half of the night
RISING_S = 60.0
DELIVERED = 0.75  # of its curve: a pump that delivers less is weak
NEAR_S = 300.0  # of a fill, for a run to be held against it


def _fills(context):
    # (start s, end s) of what lies between two runs.
    found = []
    for a, b in zip(context.runs, context.runs[1:], strict=False):
        inside = any(a.end_s < end and b.start_s > start for start, end in context.log.gaps)
        if not inside and b.start_s - a.end_s >= LEAST_FILL_S:
            found.append((a.end_s, b.start_s, a.order))
    return found


def leaking(context):
    """Fills whose first moments after a stop are faster than the rest: water runs back out of the discharge."""
    log = context.log
    if log.level_m is None:
        return []
    if log.levels_at_contacts_only:
        return _leaking_marks(context)
    if context.limits is not None and "leaking check valve" in context.limits.unseen:
        return []
    good = ~np.isnan(log.level_m)
    time, volume = log.time_s[good], volumes(context.site.pit, log.level_m[good])
    fills = _fills(context)
    groups = ((lambda order: True, "every run"), (lambda order: order % 2 == 1, "every other run"),
              (lambda order: order % 2 == 0, "every other run"))  # fmt: skip
    for keep, who in groups:
        finding = _hinge(context, [f for f in fills if keep(f[2])], time, volume, who)
        if finding is not None:
            return [finding]
    return []


def _profile(fills, time, volume, spacing_s):
    """Return (seconds since the stop, mean water risen since then, its standard error) over fills laid together.

    Arrays of POINTS, over a length that most of the fills reach; None where too few do.
    """
    length = float(np.quantile([b - a for a, b, _ in fills], 0.4))
    fills = [f for f in fills if f[1] - f[0] >= length]
    if len(fills) < LEAST_FILLS:
        return None
    # A start shows in the first row after it, so the water before that row is left out.
    if length - spacing_s - 1.0 < SETTLE_S + spacing_s + LEAST_FILL_S / 2.0:
        return None
    tau = np.linspace(SETTLE_S + spacing_s, length - 1.0 - spacing_s, POINTS)
    rows = np.array([np.interp(a + tau, time, volume) for a, _, _ in fills])
    rows -= rows.mean(axis=1, keepdims=True)
    return tau, rows.mean(axis=0), rows.std(axis=0) / np.sqrt(len(fills))


def _fit(columns, values):
    table = np.column_stack(columns)
    found = np.linalg.lstsq(table, values, rcond=None)[0]
    return found, float(((values - table @ found) ** 2).sum())


def _hinge(context, fills, time, volume, who):
    # Water that runs back does so at a steady rate until the line is empty: a hinge in the fill.  An inflow that
    # eases as the pit fills is a smooth curve instead, and must fit clearly worse.
    if len(fills) < LEAST_FILLS:
        return None
    profile = _profile(fills, time, volume, context.log.spacing_s)
    if profile is None:
        return None
    tau, risen, error = profile
    ones = np.ones(POINTS)
    curve = _fit((ones, tau, tau * tau), risen)[1]
    best = min(((_fit((ones, tau, np.minimum(tau, knee)), risen), knee) for knee in tau[4:-8]), key=lambda f: f[0][1])
    ((_, late, extra), misfit), knee = best
    litres = 1000.0 * extra * knee
    noise = float(np.median(error)) ** 2 * POINTS
    step_m3 = 0.0 if context.limits is None else context.limits.step_m * context.site.pit.area_m2(0.0)
    least = max(LEAST_LITRES, 1000.0 * STEPS * step_m3)
    if extra < MORE * max(late, 0.0) or late <= 0.0 or litres < least or misfit > 0.4 * curve:
        return None
    if curve < 2.0 * noise and 1000.0 * float(np.median(error)) > 0.1 * litres:
        return None
    evidence = [
        f"average of {len(fills)} fills: the pit fills at {context.rate(late + extra)} for {knee:.0f} s after the pump "
        f"stops, then at {context.rate(late)}",
        f"about {context.amount(litres / 1000.0)} runs back after {who}; a constant runback that ends fits the fills "
        f"{min(999.0, curve / max(misfit, 1e-30)):.0f} times better than a smooth curve",
    ]
    confidence = ESTABLISHED if misfit < 0.15 * curve and extra > 0.3 * late and len(fills) >= 8 else LIKELY
    # A line that empties runs at half its first flow on average.
    fault = f"pump1-check-leaking={min(49.0, 2.0 * extra * 15850.32):.2f} gpm"
    return Finding("leaking check valve", confidence, fills[0][0], context.log.duration_s,
                   f"water runs back into the pit after {who}", evidence, ["leaking or missing check valve"],
                   fault, 0.9, float(knee))  # fmt: skip


def _leaking_marks(context):
    # Of a journal: the refill from the stop to off wet against the fill from off wet to lead wet.
    log, (off, lead) = context.log, context.site.contacts[:2]
    if None in (off, lead) or not {"off", "lead"} <= set(log.contacts) or not context.recorded:
        return []
    pit, on = context.site.pit, sum((values == 1).astype(int) for values in log.pumps if values is not None)
    stops = log.time_s[np.flatnonzero(np.diff((on > 0).astype(int)) == -1) + 1]
    wets = log.time_s[np.flatnonzero(np.diff(log.contacts["off"]) == 1) + 1]
    leads = log.time_s[np.flatnonzero(np.diff(log.contacts["lead"]) == 1) + 1]
    refill_m3, fill_m3 = pit.volume_m3(off.wet_m) - pit.volume_m3(off.dry_m), pit.volume_m3(lead.wet_m)
    fill_m3 -= pit.volume_m3(off.wet_m)
    ratios = []
    for stop in stops:
        i = np.searchsorted(wets, stop)
        j = np.searchsorted(leads, wets[i]) if i < len(wets) else len(leads)
        if j < len(leads) and wets[i] > stop and leads[j] - wets[i] > 60.0:
            ratios.append((refill_m3 / (wets[i] - stop)) / (fill_m3 / (leads[j] - wets[i])))
    if len(ratios) < LEAST_FILLS or float(np.median(ratios)) < 1.3:
        return []
    ratio = float(np.median(ratios))
    evidence = [f"in {len(ratios)} cycles the water rose {ratio:.1f} times as fast from the pump's stop to the off "
                "contact as from off to lead"]  # fmt: skip
    return [Finding("leaking check valve", LIKELY, 0.0, log.duration_s, "water runs back into the pit after a stop",
                    evidence, ["leaking or missing check valve"], "pump1-check-leaking", 0.9)]  # fmt: skip


def recirculation(context):
    """Inflow that follows what was pumped, some minutes later: pumped water finds its way back."""
    if context.flow is None or len(context.runs) < 6:
        return []
    step = 30.0
    grid = np.arange(0.0, context.log.duration_s, step)
    pumped = _pumped(context, grid, step)
    points = np.array([(p.middle_s, p.slope_m3s, p.error_m3s, (p.start_m + p.end_m) / 2.0)
                       for p in context.parts if p.on == 0 and p.rows > 2])  # fmt: skip
    if len(points) < 40:
        return []
    time, flow, _, level = points.T
    keep = np.abs(flow - np.median(flow)) < 6.0 * (1.4826 * np.median(np.abs(flow - np.median(flow))) + 1e-9)
    time, flow, level = time[keep], flow[keep], level[keep]
    smooth = _trend(time, flow)
    rest = flow - smooth
    best = (0.0, 0, 0.0)
    base = np.column_stack([np.ones(len(time)), level - level.mean()])
    without = rest - base @ np.linalg.lstsq(base, rest, rcond=None)[0]
    for lag in LAGS_MIN:
        late = np.interp(time - 60.0 * lag, grid, pumped)
        late = late - _trend(time, late)
        late = late - base @ np.linalg.lstsq(base, late, rcond=None)[0]
        power = float((late**2).sum())
        if power <= 0.0:
            continue
        share = float((late * without).sum()) / power
        r = float((late * without).sum()) / np.sqrt(power * float((without**2).sum()) + 1e-30)
        if share > 0.0 and r > best[0] and _in_both_halves(late, without):
            best = (r, lag, share)
    r, lag, share = best
    z = r * np.sqrt(len(time))  # in standard errors of no correlation; the limits are of our own trials
    if z < 3.7 or share < 0.09 or time[-1] - time[0] < 180.0 * lag or leaking(context):
        return []  # a leaking check valve brings water back as well, at every stop
    evidence = [f"the inflow follows the pumping {lag} min later: correlation {r:.2f} over {len(time)} intervals; "
                f"about {share:.0%} of the pumped water returns",
                # What is pumped follows what came in, so an inflow that repeats itself follows the pumping as well.
                "an inflow that swells and eases by itself looks the same"]  # fmt: skip
    return [Finding("recirculation", CANNOT, 0.0, context.log.duration_s,
                    "pumped water returns to the pit", evidence,
                    ["discharge outlet too close to the house", "leak in the buried discharge line"], "",
                    0.9)]  # fmt: skip


def _in_both_halves(late, rest):
    # What is only so in a part of the night is chance, or something else that happened then.
    middle = len(late) // 2
    for part in (slice(0, middle), slice(middle, None)):
        a, b = late[part] - late[part].mean(), rest[part] - rest[part].mean()
        power = float((a**2).sum()) * float((b**2).sum())
        if power <= 0.0 or float((a * b).sum()) / np.sqrt(power) * np.sqrt(len(a)) < HALF_NIGHT_Z:
            return False
    return True


def _pumped(context, grid, step):
    # m3/s that left the pit, by the draw-downs, in each step of the grid.
    found = np.zeros(len(grid))
    for d in context.flow.draw_downs:
        first, last = int(d.start_s // step), int(d.end_s // step)
        for k in range(first, min(last, len(grid) - 1) + 1):
            overlap = min(d.end_s, (k + 1) * step) - max(d.start_s, k * step)
            found[k] += max(0.0, d.rate_m3s) * max(0.0, overlap) / step
    ones = np.ones(3)
    return np.convolve(found, ones / 3.0, "same")


def _trend(time, values):
    # A running mean over half an hour, by time.
    sums = np.concatenate(([0.0], np.cumsum(values)))
    a, b = np.searchsorted(time, time - 900.0), np.searchsorted(time, time + 900.0)
    return (sums[b] - sums[a]) / (b - a)


def not_keeping_up(context):
    """Stretches in which pumps ran and the water rose above the start level all the same."""
    if context.flow is None or context.site.contacts[1] is None:
        return []
    found = []
    for run in context.runs:
        rising = [part for part in run.parts if part.slope_m3s > 2.0 * part.error_m3s
                  and part.end_m > context.site.contacts[1].wet_m]  # fmt: skip
        length = sum(part.end_s - part.start_s for part in rising)
        if length < RISING_S:
            continue
        # A pump that was seen to deliver little or nothing does not "keep up" for that reason: another finding says so.
        first, last = rising[0].start_s, rising[-1].end_s
        during = [d for d in context.flow.draw_downs if run.start_s <= d.start_s < last and d.end_s > first - NEAR_S]
        shares = [context.flow.delivered[part.start_s][0] for part in rising if part.start_s in context.flow.delivered]
        shares = shares if context.recorded else []
        shares = shares or [d.share for d in during if d.near_s < NEAR_S and d.error_m3s < 0.15 * d.expected_m3s]
        share = float(np.median(shares)) if shares else 1.0
        if share < NOTHING:
            continue
        start, end = first, last
        inside = (context.flow.time_s >= start) & (context.flow.time_s <= end)
        came = float(context.flow.flow_m3s[inside].mean()) if inside.any() else 0.0
        went = came - float(np.average([p.slope_m3s for p in rising], weights=[p.end_s - p.start_s for p in rising]))
        when = f"from {context.clock(start)} to {context.clock(end)}"
        evidence = [f"{when} inflow was {context.rate(came)}, the pumps delivered {context.rate(went)}; "
                    f"the water rose to {context.level(max(part.end_m for part in rising))}"]  # fmt: skip
        severity = 4.0 if max(part.end_m for part in rising) > context.site.pit.floor_m else 2.0
        causes = ["more inflow than the pumps can carry", "weak pump"]
        sure = context.recorded and shares and share >= DELIVERED
        if share < DELIVERED:  # then that pump is the first finding, and this what came of it
            causes = causes[::-1]
        found.append(Finding("not keeping up", ESTABLISHED if sure else LIKELY, start, end,
                             "the pumps did not keep up with the inflow", evidence, causes, "", severity))
    return _joined(found)


def _joined(findings):
    # Of a weak pump every cycle may be one over which the water rose: one finding, with the first and the worst.
    weak = [finding for finding in findings if finding.causes[0] == "weak pump"]
    if len(weak) < 2:
        return findings
    worst = max(weak, key=lambda finding: (finding.severity, finding.end_s - finding.start_s))
    first, start, end = weak[0], min(f.start_s for f in weak), max(f.end_s for f in weak)
    evidence = [f"in {len(weak)} runs; {first.evidence[0]}", *(worst.evidence if worst is not first else [])]
    one = replace(first, start_s=start, end_s=end, evidence=evidence, severity=worst.severity)
    return [one, *(finding for finding in findings if finding not in weak)]


def _high_contacts(context):
    # The lag and the high contact stay wet only while the water stands above the level at which pumps start.
    log, found = context.log, []
    for name in ("high", "lag"):
        place = CONTACT_NAMES.index(name)
        below = [log.contacts[other] for other in CONTACT_NAMES[:place] if other in log.contacts]
        if name not in log.contacts or context.site.contacts[place] is None or found:
            continue
        # A contact that is wet above a dry one tells of a float and not of the water.
        wet = np.logical_and.reduce([log.contacts[name] == 1, *(values != 0 for values in below)])
        for start, end in spans(wet, log.time_s, RISING_S):
            evidence = [f"from {context.clock(start)} to {context.clock(end)} the {name} contact was wet",
                        "why cannot be told from this log: contacts do not show whether a pump ran"]  # fmt: skip
            found.append(Finding("high water", ESTABLISHED, start, end,
                                 "the water stood above the level at which pumps start", evidence,
                                 HIGH_CAUSES, "", 3.0))  # fmt: skip
    return found


HIGH_CAUSES = ["no pump started", "a pump ran and delivered too little", "more inflow than the pumps can carry"]


def high_water(context):
    """Stretches above the heights at which pumps start: a fact without a cause."""
    log, lead = context.log, context.site.contacts[1]
    lag = context.site.contacts[2]
    if log.levels_at_contacts_only:
        return _high_contacts(context)
    if lead is None or log.level_m is None:
        return []
    limit = (lag or lead).wet_m + HIGH_M + 4.0 * min(context.sigma_m, HIGH_M)
    with np.errstate(invalid="ignore"):
        found = spans(log.level_m > limit, log.time_s, max(RISING_S, 1.5 * log.spacing_s))
    hidden = "its rows are too far apart to show a pump's runs"
    if context.limits is None or context.limits.resolved:
        hidden = "water that stands so high hardly rises or falls as a pump runs"
    answer = []
    for start, end in found:
        top = float(np.nanmax(log.level_m[(log.time_s >= start) & (log.time_s <= end)]))
        evidence = [f"from {context.clock(start)} to {context.clock(end)} every row was above {context.level(limit)}, "
                    f"the highest {context.level(top)}",
                    f"why cannot be told from this log: {hidden}"]  # fmt: skip
        answer.append(Finding("high water", ESTABLISHED, start, end,
                              "the water stood above the level at which pumps start", evidence,
                              HIGH_CAUSES, "", 5.0 if top > context.site.pit.floor_m else 3.0))  # fmt: skip
    return answer
