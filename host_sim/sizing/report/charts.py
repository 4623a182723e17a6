"""The page's charts: pump and system curves with the operating points, and cycle time against inflow.

All words stand in the legend above the chart, where they cannot meet a curve or each other.
"""

from math import isfinite

from matplotlib.ticker import MaxNLocator

from host_sim.sizing.head import ALONE_1, ALONE_2, BOTH
from host_sim.sizing.report.figure import FAINT, INK, LINES, blank, styled

WIDTH_PT, HEIGHT_PT = 300.0, 232.0
LEFT_PT, LOW_PT, ACROSS_PT, UP_PT = 44.0, 38.0, 246.0, 118.0  # of the axes; the legend has the rest above them
MARKERS = ("o", "s", "^")
FARTHEST = 2.5  # a design inflow beyond so many times what a pump moves would squeeze the chart


@styled
def curves_chart(page, say):
    """Return the figure of pump and system curves with the operating points at high."""
    curves = page.curves
    figure, axes = _axes(f"flow, {say.unit('flow')}", f"head, {say.unit('head')}")
    same = curves["pump 1"] == curves["pump 2"]
    drawn = {("one pump" if name == "pump 1" and same else name): points for name, points in curves.items()}
    if same:
        del drawn["pump 2"]
    for (label, points), (color, dash) in zip(drawn.items(), LINES, strict=False):
        flows, heads = [say.number(q, "flow") for q, _ in points], [say.number(h, "head") for _, h in points]
        axes.plot(flows, heads, color=color, linestyle=dash, linewidth=1.6, label=label)
    for marker, (what, flow_m3s, head_m) in zip(MARKERS, operating_points(page), strict=False):
        label = f"{what}: {say(flow_m3s, 'flow')} at {say(head_m, 'head')}"
        _dot(axes, say.number(flow_m3s, "flow"), say.number(head_m, "head"), marker, label)
    most = max(page.result.flow(BOTH), *(q for name in ("pump 1", "pump 2") for q, _ in curves[name]))
    axes.set_xlim(0.0, 1.08 * say.number(most, "flow"))
    axes.set_ylim(0.0, 1.08 * max(say.number(h, "head") for name in ("pump 1", "pump 2") for _, h in curves[name]))
    _legend(axes)
    return figure


def operating_points(page):
    """Return [(what, flow m3/s, head m)] of the operating points that the chart marks, water at high."""
    result = page.result
    shared = result.inputs.discharge.header is not None
    same = page.curves["pump 1"] == page.curves["pump 2"]
    found = []
    for which in (ALONE_1, ALONE_2, BOTH):
        if (which == ALONE_2 and same) or (which == BOTH and not shared):
            continue
        p = next(x for x in result.points if x.which == which and x.contact == "high")
        word = "one pump" if which == ALONE_1 and same else which.replace(" alone", "")
        found.append(("both pumps" if which == BOTH else word, p.flow_m3s, _meeting_head(result, p, shared)))
    return found


def _meeting_head(result, p, shared):
    # Where the drawn curves meet: at the junction of a shared header, else at the pump.
    static = result.inputs.discharge.outlet_m - p.level_m
    if shared:
        return static + result.inputs.discharge.header.loss_m(p.flow_m3s)
    n = 0 if p.by_pump_m3s[0] > 0.0 else 1
    return static + result.inputs.discharge.risers[n].loss_m(p.by_pump_m3s[n])


@styled
def cycle_chart(page, say):
    """Return the figure of cycle time against inflow, with its shortest, the design inflow and the motors' limit."""
    result = page.result
    turns, starts = result.cycling, min(plate.starts_per_hour for plate in result.inputs.plates)
    allowed = 3600.0 / starts / (2.0 if turns.alternates else 1.0)
    worst, design = result.worst["anywhere"], result.design.inflow_m3s
    shortest = turns.time_s(worst)
    points = [(say.number(q, "flow"), t) for q, t in page.cycle_curve["cycle"] if isfinite(t)]
    figure, axes = _axes(f"inflow, {say.unit('flow')}", "time from start to start, s")
    color, dash = LINES[0]
    axes.plot(*zip(*points, strict=True), color=color, linestyle=dash, linewidth=1.6, label="cycle time")
    color, dash = LINES[1]
    words = f"shortest for {starts:g} starts/h of each motor: {allowed:.0f} s"
    axes.axhline(allowed, color=color, linestyle=dash, linewidth=1.3, label=words)
    top, at = points[-1][0], say.number(design, "flow")
    color, dash = LINES[3]
    words = f"design inflow {say(design, 'flow')}"
    if at <= FARTHEST * top:
        axes.axvline(at, color=color, linestyle=dash, linewidth=1.3, label=words)
        top = max(top, 1.05 * at)
    else:
        axes.plot([], [], linestyle="none", label=f"{words}: off the chart")
    _dot(axes, say.number(worst, "flow"), shortest, "o", f"shortest: {shortest:.0f} s at {say(worst, 'flow')}")
    axes.set_xlim(0.0, 1.02 * top)
    axes.set_ylim(0.0, max(5.0 * shortest, 1.4 * allowed))
    _legend(axes)
    return figure


def _axes(across, up):
    figure = blank(WIDTH_PT, HEIGHT_PT)
    axes = figure.add_axes((LEFT_PT / WIDTH_PT, LOW_PT / HEIGHT_PT, ACROSS_PT / WIDTH_PT, UP_PT / HEIGHT_PT))
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(6, steps=(1, 2, 5, 10)))
    axes.set_xlabel(across)
    axes.set_ylabel(up)
    axes.tick_params(length=0.0, pad=6.0, labelcolor=FAINT)
    return figure, axes


def _dot(axes, x, y, marker, label):
    axes.plot([x], [y], marker, color=INK, markersize=6.5, markeredgecolor="white", label=label, zorder=5)


def _legend(axes):
    # One word a line, so that a long one has room in either system of units.
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.01), frameon=False, ncols=1, borderaxespad=0.0,
                handlelength=3.0, labelspacing=0.25, fontsize=8)  # fmt: skip
