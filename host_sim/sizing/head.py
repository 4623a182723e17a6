"""Head and flow: the operating points of each pump alone and of both on their real piping, and what the pipe does."""

from dataclasses import dataclass, replace

from host_sim.plant import friction, hydraulics
from host_sim.plant.discharge import Drive, Lines, Outlet
from host_sim.site import pumps as site_pumps
from host_sim.site.reader import Table
from host_sim.sizing.pipes import SURGE_SPEED, WAVE_SPEED, bore, rated

ALONE_1, ALONE_2, BOTH = "pump 1 alone", "pump 2 alone", "both"
TURNING = {ALONE_1: (True, False), ALONE_2: (False, True), BOTH: (True, True)}


@dataclass(frozen=True)
class Point:
    """One operating point: flows in m3/s by pump, heads in m, velocities in m/s by segment."""

    which: str
    contact: str
    level_m: float
    flow_m3s: float  # that leaves by the outlet
    by_pump_m3s: tuple
    through_m3s: tuple  # through each pump, the weep hole's water included
    tdh_m: tuple  # total dynamic head of each pump
    velocity_ms: dict


@dataclass(frozen=True)
class Larger:
    """What the next pipe size would give."""

    nominal_in: float
    flow_m3s: float
    both_m3s: float
    gain: float
    velocity_ms: dict


def drives(which):
    """Return the pair of Drives of "pump 1 alone", "pump 2 alone" or "both"."""
    return tuple(Drive(turning=on) for on in TURNING[which])


def velocities(discharge, by_pump_m3s):
    """Return the water's speed in m/s in each segment that carries any."""
    found = {}
    for n, flow in enumerate(by_pump_m3s):
        if flow > 0.0:
            found[f"riser {n + 1}"] = flow / discharge.risers[n].area_m2
    if discharge.header is not None and sum(by_pump_m3s) > 0.0:
        found["header"] = sum(by_pump_m3s) / discharge.header.area_m2
    return found


def point(inputs, which, contact, level_m, lines=None):
    """Return the operating Point at one level."""
    lines = lines or inputs.lines
    out_1, out_2, through_1, through_2 = lines.solve(level_m, drives(which), Outlet())
    pumps = lines.pumps
    heads = tuple(pump.curve.head_m(q) for pump, q in zip(pumps, (through_1, through_2), strict=True))
    by_pump = (out_1, out_2)
    speeds = velocities(lines.discharge, by_pump)
    return Point(which, contact, level_m, out_1 + out_2, by_pump, (through_1, through_2), heads, speeds)


def points(inputs, contacts):
    """Return all Points: each pump alone and both, at `off` (turning dry) and at `high` (turning wet)."""
    levels = (("off", contacts[0].dry_m), ("high", contacts[3].wet_m))
    return [point(inputs, which, name, level) for name, level in levels for which in TURNING]


def lag_gain(found, contact="high"):
    """Return what the second pump adds, as a share of the better pump's flow alone."""
    flows = {p.which: p.flow_m3s for p in found if p.contact == contact}
    best = max(flows[ALONE_1], flows[ALONE_2])
    return flows[BOTH] / best - 1.0 if best > 0.0 else 0.0


def next_size(nominal_in):
    """Return the next larger nominal size that is listed, or None."""
    larger = [size for size in hydraulics.TURBULENT_FRICTION if size > nominal_in + 1e-6]
    return min(larger) if larger else None


def resized(data, nominal_in):
    """Return the edits that put all of the discharge into one nominal size of the same material."""
    edits = {}
    now = bore(nominal_in, data.get("sizing", {}).get("piping", {}).get("material"))
    for key in ("riser", "riser1", "riser2", "header"):
        if key in data["discharge"]:
            edits[f"discharge.{key}.pipe"] = now.get("pipe")
            edits[f"discharge.{key}.diameter"] = now.get("diameter")
    return edits


def with_pipe(inputs, nominal_in):
    """Return Lines with every pipe of the discharge in one nominal size."""
    from host_sim.sizing.document import edited

    data = edited(inputs.data, resized(inputs.data, nominal_in))
    discharge = site_pumps.read_discharge(Table(data["discharge"], "discharge", []))
    return Lines(inputs.pit, inputs.pumps, discharge)


def smallest_nominal(inputs):
    """Return the nominal size of the narrowest pipe of the discharge, the nearest below where a diameter is given."""
    if None not in _sizes(inputs):
        return min(_sizes(inputs))
    pipes = [*inputs.discharge.risers, *([inputs.discharge.header] if inputs.discharge.header else [])]
    narrowest = min(pipe.diameter_m for pipe in pipes)
    sizes = [s for s in hydraulics.TURBULENT_FRICTION if hydraulics.pipe_diameter_m(s) <= narrowest * 1.001]
    return max(sizes) if sizes else min(hydraulics.TURBULENT_FRICTION)


def larger(inputs, contacts, found):
    """Return what the next pipe size would give at `high`, or None where there is none larger."""
    size = next_size(smallest_nominal(inputs))
    if size is None:
        return None
    lines = with_pipe(inputs, size)
    level = contacts[3].wet_m
    alone = [point(inputs, which, "high", level, lines) for which in (ALONE_1, ALONE_2)]
    both = point(inputs, BOTH, "high", level, lines)
    now = {p.which: p.flow_m3s for p in found if p.contact == "high"}
    weaker = min(alone, key=lambda p: p.flow_m3s)
    before = now[weaker.which]
    gain = weaker.flow_m3s / before - 1.0 if before > 0.0 else 1.0
    return Larger(size, weaker.flow_m3s, both.flow_m3s, gain, both.velocity_ms)


def worn(inputs, share):
    """Return Lines whose pumps have lost a share of head and flow."""
    pumps = tuple(replace(p, curve=p.curve.scaled(1.0 - share, 1.0 - share)) for p in inputs.pumps)
    return Lines(inputs.pit, pumps, inputs.discharge)


def pressure(inputs, found):
    """Return (shut-off pressure in Pa, surge of a valve that slams in Pa, rating).

    The rating is (pressure in Pa, what it holds for, source) of the widest pipe,
    which holds least, None where it is not listed.  Surge by Joukowsky:
    density * wave speed * velocity.
    """
    shutoff = max(p.curve.shutoff_m for p in inputs.pumps) * hydraulics.DENSITY * friction.G
    fastest = max((v for p in found for v in p.velocity_ms.values()), default=0.0)
    surge = hydraulics.DENSITY * WAVE_SPEED.get(inputs.piping.material, SURGE_SPEED) * fastest
    held = [rated(inputs.piping.material, size) for size in _sizes(inputs)]
    return shutoff, surge, None if None in held else min(held)


def _sizes(inputs):
    # Nominal sizes of all pipes of the discharge, None where only a diameter is known.
    return [size for name, size in inputs.piping.nominal_in.items()
            if name != "header" or inputs.discharge.header is not None]  # fmt: skip


def curves(inputs, contacts, steps=40):
    """Return the curves of the chart at `high`: each a list of (flow m3/s, head m).

    Pumps are drawn by what they deliver past their weep holes.  With a shared
    header they are drawn less the losses of their own risers, so that they meet
    the header's curve exactly; with lines of their own, each meets its line's.
    """
    level = contacts[3].wet_m
    static = inputs.discharge.outlet_m - level
    header = inputs.discharge.header
    top = 1.05 * sum(p.curve.runout_m3s for p in inputs.pumps)

    def pump_curve(n):
        # What the pump delivers past its weep hole, at the head that is left for the rest of the line.
        pump = inputs.pumps[n]
        riser = inputs.discharge.risers[n] if header is not None else None
        rows = []
        for i in range(steps + 1):
            through = pump.curve.runout_m3s * i / steps
            rise = pump.curve.head_m(through)
            delivered = through - friction.orifice_m3s(pump.weep_m2, rise)
            if delivered >= 0.0:
                rows.append((delivered, rise - (riser.loss_m(delivered) if riser else 0.0)))
        return [row for row in rows if row[1] >= 0.0]

    found = {"pump 1": pump_curve(0), "pump 2": pump_curve(1)}
    if header is not None:
        found["both pumps"] = _added(found["pump 1"], found["pump 2"])
        found["system"] = _system(static, [header], top, steps)
    else:
        for n in (0, 1):
            name = "system" if inputs.discharge.risers[0] == inputs.discharge.risers[1] else f"line {n + 1}"
            found[name] = _system(static, [inputs.discharge.risers[n]], top, steps)
    return found


def _system(static, pipes, top, steps):
    return [(top * i / steps, hydraulics.system_head_m(static, pipes, top * i / steps)) for i in range(steps + 1)]


def _flow_at(curve, head):
    for (q0, h0), (q1, h1) in zip(curve, curve[1:], strict=False):
        if h1 <= head <= h0:
            return q0 + (q1 - q0) * (h0 - head) / (h0 - h1) if h0 > h1 else q1
    return 0.0 if curve and head > curve[0][1] else (curve[-1][0] if curve else 0.0)


def _added(one, two):
    # Two pumps side by side: flows are added at equal heads.
    heads = sorted({h for _, h in one} | {h for _, h in two}, reverse=True)
    return [(_flow_at(one, h) + _flow_at(two, h), h) for h in heads]
