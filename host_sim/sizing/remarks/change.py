"""Edits that cures are made of: pit width and depth, pump, pipe, contacts; and what each costs here.

What is not there yet is changed on paper; what is, is dear.
"""

from math import ceil

from host_sim.plant.hydraulics import TURBULENT_FRICTION
from host_sim.sizing import contacts, head
from host_sim.sizing.limits import INCH, limit
from host_sim.sizing.pipes import bore_m
from host_sim.sizing.remarks.remark import CONCRETE, DEEP, HAND, MACHINE, PAPER, PARTS, Cure
from host_sim.sizing.say import text_of
from host_sim.sizing.trade import fraction

WIDEST_M = 48 * INCH  # wider is a chamber, not a pit; our own choice
DIGGING = "stay above the footing's bottom, shore the sides against cave-in, or hire a licensed contractor"


def cost(result, what):
    """Return what it costs to change the pit, the pumps, the pipe or the floats of a site."""
    there = {"pit": CONCRETE, "pumps": MACHINE, "pipe": PARTS, "floats": HAND}
    return there[what] if what in result.inputs.installed else PAPER


def width_edits(result, width_m):
    """Return the edits that make the pit so wide (diameter, or side of a square one)."""
    data, text = result.inputs.data["pit"], text_of(width_m, "length")
    shape = data.get("shape", "cylinder")
    if shape == "cylinder":
        return {"pit.diameter": text}
    if shape == "square":
        return {"pit.side": text}
    if shape == "basin":
        return {"pit.bottom_diameter": text, "pit.top_diameter": text_of(max(width_m, top_m(result)), "length")}
    return {
        "pit.shape": "cylinder",
        "pit.areas": None,
        "pit.diameter": text,
        "pit.depth": text_of(result.inputs.pit.floor_m, "length"),
    }


def top_m(result):
    """Return the width of the pit at the floor."""
    pit = result.inputs.pit
    return (4.0 * pit.area_m2(pit.floor_m - 1e-6) / 3.141592653589793) ** 0.5


STOCK_M = tuple(inches * INCH for inches in (18, 24, 30, 36, 48))  # round basins; common practice, no source


def wider(result, least_m, say, why="a pit"):
    """Return a family of wider pits from a least width on: stock sizes of a round basin, else steps of 2 in."""
    step = 2 * INCH
    stock = result.inputs.basin.kind != "concrete" and result.inputs.shape != "square"
    if stock:
        digs = cost(result, "pit")
        now = result.inputs.diameter_m
        return [Cure(f"{why} {say(w, 'length')} wide (a stock basin)", width_edits(result, w), digs)
                for w in STOCK_M if w >= least_m - 1e-6 and w > now + 1e-6]  # fmt: skip
    first = max(ceil(least_m / step - 1e-6) * step, ceil((result.inputs.diameter_m + 1e-6) / step) * step)
    widths = []
    while first <= WIDEST_M and len(widths) < 8:
        widths.append(first)
        first += step if len(widths) < 4 else 3 * step
    digs = cost(result, "pit")
    return [Cure(f"{why} {say(w, 'length')} wide", width_edits(result, w), digs) for w in widths]


def deeper(result, say):
    """Return a family of deeper pits with their contacts respaced, down to the limit "deepest"."""
    return [cure for cure in _depths(result, say) if cure.cost != DEEP]


def much_deeper(result, say):
    """Return the family of pits deeper than that: a deep excavation, dear even on paper."""
    return [cure for cure in _depths(result, say) if cure.cost == DEEP]


def _depths(result, say):
    pit = result.inputs.pit.floor_m
    found = []
    for more in (6, 12, 18, 24, 36):
        depth = pit + more * INCH
        edits = {"pit.depth": text_of(depth, "length"), "contacts": None}
        if "outlet" in result.inputs.data["discharge"]:
            edits["discharge.outlet"] = text_of(result.inputs.discharge.outlet_m + more * INCH, "distance", 2)
        if result.inputs.shape == "table":
            edits.update(
                {
                    "pit.shape": "cylinder",
                    "pit.areas": None,
                    "pit.diameter": text_of(result.inputs.diameter_m, "length"),
                }
            )
        if result.inputs.basin.inlet_m is not None:
            edits["sizing.basin.inlet"] = text_of(result.inputs.basin.inlet_m + more * INCH, "length")
        if "water_table" in result.inputs.data.get("sizing", {}).get("basin", {}):
            edits["sizing.basin.water_table"] = text_of(result.inputs.basin.water_table_m + more * INCH, "distance", 2)
        for key in ("riser", "riser1", "riser2"):
            if key in result.inputs.data["discharge"]:
                n = 1 if key == "riser2" else 0
                length = result.inputs.discharge.risers[n].length_m + more * INCH
                edits[f"discharge.{key}.length"] = text_of(length, "distance", 2)
        text = f"a pit {say(depth, 'length')} deep, with the contacts respaced ({DIGGING})"
        digs = cost(result, "pit") if depth <= limit("deepest") + 1e-6 else DEEP
        found.append(Cure(text, edits, digs))
    return found


def spread(result, say):
    """Return a family of one: the contacts at the recommended heights."""
    if not result.inputs.contacts:
        return []
    band = result.inputs.pit.volume_m3(result.recommended[1].wet_m) - result.inputs.pit.volume_m3(
        result.recommended[0].dry_m
    )
    tables = contacts.tables(result.recommended, result.inputs.closed, result.inputs.floats.kind)
    heights = ", ".join(
        f"{name} {say(c.dry_m if name == 'off' else c.wet_m, 'length')}"
        for name, c in zip(contacts.NAMES, result.recommended, strict=True)
    )
    return [Cure(f"contacts at {heights}: {say(band, 'volume')} between off and lead", {"contacts": tables}, HAND)]


def pump_edits(result, flow=1.0, head_share=1.0, only=None):
    """Return the edits that put pumps of another size in: curves, currents and ranges multiplied.

    `only` is one pump (0 or 1); without it both are exchanged.
    """
    edits, data = {}, result.inputs.data
    numbers = (0, 1) if only is None else (only,)
    shared = only is None and all("curve" not in data.get(f"pump{n + 1}", {}) for n in numbers)
    for n in numbers if not shared else (0,):
        key = "pump" if shared else f"pump{n + 1}"
        pump = result.inputs.pumps[n]
        edits[f"{key}.curve"] = [
            [text_of(q * flow, "flow", 2), text_of(h * head_share, "distance", 2)] for q, h in pump.curve.points
        ]
        # Power goes with flow and head; the voltage stays.
        amps = min(60.0, pump.motor.rated_a * flow * head_share)
        edits[f"{key}.rated_current"] = text_of(amps, "current", 2)
        edits.update(_plate_edits(result, n, "sizing.motor" if shared else f"sizing.motor{n + 1}", flow))
    return edits


def _plate_edits(result, n, motor, flow):
    # The range of another pump is scaled with it, where the file gives it.
    found, sizing = {}, result.inputs.data.get("sizing", {})
    given = {**sizing.get("motor", {}), **sizing.get(f"motor{n + 1}", {})}
    for name, index in (("minimum_flow", "minimum_m3s"), ("maximum_flow", "maximum_m3s")):
        if name in given:
            found[f"{motor}.{name}"] = text_of(getattr(result.inputs.plates[n], index) * flow, "flow", 2)
    return found


def other_pump(result, steps, say, grow_head=False, only=None):
    """Return a family of other pumps, their flows (and heads) multiplied by each step; `only` exchanges one pump."""
    found = []
    numbers = (0, 1) if only is None else (only,)
    for step in steps:
        least = min(result.inputs.pumps[n].curve.runout_m3s for n in numbers) * step
        if step < 1.0 and least < limit("smallest_pump"):
            continue  # nobody sells it
        up = step if grow_head else 1.0
        shutoff = max(result.inputs.pumps[n].curve.shutoff_m for n in numbers) * up
        runout = max(result.inputs.pumps[n].curve.runout_m3s for n in numbers) * step
        size = "larger" if step > 1.0 or up > 1.0 else "smaller"
        which = f"{size} pumps" if only is None else f"a {size} pump {only + 1}"
        text = f"{which}, {say(shutoff, 'head')} shut-off head and {say(runout, 'flow')} with no head"
        found.append(Cure(text, pump_edits(result, step, up, only), cost(result, "pumps")))
    return found


def pipes(result, say, larger=True):
    """Return a family of other pipe sizes for the whole discharge, none smaller than the pumps' outlets."""
    now, material = head.smallest_nominal(result.inputs), result.inputs.piping.material
    outlet = max(plate.outlet_m for plate in result.inputs.plates) / INCH
    sizes = sorted(TURBULENT_FRICTION)
    if larger:
        sizes = [s for s in sizes if s > now + 1e-6]
    else:
        sizes = [s for s in reversed(sizes) if s < now - 1e-6 and s >= outlet - 1e-6]
    return [
        Cure(
            f"{fraction(s)} pipe throughout ({say(bore_m(s, material), 'length')} inside diameter)",
            head.resized(result.inputs.data, s),
            cost(result, "pipe"),
        )
        for s in sizes
    ]


def separate_lines(result, say):
    """Return a family of one: a line of its own for each pump, with the header's length and fittings."""
    data = result.inputs.data["discharge"]
    if "header" not in data:
        return []
    header = result.inputs.discharge.header
    edits = {"discharge.header": None}
    for key in ("riser", "riser1", "riser2"):
        if key not in data:
            continue
        n = 1 if key == "riser2" else 0
        length = result.inputs.discharge.risers[n].length_m + header.length_m
        fittings = dict(data[key].get("fittings", {}))
        for name, count in data["header"].get("fittings", {}).items():
            fittings[name] = fittings.get(name, 0) + count
        edits[f"discharge.{key}.length"] = text_of(length, "distance", 2)
        edits[f"discharge.{key}.fittings"] = fittings
    length = result.inputs.discharge.risers[0].length_m + header.length_m
    return [Cure(f"a separate line for each pump, {say(length, 'distance')}", edits, cost(result, "pipe"))]


def one(text, edits, cost=PARTS, measures=False):
    """Return a family of a single cure."""
    return [Cure(text, edits, cost, measures)]
