"""The strip chart of a night: level, inflow and a lane for everything that was on or off, under one clock.

The picture is meant to be read alone and in black and white: every line and
bar is named where it stands, hatches and line styles carry what colours do,
and no label lies on another.
"""

import logging
import math

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from host_sim.report.clock import DAY_S, HOUR_S, Clock
from host_sim.report.lanes import bar_texts, groups
from host_sim.report.panels import GROUND, Level, battery, inflow, note
from host_sim.report.series import spread
from host_sim.report.verdict import verdict

# The first picture on a new machine makes matplotlib look for fonts; nobody needs to be told.
logging.getLogger("matplotlib.font_manager").setLevel(logging.ERROR)

WIDTH_IN = 12.0
LEFT_IN, RIGHT_IN, TOP_IN, BOTTOM_IN = 2.6, 1.75, 1.08, 0.62
PANEL_IN = WIDTH_IN - LEFT_IN - RIGHT_IN
LEVEL_IN, INFLOW_IN, BATTERY_IN, LANE_IN, GAP_IN, HEAD_IN = 3.5, 0.95, 0.6, 0.26, 0.2, 0.24
DOTS_PER_INCH = 150
CLOCK_STEPS_S = [
    *(minutes * 60 for minutes in (1, 2, 5, 10, 15, 30)),
    *(hours * HOUR_S for hours in (1, 2, 3, 6, 12)),
    *(days * DAY_S for days in (1, 2, 7, 14, 28)),
]
# SVG keeps its letters as letters, and the same night gives the same file.
STYLE = {
    "font.family": ["DejaVu Sans", "sans-serif"],
    "font.size": 9,
    "svg.fonttype": "none",
    "svg.hashsalt": "sumpbench",
    "hatch.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
}


def draw(trace, units, baseline=None, heading=None, line=None):
    """Return the strip chart of `trace` as a matplotlib figure.

    `baseline` is the trace of the single pump in the same night; its level is
    drawn dashed behind.  `heading` replaces the site's name, `line` the verdict.
    """
    lanes = groups(trace)
    rows = sum(len(group.lanes) for group in lanes)
    lanes_in = rows * LANE_IN + len(lanes) * (HEAD_IN + GAP_IN)
    scales_in = INFLOW_IN + GAP_IN + (BATTERY_IN + GAP_IN if len(trace.battery_v) else 0)
    height = TOP_IN + LEVEL_IN + scales_in + lanes_in + BOTTOM_IN
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH_IN, height))
        FigureCanvasAgg(figure)
        page = _Page(figure, height, trace)
        _heading(figure, height, heading or trace.site_name, line or verdict(trace, units))
        level = page.axes(LEVEL_IN)
        Level(level, trace, units, baseline, (PANEL_IN, LEVEL_IN))
        page.skip(GAP_IN)
        inflow(page.axes(INFLOW_IN), trace, units)
        if len(trace.battery_v):
            page.skip(GAP_IN)
            battery(page.axes(BATTERY_IN), trace)
        scales = list(page.all)
        for group in lanes:
            page.skip(GAP_IN + HEAD_IN)
            axes = page.axes(LANE_IN * len(group.lanes))
            _lanes(axes, group, trace)
        _marks(level, scales, lanes, trace)
        _shade(page.all, trace)
        _clock_axis(page.all, trace)
    return figure


def save(figure, path, metadata=None):
    """Write a figure to `path` (.png or .svg), the same bytes for the same picture."""
    suffix = str(path).rsplit(".", 1)[-1]
    clean = {"Date": None, **(metadata or {})} if suffix == "svg" else {"Software": "sumpbench"}
    with mpl.rc_context(STYLE):
        figure.savefig(path, dpi=DOTS_PER_INCH, format=suffix, metadata=clean)


class _Page:
    """Places axes from the top of the page downwards, all on the same clock."""

    def __init__(self, figure, height_in, trace):
        self.figure, self.height_in, self.trace = figure, height_in, trace
        self.top_in = height_in - TOP_IN
        self.all = []

    def skip(self, inches):
        """Leave a gap."""
        self.top_in -= inches

    def axes(self, inches):
        """Return new axes of the given height under the ones before."""
        self.top_in -= inches
        box = (LEFT_IN / WIDTH_IN, self.top_in / self.height_in, PANEL_IN / WIDTH_IN, inches / self.height_in)
        axes = self.figure.add_axes(box)
        axes.set_xlim(0, self.trace.duration_s)
        self.all.append(axes)
        return axes


def _heading(figure, height_in, heading, line):
    x = 0.25 / WIDTH_IN
    figure.text(x, 1 - 0.33 / height_in, heading, fontsize=14, weight="bold", va="center")
    figure.text(x, 1 - 0.63 / height_in, line, fontsize=10.5, va="center")


def _lanes(axes, group, trace):
    count = len(group.lanes)
    clock = Clock(trace.begins_s, trace.duration_s)
    axes.set_ylim(count, 0)
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.set_yticks([row + 0.5 for row in range(count)])
    axes.set_yticklabels([f"{lane.mark}  {lane.name}" if lane.mark else lane.name for lane in group.lanes])

    def room(text):
        return (0.072 * len(text) + 0.12) * trace.duration_s / PANEL_IN

    axes.annotate(
        group.title.upper(),
        xy=(0, 1),
        xycoords="axes fraction",
        xytext=(-LEFT_IN * 72 + 18, 7),
        textcoords="offset points",
        fontsize=8,
        weight="bold",
        color="0.3",
        annotation_clip=False,
    )
    for row, lane in enumerate(group.lanes):
        axes.axhline(row + 0.92, color="0.88", linewidth=0.6, zorder=0)
        _bars(axes, row, lane, trace)
        for x, text, align in bar_texts(lane, clock, trace.duration_s, room):
            _beside(axes, x, row, text, align, grounded=align == "center" or not lane.labelled)
        note(axes, lane.note, row + 0.5)


def _beside(axes, x, row, text, align, grounded=False):
    """Write the times of a bar beside it; `grounded` where it stands on a bar."""
    nudge = {"left": 4, "right": -4, "center": 0}[align]
    axes.annotate(
        text,
        xy=(x, row + 0.5),
        xytext=(nudge, 0),
        textcoords="offset points",
        ha=align,
        va="center",
        fontsize=8.5,
        bbox=GROUND if grounded else None,
        zorder=5,
    )


def _bars(axes, row, lane, trace):
    fill = {"facecolor": lane.colour, "hatch": lane.hatch, "edgecolor": "black"}  # hatches take the edge's colour
    if lane.heights:
        edges = [trace.duration_s * index / len(lane.heights) for index in range(len(lane.heights) + 1)]
        tops = [row + 0.92 - 0.84 * height for height in lane.heights]
        axes.stairs(tops, edges, baseline=row + 0.92, fill=True, linewidth=0.4, **fill)
        return
    least = trace.duration_s / 900  # a bar must be wide enough to be seen
    widths = [(start, max(end - start, least if lane.labelled else 1.2 * least)) for start, end in lane.bars]
    # Outlines of many narrow bars would hide their colour.
    outline = 0.5 if lane.labelled or len(lane.bars) < 60 else 0.0
    axes.broken_barh(widths, (row + 0.14, 0.72), linewidth=outline, zorder=3, **fill)
    if lane.first_alarm_s is not None:
        first = Clock(trace.begins_s, trace.duration_s).at(lane.first_alarm_s)
        _beside(axes, lane.first_alarm_s, row, f"first call {first}", "right")


def _marks(level, scales, lanes, trace):
    """Letter the beginning of each fault in the level panel, as in the fault's own lane."""
    faults = [lane for group in lanes for lane in group.lanes if lane.mark]
    if not faults:
        return
    begins = [(lane.bars[0][0], lane.mark) for lane in faults]
    gap = trace.duration_s * 0.2 / PANEL_IN
    places = spread([start for start, _ in begins], gap, 0, trace.duration_s)
    top = level.get_ylim()[1]
    for place, (start, mark) in zip(places, begins, strict=True):
        for axes in scales:
            axes.axvline(start, color="0.2", linewidth=0.8, linestyle=(0, (1, 1.5)), zorder=2)
        level.annotate(
            mark,
            xy=(start, top),
            xytext=(place, top + 0.16 / LEVEL_IN * top),
            ha="center",
            va="center",
            fontsize=8.5,
            weight="bold",
            annotation_clip=False,
            bbox={"boxstyle": "circle,pad=0.18", "facecolor": "white", "edgecolor": "black", "linewidth": 0.8},
            arrowprops={"arrowstyle": "-", "color": "0.2", "linewidth": 0.8, "shrinkA": 0, "shrinkB": 0},
        )


def _shade(all_axes, trace):
    """Shade the stretches without mains through every panel."""
    for span in trace.supply:
        if span.name == "none":
            for axes in all_axes:
                axes.axvspan(span.start_s, span.end_s, facecolor="0.93", zorder=-1)


def _clock_axis(all_axes, trace):
    step = next((step for step in CLOCK_STEPS_S if trace.duration_s / step <= 14), 56 * DAY_S)
    first = math.ceil(trace.begins_s / step) * step - trace.begins_s
    count = int((trace.duration_s - first) // step) + 1
    ticks = [first + index * step for index in range(count)]
    clock = Clock(trace.begins_s, trace.duration_s)
    labels = [clock.at(tick) for tick in ticks]
    name = "clock time"
    if step >= DAY_S:
        labels, name = [label.split()[1] for label in labels], "day of the run, at midnight"
    for axes in all_axes:
        axes.set_xticks(ticks)
        axes.set_xticklabels([])
        axes.tick_params(axis="x", length=2.5)
        axes.set_facecolor("none")
    all_axes[-1].set_xticklabels(labels)
    all_axes[-1].set_xlabel(name)
