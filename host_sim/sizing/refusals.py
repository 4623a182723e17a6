"""Input that cannot be sized: refused with the reason and a sensible value."""

from host_sim.sizing.limits import FOOT, INCH
from host_sim.sizing.say import Say
from host_sim.sizing.sensors import LIVE, live
from host_sim.sizing.trade import fraction

SAY = Say("us")
FROM_CODE = "International Plumbing Code: no smaller than the pump's outlet"


def check_physics(site, extra, problems):
    """Note in `problems` everything physically impossible in parts that were read well by themselves."""
    _pipes(site["discharge"], site["pumps"], extra, problems)
    _lift(site, problems)
    _plates(site, extra, problems)
    _sensors(site, extra, problems)
    _pit(site, extra, problems)


def _pipes(discharge, pumps, extra, problems):
    risers = {"discharge.riser1": (discharge.risers[0], 0), "discharge.riser2": (discharge.risers[1], 1)}
    if discharge.risers[0] == discharge.risers[1] and extra["plates"][0].outlet_m == extra["plates"][1].outlet_m:
        risers = {"discharge.riser": (discharge.risers[0], 0)}
    for key, (pipe, n) in risers.items():
        _pipe(key, pipe, extra["plates"][n].outlet_m, extra["piping"].nominal_in[f"riser{n + 1}"], problems)
    if discharge.header is not None:
        widest = max(plate.outlet_m for plate in extra["plates"])
        _pipe("discharge.header", discharge.header, widest, extra["piping"].nominal_in["header"], problems)
    shortest = min(discharge.outlet_m - pump.intake_m for pump in pumps)
    for n in (0, 1):
        run = discharge.risers[n].length_m + (discharge.header.length_m if discharge.header else 0.0)
        if 0.0 < run < 0.9 * shortest:
            problems.append(
                f"discharge: {SAY(run, 'distance')} of pipe cannot reach the outlet, {SAY(shortest, 'distance')} above "
                "the pump: measure along the pipe, riser and header together; at least the lift itself"
            )
            break


def _pipe(key, pipe, outlet_m, nominal_in, problems):
    if pipe.length_m <= 0.0:
        problems.append(f"{key}.length: must be above 0")
    # A nominal size is compared with a nominal outlet; a given inside diameter may be a little less than its name.
    size = nominal_in * INCH if nominal_in is not None else pipe.diameter_m * 1.02
    if size < outlet_m - 1e-6:
        problems.append(
            f"{key}: pipe of {fraction(nominal_in) if nominal_in else SAY(pipe.diameter_m, 'length')} on a pump outlet "
            f"of {fraction(outlet_m / INCH)} is refused: a discharge smaller than the outlet throttles the pump, wears "
            f"its valves and traps solids that the pump passes ({FROM_CODE}). "
            f"Sensible: {fraction(outlet_m / INCH)} or the next size up"
        )


def _lift(site, problems):
    pit, discharge = site["pit"], site["discharge"]
    for n, pump in enumerate(site["pumps"]):
        lift = discharge.outlet_m - pump.intake_m
        shutoff = pump.curve.shutoff_m
        if shutoff <= lift:
            problems.append(
                f"pump {n + 1}: shut-off head {SAY(shutoff, 'distance')}, but the outlet is "
                f"{SAY(lift, 'distance')} above its "
                "inlet: no water would move. Sensible: a pump with a shut-off head of about "
                f"{SAY(1.5 * lift, 'distance')} or more"
            )
    if discharge.outlet_m <= pit.floor_m:
        problems.append(
            f"discharge.outlet: {SAY(discharge.outlet_m, 'distance')} is below the floor, "
            f"{SAY(pit.floor_m, 'distance')} above the bottom of the pit"
        )


def _plates(site, extra, problems):
    for n, (pump, plate) in enumerate(zip(site["pumps"], extra["plates"], strict=True)):
        name = f"sizing.motor{n + 1}"
        if plate.minimum_m3s >= plate.maximum_m3s:
            problems.append(
                f"{name}.minimum_flow: {SAY(plate.minimum_m3s, 'flow')} must be below maximum_flow, "
                f"{SAY(plate.maximum_m3s, 'flow')}; sensible: a tenth of run-out"
            )
        if plate.body_m >= site["pit"].floor_m * 10.0:
            problems.append(
                f"{name}.body_diameter: {SAY(plate.body_m, 'length')} is too wide for a sump pump; sensible: 6 "
                "in to 10 in"
            )
        if plate.covered_m >= site["pit"].floor_m - 2 * INCH:
            problems.append(
                f"{name}.covered_to: {SAY(plate.covered_m, 'length')} leaves no room below the floor at "
                f"{SAY(site['pit'].floor_m, 'length')}; sensible: 4 in to 8 in, or a deeper pit"
            )
        if pump.intake_m + pump.cover_m >= site["pit"].floor_m - 2 * INCH:
            problems.append(
                f"pump {n + 1}: inlet at {SAY(pump.intake_m, 'length')} leaves no water to pump below the floor at "
                f"{SAY(site['pit'].floor_m, 'length')}; sensible: 2 in to 4 in above the bottom"
            )


def _sensors(site, extra, problems):
    for n, (pump, kind) in enumerate(zip(site["pumps"], extra["sensor_kinds"], strict=True)):
        if live(kind, pump.supply == "battery"):
            problems.append(f"sizing.motor{n + 1}.sensor: {LIVE.format(n=n + 1)}")


def _pit(site, extra, problems):
    basin = extra["basin"]
    if basin.inlet_m is not None and basin.inlet_m >= site["pit"].floor_m:
        problems.append(
            f"sizing.basin.inlet: {SAY(basin.inlet_m, 'length')} is above the floor at "
            f"{SAY(site['pit'].floor_m, 'length')}: give the lowest point of the drain inlet, as 18 in"
        )
    if basin.water_table_m > 40.0 * FOOT:
        problems.append(
            f"sizing.basin.water_table: {SAY(basin.water_table_m, 'distance')} above the bottom of the pit is "
            "too high; sensible: 3 ft"
        )
