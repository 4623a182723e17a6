"""Reads the evidence for the inflow, [[sizing.evidence]]: what was measured, in which weather."""

import csv
from math import pi
from pathlib import Path

from host_sim import units
from host_sim.plant import inflow as steps
from host_sim.site import pit as site_pit
from host_sim.site.reader import Table
from host_sim.sizing.inflow import RAN
from host_sim.sizing.inputs import Assumption, Evidence
from host_sim.sizing.limits import FOOT, INCH, RULE_OF_THUMB

KINDS = {
    "rise test": "pump off: rise and time",
    "pump-down test": "one pump running: fall and time",
    "log": "pump starts counted over time, or a CSV file of times and levels",
    "drained area": "area, rainfall and runoff",
    "recovery": "recovery of the pit under a known water table",
    "rule of thumb": "floor area and soil, where nothing was measured",
}
STRONGER = "the stronger"  # of the two pumps, where nobody said which one ran
WEATHER = ("wettest", "wet", "dry", "unknown")
DAY_S = 86400.0
LOG_KINDS = ("time", "length")


def read_evidence(sizing, table, assumptions, pit):
    """Return a list of Evidence.  Where there is none, the peak of the site's own [[inflow]] is taken, or a rule
    of thumb for the floor's area on sand."""
    found = []
    for part in sizing.tables("evidence"):
        kind = part.text("kind", choices=tuple(KINDS))
        weather = part.text("weather", "unknown", WEATHER)
        if "weather" not in part.data and kind in ("rise test", "pump-down test", "log"):
            why = "assumed dry, when a test reads low"
            assumptions.append(Assumption(part.name("weather"), "unknown", why))
        if kind is None or weather is None:
            continue
        facts = _READERS[kind](part, assumptions, pit)
        part.done()
        if facts is not None and None not in [facts[key] for key in facts if not key.startswith("_")]:
            found.append(Evidence(kind, facts, weather))
    if not found and not sizing.data.get("evidence"):
        found.append(_nothing_measured(table, assumptions))
    return found


def _nothing_measured(table, assumptions):
    peak = _scenario_peak(table)
    if peak > 0.0:
        why = "nothing measured; the peak of the scenario's inflow is used"
        assumptions.append(Assumption("sizing.evidence", units.show(peak, "flow"), why))
        return Evidence("scenario", {"peak_m3s": peak}, "wettest")
    pit = table.data.get("pit")
    area = pit.get("floor_area", "600 ft2") if isinstance(pit, dict) else "600 ft2"
    floor_m2 = Table({"area": area}, "", []).quantity("area", "area") or 55.7
    why = "nothing measured; rule of thumb for sand"
    assumptions.append(Assumption("sizing.evidence", "14 gpm per 1000 ft2", why))
    facts = {"area_m2": floor_m2, "flow_m3s_m2": RULE_OF_THUMB["sand"]}
    return Evidence("rule of thumb", facts, "wettest")


def _scenario_peak(table):
    # The site's own [[inflow]] tables; what is wrong with them is told when the sized site is read for its night.
    if "inflow" not in table.data:
        return 0.0
    problems = []
    flows = site_pit.read_inflow(Table(table.data, "", problems).tables("inflow"), DAY_S, Path())
    return max(steps.combine(flows, None).rates_m3s) if flows and not problems else 0.0


def _errors(part, pit):
    # A tape is read to 1/8 in, a watch to 2 s, a pit is round to 1/4 in.
    across = (4.0 * pit.area_m2(0.0) / pi) ** 0.5 if pit else 0.5
    return {
        "_tape_m": part.quantity("read_to", "length", INCH / 8.0, above=0.0) or INCH / 8.0,
        "_watch_s": 2.0,
        "_area_share": 2.0 * 0.25 * INCH / across,
    }


def _span(part, word, pit):
    way = part.quantity(word, "length", above=0.0)
    seconds = part.quantity("in", "time", above=0.0)
    middle = 0.5 * pit.floor_m if pit else 0.3
    start = part.quantity("from", "length", middle, least=0.0)
    if pit and None not in (way, start):
        end = start + way if word == "rise" else start - way
        if end > pit.floor_m or end < 0.0:
            part.problem(
                word,
                f"goes from {units.show(start, 'length')} to {units.show(end, 'length')}, "
                f"but the pit is {units.show(pit.floor_m, 'length')} deep; correct from or {word}",
            )
            return None
    return {"way_m": way, "time_s": seconds, "from_m": start, **_errors(part, pit)}


def _rise(part, assumptions, pit):
    return _span(part, "rise", pit)


def _pump_down(part, assumptions, pit):
    facts = _span(part, "falls", pit)
    rate = part.quantity("pump_rate", "flow", None, above=0.0)
    ran = _which_ran(part, assumptions)
    if "pump_rate" not in part.data:
        why = "calculated from curve and pipe, accurate to 15 %; better: time a bucket at the outlet"
        assumptions.append(Assumption(part.name("pump_rate"), "calculated", why))
    then = _then(part)
    if facts is not None:
        facts.update({"_rate_m3s": rate, "_then_m3s": then, "_ran": ran})
    return facts


def _which_ran(part, assumptions):
    # The rate of a pump that was told needs no pump; one that was not told is the one that gives the greater inflow.
    if not {"ran", "pump_rate", "calculated_rate"} & set(part.data):
        why = "the pump that ran was not told; the stronger one gives the greater inflow"
        assumptions.append(Assumption(part.name("ran"), STRONGER, why, "the design inflow"))
    return part.text("ran", STRONGER, (*RAN, STRONGER))


def _then(part):
    # What the pump of the test moved, as it was calculated when the test was read first (see `tried`).
    return part.quantity("calculated_rate", "flow", None, above=0.0)


def _log(part, assumptions, pit):
    if "file" in part.data:
        return _log_file(part, pit)
    facts = {
        "starts": part.quantity("starts", "number", above=0.0),
        "over_s": part.quantity("over", "time", above=0.0),
        "from_m": part.quantity("stops_at", "length", least=0.0),
        "to_m": part.quantity("starts_at", "length", above=0.0),
        **_errors(part, pit),
    }
    facts["_run_s"] = part.quantity("run_time", "time", None, above=0.0)
    facts["_rate_m3s"] = part.quantity("pump_rate", "flow", None, above=0.0)
    facts["_then_m3s"] = _then(part)
    if None not in (facts["from_m"], facts["to_m"]) and facts["to_m"] <= facts["from_m"]:
        part.problem("starts_at", "must be above stops_at: the pump starts at the higher level")
        return None
    if facts["_run_s"] and facts["over_s"] and facts["_run_s"] > facts["over_s"]:
        part.problem("run_time", "is longer than the log itself (over)")
        return None
    return facts


def _log_file(part, pit):
    name = part.text("file")
    try:
        points = read_log(name)
    except (OSError, ValueError) as error:
        part.problem("file", f'"{name}": {error}')
        return None
    return {"points": points, **_errors(part, pit)}


def read_log(path):
    """Return [(s, m)] from a CSV file with a header such as `time [min],level [in]`.

    Raises ValueError that says what is wrong, OSError when it cannot be read.
    """
    with open(path, newline="", encoding="utf-8") as file:
        rows = [row for row in csv.reader(file) if row and not row[0].startswith("#")]
    if len(rows) < 4 or len(rows[0]) != 2:
        raise ValueError("must have a header of two columns, as in time [min],level [in], and three rows or more")
    factors = []
    for title, kind in zip(rows[0], LOG_KINDS, strict=True):
        word = title.partition("[")[2].rstrip("] ")
        if not word:
            raise ValueError(f'column "{title}": give the unit in brackets, as in "level [in]"')
        factors.append(units.read(f"1 {word}", kind))
    try:
        points = [(float(a) * factors[0], float(b) * factors[1]) for a, b in rows[1:]]
    except ValueError as error:
        raise ValueError("every row must hold two numbers, time and level") from error
    if any(b[0] <= a[0] for a, b in zip(points, points[1:], strict=False)):
        raise ValueError("times must rise from row to row")
    return points


def _area(part, assumptions, pit):
    facts = {
        "area_m2": part.quantity("area", "area", above=0.0),
        "runoff": part.quantity("runoff", "share", 0.9, above=0.0, most=1.0),
    }
    if "runoff" not in part.data:
        assumptions.append(Assumption(part.name("runoff"), "90 %", "roofs and pavement; soil gives less"))
    if isinstance(part.data.get("rain"), str) and "/" in part.data["rain"]:
        facts["rain_ms"] = part.quantity("rain", "rate", above=0.0)
    else:
        facts["day_m"] = part.quantity("rain", "length", above=0.0, most="2 m")
        facts["lag_s"] = part.quantity("lag", "time", "10 min", least=0.0, most="10 days")
    return facts


def _recovery(part, assumptions, pit):
    facts = {
        "table_m": part.quantity("water_table", "distance", above=0.0),
        "low_m": part.quantity("from", "length", least=0.0),
        "high_m": part.quantity("to", "length", above=0.0),
        "time_s": part.quantity("in", "time", above=0.0),
        **_errors(part, pit),
    }
    facts["highest_m"] = part.quantity("highest_water_table", "distance", facts["table_m"], above=0.0)
    if "highest_water_table" not in part.data:
        taken = max(facts["table_m"] or 0.0, pit.floor_m if pit else 0.0) + FOOT
        facts["highest_m"] = taken
        why = "1 ft above the floor or above the measured level, whichever is higher"
        assumptions.append(Assumption(part.name("highest_water_table"), units.show(taken, "distance"), why))
    low, high, table = facts["low_m"], facts["high_m"], facts["table_m"]
    if None not in (low, high, table) and not low < high < table:
        part.problem("to", "levels must rise: from < to < water_table, or the pit would not have recovered")
        return None
    return facts


def _thumb(part, assumptions, pit):
    soil = part.text("soil", "sand", ("sand", "clay"))
    area = part.quantity("area", "area", above=0.0)
    return {"area_m2": area, "flow_m3s_m2": RULE_OF_THUMB.get(soil)}


_READERS = {
    "rise test": _rise,
    "pump-down test": _pump_down,
    "log": _log,
    "drained area": _area,
    "recovery": _recovery,
    "rule of thumb": _thumb,
}
