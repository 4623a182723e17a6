"""Remarks about the reserve and about where the water goes."""

from duplexsump.control import settings as s

from host_sim.sizing.covered import leaders, unfit
from host_sim.sizing.head import ALONE_1, ALONE_2
from host_sim.sizing.limits import limit
from host_sim.sizing.model import fixed_duty
from host_sim.sizing.remarks.change import deeper, much_deeper, one, other_pump, pipes, separate_lines, spread, wider
from host_sim.sizing.remarks.remark import MACHINE, SETTING, Remark
from host_sim.sizing.say import text_of

SECTION, OUTFALL = "reserve", "outfall"
STEPS = (1.15, 1.3, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0, 6.0)


def _both(result, say):
    both = result.reserve.both_m3s
    if both >= result.design.inflow_m3s:
        return None
    return (
        f"both pumps together move {say(both, 'flow')} with the water at high, less than the design inflow of "
        f"{say(result.design.inflow_m3s, 'flow')}: the floor floods with everything working"
    )


def _one(result, say):
    one_flow = result.reserve.one_m3s
    if one_flow >= result.design.inflow_m3s:
        return None
    return (
        f"one pump moves {say(one_flow, 'flow')}, the design inflow is {say(result.design.inflow_m3s, 'flow')}: "
        "each pump must carry the peak alone (Wisconsin NR 110.14), or the second one is no backup"
    )


def _worn(result, say):
    worn = result.reserve.worn_m3s
    if worn >= result.design.inflow_m3s or _one(result, say) is not None:
        return None
    return (
        f"after {say(limit('wear'), 'share')} of wear one pump moves {say(worn, 'flow')}, less than the design inflow "
        f"of {say(result.design.inflow_m3s, 'flow')}"
    )


def _stronger(result, say):
    # Where one pump is the weak one, it alone is exchanged.
    flows = [result.flow(which) for which in (ALONE_1, ALONE_2)]
    weak = [n for n in (0, 1) if flows[n] < result.design.inflow_m3s] or [n for n in (0, 1) if flows[n] <= min(flows)]
    only = weak[0] if len(weak) == 1 else None
    larger = [other_pump(result, STEPS, say, False, only), other_pump(result, STEPS, say, True, only)]
    return [pipes(result, say, True), separate_lines(result, say), *larger]


def _nothing_covered(result, say):
    why = unfit(result)
    return f"{why}: at the design inflow not one fault is covered" if why else None


def _something(result, say):
    return [*_stronger(result, say), *_more_reserve(result, say)]


def never_at_off(result):
    """Return {pump (0, 1): its flow at `off`} of each leading pump that does not carry the design inflow down there."""
    flows = {n: result.flow((ALONE_1, ALONE_2)[n], "off") for n in leaders(result)}
    return {n: flow for n, flow in flows.items() if flow <= result.design.inflow_m3s}


def _never_draws_down(result, say):
    weak = never_at_off(result)
    if not weak or _one(result, say) is not None:
        return None
    told = " and ".join(f"pump {n + 1} {say(flow, 'flow')}" for n, flow in weak.items())
    return (
        f"with the water at off, {told}: less than the design inflow of {say(result.design.inflow_m3s, 'flow')}.  At "
        "the peak it runs without a stop, and there is no cycle"
    )


def _cut_short(result, say):
    most = result.cycling.believed_m3s()
    if most >= result.design.inflow_m3s or never_at_off(result):
        return None
    return (
        f"above {say(most, 'flow')} a draw-down takes so long that the controller stops the pump before off, to see "
        "whether the off float hangs: the motors then start more often than calculated, and the alarm may call"
    )


def _sense(result, say):
    text = "a current sensor for each pump, wired to the controller"
    return [one(text, {"controller.sensing": "current"}), *_stronger(result, say)]


def _waits(result, say):
    floor = result.inputs.pit.floor_m
    over = [w for w in result.reserve.waits if w.level_m > floor]
    if not over:
        return None
    worst = max(over, key=lambda w: w.level_m)
    return (
        f"{worst.what}: in {say(worst.seconds, 'seconds')} without a pump the design inflow raises the water from "
        f"{say(worst.from_m, 'length')} over the floor at {say(floor, 'length')}"
    )


def _more_reserve(result, say):
    need = max(w.level_m for w in result.reserve.waits) / result.inputs.pit.floor_m
    shorter = {"settings.lag_min_off": "10 s", "settings.boot_hold": "3 s"}
    return [
        spread(result, say),
        wider(result, result.inputs.diameter_m * min(2.0, need**0.5), say),
        deeper(result, say),
        much_deeper(result, say),
        one("shorter delays: 10 s minimum off time with lag wet, 3 s after a power-up", shorter, SETTING),
    ]


def _time(result, say):
    seconds = result.reserve.lead_to_floor_s
    if seconds >= limit("time_to_floor") or _protected(result):
        return None
    return (
        f"with the mains out the water rises from lead to the floor in {say(seconds, 'seconds')} at the design inflow, "
        f"sooner than anybody wakes and acts ({say(limit('time_to_floor'), 'time')}), and {_by_hand(result)}"
    )


def _by_hand(result):
    if result.inputs.power.generator_w:
        return "the generator must be started by hand"
    return "there is no battery or generator"


def _protected(result):
    supply = result.inputs.supply
    return supply.generator is not None or any(p.supply != "mains" for p in result.inputs.pumps)


def battery_edits(result):
    """Return the edits that let a battery and an inverter run pump 2 (or both) when the mains is out."""
    amps = result.inputs.pumps[1].motor
    watts = amps.rated_a * amps.volts
    key = "pump2" if "pump2" in result.inputs.data else "pump"
    edits = {
        "supply.controller": "battery",
        "supply.battery.capacity": "400 Ah",
        "supply.charger.current": "20 A",
        "supply.inverter.limit": f"{watts * amps.locked_share * 1.2:.0f} W",
        f"{key}.supply": "either",
        "sizing.power.battery": "AGM",
        "sizing.power.room": "heated",
    }
    if key == "pump2" and "supply" in result.inputs.data.get("pump1", {}):
        edits["pump1.supply"] = result.inputs.data["pump1"]["supply"]
    return edits


def _stand_by(result, say):
    generator = {"supply.generator.starts_after": "20 s"}
    need = text_of(result.wires.generator_w, "power")
    return [
        one(
            "a battery with charger and inverter (or a battery pump): 400 Ah of AGM batteries as a start",
            battery_edits(result),
            MACHINE,
        ),
        one(f"an automatic-start generator of {need} or more", {**generator, "sizing.power.generator": need}, MACHINE),
    ]


def _sewer(result, say):
    if result.inputs.outfall.to != "sanitary sewer":
        return None
    return (
        "groundwater must never go into the sanitary sewer: it is forbidden nearly everywhere, overloads the "
        "treatment plant, and backs the sewer up into the basement"
    )


def _unknown_outfall(result, say):
    if result.inputs.outfall.to != "unknown":
        return None
    return "discharge point not given; it must never be the sanitary sewer"


def _daylight(result, say):
    return [
        one(
            "discharge to daylight well away from the house, or to a storm drain where the town allows it in writing",
            {"sizing.outfall.to": "daylight"},
        )
    ]


def _near(result, say):
    outfall = result.inputs.outfall
    back = result.inputs.discharge.recirculated
    if outfall.to == "storm drain" or (outfall.distance_m >= limit("outfall_distance") and back <= 0.0):
        return None
    extra = ""
    if result.design.recirculated_m3s > 0.0:
        extra = f"; {say(result.design.recirculated_m3s, 'flow')} of the design inflow is water pumped once already"
    return (
        f"the outlet is {say(outfall.distance_m, 'distance')} from the wall and the water seeps back to the "
        "pit (minimum "
        f"{say(limit('outfall_distance'), 'distance')}, downhill){extra}"
    )


def _far(result, say):
    edits = {"sizing.outfall.distance": "20 ft", "discharge.seeps_back": None, "discharge.seeps_back_after": None}
    return [one("extend the pipe 20 ft or more downhill; its length adds to the head", edits)]


def _freezes(result, say):
    outfall = result.inputs.outfall
    if not outfall.freezes or outfall.freeze_relief:
        return None
    return "the line outside can freeze shut, and then both pumps dead-head against ice"


def _relief(result, say):
    return [
        one(
            "a freeze relief outside at the wall: a grated gap that spills when the line beyond it is frozen",
            {"sizing.outfall.freeze_relief": True},
        )
    ]


def _generator(result, say):
    power = result.inputs.power
    if result.inputs.supply.generator is None and not power.generator_w:
        return None
    if power.generator_w >= result.wires.generator_w:
        return None
    given = say(power.generator_w, "power") if power.generator_w else "not given"
    return (
        f"generator size {given}; starting one motor ({say(result.wires.surge_w, 'power')}) beside the other pump and "
        f"the house ({say(power.house_w, 'power')}) takes {say(result.wires.generator_w, 'power')}"
    )


def _larger_generator(result, say):
    need = 100.0 * (int(result.wires.generator_w / 100.0) + 1)
    return [
        one(
            f"a generator of {say(need, 'power')}, or less house load on it",
            {"sizing.power.generator": text_of(need, "power")},
            MACHINE,
        )
    ]


def _long_runs(result, say):
    cycle = result.cycling.cycle(result.lead, result.design.inflow_m3s)
    most = result.settings[s.MAX_RUN_MS] / 1000.0
    if fixed_duty(result) or cycle.run_s <= most or _one(result, say) is not None or cycle.run_s == float("inf"):
        return None
    return (
        f"at the design inflow one run lasts {say(cycle.run_s, 'time')}, longer than max_run "
        f"({say(most, 'time')}): the pumps change over in mid-run, and each run counts as a long one"
    )


def _longer_max_run(result, say):
    run = result.cycling.cycle(result.lead, result.design.inflow_m3s).run_s
    return [
        one(f"max_run of {say(1.2 * run, 'time')}", {"settings.max_run": f"{min(7200, int(1.2 * run))} s"}, SETTING),
        other_pump(result, (1.15, 1.3, 1.5), say),
    ]


REMARKS = (
    Remark("both_pumps_not_enough", SECTION, True, "both pumps cannot carry the peak", _both, _stronger, True),
    Remark("one_pump_not_enough", SECTION, True, "one pump cannot carry the peak", _one, _stronger, True),
    Remark("no_wear_reserve", SECTION, False, "worn pump cannot carry the peak", _worn, _stronger),
    Remark("no_fault_covered", SECTION, True, "no fault is covered", _nothing_covered, _something, True),
    Remark("never_draws_down", SECTION, False, "a leading pump never reaches off at the peak", _never_draws_down,
           _stronger),
    Remark("draw_down_cut_short", SECTION, False, "draw-downs cut short near the peak", _cut_short, _sense),
    Remark("floods_while_waiting", SECTION, True, "floor floods during a start delay", _waits, _more_reserve, True),
    Remark("long_runs", SECTION, False, "runs longer than max_run", _long_runs, _longer_max_run),
    Remark("power_cut_floods", SECTION, False, "power failure floods the floor", _time, _stand_by, True),
    Remark("generator_too_small", SECTION, False, "generator too small", _generator, _larger_generator),
    Remark("sanitary_sewer", OUTFALL, True, "never the sanitary sewer", _sewer, _daylight),
    Remark("outfall_unknown", OUTFALL, False, "discharge point unknown", _unknown_outfall, _daylight),
    Remark("outfall_too_near", OUTFALL, False, "discharge too close to the house", _near, _far),
    Remark("no_freeze_relief", OUTFALL, False, "no freeze relief", _freezes, _relief),
)
