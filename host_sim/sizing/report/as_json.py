"""The report as JSON: every value with its unit, limit and source; remarks, cures, settings, curves."""

import math
from dataclasses import asdict

from host_sim.sizing import contacts
from host_sim.sizing.limits import LIMITS
from host_sim.sizing.remarks.catalogue import CATALOGUE
from host_sim.sizing.report.page import CAUTIONS

MADE_BY = "sumpbench size"
UNITS = {
    "length": "m",
    "distance": "m",
    "head": "m",
    "flow": "m3/s",
    "volume": "m3",
    "velocity": "m/s",
    "area": "m2",
    "rate": "m/s",
    "pressure": "Pa",
    "conductance": "m2/s",
    "current": "A",
    "voltage": "V",
    "power": "W",
    "charge": "A s",
    "air": "m3/s",
    "opening": "m2",
    "mass": "kg",
    "time": "s",
    "seconds": "s",
    "share": "1",
    "number": "1",
    "text": "",
}


def _plain(value):
    # JSON has no infinity: what never happens is null.
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    return value


def _limit(limit, say):
    return {
        "name": limit.name,
        "value": limit.value,
        "unit": UNITS[limit.kind],
        "shown": say(limit.value, limit.kind),
        "meaning": limit.meaning,
        "source": limit.source,
    }


def _row(row, say):
    shown = row.value if row.kind == "text" else say(row.value, row.kind)
    found = {
        "key": row.key,
        "label": row.label,
        "value": _plain(row.value),
        "unit": UNITS[row.kind],
        "shown": shown,
        "within": row.within,
        "source": row.source,
    }
    if row.at_limit:
        found["at_limit"] = True
    if row.limit:
        found["limit"] = row.limit
    if row.bound is not None:
        found["bound"] = _plain(row.bound)
    return found


def as_json(page, say):
    """Return the Page as a plain dictionary that `json.dumps` takes."""
    result = page.result
    return {
        "made_by": MADE_BY,
        "site": result.inputs.name,
        "verdict": page.verdict,
        "headline": page.headline,
        "units": "SI; `shown` is in the units of the report",
        "remarks": [
            {
                "name": item.remark.name,
                "section": item.remark.section,
                "serious": item.serious,
                "title": item.title,
                "reason": item.reason,
                "cures": [{"text": cure.text, "edits": cure.edits, "tried": True} for cure in item.cures]
                + [{"text": cure.text, "edits": cure.edits, "tried": False} for cure in item.untried],
            }
            for item in page.found
        ],
        "sections": [
            {"key": part.key, "title": part.title, "note": part.note, "rows": [_row(row, say) for row in part.rows]}
            for part in page.sections
        ],
        "contacts": contacts.tables(result.contacts, result.inputs.closed, result.inputs.floats.kind),
        "settings": contacts.settings_file(result.settings),
        "parts": [asdict(part) for part in page.parts],
        "confirmed": [
            {
                "inflow": c.inflow_m3s,
                "promised_s": c.promised_s,
                "simulated_s": c.simulated_s,
                "promised_starts": list(c.promised_starts),
                "simulated_starts": list(c.simulated_starts),
                "disagreement": c.disagreement,
                "agrees": c.agrees,
            }
            for c in page.checks
        ],
        "not_confirmed": page.check_problem,
        "assumptions": [{"key": a.key, "taken": a.taken, "why": a.why, "changes": a.changes} for a in page.assumptions],
        "limits": [_limit(limit, say) for limit in LIMITS],
        "catalogue": [{"name": r.name, "title": r.title, "serious": r.serious} for r in CATALOGUE],
        "curves": {name: [list(p) for p in points] for name, points in page.curves.items()},
        "cycle_curve": {name: [[q, _plain(t)] for q, t in points] for name, points in page.cycle_curve.items()},
        "cautions": list(CAUTIONS),
    }
