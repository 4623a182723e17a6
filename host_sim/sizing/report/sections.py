"""The rows of the report for inflow, head and pit, and the list of all sections."""

from dataclasses import replace

from duplexsump.control import settings as s

from host_sim.site.settings import describe
from host_sim.sizing.head import BOTH
from host_sim.sizing.limits import limit
from host_sim.sizing.limits import row as limit_row
from host_sim.sizing.pipes import held_against
from host_sim.sizing.report.covered_section import covers
from host_sim.sizing.report.rows import Row, section
from host_sim.sizing.report.sections_running import contacts, cycling, reserve, supply
from host_sim.sizing.trade import fraction

DARCY = "Darcy-Weisbach with Colebrook; fittings Crane TP-410 (2009), fT from memory"


def all_of(result, say):
    """Return the Sections of a Result in order."""
    return [
        _inflow(result, say),
        _head(result, say),
        _pit(result, say),
        cycling(result, say),
        reserve(result, say),
        supply(result, say),
        contacts(result, say),
        covers(result, say),
    ]


def _inflow(result, say):
    design, rows = result.design, []
    for i, e in enumerate(design.estimates):
        key = f"inflow.{i + 1}"
        rows.append(Row(f"{key}.measured", f"{e.kind}: {e.how}", e.measured_m3s, "flow", source=e.source))
        rows.append(
            Row(
                f"{key}.low",
                "low estimate",
                e.low_m3s,
                "flow",
                source="root sum of squares of the measuring errors (ISO GUM)",
            )
        )
        rows.append(
            Row(
                f"{key}.high",
                "high estimate",
                e.high_m3s,
                "flow",
                source="root sum of squares of the measuring errors (ISO GUM)",
            )
        )
        name = {"wet": "weather_wet", "dry": "weather_dry", "unknown": "weather_dry"}.get(e.weather, "")
        label = f"weather factor ({e.weather})"
        rows.append(Row(f"{key}.factor", label, e.factor, "number", limit=name, source=limit_row("weather_wet").source))
        if e.conductance_m2s:
            rows.append(
                Row(
                    f"{key}.conductance",
                    "conductance of the ground",
                    e.conductance_m2s,
                    "conductance",
                    source="linear recharge",
                )
            )
    rows.append(Row("inflow.expected", "expected in the wettest week", design.expected_m3s, "flow"))
    rows.append(
        Row("inflow.margin", "margin", design.margin, "share", limit="margin", source=limit_row("margin").source)
    )
    rows.append(Row("inflow.recirculated", "part of it that is water seeping back", design.recirculated_m3s, "flow"))
    rows.append(Row("inflow.design", f"design inflow (set by the {design.by})", design.inflow_m3s, "flow"))
    return section("inflow", "Inflow", rows)


def _head(result, say):
    rows, inputs = [], result.inputs
    for p in result.points:
        key = f"head.{p.contact}.{p.which.replace(' ', '_')}"
        label = f"{p.which}, water at {p.contact} ({say(p.level_m, 'length')})"
        rows.append(Row(f"{key}.flow", f"{label}: flow", p.flow_m3s, "flow", source=DARCY))
        for n in (0, 1):
            if p.which not in (f"pump {n + 1} alone", BOTH):
                continue
            plate = inputs.plates[n]
            inside = plate.minimum_m3s <= p.through_m3s[n] <= plate.maximum_m3s * 1.001
            rows.append(
                Row(f"{key}.head_{n + 1}", f"total dynamic head of pump {n + 1}", p.tdh_m[n], "head", source=DARCY)
            )
            bounds = f"{say(plate.minimum_m3s, 'flow')} to {say(plate.maximum_m3s, 'flow')}"
            rows.append(
                Row(
                    f"{key}.through_{n + 1}",
                    f"flow through pump {n + 1} (range {bounds})",
                    p.through_m3s[n],
                    "flow",
                    limit="minimum_flow",
                    bound=(plate.minimum_m3s, plate.maximum_m3s),
                    within=inside,
                    source="data plate, or a tenth of run-out to the last point of the curve or a quarter of shut-off",
                )
            )
        for name, v in p.velocity_ms.items():
            low, high = limit("velocity_low"), limit("velocity_high")
            rows.append(
                Row(
                    f"{key}.velocity_{name.replace(' ', '_')}",
                    f"velocity in {name}",
                    v,
                    "velocity",
                    limit="velocity_low" if v < low else "velocity_high",
                    within=low <= v <= high,
                    source="Wisconsin NR 110.14; Sanks",
                )
            )
    rows += _line(result)
    rows.append(
        Row(
            "head.lag_gain",
            "flow added by the second pump",
            result.lag_gain,
            "share",
            limit="lag_gain",
            within=result.lag_gain >= limit("lag_gain"),
            source=DARCY,
        )
    )
    if result.larger is not None:
        name = f"with {fraction(result.larger.nominal_in)} pipe"
        rows.append(Row("head.larger.flow", f"{name}: one pump", result.larger.flow_m3s, "flow", source=DARCY))
        rows.append(Row("head.larger.both", f"{name}: both pumps", result.larger.both_m3s, "flow", source=DARCY))
        rows.append(
            Row("head.larger.gain", f"{name}: gain of one pump", result.larger.gain, "share", limit="pipe_pays")
        )
    shutoff, surge, rated = result.pressure
    rows.append(Row("head.shutoff_pressure", "shut-off pressure", shutoff, "pressure"))
    rows.append(
        Row(
            "head.surge",
            "surge from a slamming check valve",
            surge,
            "pressure",
            source="Joukowsky; wave speed from memory",
        )
    )
    if rated is not None:
        rows.append(
            Row(
                "head.rated_pressure",
                f"pipe pressure rating ({rated[1]})",
                rated[0],
                "pressure",
                bound=held_against(inputs.piping.material, shutoff, surge),
                within=held_against(inputs.piping.material, shutoff, surge) <= rated[0],
                source=rated[2],
            )
        )
    piping = inputs.piping
    rows.append(Row("head.material", "pipe material", piping.material, within=piping.made_for_pressure))
    return section("head", "Head and flow", rows)


def stretch(name, discharge):
    """Return the words of "riser_1", "riser_2" or "header": with no header a riser is the pump's whole line."""
    return name.replace("riser_" if discharge.header is None else "_", "line " if discharge.header is None else " ")


def _line(result):
    # Each stretch by its true inside diameter, with what its friction and its fittings cost with both pumps running.
    inputs = result.inputs
    discharge = inputs.discharge
    both = next(p for p in result.points if p.which == BOTH and p.contact == "high")
    stretches = [
        ("riser_1", discharge.risers[0], both.by_pump_m3s[0]),
        ("riser_2", discharge.risers[1], both.by_pump_m3s[1]),
    ]
    if discharge.header is not None:
        stretches.append(("header", discharge.header, both.flow_m3s))
    rows = [Row("head.line.static", "static lift, water at off", discharge.outlet_m - result.contacts[0].dry_m, "head")]
    for name, pipe, flow in stretches:
        words, key = stretch(name, discharge), f"head.line.{name}"
        bare = replace(pipe, k=0.0).loss_m(flow)
        rows.append(Row(f"{key}.inside", f"{words}: inside diameter", pipe.diameter_m, "length", source="ASTM D1785"))
        rows.append(Row(f"{key}.length", f"{words}: length", pipe.length_m, "distance"))
        rows.append(Row(f"{key}.k", f"{words}: K of fittings and valves", pipe.k, "number",
                    source="fittings Crane TP-410 (2009), fT from memory"))
        rows.append(Row(f"{key}.friction", f"{words}: pipe friction, both running", bare, "head", source=DARCY))
        rows.append(Row(f"{key}.loss", f"{words}: total loss, both running", pipe.loss_m(flow), "head", source=DARCY))
    for n in (0, 1):
        lost = both.through_m3s[n] - both.by_pump_m3s[n]
        rows.append(
            Row(
                f"head.weep_{n + 1}",
                f"flow lost through the weep hole of pump {n + 1}",
                lost,
                "flow",
                source="orifice, Cd 0.6",
            )
        )
    return rows


def _pit(result, say):
    room, inputs = result.room, result.inputs
    width = limit("pit_diameter")
    code = limit_row("pit_diameter").source
    rows = [
        Row(
            "pit.across",
            "width at the bottom",
            room.across_m,
            "length",
            limit="pit_diameter",
            within=room.across_m >= width - 1e-4,
            source=code,
        ),
        Row(
            "pit.depth",
            "depth to the floor",
            inputs.pit.floor_m,
            "length",
            limit="pit_depth",
            within=inputs.pit.floor_m >= limit("pit_depth") - 1e-4,
            source=code,
        ),
        Row("pit.volume", "volume to the floor", inputs.pit.floor_m3, "volume"),
        Row(
            "pit.needed",
            "width needed for two pumps and four floats",
            room.needed_m,
            "length",
            word="this pit,",
            bound=room.across_m,
            within=room.across_m >= room.needed_m - 1e-4,
            limit="gap",
            source="circles in a circle",
        ),
        Row(
            "pit.drain_back",
            "drain-back after a stop",
            room.drain_back_m3,
            "volume",
            limit="drain_back",
            within=room.drain_back_share <= limit("drain_back"),
        ),
        Row(
            "pit.drain_back_share",
            "drain-back as a share of the band",
            room.drain_back_share,
            "share",
            limit="drain_back",
        ),
        Row(
            "pit.uplift",
            "uplift on the pumped-down basin",
            room.uplift_kg,
            "mass",
            limit="uplift",
            word="its weight / 1.2:",
            bound=room.held_kg / limit("uplift"),
            within=inputs.basin.held_down or room.held_kg >= limit("uplift") * room.uplift_kg,
            source="Archimedes",
        ),
        Row(
            "pit.held",
            "weight of basin and pumps" + (" (rim cast into the floor)" if inputs.basin.held_down else ""),
            room.held_kg,
            "mass",
        ),
        Row("pit.cover", "cover", inputs.basin.cover, within=inputs.basin.cover == "bolted"),
    ]
    if room.entrance_m3s is not None:
        rows.append(
            Row(
                "pit.entrance",
                "flow through the basin holes",
                room.entrance_m3s,
                "flow",
                limit="entrance_head",
                bound=result.design.inflow_m3s,
                within=room.entrance_m3s >= result.design.inflow_m3s,
                source="orifice, Cd 0.6",
            )
        )
    out = inputs.outfall
    rows.append(Row("pit.outfall", "discharge to", out.to, within=out.to not in ("sanitary sewer", "unknown")))
    rows.append(
        Row(
            "pit.outfall_distance",
            "distance of the outlet from the wall",
            out.distance_m,
            "distance",
            limit="outfall_distance",
            within=out.distance_m >= limit("outfall_distance") or out.to == "storm drain",
        )
    )
    rows.append(Row("pit.recirculates", "share that seeps back", inputs.discharge.recirculated, "share"))
    return section("pit", "Pit and discharge point", rows, "The local code decides the size of a pit.")


def settings_rows(result):
    """Return [(name, value text, default text, source, meaning)] of every setting that differs from its default."""
    found = []
    for place, (row, value) in enumerate(zip(s.TABLE, result.settings, strict=True)):
        if value != row[s.DEFAULT]:
            shown = describe(place, value), describe(place, row[s.DEFAULT])
            found.append((row[s.NAME], *shown, row[s.SOURCE], row[s.MEANING]))
    return found
