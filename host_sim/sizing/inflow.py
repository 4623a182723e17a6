"""The inflow from each kind of evidence, with its uncertainty, and the design inflow.

Uncertainty: each measured quantity is moved by its own error, one at a time,
and the changes of the result are added as squares (the first-order method of
the ISO Guide to the expression of uncertainty in measurement).
"""

from dataclasses import dataclass
from math import log, sqrt

from host_sim import units
from host_sim.errors import InputError
from host_sim.plant import storm
from host_sim.sizing.limits import FOOT, INCH, limit


@dataclass(frozen=True)
class Estimate:
    """One estimate in m3/s: as measured with its bounds, and times the weather factor."""

    kind: str
    how: str
    source: str
    weather: str
    factor: float
    measured_m3s: float
    low_m3s: float
    high_m3s: float
    conductance_m2s: float = 0.0  # of the soil, where recovery was measured
    rain_ms_each: float = 0.0  # rain for each m3/s of inflow, where an area is drained by the rational method
    day_m_each: float = 0.0  # the same for a day of rain
    rate_m3s: float = 0.0  # of the pump that ran, where the estimate rests on one
    fall_m3s: float = 0.0  # what the fall of a pump-down test alone takes out of the pit

    @property
    def value_m3s(self):
        """The inflow to be expected in the wettest week."""
        return self.measured_m3s * self.factor

    @property
    def upper_m3s(self):
        return self.high_m3s * self.factor

    @property
    def uncertainty(self):
        """Half the width of the bounds as a share of the estimate."""
        return 0.5 * (self.high_m3s - self.low_m3s) / self.measured_m3s if self.measured_m3s > 0.0 else 1.0


@dataclass(frozen=True)
class Design:
    """The design inflow: the estimate that gives most, with its margin or its upper bound, whichever is more."""

    inflow_m3s: float
    expected_m3s: float
    estimates: tuple
    governing: Estimate
    margin: float
    by: str  # "margin" or "upper bound"
    recirculated_m3s: float  # of it, water that was pumped out and seeps back


def rise_rate_m3s(area_m2, rise_m, time_s):
    """Return the inflow of a rise test: area * rise / time.  Example: 18 in pit, 1 in/min = 1.1016 gpm."""
    return area_m2 * rise_m / time_s


def conductance_m2s(area_m2, table_m, low_m, high_m, time_s):
    """Return C of linear recharge Q = C * (water table - level) from a recovery: C = A / t * ln((hw-h1)/(hw-h2))."""
    return area_m2 / time_s * log((table_m - low_m) / (table_m - high_m))


def logged_m3s(starts, over_s, volume_m3, pump_m3s):
    """Return the inflow of so many pump starts: Q of T = V/Q + V/(Qp-Q), the lower of the two; Qp/2 at the most."""
    product = starts * volume_m3 / over_s * pump_m3s
    root = pump_m3s * pump_m3s - 4.0 * product
    return 0.5 * (pump_m3s - sqrt(root)) if root > 0.0 else 0.5 * pump_m3s


def bounds(work, values, errors):
    """Return (value, low, high) of work(**values) with errors added as squares, each moved one way at a time."""
    middle = work(**values)
    down = up = 0.0
    for name, error in errors.items():
        changes = []
        for sign in (-1.0, 1.0):
            try:
                changes.append(work(**{**values, name: values[name] + sign * error}) - middle)
            except (ValueError, ZeroDivisionError):
                changes.append(0.5 * middle)  # beyond what can be worked out: half as much again
        down += min(0.0, *changes) ** 2
        up += max(0.0, *changes) ** 2
    return middle, max(0.0, middle - sqrt(down)), middle + sqrt(up)


def weather_factor(weather):
    """Return what an estimate taken in some weather is multiplied by to reach the wettest week."""
    return {"wettest": 1.0, "wet": limit("weather_wet")}.get(weather, limit("weather_dry"))


def _pit(inputs):
    # A measurement belongs to the pit in which it was made.
    return inputs.measured_pit or inputs.pit


def _mean_area(pit, low_m, high_m):
    return (pit.volume_m3(high_m) - pit.volume_m3(low_m)) / (high_m - low_m)


def _rise(facts, inputs, pump_m3s):
    area = _mean_area(_pit(inputs), facts["from_m"], facts["from_m"] + facts["way_m"])
    values = {"area_m2": area, "rise_m": facts["way_m"], "time_s": facts["time_s"]}
    errors = {
        "area_m2": area * facts["_area_share"],
        "rise_m": sqrt(2.0) * facts["_tape_m"],
        "time_s": facts["_watch_s"],
    }
    how = "area x rise / time"
    if inputs.basin.perforated:
        how += "; perforated basin: the gravel around it fills too, so the true inflow is higher"
        errors["area_m2"] = 0.25 * area
    return bounds(rise_rate_m3s, values, errors), how, "conservation of water", {}


def _pump_down(facts, inputs, pump_m3s):
    area = _mean_area(_pit(inputs), facts["from_m"] - facts["way_m"], facts["from_m"])
    rate = pump_m3s
    error = RATE_MEASURED if facts["_rate_m3s"] else RATE_CALCULATED

    def work(rate_m3s, area_m2, fall_m, time_s):
        return rate_m3s - area_m2 * fall_m / time_s

    values = {"rate_m3s": rate, "area_m2": area, "fall_m": facts["way_m"], "time_s": facts["time_s"]}
    errors = {
        "rate_m3s": error * rate,
        "area_m2": area * facts["_area_share"],
        "fall_m": sqrt(2.0) * facts["_tape_m"],
        "time_s": facts["_watch_s"],
    }
    found = tuple(max(figure, 0.0) for figure in bounds(work, values, errors))
    fall_m3s = rise_rate_m3s(area, facts["way_m"], facts["time_s"])
    if found[2] <= 0.0:
        moves = units.show(rate, "flow")
        raise InputError(
            f"sizing.evidence: the pump-down test falls {units.show(facts['way_m'], 'length')} in "
            f"{facts['time_s']:g} s, which takes {units.show(fall_m3s, 'flow')} out of the pit; the pump moves {moves} "
            f"({'as measured' if facts['_rate_m3s'] else 'by its curve and pipe'}, give or take {error:.0%}), so the "
            f"water cannot fall faster than {moves} takes it out, with no inflow at all.  Measure fall and time again, "
            "say which pump ran (ran = pump 1, pump 2 or both), or time a bucket at the outlet (pump_rate)",
            inputs.name)  # fmt: skip
    return found, "pump rate - area x fall / time", "conservation of water", {"rate_m3s": rate, "fall_m3s": fall_m3s}


def _log(facts, inputs, pump_m3s):
    if "points" in facts:
        return _steepest(facts, inputs)
    rate = pump_m3s
    error = RATE_MEASURED if facts["_rate_m3s"] else RATE_CALCULATED
    if facts["_run_s"]:
        values = {"rate": rate, "share": facts["_run_s"] / facts["over_s"]}
        errors = {"rate": error * rate, "share": 0.05 * values["share"]}
        how = "pump rate x run time / time"
        more = {"rate_m3s": rate}
        return bounds(lambda rate, share: rate * share, values, errors), how, "conservation of water", more
    volume = _pit(inputs).volume_m3(facts["to_m"]) - _pit(inputs).volume_m3(facts["from_m"])
    values = {"starts": facts["starts"], "over_s": facts["over_s"], "volume_m3": volume, "pump_m3s": rate}
    spread = sqrt(2.0) * facts["_tape_m"] / (facts["to_m"] - facts["from_m"])
    errors = {
        "starts": 1.0,
        "over_s": 60.0,
        "volume_m3": volume * sqrt(spread**2 + facts["_area_share"] ** 2),
        "pump_m3s": error * rate,
    }
    how, more = "counted starts, T = V/Q + V/(Qp-Q)", {"rate_m3s": rate}
    return bounds(logged_m3s, values, errors), how, "US Army EI 11C201, 1997", more


def _steepest(facts, inputs):
    # The fastest rise between two samples that lie well apart; falls are the pump's.
    points, best = facts["points"], (0.0, 1.0, 0.0)
    for i, (t0, h0) in enumerate(points):
        for t1, h1 in points[i + 1 :]:
            if h1 < h0:
                break
            if h1 - h0 >= INCH and (h1 - h0) / (t1 - t0) > best[0] / best[1]:
                best = (h1 - h0, t1 - t0, h0)
    facts = {**facts, "way_m": best[0] or 1e-6, "time_s": best[1], "from_m": best[2]}
    figures, _, source, more = _rise(facts, inputs, 0.0)
    return figures, "steepest rise of 1 in or more in the log", source, more


def _area(facts, inputs, pump_m3s):
    if "rain_ms" in facts:
        values = {"runoff": facts["runoff"], "rain_ms": facts["rain_ms"], "area_m2": facts["area_m2"]}
        work, how, source = storm.rational_m3s, "runoff x rain x area (rational method)", "rational method, handbook"
        more = {"rain_ms_each": 1.0 / (facts["runoff"] * facts["area_m2"])}
        errors = {"runoff": min(0.1, 1.0 - facts["runoff"] + 1e-9), "rain_ms": 0.2 * facts["rain_ms"]}
    else:
        values = {"runoff": facts["runoff"], "day_m": facts["day_m"], "area_m2": facts["area_m2"]}

        def work(runoff, day_m, area_m2):
            return max(q for _, q in storm.storm_flow(day_m, area_m2, runoff, facts["lag_s"]))

        how, source = "peak of a Type II day of rain through its lag", "NRCS Type II, NEH-4"
        more = {"day_m_each": facts["day_m"] / work(**values)}
        errors = {"runoff": min(0.1, 1.0 - facts["runoff"] + 1e-9), "day_m": 0.2 * facts["day_m"]}
    errors["area_m2"] = 0.1 * facts["area_m2"]
    return bounds(work, values, errors), how, source, more


def _recovery(facts, inputs, pump_m3s):
    pit = _pit(inputs)
    area = _mean_area(pit, facts["low_m"], facts["high_m"])
    least = max(pump.intake_m + pump.cover_m for pump in inputs.pumps)

    def work(area_m2, table_m, rise_m, time_s, highest_m):
        c = conductance_m2s(area_m2, table_m, facts["low_m"], facts["low_m"] + rise_m, time_s)
        return c * max(0.0, highest_m - least)

    values = {
        "area_m2": area,
        "table_m": facts["table_m"],
        "rise_m": facts["high_m"] - facts["low_m"],
        "time_s": facts["time_s"],
        "highest_m": facts["highest_m"],
    }
    errors = {
        "area_m2": area * facts["_area_share"],
        "table_m": 0.25 * FOOT,
        "rise_m": sqrt(2.0) * facts["_tape_m"],
        "time_s": facts["_watch_s"],
        "highest_m": 0.5 * FOOT,
    }
    c = conductance_m2s(area, facts["table_m"], facts["low_m"], facts["high_m"], facts["time_s"])
    how = "C = A/t ln((hw-h1)/(hw-h2)), then C x (highest water table - lowest level)"
    return bounds(work, values, errors), how, "linear recharge", {"conductance_m2s": c}


def _thumb(facts, inputs, pump_m3s):
    values = {"area_m2": facts["area_m2"], "flow": facts["flow_m3s_m2"]}
    errors = {"flow": 0.7 * facts["flow_m3s_m2"]}
    how = "floor area x rule of thumb; not measured"
    return (
        bounds(lambda area_m2, flow: area_m2 * flow, values, errors),
        how,
        "common practice, no source: rule of thumb of the trade",
        {},
    )


def _scenario(facts, inputs, pump_m3s):
    how = "peak of the scenario's inflow; not measured"
    peak = facts["peak_m3s"]
    return bounds(lambda peak: peak, {"peak": peak}, {"peak": 0.3 * peak}), how, "the site file", {}


_WORK = {
    "rise test": _rise,
    "pump-down test": _pump_down,
    "log": _log,
    "drained area": _area,
    "recovery": _recovery,
    "rule of thumb": _thumb,
    "scenario": _scenario,
}
ALREADY_PEAK = ("drained area", "recovery", "rule of thumb", "scenario")  # these speak of the worst time themselves


RATE_MEASURED, RATE_CALCULATED = 0.05, 0.15  # error of a pump's rate by a bucket, and by curve and pipe; our own choice
BY_RATE = ("pump-down test", "log")  # these rest on what a pump moves
RAN = ("pump 1", "pump 2", "both")


def _rates(facts, rates_m3s):
    # What the pump moved; where nobody said which one it was, what each one moves.
    told = facts["_rate_m3s"] or facts["_then_m3s"]
    if told:
        return (told,)
    ran = facts.get("_ran")
    return (rates_m3s[RAN.index(ran)],) if ran in RAN else rates_m3s[:2]


def estimate(evidence, inputs, rates_m3s):
    """Return the Estimate of one piece of evidence; `rates_m3s` is what pump 1, pump 2 and both move, for tests that
    need it.

    Where the pump that ran was not told, the one that gives the greater inflow is
    taken.  Raises InputError for a pump-down test that its pump cannot have made.
    """
    work, facts = _WORK[evidence.kind], evidence.facts
    if evidence.kind not in BY_RATE or "points" in facts:
        return _estimate(evidence, work(facts, inputs, 0.0))
    found, refused = [], []
    for rate_m3s in _rates(facts, rates_m3s):
        try:
            found.append(_estimate(evidence, work(facts, inputs, rate_m3s)))
        except InputError as error:
            refused.append((rate_m3s, error))
    if not found:
        raise max(refused, key=lambda item: item[0])[1]
    return max(found, key=lambda item: (item.value_m3s, item.upper_m3s))


def _estimate(evidence, worked):
    (value, low, high), how, source, more = worked
    peak = evidence.kind in ALREADY_PEAK
    factor = 1.0 if peak else weather_factor(evidence.weather)
    weather = "already the worst case" if peak else evidence.weather
    return Estimate(evidence.kind, how, source, weather, factor, value, low, high, **more)


def design(inputs, rates_m3s):
    """Return the Design of all the evidence; `rates_m3s` as for `estimate`."""
    estimates = tuple(estimate(item, inputs, rates_m3s) for item in inputs.evidence)

    def demand(item):
        return max(item.value_m3s * (1.0 + inputs.margin), item.upper_m3s)

    governing = max(estimates, key=demand)
    by = "margin" if governing.value_m3s * (1.0 + inputs.margin) >= governing.upper_m3s else "upper bound"
    fresh = demand(governing)
    # What seeps back is pumped again: a share s of everything pumped makes the inflow 1 / (1 - s) times as large.
    total = fresh / (1.0 - inputs.discharge.recirculated)
    return Design(total, governing.value_m3s, estimates, governing, inputs.margin, by, total - fresh)
