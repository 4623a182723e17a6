"""The drawings of the page: curves, cycle time, and the pit to scale with its contacts."""

from math import isfinite

from host_sim.sizing.contacts import NAMES
from host_sim.sizing.head import ALONE_1, ALONE_2, BOTH
from host_sim.sizing.report.svg import COLOURS, FAINT, INK, Chart, line, text

EARTH, WATER, CONCRETE, PUMP = "#e8e0d3", "#cfe4f5", "#bfc4c9", "#6f7c88"


def curves_chart(page, say):
    """Return the SVG of pump and system curves with the operating points at high."""
    result, curves = page.result, page.curves
    flow, head = (lambda q: say.number(q, "flow")), (lambda h: say.number(h, "head"))
    most_flow = 1.12 * max(flow(result.flow(BOTH)), max(flow(q) for q, _ in curves["pump 1"]))
    if "both pumps" not in curves:
        most_flow = 1.05 * max(flow(q) for name in ("pump 1", "pump 2") for q, _ in curves[name])
    most_head = 1.08 * max(head(h) for name in ("pump 1", "pump 2") for _, h in curves[name])
    chart = Chart(f"flow, {say.unit('flow')}", f"head, {say.unit('head')}", most_flow, most_head)
    same = curves["pump 1"] == curves["pump 2"]
    drawn = []
    for name, points in curves.items():
        if name == "pump 2" and same:
            continue
        label = "one pump" if name == "pump 1" and same else name
        drawn.append((label, points))
    for index, (label, points) in enumerate(drawn):
        chart.curve([(flow(q), head(h)) for q, h in points], label, index)
    for letter, _, flow_m3s, level in marked_points(page):
        chart.letter(flow(flow_m3s), head(level), letter)
    return chart.svg("pump and system curves")


def marked_points(page):
    """Return [(letter, what, flow m3/s, head m)] of the operating points that the chart marks, water at high."""
    result = page.result
    shared = result.inputs.discharge.header is not None
    same = page.curves["pump 1"] == page.curves["pump 2"]
    found = []
    for which in (ALONE_1, ALONE_2, BOTH):
        if (which == ALONE_2 and same) or (which == BOTH and not shared):
            continue
        p = next(x for x in result.points if x.which == which and x.contact == "high")
        word = "one pump" if which == ALONE_1 and same else which.replace(" alone", "")
        found.append(("ABC"[len(found)], word, p.flow_m3s, _meeting_head(page, p, shared)))
    return found


def _meeting_head(page, p, shared):
    # Where the drawn curves meet: at the junction of a shared header, else at the pump.
    result = page.result
    static = result.inputs.discharge.outlet_m - p.level_m
    if shared:
        return static + result.inputs.discharge.header.loss_m(p.flow_m3s)
    n = 0 if p.by_pump_m3s[0] > 0.0 else 1
    return static + result.inputs.discharge.risers[n].loss_m(p.by_pump_m3s[n])


def cycle_chart(page, say):
    """Return the SVG of cycle time against inflow, with its worst point, the design inflow and the motors' limit."""
    result = page.result
    turns, starts = result.cycling, min(plate.starts_per_hour for plate in result.inputs.plates)
    allowed = 3600.0 / starts / (2.0 if turns.alternates else 1.0)
    shortest = turns.time_s(result.worst["anywhere"])
    points = [(q, t) for q, t in page.cycle_curve["cycle"] if isfinite(t)]
    most = max(5.0 * shortest, 1.4 * allowed)
    chart = Chart(f"inflow, {say.unit('flow')}", "time from start to start, s", say.number(points[-1][0], "flow"), most)
    chart.curve([(say.number(q, "flow"), t) for q, t in points], "cycle time", 0)
    words = f"below this more than {starts:g} starts an hour of each motor"
    chart.level(allowed, words)
    design = result.design.inflow_m3s
    if say.number(design, "flow") <= chart.most[0]:
        chart.upright(say.number(design, "flow"), f"design {say(design, 'flow')}", 2)
    at = result.worst["anywhere"]
    chart.mark(
        say.number(at, "flow"), shortest, f"shortest {shortest:.0f} s at {say(at, 'flow')}", "right", True, (0, 20)
    )
    return chart.svg("cycle time against inflow")


def pit_drawing(page, say, width=430):
    """Return the SVG of the pit in section, to scale: pumps, floats, water at lead, floor, intake."""
    result = page.result
    inputs, pit = result.inputs, result.inputs.pit
    spans = [_span(inputs, h) for h in _heights(pit)]
    scale = min(235.0 / max(spans), 430.0 / (1.15 * pit.floor_m))
    top = 40.0
    bottom, middle = top + pit.floor_m * scale, 24.0 + max(spans) * scale / 2.0 + 26.0
    height = bottom + 50.0

    def y(level):
        return bottom - level * scale

    def half(level):
        return _span(inputs, level) * scale / 2.0

    right = middle + max(spans) * scale / 2.0 + 26.0
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height:.0f}" role="img" '
        'font-family="Helvetica, Arial, sans-serif"><title>the pit to scale</title>'
    ]
    out.append(_box(24.0, top, right - 24.0, bottom + 14.0 - top, EARTH))
    out.append(_box(24.0, top, right - 24.0, 10.0, CONCRETE))
    out.append(_outline(_heights(pit), middle, half, y, f'fill="white" stroke="{INK}" stroke-width="2.2"'))
    lead = result.contacts[1].wet_m
    water = [h for h in _heights(pit) if h < lead] + [lead]
    out.append(_outline(water, middle, half, y, f'fill="{WATER}"'))
    out += _pumps(result, middle, half, y, scale)
    out += _lines(result, say, middle, half, y, right)
    out += _floats(result, middle, y, scale)
    out.append(text(middle, bottom + 32, f"{say(inputs.diameter_m, 'length')} across at the bottom", 12, "middle"))
    out.append(_ruler(say, scale, right + 8, bottom + 30))
    return "\n".join([*out, "</svg>"])


def _span(inputs, level):
    area = inputs.pit.area_m2(min(level, inputs.pit.floor_m - 1e-6))
    return area**0.5 if inputs.shape == "square" else (4.0 * area / 3.14159265) ** 0.5


def _box(x, y, across, down, colour, more=""):
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{across:.1f}" height="{down:.1f}" fill="{colour}" {more}/>'


def _outline(heights, middle, half, y, style):
    points = [(middle - half(h), y(h)) for h in heights] + [(middle + half(h), y(h)) for h in heights[::-1]]
    return f'<polygon points="{" ".join(f"{px:.1f},{py:.1f}" for px, py in points)}" {style}/>'


def _floats(result, middle, y, scale):
    # The floats hang on one rod between the pumps, each at the height at which it turns.
    across, out = max(6.0, 0.03 * scale), [line(middle, y(result.inputs.pit.floor_m) - 12, middle, y(0.02), INK, 1.4)]
    for i, contact in enumerate(result.contacts):
        level = contact.dry_m if i == 0 else contact.wet_m
        colour = COLOURS[(2, 0, 3, 1)[i]]
        size = f'rx="{across:.1f}" ry="{across * 0.62:.1f}"'
        style = f'fill="{colour}" stroke="white" stroke-width="1.2"'
        out.append(f'<ellipse cx="{middle:.1f}" cy="{y(level):.1f}" {size} {style}/>')
    return out


def _heights(pit):
    count = 12
    return [pit.floor_m * i / count for i in range(count + 1)]


def _pumps(result, middle, half, y, scale):
    out, inputs = [], result.inputs
    for n, side in ((0, -1), (1, 1)):
        pump, plate = inputs.pumps[n], inputs.plates[n]
        body = min(plate.body_m * scale, half(0.0) - 3.0)
        centre = middle + side * (half(0.0) - body / 2.0 - 3.0)
        tall = min(max(plate.covered_m + 0.05, 1.3 * plate.body_m), 0.75 * inputs.pit.floor_m)
        x0, y0 = centre - body / 2.0, y(tall)
        foot = 0.6 * (y(0.0) - y(pump.intake_m))
        rim = y(inputs.pit.floor_m) - 26.0
        pipe = max(4.0, inputs.discharge.risers[n].diameter_m * scale)
        edge = f'stroke="{INK}" stroke-width="0.7"'
        out.append(_box(centre - pipe / 2.0, rim, pipe, y0 - rim, "#aab4bd", edge))
        out.append(_box(x0, y0, body, y(0.0) - y0 - foot, PUMP, 'rx="6" fill-opacity="0.85"'))
        for leg in (-0.35, 0.35):
            out.append(line(centre + leg * body, y(0.0) - foot, centre + leg * body, y(0.0), INK, 2))
        out.append(text(centre - side * 0.2 * body, y0 + 20.0, str(n + 1), 14, "middle", "white", True))
    return out


def _lines(result, say, middle, half, y, right):
    inputs, rows = result.inputs, []
    for i, (name, contact) in enumerate(zip(NAMES, result.contacts, strict=True)):
        level = contact.dry_m if name == "off" else contact.wet_m
        rows.append((level, f"{name} {say(level, 'length')}", COLOURS[(2, 0, 3, 1)[i]], True))
    rows.append((inputs.pit.floor_m, f"floor {say(inputs.pit.floor_m, 'length')}", INK, True))
    rows.append((inputs.pumps[0].intake_m, f"intake {say(inputs.pumps[0].intake_m, 'length')}", FAINT, False))
    if inputs.basin.inlet_m is not None:
        rows.append((inputs.basin.inlet_m, f"drain runs in {say(inputs.basin.inlet_m, 'length')}", FAINT, False))
    out, last = [], None
    for level, words, colour, bold in sorted(rows, key=lambda row: row[0]):
        at = y(level)
        label = at if last is None else min(at, last - 15.0)
        last = label
        left = middle + half(level) if words.startswith("floor") else middle - half(level)
        out.append(line(left, at, right - 12, at, colour, 1.6 if bold else 1.0, "" if bold else "3 3"))
        out.append(line(right - 12, at, right + 6, label, colour, 1.0))
        out.append(text(right + 10, label + 4, words, 12.5, "start", colour, bold))
    return out


def _ruler(say, scale, x, y):
    length, words = (0.1524, "6 in") if say.system == "us" else (0.1, "100 mm")
    span = length * scale
    return (
        line(x, y, x + span, y, INK, 1.6) + line(x, y - 4, x, y + 4, INK, 1.6)
        + line(x + span, y - 4, x + span, y + 4, INK, 1.6) + text(x + span / 2, y - 7, words, 11, "middle")
    )  # fmt: skip
