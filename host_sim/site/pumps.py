"""Reads the pumps, the pipes and the supply from a site file."""

from math import pi

from host_sim.plant import friction, hydraulics
from host_sim.plant.equipment import Battery, Charger, Discharge, Generator, Inverter, Motor, Pump, Supply
from host_sim.plant.hydraulics import Curve, Pipe
from host_sim.site.pit import read_rows
from host_sim.site.reader import REQUIRED, Table
from host_sim.units import show

COVER = "1 in"  # this far above the inlet the pump draws no more air; common practice, no source
SUPPLIES = ("mains", "battery", "either")


def read_pumps(table):
    """Return (Pump or None, Pump or None): [pump] holds for both, [pump1] and [pump2] override it key by key."""
    common = table.table("pump", {})
    pumps = []
    for key in ("pump1", "pump2"):
        own = table.table(key, {})
        if common is None or own is None:
            return None, None
        asked = Table({**common.data, **own.data}, own.path if own.data else "pump", table.problems)
        pumps.append(_pump(asked))
        asked.done()
    return tuple(pumps)


def _pump(table):
    curve = _curve(table)
    intake = table.quantity("intake", "length", above=0.0)
    cover = table.quantity("cover", "length", COVER, above=0.0)
    weep = table.quantity("weep_hole", "length", 0.0, least=0.0, most="1 in")
    supply = table.text("supply", "mains", SUPPLIES)
    motor = _motor(table)
    if None in (curve, intake, cover, weep, supply, motor):
        return None
    return Pump(curve, intake, cover, motor, supply, pi / 4.0 * weep**2)


def _curve(table):
    rows = read_rows(table, "curve", ("flow", "distance"), '[flow, head], as in ["45 gpm", "10 ft"]')
    if rows is None:
        return None
    if len(rows) < 2 or rows[0][0] != 0.0:
        rows = sorted(rows)
    if len(rows) < 2 or rows[0][0] != 0.0:
        table.problem("curve", "give two points or more, one of them at zero flow (the shut-off head)")
        return None
    if any(b[0] <= a[0] for a, b in zip(rows, rows[1:], strict=False)):
        table.problem("curve", "flows must increase from point to point")
        return None
    for (q0, h0), (q1, h1) in zip(rows, rows[1:], strict=False):
        if h1 >= h0:
            said = f"from {show(h0, 'distance')} at {show(q0, 'flow')} to {show(h1, 'distance')} at {show(q1, 'flow')}"
            table.problem("curve", f"the head rises {said}: it must fall as the flow increases")
            return None
    if rows[0][1] <= 0.0:
        table.problem("curve", "the shut-off head must be above 0")
        return None
    return Curve(tuple(rows))


def _motor(table):
    d = Motor()
    values = {
        "rated_a": table.quantity("rated_current", "current", least="0.2 A", most="60 A"),
        "volts": table.quantity("volts", "voltage", d.volts, above=0.0, most="500 V"),
        "power_factor": table.quantity("power_factor", "share", d.power_factor, above=0.0, most=1.0),
        "dry_share": table.quantity("dry_current", "share", d.dry_share, above=0.0, most=1.0),
        "shut_share": table.quantity("shut_off_current", "share", d.shut_share, above=0.0, most=1.5),
        "locked_share": table.quantity("locked_rotor_current", "number", d.locked_share, above=3.0, most=12.0),
        "start_s": table.quantity("start_time", "time", d.start_s, least=0.0, most="2 s"),
        "heat_s": table.quantity("heating_time", "time", d.heat_s, least="10 s"),
        "opens_at": table.quantity("thermal_opens", "number", d.opens_at, above=1.0, most=5.0),
        "closes_at": table.quantity("thermal_closes", "number", d.closes_at, above=0.1, most=5.0),
        "sensor_scale": table.quantity("sensor_scale", "number", d.sensor_scale, above=0.0, most=20.0),
    }
    if None in values.values():
        return None
    if values["closes_at"] >= values["opens_at"]:
        table.problem("thermal_closes", "must be below thermal_opens")
        return None
    return Motor(**values)


def _pipe(table, default=REQUIRED):
    if table is None:
        return None
    length = table.quantity("length", "distance", least=0.0)
    if "diameter" in table:
        diameter = table.quantity("diameter", "length", above=0.0)
    else:
        nominal = table.quantity("pipe", "length", default)
        diameter = None
        if nominal is not None:
            try:
                diameter = hydraulics.pipe_diameter_m(round(nominal / 0.0254, 4))
            except ValueError as error:
                table.problem("pipe", f"{error}; or give its inner diameter")
    k = table.quantity("extra_k", "number", 0.0, least=0.0)
    roughness = table.quantity("roughness", "length", friction.PVC_ROUGHNESS_M, least=0.0)
    fittings = table.table("fittings", {})
    bad = None in (length, diameter, k, roughness, fittings)
    if fittings is not None:
        for name in hydraulics.FITTINGS:
            count = fittings.integer(name, 0, 0, 100)
            if count is None:
                bad = True
            elif diameter and count:
                k = (k or 0.0) + count * hydraulics.fitting_k(name, diameter)
        fittings.done()
    table.done()
    return None if bad else Pipe(diameter, length, k, roughness)


def read_discharge(table):
    """Return a Discharge from [discharge]: `riser` or `riser1` and `riser2`; `header` if the pumps share one."""
    if table is None:
        return None
    outlet = table.quantity("outlet", "distance", above=0.0, most="100 ft")
    share = table.quantity("seeps_back", "share", 0.0, least=0.0, most=0.9)
    after = table.quantity("seeps_back_after", "time", "30 min", least="2 min", most="10 days")
    if "riser1" in table or "riser2" in table:
        risers = (_pipe(table.table("riser1")), _pipe(table.table("riser2")))
    else:
        one = _pipe(table.table("riser"))
        risers = (one, one)
    table.asked += ["riser", "riser1", "riser2"]
    header = _pipe(table.table("header")) if "header" in table else None
    bad_header = "header" in table and header is None
    table.asked.append("header")
    table.done()
    if None in (outlet, share, after, *risers) or bad_header:
        return None
    return Discharge(outlet, risers, header, share, after)


def read_supply(table):
    """Return a Supply from [supply] and its parts, or None after noting problems."""
    if table is None:
        return Supply()
    fed = table.text("controller", "mains", ("mains", "battery"))
    battery = _battery(table.table("battery", None)) if "battery" in table else None
    failed = "battery" in table and battery is None
    charger = inverter = generator = None
    part = table.table("charger", None)
    if part is not None:
        amps = part.quantity("current", "current", above=0.0)
        efficiency = part.quantity("efficiency", "share", 0.85, above=0.0, most=1.0)
        charger = None if None in (amps, efficiency) else Charger(amps, efficiency)
        part.done()
    part = table.table("inverter", None)
    if part is not None:
        efficiency = part.quantity("efficiency", "share", 0.85, above=0.0, most=1.0)
        limit = part.quantity("limit", "power", 0.0, least=0.0)
        inverter = None if None in (efficiency, limit) else Inverter(efficiency, limit)
        part.done()
    part = table.table("generator", None)
    if part is not None:
        after = part.quantity("starts_after", "time", least=0.0)
        generator = None if after is None else Generator(round(after, 1))
        part.done()
    table.asked.append("battery")
    table.done()
    if battery is None and not failed and (charger or inverter or fed == "battery"):
        table.problem("battery", "missing: a charger, an inverter or a battery-fed controller needs [supply.battery]")
    return None if failed or fed is None else Supply(fed, battery, charger, inverter, generator)


def _battery(table):
    if table is None:
        return None
    d = Battery(1.0)
    values = {
        "capacity_as": table.quantity("capacity", "charge", above=0.0),
        "rate_s": table.quantity("rated_over", "time", d.rate_s, above=0.0),
        "peukert": table.quantity("peukert", "number", d.peukert, least=1.0, most=2.0),
        "full_v": table.quantity("full", "voltage", d.full_v, above=0.0),
        "empty_v": table.quantity("empty", "voltage", d.empty_v, above=0.0),
        "resistance_ohm": table.quantity("resistance", "resistance", d.resistance_ohm, least=0.0),
        "start_depth": table.quantity("discharged", "share", 0.0, least=0.0, most=1.0),
        "idle_a": table.quantity("idle_current", "current", 0.0, least=0.0),
    }
    table.done()
    if None in values.values():
        return None
    if values["empty_v"] >= values["full_v"]:
        table.problem("empty", "must be below full")
        return None
    return Battery(**values)
