"""Remarks about head, flow and pipe."""

from host_sim.sizing.head import ALONE_1, ALONE_2, BOTH
from host_sim.sizing.limits import GALLON, limit
from host_sim.sizing.pipes import MATERIALS, held_against
from host_sim.sizing.remarks.change import cost, one, other_pump, pipes, separate_lines
from host_sim.sizing.remarks.remark import HAND, MACHINE, Cure, Remark
from host_sim.sizing.say import text_of
from host_sim.sizing.trade import fraction

SECTION = "head and flow"


def _not_pressure(result, say):
    piping = result.inputs.piping
    if piping.made_for_pressure:
        return None
    what, source = MATERIALS[piping.material][1:]
    shutoff, surge, _ = result.pressure
    return (
        f"{what} is not rated for pressure ({source}); shut-off pressure is {say(shutoff, 'pressure')} and a slamming "
        f"check valve adds up to {say(surge, 'pressure')}"
    )


def _solid_wall(result, say):
    return [
        one(
            "solid-wall PVC schedule 40 pressure pipe (ASTM D1785) with pressure fittings",
            {"sizing.piping.material": "PVC schedule 40"},
        )
    ]


def _pressure(result, say):
    shutoff, surge, rated = result.pressure
    if rated is None or held_against(result.inputs.piping.material, shutoff, surge) <= rated[0]:
        return None
    total, (held, holds, _) = say(shutoff + surge, "pressure"), rated
    return f"shut-off pressure plus surge is {total}; the pipe is rated {say(held, 'pressure')} ({holds})"


def _slower(result, say):
    return [pipes(result, say, True)]


def _fast(result, say):
    fast = {}
    for p in result.points:
        for name, v in p.velocity_ms.items():
            fast[name] = max(v, fast.get(name, 0.0))
    over = {name: v for name, v in fast.items() if v > limit("velocity_high")}
    if not over:
        return None
    told = ", ".join(f"{say(v, 'velocity')} in {name}" for name, v in over.items())
    return f"velocity {told}; above {say(limit('velocity_high'), 'velocity')} check valves slam and pipe wears"


def _slow(result, say):
    slow = {}
    for p in result.points:
        if p.which == BOTH:
            continue
        for name, v in p.velocity_ms.items():
            slow[name] = min(v, slow.get(name, 99.0))
    under = {name: v for name, v in slow.items() if v < limit("velocity_low")}
    if not under:
        return None
    told = ", ".join(f"{say(v, 'velocity')} in {name}" for name, v in under.items())
    return (
        f"velocity with one pump {told}; below {say(limit('velocity_low'), 'velocity')} sand and iron settle in "
        "the pipe"
    )


def _faster(result, say):
    return [pipes(result, say, False), other_pump(result, (1.25, 1.5, 2.0, 3.0, 4.0), say, True)]


def _range(result, name):
    # (pump, flow through it, limit) of each pump outside its range in normal duty.
    found = {}
    for p in result.points:
        for n in (0, 1):
            if p.which in (f"pump {n + 1} alone", BOTH):
                flow, plate = p.through_m3s[n], result.inputs.plates[n]
                if name == "below" and flow < plate.minimum_m3s:
                    found[n] = (min(flow, found.get(n, (9.0,))[0]), plate.minimum_m3s)
                if name == "beyond" and flow > plate.maximum_m3s * 1.001:
                    found[n] = (max(flow, found.get(n, (0.0,))[0]), plate.maximum_m3s)
    return found


def _below(result, say):
    found = _range(result, "below")
    if not found:
        return None
    told = "; ".join(f"pump {n + 1} {say(q, 'flow')}, minimum {say(q0, 'flow')}" for n, (q, q0) in found.items())
    return f"close to shut-off a pump overheats: {told}"


def _more_flow(result, say):
    return [separate_lines(result, say), pipes(result, say, True), _higher(result, say)]


def _higher(result, say):
    found = []
    for head in (1.15, 1.3, 1.5, 2.0, 3.0):
        found += other_pump(result, (head,), say, True)
    return found


def _beyond(result, say):
    found = _range(result, "beyond")
    if not found:
        return None
    told = "; ".join(f"pump {n + 1} {say(q, 'flow')}, maximum {say(q1, 'flow')}" for n, (q, q1) in found.items())
    return f"beyond run-out a pump cavitates and overloads its motor: {told}"


def _throttle(result, say):
    # What a bucket tells at the outlet; the full-open valve stays fully open, so that nobody finds it half shut.
    seconds = max(5.0 * GALLON / most for _, most in _range(result, "beyond").values())
    family = []
    for k in (5, 10, 20, 40, 80, 160, 320):
        edits = {
            f"discharge.{key}.extra_k": k
            for key in ("riser", "riser1", "riser2")
            if key in result.inputs.data["discharge"]
        }
        text = f"a throttling valve in each riser, closed until a 5 gal bucket at the outlet takes {seconds:.0f} s or "
        family.append(Cure(f"{text}more to fill with that pump alone", edits, MACHINE))
    return [pipes(result, say, False), family, other_pump(result, (0.9, 0.8, 0.7, 0.6, 0.5), say)]


def _gain(result, say):
    if result.inputs.discharge.header is None or result.lag_gain >= limit("lag_gain"):
        return None
    one_flow, both = max(result.flow(ALONE_1), result.flow(ALONE_2)), result.flow(BOTH)
    return (
        f"on the shared header the second pump adds only {say(result.lag_gain, 'share')}: {say(one_flow, 'flow')} for "
        f"one pump, {say(both, 'flow')} for both, not {say(result.flow(ALONE_1) + result.flow(ALONE_2), 'flow')}"
    )


def _own_lines(result, say):
    return [separate_lines(result, say), pipes(result, say, True)]


def _shut_out(result, say):
    both = next(p for p in result.points if p.which == BOTH and p.contact == "high")
    for n in (0, 1):
        alone = next(p for p in result.points if p.which == f"pump {n + 1} alone" and p.contact == "high")
        if both.by_pump_m3s[n] < 0.2 * alone.by_pump_m3s[n]:
            return (
                f"with both running, the stronger pump holds the check valve of pump {n + 1} closed: "
                f"{say(both.by_pump_m3s[n], 'flow')} instead of {say(alone.by_pump_m3s[n], 'flow')}"
            )
    return None


def _equal_pumps(result, say):
    data, edits = result.inputs.data, {}
    strong = max((0, 1), key=lambda n: result.inputs.pumps[n].curve.shutoff_m)
    points = [[text_of(q, "flow", 2), text_of(h, "distance", 2)] for q, h in result.inputs.pumps[strong].curve.points]
    for key in ("pump", "pump1", "pump2"):
        if "curve" in data.get(key, {}):
            edits[f"{key}.curve"] = points
    alike = one(f"two pumps of the same model, as pump {strong + 1}", edits, cost(result, "pumps"))
    unlike = result.inputs.pumps[0].supply != result.inputs.pumps[1].supply
    # Nobody sells a battery pump as the mains pump's twin: there each gets a line of its own.
    return [separate_lines(result, say), *([] if unlike else [alike])]


def _weep(result, say):
    missing = [
        f"pump {n + 1}" for n in (0, 1) if result.inputs.pumps[n].weep_m2 <= 0.0 and result.inputs.piping.check[n]
    ]
    if not missing:
        return None
    return f"no weep hole below the check valve of {' and '.join(missing)}: the pump may air-lock and move no water"


def _drill(result, say):
    edits = {}
    for key in ("pump", "pump1", "pump2"):
        if key in result.inputs.data:
            edits[f"{key}.weep_hole"] = "0.1875 in"
    return [
        one(
            "a 3/16 in weep hole in the riser below the check valve, pointing down into the pit (unless the pump has "
            "one; follow its manual)",
            edits,
            HAND,
        )
    ]


def _pays(result, say):
    larger = result.larger
    if larger is None or larger.gain <= limit("pipe_pays"):
        return None
    slow = min(larger.velocity_ms.values())
    if slow / 2.0 < limit("velocity_low") * 0.5:
        return None
    return (
        f"with {fraction(larger.nominal_in)} pipe one pump moves {say(larger.flow_m3s, 'flow')}, "
        f"{say(larger.gain, 'share')} more, and both move {say(larger.both_m3s, 'flow')}"
    )


def _beyond_the_wall_m(result):
    # What is left of each pump's pipe for the way out, once it has gone up.
    discharge = result.inputs.discharge
    header_m = discharge.header.length_m if discharge.header else 0.0
    return [riser.length_m + header_m - (discharge.outlet_m - result.inputs.pumps[n].intake_m)
            for n, riser in enumerate(discharge.risers)]  # fmt: skip


def _too_short(result, say):
    left_m, out_m = min(_beyond_the_wall_m(result)), result.inputs.outfall.distance_m
    if left_m >= out_m - limit("tape_on_pipe") * out_m:
        return None
    return (
        f"the outlet is {say(out_m, 'distance')} from the wall, but beyond the lift only "
        f"{say(max(left_m, 0.0), 'distance')} of pipe are given: flow and reserve are worked out with too little pipe, "
        "or the distance is not so far"
    )


def _whole_way(result, say):
    data, edits = result.inputs.data["discharge"], {}
    more_m = result.inputs.outfall.distance_m - min(_beyond_the_wall_m(result))
    if "header" in data:
        edits["discharge.header.length"] = text_of(result.inputs.discharge.header.length_m + more_m, "distance", 2)
    for n, key in enumerate(("riser1", "riser2")):
        held = key if key in data else "riser" if n == 0 and "riser" in data else ""
        if held and "header" not in data:
            length_m = result.inputs.discharge.risers[n].length_m + more_m
            edits[f"discharge.{held}.length"] = text_of(length_m, "distance", 2)
    return [one(f"walk the pipe again and give all of it: {say(more_m, 'distance')} more", edits, HAND)]


REMARKS = (
    Remark("not_pressure_pipe", SECTION, True, "pipe not rated for pressure", _not_pressure, _solid_wall),
    Remark("pressure_over_rating", SECTION, True, "pipe pressure rating exceeded", _pressure, _slower),
    Remark("velocity_high", SECTION, False, "velocity too high", _fast, _slower),
    Remark("velocity_low", SECTION, False, "velocity too low", _slow, _faster),
    Remark("below_minimum_flow", SECTION, True, "pump below its minimum flow", _below, _more_flow),
    Remark("beyond_run_out", SECTION, False, "pump beyond its run-out", _beyond, _throttle),
    Remark("pipe_too_short", SECTION, False, "less pipe than the way to the outlet", _too_short, _whole_way),
    Remark("lag_gains_little", SECTION, False, "second pump adds little", _gain, _own_lines),
    Remark("weaker_pump_shut_out", SECTION, True, "one pump shuts out the other", _shut_out, _equal_pumps),
    Remark("no_weep_hole", SECTION, False, "no weep hole", _weep, _drill),
    Remark("larger_pipe_pays", SECTION, False, "larger pipe worth it", _pays, _slower),
)
