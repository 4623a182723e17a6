"""Remarks about the inflow and its evidence."""

from host_sim.sizing.limits import INCH, limit
from host_sim.sizing.remarks.change import one
from host_sim.sizing.remarks.remark import HAND, Cure, Remark
from host_sim.sizing.say import text_of

SECTION = "inflow"
GUESSED = ("rule of thumb", "scenario")
WEATHERED = ("rise test", "pump-down test", "log")


def _places(result, test):
    return [i for i, item in enumerate(result.design.estimates) if test(item)]


def _not_wettest(result, say):
    governing = result.design.governing
    if governing.factor == 1.0:
        return None
    return (
        f"weather at the {governing.kind}: {governing.weather}, so its {say(governing.measured_m3s, 'flow')} was "
        f"multiplied by {governing.factor:g}: the design inflow is an estimate, not a measurement"
    )


def _repeat(result, say):
    found = {f"sizing.evidence.{i}.weather": "wettest" for i in _places(result, lambda e: e.kind in WEATHERED)}
    return [one("repeat the test in the wettest week of the year (then weather = wettest)", found, HAND, True)]


def _uncertain(result, say):
    worst = max(result.design.estimates, key=lambda e: e.uncertainty if e.kind == "rise test" else 0.0)
    if worst.kind != "rise test" or worst.uncertainty <= limit("uncertain") or result.inputs.basin.perforated:
        return None
    return f"the rise test is accurate to only {say(worst.uncertainty, 'share')}: the rise is too small for a tape"


def _longer(result, say):
    family = []
    for times in (2, 4, 8, 16, 32):
        edits, told = {}, ""
        for i, item in enumerate(result.inputs.evidence):
            if item.kind != "rise test":
                continue
            way, seconds = item.facts["way_m"] * times, item.facts["time_s"] * times
            if item.facts["from_m"] + way > result.inputs.pit.floor_m:
                edits[f"sizing.evidence.{i}.from"] = "0 in"
            edits[f"sizing.evidence.{i}.rise"] = text_of(way, "length", 2)
            edits[f"sizing.evidence.{i}.in"] = f"{seconds:.1f} s"
            told = f"let the water rise {say(way, 'length')} (about {say(seconds, 'seconds')}) before reading the tape"

        family.append(Cure(told, edits, HAND, True))
    return [family]


def _falls(result):
    # (place, Estimate) of the pump-down tests whose inflow is a small difference of two large figures.
    return [(i, e) for i, e in enumerate(result.design.estimates)
            if e.kind == "pump-down test" and e.uncertainty > limit("uncertain")]  # fmt: skip


def _small_difference(result, say):
    found = _falls(result)
    if not found:
        return None
    e = found[0][1]
    return (
        f"the pump moves {say(e.rate_m3s, 'flow')} and the fall accounts for {say(e.fall_m3s, 'flow')} of it: the "
        f"inflow is the small difference, {say(e.measured_m3s, 'flow')}, and may be "
        f"{say.span(e.low_m3s, e.high_m3s, 'flow')}"
    )


def _time_the_rise(result, say):
    place, e = _falls(result)[0]
    flow = max(e.measured_m3s, 0.25 * e.high_m3s, 1e-6)
    rise = 0.3 * result.inputs.pit.floor_m
    seconds = result.inputs.pit.volume_m3(rise) / flow
    test = {"kind": "rise test", "rise": text_of(rise, "length"), "in": f"{max(seconds, 20.0):.0f} s", "from": "0 in",
            "weather": "wettest"}  # fmt: skip
    rate = {f"sizing.evidence.{place}.pump_rate": text_of(e.rate_m3s, "flow", 2)}
    return [
        one("time a rise instead, with both pumps unplugged (rise test): it measures the inflow itself",
            {f"sizing.evidence.{place}": test}, HAND, True),
        one("time a bucket at the outlet with the pump that ran, and give its rate (pump_rate)", rate, HAND, True),
    ]  # fmt: skip


def _disagree(result, say):
    measured = [e for e in result.design.estimates if e.kind != "rule of thumb"]
    if len(measured) < 2:
        return None
    low, high = min(measured, key=lambda e: e.value_m3s), max(measured, key=lambda e: e.value_m3s)
    if high.value_m3s <= limit("disagree") * low.value_m3s:
        return None
    return f"{high.kind} {say(high.value_m3s, 'flow')}, {low.kind} {say(low.value_m3s, 'flow')}; the larger one is used"


def _settle(result, say):
    estimates = list(enumerate(result.design.estimates))
    top = max(e.value_m3s for _, e in estimates)
    kept = [
        result.inputs.data["sizing"]["evidence"][i]
        for i, e in estimates
        if e.kind == "rule of thumb" or e.value_m3s * limit("disagree") >= top
    ]
    return [
        one(
            "repeat the test with the lower result; delete it if it was made in dry weather or misread",
            {"sizing.evidence": kept},
            HAND,
            True,
        )
    ]


def _nothing_measured(result, say):
    if any(e.kind not in GUESSED for e in result.design.estimates):
        return None
    flow, kind = say(result.design.governing.value_m3s, "flow"), result.design.governing.kind
    source = "the floor area alone" if kind == "rule of thumb" else "the scenario in the site file"
    return f"no measurement given: {flow} comes from {source}"


def _measure(result, say):
    rate = result.design.governing.value_m3s / result.inputs.pit.area_m2(0.3 * result.inputs.pit.floor_m)
    rise = 0.4 * result.inputs.pit.floor_m
    test = {
        "kind": "rise test",
        "rise": text_of(rise, "length"),
        "in": f"{rise / rate:.0f} s",
        "from": "2 in",
        "weather": "wettest",
    }
    seconds = say(INCH / rate, "seconds")
    return [
        one(
            f"unplug the pump and time the rise with a tape (at the assumed inflow an inch takes {seconds})",
            {"sizing.evidence": [test]},
            HAND,
            True,
        )
    ]


def _perforated(result, say):
    if not result.inputs.basin.perforated or not any(e.kind == "rise test" for e in result.design.estimates):
        return None
    if any(e.kind in ("recovery", "drained area", "log", "pump-down test") for e in result.design.estimates):
        return None
    return "the basin is perforated: the gravel around it fills as the water rises, so the test reads low"


def _confirm(result, say):
    more = {"kind": "log", "starts": 6, "over": "1 h", "stops_at": "6 in", "starts_at": "12 in", "weather": "wettest"}
    share = result.design.governing.value_m3s
    volume = result.inputs.pit.volume_m3(12 * INCH) - result.inputs.pit.volume_m3(6 * INCH)
    more["starts"] = max(1.0, round(share * 3600.0 / volume * 0.9, 1))
    place = len(result.inputs.data.get("sizing", {}).get("evidence", []))
    return [
        one(
            "count the pump's starts over an hour in the same weather and add them as a log: once the pump cycles "
            "the gravel stores nothing more",
            {f"sizing.evidence.{place}": more},
            HAND,
            True,
        )
    ]


REMARKS = (
    Remark("not_wettest", SECTION, False, "inflow not measured in the wettest week", _not_wettest, _repeat),
    Remark("uncertain_test", SECTION, False, "rise test too short", _uncertain, _longer),
    Remark("small_difference", SECTION, False, "pump-down test tells little", _small_difference, _time_the_rise, True),
    Remark("evidence_disagrees", SECTION, False, "inflow measurements disagree", _disagree, _settle),
    Remark("nothing_measured", SECTION, False, "inflow not measured", _nothing_measured, _measure),
    Remark("gravel_stores", SECTION, False, "rise test in a perforated basin", _perforated, _confirm),
)
