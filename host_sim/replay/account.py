"""The account in words: a story for the terminal, and a page to keep."""

from datetime import UTC, datetime

import numpy as np

from host_sim.replay import limits
from host_sim.replay.findings.finding import CANNOT
from host_sim.report.clock import lasting

CLOSING = (
    "These findings come from the log alone: inspect the pit before acting on them.",
    "A simulated dry night does not promise a dry basement.",
    "Unplug a pump, or lock out its circuit, before working on it.",
)
CAUTIONS = "Before acting on this, read the cautions:  sumpbench --help"


def data_issues(log):
    """Return one line for each kind of data issue in the log."""
    lines = []
    for issue in log.issues:
        where = f" (first in row {issue.row})" if issue.row else ""
        lines.append(f"{issue.text}: {issue.count}{where}")
    return lines


def clock_of(account):
    """Return a function that writes a time of the log."""
    log = account.log
    pattern = "%H:%M" if log.duration_s < 108000 else "%d %b %H:%M" if log.duration_s < 2.6e7 else "%Y-%m-%d %H:%M"
    return lambda time_s: log.at(time_s).strftime(pattern)


def against_floor(gap_m, units):
    """Return how far below (`gap_m` above 0) or above the floor, as a text."""
    return f"{units.level.text(abs(gap_m))} {'below' if gap_m >= 0 else 'above'}"


def headline(account, units):
    """Return what happened in one sentence."""
    clock, gap = clock_of(account), account.site.pit.floor_m - account.highest_m
    if np.isnan(gap):
        return "The log has no level, so the highest water is not known."
    seen = "highest contact wet" if account.log.levels_at_contacts_only else "highest water"
    peak = f"{seen} {against_floor(gap, units)} the floor at {clock(account.highest_at_s)}"
    if not account.floor_known:
        return f"Whether water reached the floor is not known, since no level was logged: {peak}."
    if account.floor_dry and not account.floor_sure:
        return f"No row shows water on the floor, and whether it stayed dry cannot be told from this log: {peak}."
    if account.floor_dry:
        return f"The floor stayed dry: {peak}."
    if not account.floor_sure:
        return f"Whether the floor got wet cannot be told from this log, since the readings' noise is as large: {peak}."
    return f"The floor got wet at {clock(account.floor_first_s)}, for {lasting(account.floor_wet_s)}: {peak}."


def causes_of(finding):
    """Return "likely cause: ..." of a finding, or "possible causes: ..." where the log cannot tell them apart.

    A cause that the finding's own text names is left out; "" where none is left.
    """
    causes = [cause for cause in finding.causes if cause not in finding.text]
    if len(causes) > 1 and (finding.confidence == CANNOT or any("cannot be told" in line for line in finding.evidence)):
        return f"possible causes: {', '.join(causes)}"
    return f"likely cause{'s' if len(causes) > 1 else ''}: {', '.join(causes)}" if causes else ""


def cause(account):
    """Return what went wrong in one sentence, the most serious finding first, or that nothing was found."""
    if not account.findings and account.limits is not None and not account.limits.resolved:
        return f"Whether pumps, floats and valves worked cannot be told from this log: {account.limits.reason}."
    if not account.findings:
        return "Nothing wrong found with pumps, floats and valves in this log."
    finding = account.findings[0]
    clock, causes = clock_of(account), causes_of(finding)
    when = f"{clock(finding.start_s)} to {clock(finding.end_s)}"
    causes = f"; {causes}" if causes else ""
    if finding.confidence == CANNOT:
        return f"Not sure from this log: {finding.text} ({when}){causes}."
    return f"{finding.confidence.capitalize()}: {finding.text} ({when}){causes}."


def cure(account):
    """Return what would have kept the floor dry in one sentence, or "" where nothing was tried."""
    if not account.outcomes:
        return ""
    tried = account.outcomes[1:]
    if account.outcomes[0].dry and (account.floor_dry or not account.floor_known):
        dry = "The floor stayed dry" if account.floor_known else "Simulated as it was, the floor stays dry"
        return f"{dry}; the changes below show the margin that each would have given."
    near, said = account.reproduced()
    if account.outcomes[0].dry:
        return "Simulated as it was, the floor stays dry, unlike in the log: which change helps cannot be told."
    if not near:
        return f"Simulated as it was, the night is not the logged one ({said}): which change helps cannot be told."
    dry = [outcome.change for outcome in tried if outcome.dry]
    if not dry:
        return "None of the changes that were tried would have kept the floor dry."
    rest = f" ({len(dry) - 1} other changes as well, see the table)" if len(dry) > 1 else ""
    return f"With {spoken(dry[0])} the floor would have stayed dry{rest}; simulated as it was, the log is met: {said}."


def spoken(change):
    """Return a change as words."""
    words = {
        "repaired": "the faults repaired",
        "controller=duplex": "two pumps and our controller",
        "controller=single": "one pump on one float switch",
        "as it was": "as it was",
    }
    return " and ".join(words.get(part.strip(), part.strip().replace("=", " ")) for part in change.split(" and "))


def can_tell(account):
    """Return what the log can and cannot tell, as lines."""
    return [] if account.limits is None else limits.lines(account.limits, account)


def story(account, units):
    """Return [(clock text, line, weight)] of what the log tells, in order of time."""
    log, clock = account.log, clock_of(account)
    lines = [(0.0, f"log begins: {log.rows_read} rows", 0)]
    for finding in account.findings:
        weight = 2 if finding.severity >= 2.0 else 1
        lines.append((finding.start_s, f"{finding.confidence}: {finding.text} (until {clock(finding.end_s)})", weight))
    if not account.floor_dry:
        lines.append((account.floor_first_s, "water on the floor", 2))
    if account.highest_m == account.highest_m:
        what = "highest contact wet" if log.levels_at_contacts_only else "highest water"
        lines.append((account.highest_at_s, f"{what}: {units.level.text(account.highest_m)}", 2))
    if account.judged is not None:
        for time, _name, priority, text in account.judged.alarms[:12]:
            lines.append((time, f"our controller would have raised an alarm ({priority}): {text}", 1))
    for start, end in log.gaps:
        lines.append((start, f"no data until {clock(end)}", 0))
    lines.append((log.duration_s, "log ends", 0))
    return [(clock(time), text, weight) for time, text, weight in sorted(lines, key=lambda line: line[0])]


def judged_lines(account, units):
    """Return what the firmware would have done on the logged water, in a few lines."""
    found, clock = account.judged, clock_of(account)
    if found is None and account.log.every_change:
        return ["this is a journal: its exact replay says what our controller did"]
    if found is None:
        return ["what our controller would have done cannot be told from this log"]
    lines = ["fed with the logged water, which follows the logged pumps; how often it would have started them is told "
             "by a simulation only"]  # fmt: skip
    if found.recorded_starts is not None:
        lines.append(f"starts in the log: {found.recorded_starts}")
    if not found.spans and found.recorded_starts is not None:
        lines.append("it called for pumps when the logged pumps ran: no difference of a minute or more")
    if found.first_alarm_s is not None:
        lines.append(f"first medium or high alarm at {clock(found.first_alarm_s)}")
    for span in sorted(found.spans, key=lambda s: s.start_s - s.end_s)[:4]:
        level = "" if np.isnan(span.level_m) else f", water at {units.level.text(span.level_m)}"
        lines.append(f"{clock(span.start_s)} to {clock(span.end_s)}: pumps called: {span.called}, "
                     f"running: {span.ran}{level}")  # fmt: skip
    return lines


HEADER = ("", "highest water", "from floor", "floor wet for", "alarm lead time", "starts")


def row(outcome, units):
    """Return the texts of one outcome: change, highest water, against and on the floor, alarm lead, starts."""
    lead = "-"
    if outcome.first_alarm_s is not None:
        lead = "floor dry" if outcome.lead_s is None else lasting(max(0.0, outcome.lead_s))
        if outcome.lead_s is not None and outcome.lead_s < 0:
            lead = f"{lasting(-outcome.lead_s)} after"
    wet = "none" if outcome.dry else lasting(outcome.floor_wet_s)
    name = "simulated as it was" if outcome.change == "as it was" else spoken(outcome.change)
    return (name, units.level.text(outcome.highest_m), against_floor(outcome.floor_m - outcome.highest_m, units), wet,
            lead, str(outcome.starts))  # fmt: skip


def happened_row(account, units):
    """Return the row of the log itself, shaped as `row()`."""
    wet = lasting(account.floor_wet_s) if not account.floor_dry else "none" if account.floor_known else "not known"
    gap = account.site.pit.floor_m - account.highest_m
    highest, most = units.level.text(account.highest_m), against_floor(gap, units)
    if not account.floor_known and account.log.levels_at_contacts_only:
        highest, most = f"{highest} or more", "not known"
    return ("the log", highest, most, wet, "-", str(len(account.runs)))


def page(account, units):
    """Return the page in plain words, as lines."""
    lines = [f"What happened: {account.log.name}", "", *can_tell(account), ""]
    lines += [headline(account, units), cause(account), cure(account), ""]
    lines.append("FINDINGS AND EVIDENCE")
    for finding in account.findings:
        lines.append(f"* {finding.text} ({finding.confidence})")
        lines += [f"    {text}" for text in finding.evidence]
        if causes := causes_of(finding):
            lines.append(f"    {causes}")
    if not account.findings:
        lines.append("* none")
    if account.recorded is not None:
        lines += ["", "RUNS BY THE RECORD", *[f"* {line}" for line in run_lines(account)]]
    lines += ["", "INFLOW", *inflow_lines(account, units)]
    lines += ["", "OUR CONTROLLER ON THE LOGGED WATER", *[f"* {line}" for line in judged_lines(account, units)]]
    if account.outcomes:
        lines += ["", "WHAT WOULD HAVE HELPED", *table(account, units)]
        again = account.outcomes[0]
        lines.append(f"(Highest water simulated as it was: {units.level.text(again.highest_m)}; in the log: "
                     f"{units.level.text(account.highest_m)}.)")  # fmt: skip
        if account.faults:
            lines.append(f"(Simulated with: {'; '.join(account.faults)}.)")
    lines += ["", "THE DATA", f"* {account.log.rows_read} rows read: {', '.join(account.log.channels())}"]
    lines += [f"* {line}" for line in data_issues(account.log)] or ["* no data issues"]
    return [*lines, "", *CLOSING]


def run_lines(account):
    """Return what the recorded pump states tell, as lines; [] where none was recorded."""
    found, clock = account.recorded, clock_of(account)
    if found is None:
        return []
    lines = []
    for pump, starts in found.starts.items():
        least, most = found.run_s[pump]
        time = lasting(least) if most - least < 1.0 else f"{lasting(least)} to {lasting(most)}"
        lines.append(f"pump {pump}: {'' if found.every else 'at least '}starts {starts}, run time {time}")
    for name, pair in (("run", found.longest_run), ("time without a run", found.longest_rest)):
        if pair is not None and found.every:
            lines.append(f"longest {name}: {lasting(pair[1] - pair[0])}, {clock(pair[0])} to {clock(pair[1])}")
    if found.busiest is not None:
        count, at = found.busiest
        lines.append(f"busiest hour of one pump: {'' if found.every else 'at least '}{count} starts, from {clock(at)}")
    if not found.every:
        lines.append(f"runs shorter than {account.limits.spacing_s:g} s, the time from row to row, do not all show")
    return lines


def inflow_lines(account, units):
    """Return what the log tells of the inflow, with the time above each contact, as lines."""
    flow = account.flow
    over = [f"{name} {lasting(seconds)}" for name, seconds in limits.above_contacts(account.log, account.site)]
    above = [f"Time above each contact, by the rows: {', '.join(over)}."] if over else []
    if flow is None:
        return ["No interval of this log shows the inflow.", *above]
    if flow.bounds:
        least, most = (units.volume.text(volume) for volume in flow.volume_range_m3)
        return [f"Bounds by water balance and the pumps' curve: from {least} to {most} in total; the inflow itself "
                "cannot be told from this log.", *above]  # fmt: skip
    seen = ~flow.held & (flow.time_s <= account.log.duration_s)
    top = int(np.argmax(np.where(seen, flow.flow_m3s, -1.0)))
    low, peak, high = (units.flow.text(flows[top]) for flows in (flow.low_m3s, flow.flow_m3s, flow.high_m3s))
    lines = [f"About {units.volume.text(flow.volume_m3())} in total; peak {peak} (95 % band {low} to {high}) at "
             f"{clock_of(account)(flow.time_s[top])}."]  # fmt: skip
    rated = [d for d in flow.draw_downs if d.on == 1 and d.error_m3s < 0.3 * d.expected_m3s]
    if rated:
        moved = float(np.median([d.rate_m3s for d in rated]))
        should = float(np.median([d.expected_m3s for d in rated]))
        lines.append(f"One pump delivered {units.flow.text(moved)} (median of {len(rated)} draw-downs); "
                     f"curve and piping give {units.flow.text(should)}.")  # fmt: skip
    return [*lines, *above]


def table(account, units):
    """Return the outcomes as lines of even columns."""
    rows = [HEADER, happened_row(account, units), *(row(outcome, units) for outcome in account.outcomes)]
    widths = [max(len(cells[i]) for cells in rows) for i in range(len(HEADER))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)).rstrip() for cells in rows]


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
        "no row shows water on the floor",
    ]
    if found.floor_wet_s:
        lines[-1] = f"water on the floor for {lasting(found.floor_wet_s)}"
    if found.coarse:
        lines.append(f"cannot tell starts, run time and alarms: {found.coarse}")
    else:
        lines.append(f"starts by our controller, fed with the logged water: pump 1 {found.starts[0]:,}, pump 2 "
                     f"{found.starts[1]:,}{rate}")  # fmt: skip
    busiest = max(found.days, key=lambda day: sum(found.days[day].starts), default=None)
    if busiest is not None and not found.coarse:
        most = sum(found.days[busiest].starts)
        lines.append(f"busiest day, from {at(busiest * 86400.0)}: {most} starts, highest water "
                     f"{units.level.text(found.days[busiest].highest_m)}")  # fmt: skip
    lines += [f"alarm {name.replace('_', ' ')}: {count:,}" for name, count in found.alarms.most_common(8)]
    lines += [f"rows {kind}: {count:,}" for kind, count in found.lost.items() if count]
    lines += [f"gaps in which the controller counts as off: {found.gaps}"] if found.gaps else []
    return lines


