"""Reads the pit, its contacts and its inflow from a site file."""

from math import pi

from duplexsump.control.records import CONTACT_NAMES

from host_sim.plant import geometry as pits
from host_sim.plant import inflow as steps
from host_sim.plant import storm, water_table
from host_sim.plant.equipment import Contact, Seepage, Transmitter
from host_sim.units import read, show

DEAD_BAND = "1 in"  # common practice for a float on a short tether
SHAPES = ("cylinder", "square", "basin", "table")


def read_pit(table):
    """Return a Pit from [pit], or None."""
    if table is None:
        return None
    shape = table.text("shape", "cylinder", SHAPES)
    floor_area = table.quantity("floor_area", "area", above=0.0)
    rows = None
    if shape == "table":
        rows = read_rows(table, "areas", ("length", "area"), "[level, plan area]")
        sizes = []
    else:
        depth = table.quantity("depth", "length", least="6 in", most="15 ft")
        names = {"cylinder": ("diameter",), "square": ("side",), "basin": ("bottom_diameter", "top_diameter"), None: ()}
        sizes = [depth, *(table.quantity(name, "length", least="4 in", most="10 ft") for name in names[shape])]
    table.asked.append("start_level")
    table.done()
    if shape is None or floor_area is None or None in sizes or (shape == "table" and rows is None):
        return None
    if shape == "table":
        try:
            return pits.pit_from_table(rows, floor_area)
        except ValueError as error:
            table.problem("areas", str(error))
            return None
    if shape == "cylinder":
        return pits.cylinder(sizes[1], sizes[0], floor_area)
    if shape == "square":
        return pits.square(sizes[1], sizes[0], floor_area)
    return pits.bucket(sizes[1], sizes[2], sizes[0], floor_area)


def read_rows(table, key, kinds, what):
    """Return a list of rows of quantities in SI, each of `kinds`, or None after noting problems."""
    items = table.items(key, wanted=f"a list of rows {what}")
    if items is None:
        return None
    rows = []
    for item in items:
        if not isinstance(item, list) or len(item) != len(kinds):
            table.problem(key, f"{item!r}: every row is {what}")
            return None
        row = tuple(table.convert(key, value, kind) for value, kind in zip(item, kinds, strict=True))
        if None in row:
            return None
        rows.append(row)
    return rows


def read_contacts(table, pit):
    """Return ([Contact or None] * 4, [normally closed] * 4) from [contacts]."""
    found, closed = [None] * 4, [False] * 4
    if table is None:
        return found, closed
    for i, name in enumerate(CONTACT_NAMES):
        part = table.table(name, None)
        if part is None:
            continue
        closed[i] = part.boolean("normally_closed", name == "high")
        if "pivot" in part:
            found[i] = _tethered(part)
        else:
            wet = part.quantity("wet_at", "length", above=0.0)
            dry = part.quantity("dry_at", "length", None if wet is None else wet - usual_dead_band_m(), least=0.0)
            if None not in (wet, dry):
                found[i] = Contact(wet, dry)
        part.done()
        if found[i] and not 0.0 < found[i].dry_m < found[i].wet_m:
            part.problem("dry_at", "must be above the pit bottom and below wet_at: a float resets lower than it trips")
            found[i] = None
    table.done()
    _check_contacts(table, found, pit)
    return found, closed


def usual_dead_band_m():
    """Return the dead band of a float of which only `wet_at` is given, in metres."""
    return read(DEAD_BAND, "length")


def _tethered(part):
    # A tethered float swings about its pivot: half its travel up, half down.
    pivot = part.quantity("pivot", "length", above=0.0)
    travel = part.quantity("travel", "length", above=0.0)
    if None in (pivot, travel):
        return None
    return Contact(pivot + travel / 2.0, pivot - travel / 2.0)


def _check_contacts(table, found, pit):
    names = [i for i in range(4) if found[i] is not None]
    for low, high in zip(names, names[1:], strict=False):
        a, b = found[low], found[high]
        if not (a.wet_m < b.wet_m and a.dry_m < b.dry_m):
            levels = f"{show(a.wet_m, 'length')} and {show(b.wet_m, 'length')}"
            table.problem(
                CONTACT_NAMES[high],
                f"out of order: {CONTACT_NAMES[low]} and {CONTACT_NAMES[high]} trip at {levels}; "
                "off, lead, lag, high must follow each other upward",
            )
    if pit is None:
        return
    for i in names:
        if found[i].wet_m > pit.floor_m:
            table.problem(
                f"{CONTACT_NAMES[i]}.wet_at",
                f"{show(found[i].wet_m, 'length')}: must be at or below the floor, {show(pit.floor_m, 'length')}",
            )


def read_transmitter(table):
    if table is None:
        return None
    zero = table.quantity("zero", "length", 0.0, least=0.0)
    span = table.quantity("span", "length", least="500 mm", most="10 m")
    noise = table.quantity("noise", "length", 0.0, least=0.0, most="20 mm")
    table.done()
    return None if None in (zero, span, noise) else Transmitter(zero, span, noise)


def read_inflow(tables, duration_s, folder):
    """Return lists of flow steps, one a source, from [[inflow]]."""
    flows = []
    for table in tables:
        kind = table.text("kind", choices=("constant", "hydrograph", "storm", "foundation drain"))
        if kind == "constant":
            flows.append(_constant(table, duration_s))
        elif kind == "hydrograph":
            flows.append(_hydrograph(table, folder))
        elif kind is not None:
            flows.append(_storm(table, kind))
        if kind is not None:
            table.done()
    return [flow for flow in flows if flow]


def _constant(table, duration_s):
    rate = table.quantity("rate", "flow", least=0.0)
    start = table.quantity("from", "time", 0.0, least=0.0)
    end = table.quantity("until", "time", None, least=0.0)
    if None in (rate, start):
        return None
    flow = [(0.0, 0.0)] if start > 0.0 else []
    flow.append((round(start, 1), rate))
    if end is not None:
        if end <= start:
            table.problem("until", "must be later than from")
            return None
        flow.append((round(end, 1), 0.0))
    return flow


def _hydrograph(table, folder):
    if "file" in table:
        name = table.text("file")
        points = None
        if name:
            try:
                points = storm.read_hydrograph(folder / name)
            except (OSError, ValueError) as error:
                table.problem("file", f'"{name}": {error}')
    else:
        points = read_rows(table, "flows", ("time", "flow"), '[time, flow], as in ["2 h", "12 gpm"]')
    if not points:
        return None
    if any(b[0] <= a[0] for a, b in zip(points, points[1:], strict=False)) or points[0][0] < 0.0:
        table.problem("flows", "times must be 0 or later and increase from row to row")
        return None
    if any(q < 0.0 for _, q in points):
        table.problem("flows", "a flow must be 0 or more")
        return None
    return steps.steps_of_flow(points)


def _storm(table, kind):
    depth = table.quantity("rain", "length", above=0.0, most="2 m")
    area = table.quantity("area", "area", above=0.0)
    runoff = table.quantity("runoff", "share", 0.9 if kind == "storm" else 0.3, above=0.0, most=1.0)
    lag = table.quantity("lag", "time", "10 min" if kind == "storm" else "4 h", least=0.0, most="10 days")
    begins = table.quantity("begins", "time", 0.0, least=-86400.0)
    if None in (depth, area, runoff, lag, begins):
        return None
    work = storm.storm_flow if kind == "storm" else storm.drain_flow
    return steps.steps_of_flow(work(depth, area, runoff, lag, begins))


def read_groundwater(table, duration_s, folder):
    """Return (Seepage or None, head steps or None) from [groundwater]."""
    if table is None:
        return None, None
    conductance = table.quantity("conductance", "conductance", above=0.0)
    enters = table.quantity("enters_at", "length", 0.0, least=0.0)
    two_way = table.boolean("two_way", False)
    holes = _holes(table)
    storage, start, regional = _storage(table)
    heads = _heads(table, duration_s, folder, storage)
    table.done()
    if None in (conductance, enters, two_way, holes, storage, start, regional):
        return None, None
    return Seepage(conductance, enters, two_way, holes, storage, start, regional), heads


def _holes(table):
    holes = []
    for part in table.tables("holes"):
        level = part.quantity("level", "length", least=0.0)
        diameter = part.quantity("diameter", "length", above=0.0)
        count = part.integer("count", 1, 1, 10000)
        part.done()
        if None in (level, diameter, count):
            return None
        holes.append((level, count * pi / 4.0 * diameter**2))
    return tuple(holes)


def _storage(table):
    part = table.table("storage", None)
    if part is None:
        return 0.0, 0.0, 0.0
    area = part.quantity("area", "area", above=0.0)
    porosity = part.quantity("porosity", "share", 0.3, above=0.0, most=1.0)
    start = part.quantity("start_level", "length", 0.0, least=0.0)
    regional = part.quantity("regional_conductance", "conductance", 0.0, least=0.0)
    part.done()
    return (None if None in (area, porosity) else area * porosity), start, regional


def _heads(table, duration_s, folder, storage):
    if "level" in table:
        level = table.quantity("level", "distance", least=0.0)
        return None if level is None else [(0.0, level)]
    part = table.table("series", None)
    if part is None:
        if not storage:
            table.problem("level", 'missing: the water table, as a level ("3 ft") or a table [groundwater.series]')
        return None
    points = water_table.read_series(part, duration_s, folder)
    part.done()
    return steps.steps_of_head(points) if points else None
