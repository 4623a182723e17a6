"""The site file: one TOML file for a site and its scenario, units as people write them, SI inside.

`load_site(path)` reads it and reports everything wrong with it at once.
Quantities are texts with a unit ("18 in", "45 gpm", "3.2 m", "10 ft 6 in");
levels are above the pit bottom.  Keys with a default are in brackets.

  name, [about]
  [pit]         [shape] cylinder | square | basin | table; diameter, side, or bottom_diameter and top_diameter;
                depth (the floor lies there); areas = [[level, plan area], ...] for a table; floor_area; [start_level]
  [contacts]    off, lead, lag, high: wet_at and [dry_at], or pivot and travel of a tether; [normally_closed]
  [pump]        for both, [pump1] and [pump2] override it key by key: curve = [[flow, head], ...] from the data plate,
                intake, rated_current, [cover], [weep_hole], [supply] mains | battery | either, [volts],
                [power_factor], [dry_current], [shut_off_current], [locked_rotor_current], [start_time],
                [heating_time], [thermal_opens], [thermal_closes], [sensor_scale]
  [discharge]   outlet; riser for each pump, or riser1 and riser2; [header] that both share; [seeps_back],
                [seeps_back_after].  A pipe: pipe (nominal, Schedule 40) or diameter, length, [roughness], [extra_k],
                [fittings] = { elbow_90 = 2, ... } with the names of `hydraulics.FITTINGS`
  [supply]      [controller] mains | battery; [battery] capacity, [rated_over], [peukert], [full], [empty],
                [resistance], [discharged], [idle_current]; [charger] current, [efficiency]; [inverter] [efficiency],
                [limit]; [generator] starts_after
  [transmitter] span, [zero], [noise]
  [[inflow]]    kind = constant: rate, [from], [until]; hydrograph: flows = [[time, flow], ...] or file;
                storm or "foundation drain": rain, area, [runoff], [lag], [begins] (NRCS Type II day)
  [groundwater] conductance; level, or [groundwater.series] source gensor | file, well, file, begins, zero, [scale];
                [enters_at], [two_way], [[groundwater.holes]] level, diameter, [count];
                [groundwater.storage] area, [porosity], [start_level], [regional_conductance]
  [waves]       [height]
  [controller]  [sensing] current | feedback | nothing
  [settings]    any setting of the controller by name; those not written follow from the site where they can
  [scenario]    lasts, [begins] "20:00", [seed], [faults] = ["mains-lost@01:10+2h", ...] (grammar: `faults`)
  [[action]]    at, do = silence | reset | selector1 | selector2 | mains | inflow, [to], [for]; an inflow takes the
                place of all given flows from then on
"""

import tomllib
from importlib import resources
from pathlib import Path

from duplexsump.control import settings as control_settings

from host_sim.errors import InputError
from host_sim.plant import inflow
from host_sim.plant.equipment import Action
from host_sim.site import faults
from host_sim.site import pit as site_pit
from host_sim.site import pumps as site_pumps
from host_sim.site import settings as site_settings
from host_sim.site.plan import Site
from host_sim.site.reader import Table
from host_sim.units import show

TICK_S = 0.1
ACTIONS = ("silence", "reset", "selector1", "selector2", "mains", "inflow")


def packaged(name):
    """Return the path of a packaged scenario, as "demo".  Raises InputError naming those there are."""
    folder = resources.files("host_sim") / "scenarios"
    known = sorted(item.name[:-5] for item in folder.iterdir() if item.name.endswith(".toml"))
    if name not in known:
        raise InputError(f'packaged scenario "{name}" is unknown: there are {", ".join(known)}')
    return Path(str(folder / f"{name}.toml"))


def refuse_unsized(path):
    """Raise InputError for a file as `size --ask` writes it, with the pit's answers alone: it is to be sized first.

    What is wrong otherwise, whoever reads the file says.
    """
    try:
        data = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return
    if "pit" in data and not {"contacts", "scenario"} & set(data):
        raise InputError(f"it has the pit, but no contacts yet: size it, sumpbench size {path}, then give the sized "
                         "site, --site sumpbench-size/site.toml (deploy: --settings)", str(path))  # fmt: skip


def load_site(path):
    """Return the Site of a TOML file.  Raises InputError with everything that is wrong with it."""
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"cannot be read: {error}", str(path)) from error
    return read_site(text, path.parent, str(path))


def read_site(text, folder=Path(), source="site"):
    """Return the Site written in a TOML text; files that it names lie in `folder`.  Raises InputError."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not valid TOML: {error}", source) from error
    return read_data(data, folder, source)


def read_data(data, folder=Path(), source="site"):
    """Return the Site of a parsed TOML document.  Raises InputError."""
    problems = []
    site = _read(Table(data, "", problems), Path(folder))
    if problems:
        raise InputError(problems, source)
    site.path = source
    return site


def _read(table, folder):
    name = table.text("name")
    about = table.text("about", "")
    scenario = _scenario(table.table("scenario"))
    duration = scenario["duration_s"] or 3600.0
    pit_table = table.table("pit")
    pit = site_pit.read_pit(pit_table)
    contacts, closed = site_pit.read_contacts(table.table("contacts"), pit)
    pumps = site_pumps.read_pumps(table)
    discharge = site_pumps.read_discharge(table.table("discharge"))
    supply = site_pumps.read_supply(table.table("supply", {}))
    transmitter = site_pit.read_transmitter(table.table("transmitter", None))
    flows = site_pit.read_inflow(table.tables("inflow"), duration, folder)
    seepage, heads = site_pit.read_groundwater(table.table("groundwater", None), duration, folder)
    if not table.data.get("inflow") and "groundwater" not in table:
        table.problem("inflow", "missing: a table [[inflow]] or [groundwater] is wanted")
    waves = table.table("waves", {})
    wave = waves.quantity("height", "length", 0.0, least=0.0, most="50 mm") if waves else None
    controller = table.table("controller", {})
    sensing = controller.text("sensing", "current", tuple(site_settings.SENSING)) if controller else None
    for part in (waves, controller):
        if part is not None:
            part.done()
    overrides = table.table("settings", {})
    actions = [_action(part, scenario["begins_s"] or 0.0) for part in table.tables("action")]
    start = _start(pit_table, pit)
    _check_parts(table, pit, contacts, pumps, discharge, supply, duration)
    table.asked.append("sizing")  # what only sizing asks for
    table.done()
    settings = _settings(table, overrides, pit, contacts, closed, pumps, discharge, supply, transmitter, sensing)
    if table.problems:
        return None
    return Site(
        name, about, pit, start, contacts, pumps, discharge, supply, transmitter,
        inflow.combine(flows, heads), seepage, wave, settings, faults=scenario["faults"],
        begins_s=scenario["begins_s"], duration_s=duration, seed=scenario["seed"],
        actions=[action for action in actions if action],
    )  # fmt: skip


def _scenario(table):
    found = {"begins_s": None, "duration_s": None, "seed": None, "faults": []}
    if table is None:
        return found
    begins = table.text("begins", "00:00")
    if begins is not None:
        try:
            if ":" not in begins:
                raise ValueError(begins)
            found["begins_s"] = faults.time_of(begins)
        except ValueError:
            table.problem("begins", f'"{begins}": a clock time is wanted, as in "20:00"')
    found["duration_s"] = table.quantity("lasts", "time", least="1 s", most="3700 days")
    if found["duration_s"] is not None:
        found["duration_s"] = round(found["duration_s"] / TICK_S) * TICK_S
    found["seed"] = table.integer("seed", 1, 0, 2**31)
    for text in table.items("faults", [], "a list of faults") or []:
        try:
            found["faults"].append(faults.parse_fault(text, found["begins_s"] or 0.0))
        except InputError as error:
            for line in error.problems:
                table.problem("faults", line)
    table.done()
    return found


def _action(table, begins_s):
    at = table.text("at")
    what = table.text("do", choices=ACTIONS)
    lasts = table.quantity("for", "time", "0.5 s", least="0.1 s")
    value, flow = "", 0.0
    if what == "inflow":
        flow = table.quantity("to", "flow", least=0.0)
    elif what in ("selector1", "selector2"):
        value = table.text("to", choices=("auto", "off", "hand"))
    elif what == "mains":
        value = table.text("to", choices=("on", "off"))
    table.done()
    if None in (at, what, lasts, value, flow):
        return None
    try:
        seconds = faults.time_of(at, begins_s)
    except ValueError as error:
        table.problem("at", str(error))
        return None
    return Action(round(seconds * 10.0) * 100, what, value, round(lasts * 10.0) * 100, flow)


def _start(table, pit):
    if table is None or pit is None:
        return None
    level = table.quantity("start_level", "length", 0.0, least=0.0)
    if level is not None and level > pit.floor_m:
        table.problem("start_level", f"must be at or below the floor, {show(pit.floor_m, 'length')}")
        return None
    return level


def _check_parts(table, pit, contacts, pumps, discharge, supply, duration):
    for n, pump in enumerate(pumps):
        key = f"pump{n + 1}"
        if pump is None:
            continue
        if discharge is not None and pit is not None:
            lift = discharge.outlet_m - pit.floor_m
            if pump.curve.shutoff_m <= lift:
                table.problem(
                    f"{key}.curve",
                    f"shut-off head {show(pump.curve.shutoff_m, 'distance')}, but the static head is "
                    f"{show(lift, 'distance')} even with the pit full: this pump never moves water",
                )
        if contacts[0] is not None and pump.intake_m > contacts[0].dry_m:
            table.problem(
                f"{key}.intake",
                f"{show(pump.intake_m, 'length')}: must be at or below the level at which the off float resets, "
                f"{show(contacts[0].dry_m, 'length')}",
            )
        if pump.supply != "mains" and supply is not None and supply.battery is None:
            table.problem(f"{key}.supply", f'"{pump.supply}" needs a battery: [supply.battery]')
    if discharge is not None and pit is not None and discharge.outlet_m <= pit.floor_m:
        floor = show(pit.floor_m, "length")
        table.problem("discharge.outlet", f"must be above the floor, {floor} above the pit bottom")


def _settings(table, overrides, pit, contacts, closed, pumps, discharge, supply, transmitter, sensing):
    # What the site implies can only be worked out from a site that is right so far; its own words are always read.
    ready = not table.problems and None not in (pit, discharge, supply, sensing, *pumps)
    if ready:
        parts = site_settings.Parts(pit, contacts, closed, pumps, discharge, supply, transmitter, sensing)
        values = site_settings.derive(parts)
    else:
        values = control_settings.defaults()
    if overrides is not None:
        site_settings.override(values, overrides)
    if (ready and not table.problems) or (not ready and overrides is not None and overrides.data):
        for refusal in control_settings.check(values):
            if ready or refusal.split(" ")[0] in overrides.data:
                table.problems.append(f"settings.{refusal}")
    return values
