"""The strip chart as one HTML file that can be zoomed: nothing is fetched from anywhere."""

from datetime import datetime
from importlib import resources

import numpy as np
from jinja2 import Environment, StrictUndefined

from host_sim.replay import account as words
from host_sim.replay.night import as_trace
from host_sim.report.lanes import BLACK, ORANGE, PUMP_COLORS

MOST_OTHERS = 7


def _environment():
    # Every text is escaped; the data as JSON in which <, > and & are \u003c and the like, so that no name in a log
    # can end the script.
    found = Environment(autoescape=True, undefined=StrictUndefined, keep_trailing_newline=True)
    found.policies["json.dumps_kwargs"] = {"separators": (",", ":"), "allow_nan": False}
    return found


def page(account, units):
    """Return the HTML of an account as a text."""
    source = (resources.files("host_sim.replay") / "zoom.html").read_text(encoding="utf-8")
    return _environment().from_string(source).render(
        title=f"What the log shows: {account.log.name}",
        headline=words.headline(account, units),
        cause=words.cause(account),
        cure=words.cure(account),
        page="\n".join(words.page(account, units)),
        data=_data(account, units),
    )


def _data(account, units):
    trace, log = as_trace(account), account.log
    scale, flow_scale = units.level.number, units.flow.number
    others = [_line(outcome, units) for outcome in account.outcomes[: MOST_OTHERS + 1] if outcome.trace is not None]
    known = account.highest_m if account.highest_m == account.highest_m else 0.0
    highest = max([known, account.site.pit.floor_m, *(outcome.highest_m for outcome in account.outcomes)])
    flow = account.flow
    band = {"t": [], "q": [], "low": [], "high": []}
    most = 1.0
    if flow is not None:
        band = {"t": [float(t) for t in flow.time_s]}
        for key, values in (("q", flow.flow_m3s), ("low", flow.low_m3s), ("high", flow.high_m3s)):
            band[key] = [round(float(v), 3) for v in flow_scale(values)]
        most = 1.15 * max(float(np.max(flow_scale(flow.flow_m3s))), float(np.quantile(band["high"], 0.98)), 1e-3)
    wall = log.begins.replace(tzinfo=None)
    return {
        "begins": (wall - datetime(1970, 1, 1)).total_seconds(),
        "duration": log.duration_s,
        "unit": units.level.unit,
        "digits": units.level.decimals,
        "flowUnit": units.flow.unit,
        "floor": float(scale(account.site.pit.floor_m)),
        "top": float(scale(1.08 * highest)),
        "most": most,
        "contacts": {name: float(scale(value)) for name, value in trace.contact_trip_m.items()},
        "level": _points(trace.time_s, trace.level_m, scale),
        "flow": band,
        "gaps": [list(gap) for gap in log.gaps],
        "lanes": _lanes(account, trace),
        "others": others,
    }


def _points(time_s, level_m, scale):
    time_s, level_m = np.asarray(time_s), np.asarray(level_m)
    known = ~np.isnan(level_m)
    return {"t": [round(float(t), 1) for t in time_s[known]], "v": [round(float(v), 3) for v in scale(level_m[known])]}


def _line(outcome, units):
    name = "simulated as it was" if outcome.change == "as it was" else f"with {words.spoken(outcome.change)}"
    return {"name": name, **_points(outcome.trace.time_s, outcome.trace.level_m, units.level.number)}


def _lanes(account, trace):
    recorded = any(values is not None for values in account.log.pumps)
    lanes = []
    for pump in (1, 2) if recorded else (1,):
        bars = [[one.start_s, one.end_s] for one in trace.runs if one.pump == pump]
        name = f"pump {pump} runs" if recorded else "a pump runs"
        lanes.append({"name": name, "bars": bars, "colour": PUMP_COLORS[pump - 1]})
    lost = [[span.start_s, span.end_s] for span in trace.supply if span.name == "none"]
    if account.log.mains is not None:
        lanes.append({"name": "mains out", "bars": lost, "colour": BLACK})
    named = {}
    for finding in account.findings:
        if finding.kind != "no mains":
            named.setdefault(finding.kind, []).append([finding.start_s, finding.end_s])
    lanes += [{"name": name, "bars": bars, "colour": ORANGE} for name, bars in list(named.items())[:8]]
    return lanes
