"""Reads a site document for sizing: the simulator's parts, then the tables that only sizing uses.

All errors are reported at once.  What is not given takes a conservative
default that the report lists; what is physically impossible is refused.

The tables that only sizing asks for, all of them optional:

    [sizing]            margin, installed = ["pit", "pumps", "pipe", "floats"]: what is there already and stays
    [[sizing.assumed]]  what, taken, changes: what the interview was not told
    [[sizing.evidence]] kind, weather; of a "rise test": rise, in, from, read_to; of a "pump-down test": falls, in,
                        from, pump_rate, read_to; of a "log": starts, over, stops_at, starts_at, run_time, pump_rate,
                        or file; of a "drained area": area, runoff, rain (an intensity, or a day's depth with lag);
                        of a "recovery": water_table, from, to, in, highest_water_table; of a "rule of thumb": area,
                        soil
    [sizing.measured_pit]  the pit as the inflow was measured in it, where [pit] has changed since; with it may stand
                        calculated_rate, the pump's rate then, in a "pump-down test" or a "log"
    [sizing.motor]      outlet, body_diameter, covered_to, starts_per_hour, least_run, least_rest, minimum_flow,
                        maximum_flow, weight, sensor, curve_from; [sizing.motor1] and [sizing.motor2] override it
    [sizing.floats]     kind, travel, tether, body_diameter
    [sizing.piping]     material
    [sizing.outfall]    to, distance, freezes, freeze_relief
    [sizing.basin]      kind, wall, holes, hole, holes_from, inlet, held_down, weight, cover, water_table
    [sizing.power]      circuits, wanted, battery, room, vented, cable, cable_gauge, fuse, battery_voltage, generator,
                        house_load, alarm
"""

import copy
from math import pi

from host_sim.errors import InputError
from host_sim.plant.discharge import Lines, rated_flow_m3s
from host_sim.plant.equipment import Supply
from host_sim.site import pit, pumps, settings
from host_sim.site.reader import Table
from host_sim.sizing import evidence
from host_sim.sizing.changes import CHANGES
from host_sim.sizing.document import own
from host_sim.sizing.hints import sensible
from host_sim.sizing.inputs import Assumption, Basin, Floats, Inputs, Nameplate, Outfall, Piping, Plate, Power
from host_sim.sizing.limits import AMPACITY, CHEMISTRY, COLD, FOOT, INCH, PRACTICE, limit
from host_sim.sizing.pipes import MATERIALS, nominal_in
from host_sim.sizing.refusals import check_physics
from host_sim.sizing.say import Say
from host_sim.sizing.sensors import KINDS as SENSORS

OUTFALLS = ("daylight", "storm drain", "dry well", "sanitary sewer", "unknown")
COVERS = ("bolted", "loose", "none")
BASINS = ("solid basin", "basin with holes", "concrete")
FLOATS = ("vertical", "tethered", "transmitter")
CURVES = ("curve", "shut-off and one point", "bucket and watch", "assumed", "not said")
PLACES = ("pit", "pumps", "pipe", "floats")
TRAVEL = {"vertical": "1 in", "tethered": "4 in", "transmitter": "1 in"}
SAY, KINDS = Say("us"), {"time": "seconds"}
CHECKS, VALVES = ("swing_check", "swing_check_straight"), ("ball_valve", "gate_valve")


class Asker:
    """Reads keys of one table with cautious defaults, remembering each default that was taken."""

    def __init__(self, table, assumptions):
        self.table = table
        self.assumptions = assumptions

    def _note(self, key, taken, why):
        if key not in self.table.data:
            self.assumptions.append(Assumption(self.table.name(key), str(taken), why, CHANGES.get(key, "")))

    def quantity(self, key, kind, default, why, **bounds):
        """Return a quantity; `default` is a text with a unit, or an SI number."""
        shown = default if isinstance(default, str) else SAY(default, KINDS.get(kind, kind))
        self._note(key, shown, why)
        return self.table.quantity(key, kind, default, **bounds)

    def text(self, key, default, why, choices):
        self._note(key, default, why)
        return self.table.text(key, default, choices)

    def boolean(self, key, default, why):
        self._note(key, "yes" if default else "no", why)
        return self.table.boolean(key, default)


def read(data, source="site"):
    """Return the Inputs of a site document.  Raises InputError with everything that is wrong with it."""
    problems, assumptions = [], []
    data = own(data)
    table = Table(copy.deepcopy(data), "", problems)
    site = _site_parts(table, assumptions)
    sizing = table.table("sizing", {})
    extra = _sizing_parts(sizing, table, assumptions, site) if sizing is not None else {}
    if not problems:
        check_physics(site, extra, problems)
    if problems:
        raise InputError([sensible(line) for line in problems], source)
    pit_data = data["pit"]
    found = Inputs(
        name=site["name"], data=data, pit=site["pit"], shape=pit_data.get("shape", "cylinder"),
        floor_area_m2=site["floor_area"], contacts=site["contacts"], closed=site["closed"],
        pumps=site["pumps"], discharge=site["discharge"], supply=site["supply"], transmitter=site["transmitter"],
        sensing=site["sensing"], wave_m=site["wave"], overrides=site["overrides"], assumptions=assumptions, **extra,
    )  # fmt: skip
    found.lines = Lines(found.pit, found.pumps, found.discharge)
    return found


def _site_parts(table, assumptions):
    pit_table = table.table("pit")
    if pit_table is not None and "floor_area" not in pit_table:
        assumptions.append(Assumption("pit.floor_area", "600 ft2", "only sets how fast water spreads on the floor"))
        pit_table = Table({**pit_table.data, "floor_area": "600 ft2"}, "pit", table.problems)
    site = {"name": table.text("name", "a sump pit"), "floor_area": None}
    if pit_table is not None:
        site["floor_area"] = Table(pit_table.data, "pit", []).quantity("floor_area", "area", 55.7)
    site["pit"] = pit.read_pit(pit_table)
    contacts = table.table("contacts", None)
    site["contacts"], site["closed"] = pit.read_contacts(contacts, site["pit"])
    if contacts is None:
        site["contacts"], site["closed"] = [], [False, False, False, True]
    pump_tables = [_dictionary(table.data, key) for key in ("pump", "pump1", "pump2")]
    if all("rated_current" not in part for part in pump_tables) and isinstance(table.data.get("pump"), dict):
        assumptions.append(Assumption("pump.rated_current", "10 A", "a 1/2 hp motor; read the data plate"))
        table.data["pump"].setdefault("rated_current", "10 A")
    site["pumps"] = pumps.read_pumps(table)
    site["discharge"] = pumps.read_discharge(table.table("discharge"))
    site["supply"] = pumps.read_supply(table.table("supply", {})) or Supply()
    site["transmitter"] = pit.read_transmitter(table.table("transmitter", None))
    waves = table.table("waves", {})
    site["wave"] = waves.quantity("height", "length", 0.0, least=0.0, most="50 mm") if waves else 0.0
    controller = table.table("controller", {})
    words = tuple(settings.SENSING)
    ask = Asker(controller or Table({}, "controller", []), assumptions)
    site["sensing"] = ask.text("sensing", "nothing", "assumed: no current sensing, no run feedback", words)
    overrides = table.table("settings", {})
    site["overrides"] = overrides.data if overrides else {}
    table.asked += ["about", "scenario", "inflow", "groundwater", "action", "settings", "sizing"]
    table.done()
    return site


def _sizing_parts(sizing, table, assumptions, site):
    ask = Asker(sizing, assumptions)
    margin = ask.quantity("margin", "share", limit("margin"), "added to the best estimate", least=0.0, most=10.0)
    plates = tuple(_plate(sizing, n, site, assumptions) for n in (0, 1))
    measured = pit.read_pit(sizing.table("measured_pit")) if "measured_pit" in sizing else None
    parts = {
        "measured_pit": measured,
        "margin": margin,
        "plates": plates,
        "floats": _floats(sizing, assumptions, site, table.data),
        "piping": _piping(sizing, table, assumptions),
        "outfall": _outfall(sizing, assumptions),
        "basin": _basin(sizing, assumptions, site),
        "power": _power(sizing, table, assumptions, site),
        "evidence": evidence.read_evidence(sizing, table, assumptions, measured or site["pit"]),
        "installed": _installed(sizing),
    }
    parts["sensor_kinds"] = tuple(_own(sizing, n).text("sensor", None, SENSORS) for n in (0, 1))
    parts["nameplates"] = tuple(_nameplate(sizing, n, site, parts["installed"]) for n in (0, 1))
    _assumed(sizing, assumptions)
    sizing.done()
    return parts


def _part(sizing, key):
    part = sizing.table(key, {})
    return Table({}, sizing.name(key), []) if part is None else part


def _installed(sizing):
    found = sizing.items("installed", [], "a list of " + ", ".join(PLACES)) or []
    for word in found:
        if word not in PLACES:
            sizing.problem("installed", f'"{word}": one of {", ".join(PLACES)} is wanted')
    return tuple(word for word in PLACES if word in found)


def _assumed(sizing, assumptions):
    # What the interview was not told stands in the file like any other value; here it is told apart again.
    for part in sizing.tables("assumed"):
        what, taken, changes = part.text("what"), part.text("taken"), part.text("changes", "")
        why = part.text("why", "")
        part.done()
        if None not in (what, taken, changes, why):
            assumptions.append(Assumption(what, taken, why, changes))


def _own(sizing, n):
    # [sizing.motor] holds for both pumps; [sizing.motor1] and [sizing.motor2] override it key by key.
    common, own = _part(sizing, "motor"), _part(sizing, f"motor{n + 1}")
    return Table({**common.data, **own.data}, own.path if own.data else common.path, sizing.problems)


def _nameplate(sizing, n, site, installed):
    how = _own(sizing, n).text("curve_from", "not said", CURVES)
    pump = site["pumps"][n]
    if pump is None:
        return None
    motor = pump.motor
    return Nameplate(motor.rated_a, motor.volts, pump.supply == "battery", pump.supply, pump.curve.points,
                     how or "not said", pump.intake_m, "pumps" in installed)  # fmt: skip


def _plate(sizing, n, site, assumptions):
    table = _own(sizing, n)
    ask = Asker(table, assumptions if n == 0 or f"motor{n + 1}" in sizing else [])
    table.asked += ["sensor", "curve_from"]
    pump = site["pumps"][n]
    runout = pump.curve.runout_m3s if pump else 1.0
    least = (pump.intake_m + pump.cover_m) if pump else 0.1
    most, why = _maximum_flow(pump.curve) if pump else (runout, "run-out")
    plate = Plate(
        ask.quantity("outlet", "length", 1.5 * INCH, "the usual outlet of a 1/2 hp pump", above=0.0),
        ask.quantity("body_diameter", "length", "8 in", "a wide pump", above=0.0, most="3 ft"),
        ask.quantity("covered_to", "length", least, "the manufacturer may require more; read the manual", above=0.0),
        _starts(ask, site),
        ask.quantity("least_run", "time", limit("least_run"), PRACTICE, least=0.0),
        ask.quantity("least_rest", "time", limit("least_rest"), PRACTICE, least=0.0),
        ask.quantity("minimum_flow", "flow", limit("minimum_flow") * runout, "a tenth of run-out", least=0.0),
        ask.quantity("maximum_flow", "flow", most, why, above=0.0),
        ask.quantity("weight", "mass", "20 lb", "a light pump", above=0.0),
    )
    table.done()
    return plate


def _maximum_flow(curve):
    # A plate's last point tells it, unless three points leave it far from run-out.  The shares are our own choice.
    last = rated_flow_m3s(curve)
    if last >= 0.8 * curve.runout_m3s:
        return last, "the last point of the curve above zero head"
    return curve.flow_m3s(0.25 * curve.shutoff_m), "flow at a quarter of the shut-off head; few points of the curve"


def _starts(ask, site):
    # What the site's own [settings] allow the motors comes from a data plate.
    given = site["overrides"].get("starts_per_hour")
    if "starts_per_hour" not in ask.table and isinstance(given, int) and 1 <= given <= 60:
        return float(given)
    return ask.quantity(
        "starts_per_hour", "number", limit("starts"), "low end of common practice (10 to 15)", least=1, most=60
    )


def _floats(sizing, assumptions, site, data):
    table = _part(sizing, "floats")
    ask = Asker(table, assumptions)
    kind = ask.text("kind", "vertical", "what a narrow pit needs", FLOATS)
    travel_default = TRAVEL.get(kind, "1 in")
    travel = ask.quantity("travel", "length", travel_default, PRACTICE, above=0.0, most="3 ft")
    if kind == "transmitter" and site["transmitter"] is None and "transmitter" not in data:
        table.problem("kind", "a transmitter needs its table [transmitter] with span and zero")
    tether = table.quantity("tether", "length", 3.5 * INCH if kind == "tethered" else 0.0, least=0.0)
    size = table.quantity("body_diameter", "length", "3.5 in" if kind == "tethered" else "3 in", above=0.0)
    table.done()
    return Floats(kind, travel or 0.02, tether or 0.0, (tether or 0.0) + (size or 0.0))


def _piping(sizing, table, assumptions):
    part = _part(sizing, "piping")
    ask = Asker(part, assumptions)
    names = tuple(MATERIALS)
    material = ask.text("material", "unknown", "read the marking on the pipe", names) or "unknown"
    part.done()
    discharge = _dictionary(table.data, "discharge")
    risers = [_dictionary(discharge, f"riser{n}") or _dictionary(discharge, "riser") for n in (1, 2)]
    held = [_dictionary(riser, "fittings") for riser in risers]
    check = tuple(any(fittings.get(name, 0) for name in CHECKS) for fittings in held)
    valve = tuple(any(fittings.get(name, 0) for name in VALVES) for fittings in held)
    pieces = {"riser1": risers[0], "riser2": risers[1], "header": _dictionary(discharge, "header")}
    nominal = {name: _nominal(piece, material) for name, piece in pieces.items()}
    return Piping(material, MATERIALS[material][0], check, valve, nominal)


def _dictionary(data, key):
    # What is no table is refused by the reader that it belongs to.
    found = data.get(key)
    return found if isinstance(found, dict) else {}


def _nominal(piece, material):
    # A bore that is narrower than schedule 40 of the same name is given by its diameter.
    from host_sim import units

    try:
        if "pipe" in piece:
            return round(units.read(piece["pipe"], "length") / INCH, 4)
        return nominal_in(units.read(piece["diameter"], "length"), material) if "diameter" in piece else None
    except ValueError:
        return None


def _outfall(sizing, assumptions):
    part = _part(sizing, "outfall")
    ask = Asker(part, assumptions)
    found = Outfall(
        ask.text("to", "unknown", "find out before you dig", OUTFALLS),
        ask.quantity("distance", "distance", 0.0, "assumed at the wall", least=0.0, most="2000 ft"),
        ask.boolean("freezes", True, "most places have winters"),
        ask.boolean("freeze_relief", False, "assumed missing"),
    )
    part.done()
    return found


def _basin(sizing, assumptions, site):
    part = _part(sizing, "basin")
    ask = Asker(part, assumptions)
    kind = part.text("kind", "basin with holes" if part.data.get("wall") == "perforated" else "solid basin", BASINS)
    # A pit of concrete, or a basin cast into the floor, does not float: what it weighs decides nothing.
    floats = Asker(part, []) if kind == "concrete" or part.data.get("held_down") is True else ask
    wall = floats.text("wall", "solid", "a solid basin can float", ("solid", "perforated"))
    count = part.integer("holes", 0, 0, 10000) or 0
    hole = part.quantity("hole", "length", "0.5 in", above=0.0) or 0.0127
    low = part.quantity("holes_from", "length", 0.0, least=0.0) or 0.0
    floor = site["pit"].floor_m if site["pit"] else 0.6
    each = pi / 4.0 * hole**2
    found = Basin(
        wall == "perforated", each * count, low, each,
        part.quantity("inlet", "length", None, above=0.0),
        floats.boolean("held_down", kind == "concrete", "assumed not cast into the floor"),
        floats.quantity("weight", "mass", "30 lb", "a light plastic basin", least=0.0),
        ask.text("cover", "none", "assumed open", COVERS),
        kind,
        floats.quantity("water_table", "distance", floor, "the highest; assumed at the floor", least=0.0),
    )  # fmt: skip
    part.done()
    return found


def _power(sizing, table, assumptions, site):
    part = _part(sizing, "power")
    has_battery = site["supply"].battery is not None
    ask = Asker(part, assumptions)
    when = ask if has_battery else Asker(part, [])
    found = Power(
        ask.text("circuits", "shared", "look in the panel: one breaker per pump?", ("separate", "shared")),
        when.quantity("wanted", "time", limit("wanted"), "one night", above=0.0),
        when.text("battery", "flooded", "the type that loses most", tuple(CHEMISTRY)),
        when.text("room", "unheated", "a basement in winter", tuple(COLD)),
        when.boolean("vented", False, "assumed closed"),
        when.quantity("cable", "distance", 10 * FOOT, "one way", above=0.0),
        part.integer("cable_gauge", 6, 0, 14),
        part.quantity("fuse", "current", None, above=0.0),
        when.quantity("battery_voltage", "voltage", 12.0, "one 12 V battery", above=0.0),
        part.quantity("generator", "power", 0.0, least=0.0),
        part.quantity("house_load", "power", 1500.0, least=0.0),
        ask.boolean("alarm", True, "the controller's horn, placed where it is heard in the bedroom"),
    )
    if found.cable_awg not in AMPACITY and found.cable_awg is not None:
        sizes = ", ".join(str(size) for size in AMPACITY)
        part.problem("cable_gauge", f"{found.cable_awg}: must be an American wire gauge, one of {sizes}")
    part.done()
    return found
