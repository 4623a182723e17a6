"""The account, and the counts of a long log, as plain dictionaries for programs."""

from host_sim.replay import limits
from host_sim.replay.findings.finding import CONFIDENCE


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
            "issues": [{"kind": f.kind, "count": f.count, "text": f.text, "row": f.row} for f in log.issues],
        },
        "site": account.site.name,
        "was": account.was,
        "floor_m": account.site.pit.floor_m,
        "highest_m": _number(account.highest_m),
        "highest_at_s": account.highest_at_s,
        "floor_wet_s": account.floor_wet_s,
        "floor_first_s": account.floor_first_s,
        "floor_known": account.floor_known,
        "floor_sure": account.floor_sure,
        "limits": None if account.limits is None else {
            "resolved": account.limits.resolved, "fine": account.limits.fine, "reason": account.limits.reason,
            "spacing_s": account.limits.spacing_s, "needed_s": _number(account.limits.needed_s),
            "draw_down_s": _number(account.limits.draw_down_s), "noise_m": account.limits.noise_m,
            "step_m": account.limits.step_m, "longest_gap_s": account.limits.longest_gap_s,
            "lines": limits.lines(account.limits, account),
        },
        "runs": None if account.recorded is None else {
            "starts": account.recorded.starts,
            "run_s": {pump: list(pair) for pump, pair in account.recorded.run_s.items()},
            "every_run_shows": account.recorded.every, "longest_run_s": account.recorded.longest_run,
            "longest_rest_s": account.recorded.longest_rest, "busiest_hour": account.recorded.busiest,
        },
        "findings": [
            {"kind": f.kind, "confidence": f.confidence, "confidences": list(CONFIDENCE), "start_s": f.start_s,
             "end_s": f.end_s, "text": f.text, "evidence": f.evidence, "causes": f.causes,
             "fault": f.fault_text(log.duration_s)}
            for f in account.findings
        ],
        "inflow": None if flow is None else {
            "time_s": [float(t) for t in flow.time_s],
            "flow_m3s": [round(float(q), 9) for q in flow.flow_m3s],
            "low_m3s": [round(float(q), 9) for q in flow.low_m3s],
            "high_m3s": [round(float(q), 9) for q in flow.high_m3s],
            "held": [bool(x) for x in flow.held],
            "volume_m3": None if flow.bounds else flow.volume_m3(),
            "bounds": flow.bounds,
            "volume_range_m3": list(flow.volume_range_m3),
            "spans_s": None if flow.spans is None else [list(map(float, pair)) for pair in flow.spans],
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
            "differences": [{"start_s": x.start_s, "end_s": x.end_s, "called": x.called, "ran": x.ran}
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


def streaming_json(found):
    """Return a streamed log's counts as a plain dictionary, SI units."""
    return {
        "rows": found.rows, "edges": found.edges, "steps": found.steps, "gaps": found.gaps,
        "begins_s": found.begins_s, "duration_s": found.duration_s, "highest_m": found.highest_m,
        "highest_at_s": found.highest_at_s, "floor_wet_s": found.floor_wet_s, "spacing_s": found.spacing_s,
        "coarse": found.coarse, "starts": None if found.coarse else found.starts, "alarms": dict(found.alarms),
        "lost": dict(found.lost),
        "days": [{"day": day, "starts": d.starts, "run_s": d.run_s, "highest_m": d.highest_m, "alarms": d.alarms}
                 for day, d in sorted(found.days.items())],
    }  # fmt: skip
