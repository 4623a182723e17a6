"""The rows of the report for cycling, reserve, supply and contacts."""

from duplexsump.control import settings as s

from host_sim.sizing.battery import gas_m3s, vent_m2
from host_sim.sizing.contacts import NAMES
from host_sim.sizing.limits import (
    AMPACITY_SOURCE,
    CHEMISTRY,
    COLD_SOURCE,
    FUSE_SOURCE,
    FUSES_SOURCE,
    GAS_SOURCE,
    NEMA_STARTS,
    STATION_CYCLES,
    at_limit,
    limit,
)
from host_sim.sizing.limits import row as limit_row
from host_sim.sizing.report.rows import Row, section

CYCLE = "T = V/Q + V/(Qp-Q), US Army EI 11C201"


def _fuse_word(wires):
    # What the fuse that is there is worth.
    if wires.fuse_given_a is None:
        return "given"
    if wires.fuse_given_a > wires.ampacity_a:
        return "more than the cable carries: given"
    return "may blow: given" if wires.fuse_given_a < wires.fuse_a else "good, the cable carries it: given"


def cycling(result, say):
    turns, starts = result.cycling, result.starts
    allowed = min(plate.starts_per_hour for plate in result.inputs.plates)
    least_run = max(plate.least_run_s for plate in result.inputs.plates)
    least_rest = max(plate.least_rest_s for plate in result.inputs.plates)
    rest = turns.shortest_fill_s(result.design.inflow_m3s)
    rows = [
        Row("cycling.band", "pumped band (off to lead)", turns.band_m3, "volume"),
        Row("cycling.displaced", "pump bodies in that band, taken off for the starts", result.displaced_m3, "volume",
            source="bodies 1.3 times as tall as wide: our own choice, no source"),
        Row("cycling.rate_1", "pump 1, mean flow over the band", turns.rate_m3s(0), "flow"),
        Row("cycling.rate_2", "pump 2, mean flow over the band", turns.rate_m3s(1), "flow"),
        Row(
            "cycling.time_design",
            "shortest cycle time, up to the design inflow",
            turns.time_s(result.worst["design"]),
            "seconds",
            source=CYCLE,
        ),
        Row("cycling.inflow_design", "inflow at that cycle time", result.worst["design"], "flow"),
        Row(
            "cycling.time_anywhere",
            "shortest cycle time, any inflow",
            turns.time_s(result.worst["anywhere"]),
            "seconds",
            source="4V/Qp, US Army EI 11C201",
        ),
        Row("cycling.inflow_anywhere", "inflow at that cycle time", result.worst["anywhere"], "flow"),
        Row(
            "cycling.starts_design",
            "starts per hour of each motor, up to the design inflow",
            starts["design"],
            "number",
            limit="starts",
            bound=allowed,
            within=None if at_limit(starts["design"], allowed) else starts["design"] <= allowed,
            at_limit=at_limit(starts["design"], allowed),
            source=limit_row("starts").source,
        ),
        Row(
            "cycling.starts_anywhere",
            "starts per hour of each motor, any inflow",
            starts["anywhere"],
            "number",
            limit="starts",
            bound=allowed,
            within=None,
        ),
        Row(
            "cycling.starts_alone",
            "starts per hour with one pump out, up to the design inflow",
            starts["alone design"],
            "number",
            limit="starts",
            bound=allowed,
            within=None if at_limit(starts["alone design"], allowed) else starts["alone design"] <= allowed,
            at_limit=at_limit(starts["alone design"], allowed),
        ),
        Row(
            "cycling.starts_alone_anywhere",
            "starts per hour with one pump out, any inflow",
            starts["alone anywhere"],
            "number",
            limit="starts",
            bound=allowed,
        ),
        Row(
            "cycling.run",
            "shortest run (no inflow)",
            min(turns.run_empty_s(n) for n in (0, 1)),
            "seconds",
            limit="least_run",
            bound=least_run,
            within=min(turns.run_empty_s(n) for n in (0, 1)) >= least_run,
            source=limit_row("least_run").source,
        ),
        Row(
            "cycling.rest",
            "shortest off time with one pump out, up to the design inflow",
            rest,
            "seconds",
            limit="least_rest",
            bound=least_rest,
            within=rest >= least_rest,
            source=limit_row("least_rest").source,
        ),
        Row("cycling.duty", "duty", ("alternate", "fixed", "run-time balancing")[result.settings[s.DUTY]]),
    ]
    said = "; ".join(f"{text} ({source})" for text, source in STATION_CYCLES)
    small = [(poles, *found) for (hp, poles), found in NEMA_STARTS.items() if hp == 1.0]
    table = ", ".join(f"{poles} poles {most:g} and {rest} s" for poles, most, rest in small)
    note = f"For comparison, lift stations: {said}; three-phase, 1 hp: most starts per hour and least rest "
    note += f"between them: {table} (NEMA MG 10-2001, table 2-3). Small single-phase motors stand in no table."
    return section("cycling", "Cycling", rows, note)


def reserve(result, say):
    reserve, inflow, floor = result.reserve, result.design.inflow_m3s, result.inputs.pit.floor_m
    rows = [
        Row(
            "reserve.one",
            "weaker pump alone, water at high",
            reserve.one_m3s,
            "flow",
            bound=inflow,
            word="design inflow",
            within=reserve.one_m3s >= inflow,
            source="each pump carries the peak alone: Wisconsin NR 110.14",
        ),
        Row("reserve.carried", "weaker pump / design inflow", reserve.carried, "number"),
        Row(
            "reserve.both",
            "both pumps, water at high",
            reserve.both_m3s,
            "flow",
            bound=inflow,
            word="design inflow",
            within=reserve.both_m3s >= inflow,
        ),
        Row(
            "reserve.worn",
            "weaker pump after 10 % of wear",
            reserve.worn_m3s,
            "flow",
            limit="wear",
            bound=inflow,
            word="design inflow",
            within=reserve.worn_m3s >= inflow,
            source=limit_row("wear").source,
        ),
    ]
    for i, wait in enumerate(reserve.waits):
        label = f"{wait.what} ({say(wait.seconds, 'seconds')} without a pump): water rises to"
        rows.append(
            Row(
                f"reserve.wait_{i + 1}",
                label,
                wait.level_m,
                "length",
                bound=floor,
                word="floor",
                within=wait.level_m <= floor,
                source="the controller's settings",
            )
        )
    rows += [
        Row("reserve.one_fails", "time from high to floor, one pump running", reserve.one_fails_s, "time"),
        Row("reserve.none_runs", "time from high to floor, no pump running", reserve.none_runs_s, "time"),
        _cut(result),
    ]
    words = {
        "flow": "inflow",
        "rate": "rain",
        "length": "rain in a day",
        "distance": "water table above the bottom",
    }
    for which, storms in (("one pump", reserve.one_overwhelmed), ("both pumps", reserve.both_overwhelmed)):
        for i, (kind, value) in enumerate(storms):
            key = f"reserve.overwhelms_{which.split()[0]}_{i + 1}"
            rows.append(
                Row(
                    key,
                    f"{words[kind]} that {which} can just carry",
                    value,
                    kind,
                )
            )
    return section("reserve", "Reserve", rows)


def _cut(result):
    # With a pump on a battery or a generator a power failure is no wait for a person.
    label, seconds = "time from lead to floor, no pump running", result.reserve.lead_to_floor_s
    if any(pump.supply != "mains" for pump in result.inputs.pumps) or result.inputs.supply.generator is not None:
        return Row("reserve.cut", label, seconds, "time")
    return Row("reserve.cut", f"{label} (longest power failure)", seconds, "time", limit="time_to_floor",
               word="time to wake and act", within=seconds >= limit("time_to_floor"),
               source=limit_row("time_to_floor").source)  # fmt: skip


def supply(result, say):
    power, held, wires = result.inputs.power, result.stored, result.wires
    rows = [Row("supply.circuits", "branch circuits", power.circuits, within=power.circuits == "separate")]
    if held is None:
        rows.append(Row("supply.battery", "battery", "none", within=None))
    else:
        rows += _battery(result, held)
        battery_drop = limit("cable_drop")
        rows += [
            Row(
                "supply.drop",
                f"voltage drop of {power.cable_awg} AWG cable, {say(power.cable_m, 'distance')} one way",
                wires.drop,
                "share",
                limit="cable_drop",
                within=wires.drop <= battery_drop,
                source="I x R of copper, IEC 60028",
            ),
            Row(
                "supply.gauge",
                "thinnest cable allowed (AWG)",
                "none" if wires.gauge_needed is None else str(wires.gauge_needed),
                source=AMPACITY_SOURCE,
            ),
            Row(
                "supply.fuse",
                "battery fuse",
                wires.fuse_a,
                "current",
                bound=wires.fuse_given_a,
                word=_fuse_word(wires),
                within=wires.fuse_given_a is not None,
                source=f"{FUSE_SOURCE}; {FUSES_SOURCE}",
            ),
            Row("supply.room", "battery room", f"{power.room}, {'vented' if power.vented else 'closed'}"),
        ]
    asked = bool(power.generator_w) or result.inputs.supply.generator is not None
    inverter = result.inputs.supply.inverter is not None
    starting = [
        Row("supply.surge", "starting power of one motor", wires.surge_w, "power", limit="locked_rotor",
            source=limit_row("locked_rotor").source),
        Row("supply.inverter", "inverter surge rating", wires.inverter_w, "power", bound=wires.surge_w, word="start",
            source="data plate"),
        Row(
            "supply.generator",
            "generator size needed",
            wires.generator_w,
            "power",
            limit="generator_spare",
            bound=power.generator_w,
            word="given",
            source=f"one start while the rest runs; {limit_row('generator_spare').source}",
        ),
    ]
    fitted = {"supply.surge": asked or inverter, "supply.inverter": inverter, "supply.generator": asked}
    rows += [row for row in starting if fitted[row.key]]
    return section("supply", "Battery and supply", rows)


def _battery(result, held):
    rows, power = [], result.inputs.power
    exponent, depth = CHEMISTRY[power.chemistry][3], CHEMISTRY[power.chemistry][1]
    air = gas_m3s(result.inputs.supply.battery.capacity_as, power.chemistry, power.cells)
    for name, one in (("expected", result.stored_expected), ("design", held)):
        at = f"at the {name} inflow"
        rows += [
            Row(f"supply.{name}.duty", f"duty cycle of pump {one.pump}, {at}", one.duty, "share",
                source="inflow over the pump's rate"),
            Row(f"supply.{name}.amps", "battery current at this flow, under the plate's", one.amps, "current",
                source="data plate, by the load at this flow"),
            Row(
                f"supply.{name}.shortest",
                f"battery run time to plan on, {at}: low",
                one.shortest_s,
                "time",
                limit="wanted",
                bound=result.inputs.power.wanted_s,
                word="wanted",
                within=one.shortest_s >= result.inputs.power.wanted_s if name == "design" else None,
                source=f"Peukert (1897), at the running and the mean current; {exponent}",
            ),
            Row(
                f"supply.{name}.longest",
                f"battery run time to plan on, {at}: high",
                one.longest_s,
                "time",
                source=f"Peukert (1897), at the running and the mean current; {exponent}",
            ),
            Row(f"supply.{name}.label_low", f"new, warm battery run flat, {at}: low", one.label_s[0], "time",
                source="Peukert (1897) on the label's charge"),
            Row(f"supply.{name}.label_high", f"new, warm battery run flat, {at}: high", one.label_s[1], "time",
                source="Peukert (1897) on the label's charge"),
        ]
    rows += [
        Row(
            "supply.share",
            "usable share of the charge (age, cold, depth)",
            held.share,
            "share",
            limit="ageing",
            source=f"{limit_row('ageing').source}; {COLD_SOURCE}; depth: {limit_row(depth).source}",
        ),
        Row(
            "supply.needed",
            "battery needed for the wanted time",
            held.needed_as,
            "charge",
            bound=result.inputs.supply.battery.capacity_as,
            word="given",
            source="Peukert (1897), solved for the charge",
        ),
        Row(
            "supply.air",
            "fresh air while charging",
            air,
            "air",
            within=power.vented or not CHEMISTRY[power.chemistry][2],
            source=GAS_SOURCE,
        ),
        Row(
            "supply.vent",
            "free area of each vent, one low and one high",
            vent_m2(air),
            "opening",
            source="IEC 62485-2:2010, 7.3: 28 cm2 for each m3/h, as quoted in the trade",
        ),
        Row(
            "supply.recharge",
            "recharge time from empty",
            held.recharge_s,
            "time",
            limit="recharge",
            within=held.recharge_s <= limit("recharge"),
            source=limit_row("recharge").source,
        ),
    ]
    return rows


def float_words(floats, say):
    """Return what tells the levels, in words."""
    travel = f"{say(floats.travel_m, 'length')} travel"
    if floats.kind == "transmitter":
        return f"level transmitter, and a vertical float for high ({travel})"
    return f"{floats.kind} floats, {travel}"


def contacts(result, say):
    rows = []
    for name, contact, best in zip(NAMES, result.contacts, result.recommended, strict=True):
        rows.append(
            Row(
                f"contacts.{name}.wet",
                f"{name} turns wet at",
                contact.wet_m,
                "length",
                bound=best.wet_m,
                word="recommended",
            )
        )
        rows.append(
            Row(
                f"contacts.{name}.dry",
                f"{name} turns dry at",
                contact.dry_m,
                "length",
                bound=best.dry_m,
                word="recommended",
            )
        )
    floats = result.inputs.floats
    rows.append(Row("contacts.floats", "floats", float_words(floats, say)))
    rows.append(Row("contacts.step", "minimum step between contacts", limit("step"), "length", limit="step"))
    rows.append(
        Row(
            "contacts.freeboard",
            "height from high to floor",
            result.inputs.pit.floor_m - result.contacts[3].wet_m,
            "length",
            limit="freeboard",
            within=result.inputs.pit.floor_m - result.contacts[3].wet_m >= limit("freeboard") - 2e-4,
        )
    )
    dry = {
        s.SENSE_NOTHING: "off contact and time limits only",
        s.SENSE_FEEDBACK: "off contact and time limits only",
        s.SENSE_CURRENT: "off contact, and motor current below underload",
    }
    rows.append(Row("contacts.dry_run", "dry-run protection", dry[result.settings[s.SENSING]]))
    given = (
        "as given"
        if result.contacts_given
        else "recommended: off as low as inlet and motor allow, high a freeboard below the floor"
    )
    return section("contacts", "Contacts", rows, f"Heights above the bottom of the pit, {given}.")
