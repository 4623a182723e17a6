"""The list of what to buy, counted from the site."""

from host_sim.plant.hydraulics import FITTINGS
from host_sim.sizing.limits import INCH


def parts(result, say):
    """Return [(count, what, note)] for a sized site."""
    inputs, found = result.inputs, []
    for n in (0, 1):
        pump, plate = inputs.pumps[n], inputs.plates[n]
        duty = f"{say(result.flow(f'pump {n + 1} alone', 'off'), 'flow')} with the water at off"
        note = f"{say(pump.curve.shutoff_m, 'head')} at no flow, outlet {say(plate.outlet_m, 'length')}, {duty}"
        found.append(("1", f"pump {n + 1} ({pump.supply})", note))
    found.append(("2", "check valve, one in each riser", "swing or spring, within reach; a weep hole below it"))
    found.append(
        ("2", "full-open (full-bore) valve, one above each check valve", "so that a pump comes out in a flood")
    )
    found.append(("2", "union, one in each riser", "between check valve and pump, for taking it out"))
    found += _pipe(inputs, say)
    found.append(("1", "cover, bolted, with grommets", "child-proof and gas-tight"))
    found.append(
        ("4", f"float switch, {inputs.floats.kind}", "off, lead, lag; high on its own pair of wires, normally closed")
    )
    if inputs.outfall.freezes:
        found.append(("1", "freeze relief, outside at the wall", "spills when the line beyond is frozen shut"))
    found.append(
        ("1", "horn and beacon, heard in the bedroom", "with the controller's alarm relay on a dialler if away")
    )
    found.append(
        ("2", "current transformer", "one on each pump's cord: dry run, clog and stall are seen at once")
        if inputs.sensing == "current"
        else ("2", "current transformer (advised)", "see the remark on sensing")
    )
    found.append(("2", "branch circuit with a breaker of its own", "one for each pump; the alarm on a third"))
    found += _stored(result, say)
    return found


def _pipe(inputs, say):
    found, discharge = [], inputs.discharge
    pieces = [("riser 1", discharge.risers[0], "riser1"), ("riser 2", discharge.risers[1], "riser2")]
    if discharge.header is not None:
        pieces.append(("header", discharge.header, "header"))
    for name, pipe, key in pieces:
        nominal = inputs.piping.nominal_in[key]
        size = f"{nominal:g} in schedule 40" if nominal else f"pipe {pipe.diameter_m / INCH:.2f} in inside"
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
            f"{say(supply.battery.capacity_as, 'charge')}, {result.inputs.power.chemistry}; for "
            f"{say(result.inputs.power.wanted_s, 'time')} {say(held.needed_as, 'charge')} are needed",
        )
    ]
    if supply.charger is not None:
        found.append(("1", "charger", say(supply.charger.amps, "current")))
    if supply.inverter is not None:
        found.append(("1", "inverter", f"bears {say(wires.surge_w, 'power')} for a motor's start"))
    gauge = wires.gauge_needed if wires.gauge_needed is not None else result.inputs.power.cable_awg
    found.append(("1", f"slow fuse {wires.fuse_a:g} A at the battery's post", f"on {gauge} AWG copper"))
    return found
