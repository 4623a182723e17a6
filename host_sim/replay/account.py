"""The account in words: a story for the terminal, a page for somebody who was not there, and JSON for programs."""

from datetime import UTC, datetime

import numpy as np

from host_sim.replay.findings.finding import CONFIDENCE
from host_sim.report.clock import lasting


def data_issues(log):
    """Return one line for each kind of data issue in the log."""
    lines = []
    for issue in log.issues:
        where = f" (first: row {issue.row})" if issue.row else ""
        lines.append(f"{issue.count} {issue.text}{where}")
    return lines


def clock_of(account):
    """Return a function that writes a time of the log."""
    log = account.log
    pattern = "%H:%M" if log.duration_s < 108000 else "%d %b %H:%M"
    return lambda time_s: log.at(time_s).strftime(pattern)


def headline(account, units):
    """Return what happened in one sentence."""
    clock, gap = clock_of(account), account.site.pit.floor_m - account.highest_m
    if np.isnan(gap):
        return "The log holds no level, so the highest water is not known."
    side = "below" if gap >= 0 else "above"
    seen = "highest contact that turned wet" if account.log.levels_at_contacts_only else "highest water"
    peak = f"{seen} {units.level.text(abs(gap))} {side} the floor at {clock(account.highest_at_s)}"
    if not account.floor_known:
        return f"Whether water reached the floor is not known, since no level was logged: {peak}."
    if account.floor_dry:
        return f"The floor stayed dry: {peak}."
    return (f"The floor got wet from {clock(account.floor_first_s)}, for {lasting(account.floor_wet_s)}: {peak}.")


def cause(account):
    """Return what went wrong in one sentence, the gravest finding first, or that nothing was found."""
    if not account.findings:
        return "Nothing was found wrong with pumps, floats and valves, as far as this log shows them."
    finding = account.findings[0]
    many = f"; one of: {', '.join(finding.causes)}" if len(finding.causes) > 1 else ""
    clock = clock_of(account)
    when = f"{clock(finding.start_s)} to {clock(finding.end_s)}"
    return f"{finding.confidence.capitalize()}: {finding.text} ({when}){many}."


def cure(account):
    """Return what would have kept the floor dry in one sentence, or "" where nothing was tried."""
    if not account.outcomes:
        return ""
    tried = account.outcomes[1:]
    if account.outcomes[0].dry and not account.floor_known:
        return "Run again as it was the floor stayed dry; the changes below show how much room each would have given."
    if account.floor_dry and account.outcomes[0].dry:
        return "The floor stayed dry as it was; the changes below show how much room each would have given."
    dry = [outcome.change for outcome in tried if outcome.dry]
    if not dry:
        return "None of the changes that were tried would have kept the floor dry."
    rest = f" ({len(dry) - 1} more did, see the table)" if len(dry) > 1 else ""
    return f"With {spoken(dry[0])} the floor would have stayed dry{rest}."


def spoken(change):
    """Return a change as words."""
    words = {
        "repaired": "what was found wrong mended",
        "controller=duplex": "two pumps and the controller",
        "controller=single": "one pump on one float switch",
        "as it was": "everything as it was",
    }
    return " and ".join(words.get(part.strip(), part.strip().replace("=", " ")) for part in change.split(" and "))


def story(account, units):
    """Return [(clock text, line, weight)] of what the log tells, in order of time."""
    clock = clock_of(account)
    lines = [(0.0, f"the log begins; {len(account.log.time_s)} rows, {account.log.spacing_s:g} s apart", 0)]
    for finding in account.findings:
        weight = 2 if finding.severity >= 2.0 else 1
        lines.append((finding.start_s, f"{finding.confidence}: {finding.text} (until {clock(finding.end_s)})", weight))
    if not account.floor_dry:
        lines.append((account.floor_first_s, "water on the floor", 2))
    if account.highest_m == account.highest_m:
        lines.append((account.highest_at_s, f"highest water: {units.level.text(account.highest_m)}", 2))
    if account.judged is not None:
        for time, _name, priority, text in account.judged.alarms[:12]:
            lines.append((time, f"our firmware would have said ({priority}): {text}", 1))
    for start, end in account.log.gaps:
        lines.append((start, f"no rows until {clock(end)}", 0))
    lines.append((account.log.duration_s, "the log ends", 0))
    return [(clock(time), text, weight) for time, text, weight in sorted(lines, key=lambda line: line[0])]


def judged_lines(account, units):
    """Return what the firmware made of the water, in a few lines."""
    found, clock = account.judged, clock_of(account)
    if found is None:
        return []
    one, two = found.starts
    lines = [f"on this water, which follows the pumps that were there, our firmware would have made {one + two} starts "
             f"({one} of pump 1, {two} of pump 2)"]  # fmt: skip
    if found.recorded_starts is not None:
        lines.append(f"the pumps that were there made {found.recorded_starts}")
    if found.first_alarm_s is not None:
        lines.append(f"it would first have called at {clock(found.first_alarm_s)}")
    for span in sorted(found.spans, key=lambda s: s.start_s - s.end_s)[:4]:
        level = "" if np.isnan(span.level_m) else f", the water at {units.level.text(span.level_m)}"
        lines.append(f"{clock(span.start_s)} to {clock(span.end_s)}: it wanted {span.wanted} of the pumps, "
                     f"{span.ran} ran{level}")  # fmt: skip
    return lines


def row(outcome, units):
    """Return the texts of one outcome: change, highest water, water on the floor, alarm lead, starts."""
    lead = "-"
    if outcome.first_alarm_s is not None:
        lead = "no flood" if outcome.lead_s is None else lasting(max(0.0, outcome.lead_s))
        if outcome.lead_s is not None and outcome.lead_s < 0:
            lead = f"{lasting(-outcome.lead_s)} late"
    wet = "none" if outcome.dry else lasting(outcome.floor_wet_s)
    gap = outcome.floor_m - outcome.highest_m
    side = "below" if gap >= 0 else "above"
    return (spoken(outcome.change), units.level.text(outcome.highest_m), f"{units.level.text(abs(gap))} {side}", wet,
            lead, str(outcome.starts))  # fmt: skip


HEADER = ("", "highest water", "against the floor", "on the floor", "alarm before the floor", "starts")


def happened_row(account, units):
    """Return the row of the log itself, shaped as `row()`."""
    gap = account.site.pit.floor_m - account.highest_m
    side = "below" if gap >= 0 else "above"
    wet = lasting(account.floor_wet_s) if not account.floor_dry else "none" if account.floor_known else "not known"
    return ("what the log shows", units.level.text(account.highest_m), f"{units.level.text(abs(gap))} {side}", wet, "-",
            str(len(account.runs)))  # fmt: skip


def page(account, units):
    """Return the page in plain words, as lines."""
    flow = account.flow
    lines = [f"What happened: {account.log.name}", "", headline(account, units), cause(account), cure(account), ""]
    lines.append("HOW THIS IS KNOWN")
    for finding in account.findings:
        lines.append(f"* {finding.text} ({finding.confidence})")
        lines += [f"    {text}" for text in finding.evidence]
        if finding.causes:
            lines.append(f"    it may be: {', '.join(finding.causes)}")
    if not account.findings:
        lines.append("* no sign of trouble was found")
    lines += ["", "THE WATER"]
    if flow is None:
        lines.append("No stretch of this log shows how fast water came in.")
    else:
        seen = ~flow.held & (flow.time_s <= account.log.duration_s)
        top = int(np.argmax(np.where(seen, flow.flow_m3s, -1.0)))
        lines.append(
            f"About {units.volume.text(flow.volume_m3())} came in; at the height of it "
            f"{units.flow.text(flow.flow_m3s[top])} (between {units.flow.text(flow.low_m3s[top])} and "
            f"{units.flow.text(flow.high_m3s[top])}) at {clock_of(account)(flow.time_s[top])}."
        )
        rated = [d for d in flow.draw_downs if d.on == 1 and d.error_m3s < 0.3 * d.expected_m3s]
        if rated:
            moved = float(np.median([d.rate_m3s for d in rated]))
            should = float(np.median([d.expected_m3s for d in rated]))
            lines.append(f"By {len(rated)} draw-downs one pump moved {units.flow.text(moved)}; its curve and the pipe "
                         f"say {units.flow.text(should)}.")  # fmt: skip
    lines += ["", "OUR CONTROLLER ON THIS WATER", *[f"* {line}" for line in judged_lines(account, units)]]
    if account.outcomes:
        lines += ["", "WHAT WOULD HAVE HELPED", *table(account, units)]
        again = account.outcomes[0]
        lines.append(f"(The night run again as it was comes to {units.level.text(again.highest_m)}; the log shows "
                     f"{units.level.text(account.highest_m)}.)")  # fmt: skip
        if account.faults:
            lines.append(f"(It was run with: {'; '.join(account.faults)}.)")
    lines += ["", "THE LOG ITSELF", f"* {account.log.rows_read} rows read, with {', '.join(account.log.channels())}"]
    lines += [f"* {line}" for line in data_issues(account.log)] or ["* nothing was wrong with it"]
    lines += ["", "Signs are signs: a person who looks into the pit decides. A simulated night promises nothing.",
              "Unplug a pump, or lock out its circuit, before working on it."]  # fmt: skip
    return lines


def table(account, units):
    """Return the outcomes as lines of even columns."""
    rows = [HEADER, happened_row(account, units), *(row(outcome, units) for outcome in account.outcomes)]
    widths = [max(len(cells[i]) for cells in rows) for i in range(len(HEADER))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)).rstrip() for cells in rows]


def as_json(account):
    """Return the account as a plain dictionary, SI units, ready for JSON."""
    flow, log = account.flow, account.log
    return {
        "log": {
            "name": log.name,
            "begins": log.begins.isoformat(),
            "duration_s": log.duration_s,
            "rows_read": log.rows_read,
            "rows_kept": len(log.time_s),
            "channels": log.channels(),
            "gaps": [list(gap) for gap in log.gaps],
            "findings": [{"kind": f.kind, "count": f.count, "text": f.text, "row": f.row} for f in log.issues],
        },
        "site": account.site.name,
        "was": account.was,
        "floor_m": account.site.pit.floor_m,
        "highest_m": _number(account.highest_m),
        "highest_at_s": account.highest_at_s,
        "floor_wet_s": account.floor_wet_s,
        "floor_first_s": account.floor_first_s,
        "signs": [
            {"kind": f.kind, "sure": f.confidence, "of": list(CONFIDENCE), "start_s": f.start_s, "end_s": f.end_s,
             "text": f.text, "evidence": f.evidence, "causes": f.causes, "fault": f.fault_text(log.duration_s)}
            for f in account.findings
        ],
        "inflow": None if flow is None else {
            "time_s": [float(t) for t in flow.time_s],
            "flow_m3s": [round(float(q), 9) for q in flow.flow_m3s],
            "low_m3s": [round(float(q), 9) for q in flow.low_m3s],
            "high_m3s": [round(float(q), 9) for q in flow.high_m3s],
            "held": [bool(x) for x in flow.held],
            "volume_m3": flow.volume_m3(),
        },
        "draw_downs": [] if flow is None else [
            {"start_s": d.start_s, "end_s": d.end_s, "pumps": d.on, "rate_m3s": d.rate_m3s, "error_m3s": d.error_m3s,
             "expected_m3s": d.expected_m3s} for d in flow.draw_downs
        ],
        "firmware": None if account.judged is None else {
            "starts": account.judged.starts,
            "run_s": account.judged.run_s,
            "first_alarm_s": account.judged.first_alarm_s,
            "alarms": [{"time_s": t, "name": n, "priority": p} for t, n, p, _ in account.judged.alarms],
            "differences": [{"start_s": x.start_s, "end_s": x.end_s, "wanted": x.wanted, "ran": x.ran}
                            for x in account.judged.spans],
        },
        "what_if": [_outcome(outcome) for outcome in account.outcomes],
        "sweep": {"axes": [list(axis) for axis in account.axes],
                  "rows": [[_outcome(outcome) for outcome in cells] for cells in account.sweep]},
    }  # fmt: skip


def _outcome(outcome):
    return {"change": outcome.change, "highest_m": outcome.highest_m, "floor_wet_s": outcome.floor_wet_s,
            "first_alarm_s": outcome.first_alarm_s, "alarm_lead_s": outcome.lead_s, "starts": outcome.starts,
            "floor_dry": outcome.dry}  # fmt: skip


def _number(value):
    return None if value != value else float(value)


def streaming_lines(found, site, units):
    """Return the counts of a streamed log as lines."""
    days = found.duration_s / 86400.0
    rate = f", {sum(found.starts) / days:.1f} a day" if days > 1.0 else ""
    gap = site.pit.floor_m - found.highest_m
    side = "below" if gap >= 0 else "above"

    def at(time_s):
        return datetime.fromtimestamp(found.begins_s + time_s, UTC).strftime("%Y-%m-%d %H:%M UTC")

    lines = [
        f"{found.rows:,} rows over {lasting(found.duration_s)} from {at(0.0)}; {found.edges:,} edges, "
        f"{found.steps:,} steps",
        f"highest water {units.level.text(abs(gap))} {side} the floor at {at(found.highest_at_s)}",
        f"our firmware, open loop: {found.starts[0]:,} starts of pump 1, {found.starts[1]:,} of pump 2{rate}",
    ]
    busiest = max(found.days, key=lambda day: sum(found.days[day].starts), default=None)
    if busiest is not None:
        most = sum(found.days[busiest].starts)
        lines.append(f"the busiest day began at {at(busiest * 86400.0)}: {most} starts, highest water "
                     f"{units.level.text(found.days[busiest].highest_m)}")  # fmt: skip
    lines += [f"alarm {name.replace('_', ' ')}: {count} times" for name, count in found.alarms.most_common(8)]
    lines += [f"{count:,} rows: {kind}" for kind, count in found.lost.items() if count]
    lines += [f"{found.gaps} gaps of over a minute: the controller was taken as off in them"] if found.gaps else []
    return lines


def streaming_json(found):
    """Return a streamed log's counts as a plain dictionary, SI units."""
    return {
        "rows": found.rows, "edges": found.edges, "steps": found.steps, "gaps": found.gaps,
        "begins_s": found.begins_s, "duration_s": found.duration_s, "highest_m": found.highest_m,
        "highest_at_s": found.highest_at_s, "starts": found.starts, "alarms": dict(found.alarms),
        "lost": dict(found.lost),
        "days": [{"day": day, "starts": d.starts, "run_s": d.run_s, "highest_m": d.highest_m, "alarms": d.alarms}
                 for day, d in sorted(found.days.items())],
    }  # fmt: skip
