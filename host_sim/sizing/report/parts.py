"""The parts list, counted from the site."""

from host_sim.plant.hydraulics import FITTINGS
from host_sim.sizing.limits import INCH


def parts(result, say):
    """Return [(count, what, note)] for a sized site."""
    inputs, found = result.inputs, []
    for n in (0, 1):
        pump, plate = inputs.pumps[n], inputs.plates[n]
        duty = f"{say(result.flow(f'pump {n + 1} alone', 'off'), 'flow')} with the water at off"
        note = f"{say(pump.curve.shutoff_m, 'head')} shut-off head, outlet {say(plate.outlet_m, 'length')}, {duty}"
        found.append(("1", f"pump {n + 1} ({pump.supply})", note))
    found.append(("2", "check valve, one in each riser", "swing or spring type, within reach; weep hole below it"))
    found.append(
        ("2", "full-open (full-bore) valve, one above each check valve", "so that a pump can be pulled in a flood")
    )
    found.append(("2", "union, one in each riser", "between pump and check valve"))
    found += _pipe(inputs, say)
    found.append(("1", "cover, bolted, with grommets", "childproof and gas-tight"))
    found.append(
        ("4", f"float switch, {inputs.floats.kind}", "off, lead, lag; high on its own pair of wires, normally closed")
    )
    if inputs.outfall.freezes:
        found.append(("1", "freeze relief, outside at the wall", "spills when the line beyond it is frozen"))
    found.append(("1", "horn and beacon, heard in the bedroom", "alarm relay to a dialer if nobody is home"))
    found.append(
        ("2", "current transformer", "one per pump: detects dry run, clog and locked rotor at once")
        if inputs.sensing == "current"
        else ("2", "current transformer (recommended)", "see the remark on current sensing")
    )
    found.append(("2", "branch circuit with its own breaker", "one per pump; the alarm on a third"))
    found += _stored(result, say)
    return found


def _pipe(inputs, say):
    found, discharge = [], inputs.discharge
    pieces = [("riser 1", discharge.risers[0], "riser1"), ("riser 2", discharge.risers[1], "riser2")]
    if discharge.header is not None:
        pieces.append(("header", discharge.header, "header"))
    for name, pipe, key in pieces:
        nominal = inputs.piping.nominal_in[key]
        size = f"{nominal:g} in schedule 40" if nominal else f"{pipe.diameter_m / INCH:.2f} in inside diameter"
        given = inputs.data["discharge"].get(key, inputs.data["discharge"].get("riser", {}))
        fittings = {
            k: v for k, v in given.get("fittings", {}).items() if k in FITTINGS and v and k not in ("exit", "entrance")
        }
        note = ", ".join(f"{count} x {FITTINGS[k][2]}" for k, count in fittings.items()) or "no fittings"
        found.append((say(pipe.length_m, "distance"), f"{size} pressure pipe, {name}", note))
    return found


def _stored(result, say):
    held, supply, wires = result.stored, result.inputs.supply, result.wires
    if held is None:
        return []
    found = [
        (
            "1",
            "battery",
            f"{say(supply.battery.capacity_as, 'charge')}, {result.inputs.power.chemistry}; needed "
            f"for {say(result.inputs.power.wanted_s, 'time')}: {say(held.needed_as, 'charge')}",
        )
    ]
    if supply.charger is not None:
        found.append(("1", "charger", say(supply.charger.amps, "current")))
    if supply.inverter is not None:
        found.append(("1", "inverter", f"surge rating {say(wires.surge_w, 'power')} or more, for the motor's start"))
    gauge = wires.gauge_needed if wires.gauge_needed is not None else result.inputs.power.cable_awg
    found.append(("1", f"slow-blow fuse {wires.fuse_a:g} A, at the battery post", f"on {gauge} AWG copper"))
    return found
