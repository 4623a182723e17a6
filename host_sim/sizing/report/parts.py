"""The parts list, counted from the site: what, its rating, and where the rating comes from."""

from dataclasses import dataclass
from math import ceil, sqrt

from host_sim.plant.hydraulics import FITTINGS
from host_sim.sizing.limits import (
    AMPACITY_SOURCE,
    FUSE_FACTOR,
    FUSE_SOURCE,
    FUSES_A,
    FUSES_SOURCE,
    INCH,
    OWN,
    PRACTICE,
    limit,
)
from host_sim.sizing.limits import row as limit_row
from host_sim.sizing.pipes import POLYETHYLENE_SOURCE, polyethylene
from host_sim.sizing.trade import fraction

VALVES = ("swing_check", "swing_check_straight", "ball_valve", "gate_valve", "exit", "entrance")
PLATE, SUM = "data plate", "calculated"
CODE_VALVES = f"{SUM}; required by International Plumbing Code (2021) 1113.1.4, from memory"


@dataclass(frozen=True)
class Part:
    """One line of the list: texts."""

    count: str
    what: str
    rating: str
    source: str


def parts(result, say):
    """Return the Parts of a sized site."""
    board = "two pump outputs, four contacts, alarm relay (sumpbench wiring); fuses: sumpbench build"
    found = [_basin(result, say), Part("1", "controller", board, OWN)]
    found += [_pump(result, n, say) for n in (0, 1)]
    found += _reducers(result, say) + _valves(result, say) + _pipe(result, say) + _joint(result, say)
    found += [
        Part("1", "cover, bolted, with grommets", "childproof and gas-tight", PRACTICE),
        *_floats(result, say),
    ]
    if result.inputs.outfall.freezes:
        spills = "spills when the line beyond it is frozen"
        found.append(Part("1", "freeze relief, outside at the wall", spills, PRACTICE))
    found += [_sensor(result, n, say) for n in (0, 1)]
    found += [_contactor(result, n, say) for n in (0, 1)]
    found += _circuits(result, say)
    dialer = "alarm relay to a dialer if nobody is home"
    found.append(Part("1", "horn and beacon, heard in the bedroom", dialer, PRACTICE))
    return found + _stored(result, say)


def _basin(result, say):
    inputs = result.inputs
    there = "; a pit is installed: does it measure so?" if "pit" in inputs.installed else ""
    shape = "square" if inputs.shape == "square" else "round"
    rating = f"{shape}, {say(inputs.diameter_m, 'length')} inside, {say(inputs.pit.floor_m, 'length')} deep{there}"
    return Part("1", "pit or basin", rating, limit_row("pit_diameter").source)


def _pump(result, n, say):
    pump, plate, at = result.inputs.pumps[n], result.inputs.plates[n], f"pump {n + 1} alone"
    motor, name = pump.motor, {"mains": "mains", "battery": "battery", "either": "mains, or battery by the inverter"}
    current = "DC" if pump.supply == "battery" else "AC"
    point = next(p for p in result.points if p.which == at and p.contact == "off")
    rating = f"{motor.volts:g} V {current}, {say(motor.rated_a, 'current')}; {say(point.flow_m3s, 'flow')} at "
    rating += f"{say(point.tdh_m[n], 'head')}{_shutoff(result, n, say)}; outlet "
    rating += fraction(plate.outlet_m / INCH)
    return Part("1", f"pump {n + 1} ({name[pump.supply]})", rating, f"{PLATE}; {SUM}")


def _shutoff(result, n, say):
    # What was assumed is nothing to buy a pump by.
    assumed = {item.key for item in result.inputs.assumptions}
    if {f"shut-off head of pump {n + 1}", f"curve of pump {n + 1}", f"source of the curve of pump {n + 1}"} & assumed:
        return ", shut-off head not known"
    return f", {say(result.inputs.pumps[n].curve.shutoff_m, 'head')} shut-off"


def _joint(result, say):
    # Where the two risers run into one header.
    if result.inputs.discharge.header is None:
        return []
    sizes = [_nominal(result.inputs, key, say) for key in ("riser1", "riser2", "header")]
    what = f"{sizes[0]} and {sizes[1]} into {sizes[2]}, above both check valves; pressure fitting"
    return [Part("1", "wye (or tee) where the risers join", what, PRACTICE)]


def _reducers(result, say):
    # Where a pump's outlet and its pipe are not of one size.
    found = []
    for n, plate in enumerate(result.inputs.plates):
        outlet, pipe = plate.outlet_m / INCH, result.inputs.piping.nominal_in[f"riser{n + 1}"]
        if pipe is not None and abs(pipe - outlet) > 0.02:
            sizes = f"{fraction(outlet)} outlet to {fraction(pipe)} pipe"
            found.append(Part("1", f"reducer, pump {n + 1}", sizes, PRACTICE))
    return found


def _valves(result, say):
    shutoff, surge, _ = result.pressure
    sizes = [_nominal(result.inputs, key, say) for key in ("riser1", "riser2")]
    size = sizes[0] if sizes[0] == sizes[1] else " and ".join(sizes)
    # The code asks for the valves; what they must hold is worked out here.
    holds = f"{size}, {say(shutoff + surge, 'pressure')} or more (shut-off {say(shutoff, 'pressure')} + surge "
    holds += f"{say(surge, 'pressure')})"
    return [
        Part("2", "check valve, one in each riser", f"{holds}; within reach, weep hole below it", CODE_VALVES),
        Part("2", "full-open (full-bore) valve above each", f"{holds}; so that a pump can be pulled in a flood",
             CODE_VALVES),
        Part("2", "union, one in each riser", f"{size}, between pump and check valve", PRACTICE),
    ]  # fmt: skip


def _nominal(inputs, key, say):
    nominal = inputs.piping.nominal_in[key]
    if nominal:
        return fraction(nominal)
    discharge = inputs.discharge
    pipe = {"riser1": discharge.risers[0], "riser2": discharge.risers[1], "header": discharge.header}[key]
    return f"{say(pipe.diameter_m, 'length')} inside"


def _pipe(result, say):
    inputs, found, discharge = result.inputs, [], result.inputs.discharge
    shutoff, surge, rated = result.pressure
    # With a line of its own each pump's pipe goes all the way to the outlet.
    word = "riser" if discharge.header is not None else "pump to outlet, line"
    pieces = [(f"{word} {n + 1}", discharge.risers[n], f"riser{n + 1}") for n in (0, 1)]
    if discharge.header is not None:
        pieces.append(("header", discharge.header, "header"))
    for name, pipe, key in pieces:
        size = _nominal(inputs, key, say)
        given = inputs.data["discharge"].get(key, inputs.data["discharge"].get("riser", {}))
        fittings = {k: v for k, v in given.get("fittings", {}).items() if k in FITTINGS and v and k not in VALVES}
        words = ", ".join(f"{count} x {FITTINGS[k][2]}" for k, count in fittings.items()) or "no fittings"
        holds, source = _holds(inputs.piping.material, shutoff + surge, rated, say)
        each = "" if name == "header" or words == "no fittings" else " in each"
        found.append(Part(say(pipe.length_m, "distance"), f"{size} pressure pipe, {name}", f"{holds}; {words}{each}",
                          source))  # fmt: skip
    return found


def _holds(material, must_pa, rated, say):
    # What the pipe is rated for, or what it must be.
    must = f"{say(must_pa, 'pressure')} or more"
    if rated is not None:
        return f"{material}, rated {say(rated[0], 'pressure')} ({rated[1]})", rated[2]
    found = polyethylene(must_pa) if material == "polyethylene pressure" else None
    if found is None:
        return must, SUM
    sidr, held = found
    return f"{must}: polyethylene of SIDR {sidr:g} or less ({say(held, 'pressure')})", f"{SUM}; {POLYETHYLENE_SOURCE}"


def _floats(result, say):
    floats, transmitter = result.inputs.floats, result.inputs.transmitter
    contact = "contact for 3.3 V and a few mA (gold-plated or sealed)"
    rating = f"{say(floats.travel_m, 'length')} travel, {contact}"
    if floats.kind != "transmitter":
        return [Part("4", f"float switch, {floats.kind}", f"{rating}; high on its own pair, normally closed", PRACTICE)]
    found = [Part("1", "float switch, vertical, for high", f"{rating}; normally closed, on its own pair", PRACTICE)]
    reach = "4 to 20 mA, 150 ohm in the loop"
    if transmitter is not None:
        reach = f"4 mA at {say(transmitter.zero_m, 'length')}, 20 mA {say(transmitter.span_m, 'length')} above; {reach}"
    return [Part("1", "level transmitter", reach, f"NAMUR NE 43; {PRACTICE}"), *found]


def _sensor(result, n, say):
    sensor, what = result.sensors[n], f"pump {n + 1}"
    if sensor.kind == "none":
        return Part("1", f"current sensor, {what} (recommended)", "see the remark on current sensing", PRACTICE)
    direct, motor = result.inputs.pumps[n].supply == "battery", result.inputs.pumps[n].motor
    locked = say(motor.rated_a * motor.locked_share, "current")
    # One statement of the range: what must still be told apart, and what lies beyond and need not be.
    reach = f"0 to {say(sensor.range_a, 'current')}: shows the locked-rotor threshold, "
    reach += f"{say(sensor.locked_a, 'current')} (3 x rated); a locked rotor draws about {locked}, reads full scale, "
    reach += "and so counts as locked; "
    if sensor.burden_ohm:
        reach += f"{sensor.ratio:g} turns, burden {sensor.burden_ohm:g} ohm, {sensor.full_v:.2f} V RMS "
        reach += f"({sqrt(2.0) * sensor.full_v:.2f} V peak) at full range; first converted to RMS in DC and filtered, "
        reach += f"then amplified {sensor.gain:.3g} times to 3.3 V"
    else:
        reach += f"{1000.0 * sensor.full_v:.0f} mV at full range; "
        reach += "" if direct else "first converted to RMS in DC and filtered, then "
        reach += f"amplified {sensor.gain:.3g} times to 3.3 V"
    return Part("1", f"{sensor.kind}, {what} ({'DC' if direct else 'AC'})", reach, f"Ohm's law; {PRACTICE}")


def _contactor(result, n, say):
    pump = result.inputs.pumps[n]
    locked = pump.motor.rated_a * pump.motor.locked_share
    direct = pump.supply == "battery"
    rating = f"{say(FUSE_FACTOR * pump.motor.rated_a, 'current')} or more at {pump.motor.volts:g} V "
    rating += "DC, motor duty (DC-3)" if direct else "AC, motor duty (AC-3)"
    rating += f"; makes and breaks {say(locked, 'current')}, locked rotor"
    return Part("1", f"contactor, pump {n + 1}", rating, "IEC 60947-4-1 (categories AC-3, DC-3), from memory")


def _circuits(result, say):
    # Branch-circuit conductors carry 125 % of the motor's current; the breaker of a small motor with a cord is the
    # next standard size.
    found = []
    for n, pump in enumerate(result.inputs.pumps):
        if pump.supply == "battery":
            continue
        amps = FUSE_FACTOR * pump.motor.rated_a
        breaker = next((size for size in FUSES_A if size >= amps), FUSES_A[-1])
        rating = f"{breaker:g} A breaker (125 % of {say(pump.motor.rated_a, 'current')} or more), GFCI where required"
        found.append(Part("1", f"branch circuit of its own, pump {n + 1}", rating,
                          f"{FUSE_SOURCE}; {FUSES_SOURCE}"))  # fmt: skip
    found.append(Part("1", "branch circuit, controller and alarm", "apart from the pumps' circuits", PRACTICE))
    return found


def _stored(result, say):
    held, supply, wires = result.stored, result.inputs.supply, result.wires
    power = result.inputs.power
    found = []
    if held is not None:
        needed = f"needed for {say(power.wanted_s, 'time')}: {say(held.needed_as, 'charge')}"
        found.append(Part("1", f"battery, {power.chemistry}", f"{power.battery_v:g} V, "
                          f"{say(supply.battery.capacity_as, 'charge')} given; {needed}",
                          f"Peukert; {limit_row('ageing').source}"))  # fmt: skip
        gauge = wires.gauge_needed if wires.gauge_needed is not None else power.cable_awg
        carries = f"carries the {say(wires.fuse_a, 'current')} fuse, drops {say(limit('cable_drop'), 'share')} at most"
        found.append(Part("2", f"battery cable, copper, {gauge} AWG or thicker",
                          f"{say(power.cable_m, 'distance')} each; {carries}", AMPACITY_SOURCE))  # fmt: skip
        found.append(Part("1", "slow-blow fuse, at the battery post", f"{say(wires.fuse_a, 'current')}, direct current",
                          FUSE_SOURCE))  # fmt: skip
        if supply.charger is not None:
            blows = next((size for size in FUSES_A if size >= FUSE_FACTOR * supply.charger.amps), FUSES_A[-1])
            least = ceil(supply.battery.capacity_as / (limit("recharge") * supply.charger.efficiency))
            refills = f"{say(blows, 'current')} fuse in its lead at the battery; {say(least, 'current')} or more "
            refills += f"refills it in {say(limit('recharge'), 'time')}"
            found.append(Part("1", "charger", f"{say(supply.charger.amps, 'current')} given; {refills}", PRACTICE))
        if supply.inverter is not None:
            amps = wires.surge_w / (power.battery_v * supply.inverter.efficiency)
            starts = f"surge rating {say(wires.surge_w, 'power')} or more: the start draws about "
            starts += f"{say(amps, 'current')} from the battery for under a second: slow-blow fuse, short cable"
            found.append(Part("1", "inverter", starts, PLATE))
    if power.generator_w or supply.generator is not None:
        found.append(Part("1", "generator, outdoors", f"{say(wires.generator_w, 'power')} or more", SUM))
    return found
