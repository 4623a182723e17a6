"""The pictures: the strip chart of the log, drawn by the reports' own panels, and the map of a sweep."""

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation

from host_sim.replay import account as words
from host_sim.replay.night import as_trace
from host_sim.report import strip
from host_sim.report.lanes import BLUE, ORANGE

# What the panels say of a simulated run, and what it must read for a log.
GAP = "0.8"


def draw(account, units):
    """Return the strip chart of an account as a matplotlib figure."""
    trace = as_trace(account)
    baseline = None
    line = f"{words.headline(account, units)}  {words.cause(account)}"
    if len(line) > 150:
        line = f"{words.headline(account, units)}\n{_cut(words.cause(account), 150)}"
    with np.errstate(invalid="ignore"):  # a log without a level has none to draw
        figure = strip.draw(trace, units, baseline, heading=f"What the log shows: {account.log.name}", line=line)
    _relabel(figure, account)
    _band(figure, account, units)
    _gaps(figure, account)
    return figure


def _cut(text, most):
    return text if len(text) <= most else text[: most - 3].rsplit(" ", 1)[0] + " ..."


def _relabel(figure, account):
    recorded = any(values is not None for values in account.log.pumps)
    for text in figure.findobj(lambda item: hasattr(item, "get_text")):
        said = text.get_text()
        if said == "never out" and account.log.mains is None:
            text.set_text("not recorded")
        elif said == "WHAT WENT WRONG":
            text.set_text("FINDINGS")
        elif isinstance(text, Annotation):
            continue
    if recorded:
        return
    for axes in figure.axes:
        labels = [label.get_text() for label in axes.get_yticklabels()]
        if any(label.startswith("pump 1 runs") for label in labels):
            axes.set_yticks(axes.get_yticks())
            axes.set_yticklabels([label.replace("pump 1 runs", "a pump runs (inferred)") for label in labels])


def _band(figure, account, units):
    flow = account.flow
    axes = figure.axes[1]
    axes.set_ylabel(f"inflow (found)\n[{units.flow.unit}]")
    if flow is None:
        return
    scale = units.flow.number
    axes.fill_between(flow.time_s, scale(flow.low_m3s), scale(flow.high_m3s), color=ORANGE, alpha=0.45, linewidth=0)
    axes.set_ylim(0, max(axes.get_ylim()[1], 1.1 * float(np.quantile(scale(flow.high_m3s), 0.98))))
    axes.text(0.006, 0.86, "shaded: 95 % band", transform=axes.transAxes, fontsize=8, color="0.3", va="top")


def _gaps(figure, account):
    for start, end in account.log.gaps:
        if end - start > account.log.duration_s / 600:
            for axes in figure.axes:
                axes.axvspan(start, end, facecolor="none", edgecolor=GAP, hatch="....", linewidth=0, zorder=-1)


def sweep(account, units):
    """Return the map of a sweep: over one axis a line of highest water, over two a field of dry and wet."""
    with mpl.rc_context(strip.STYLE):
        figure = Figure(figsize=(8.0, 5.0))
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0.13, 0.14, 0.82, 0.70))
        (key, values), floor = account.axes[0], account.site.pit.floor_m
        heading = "Where the floor stays dry"
        if len(account.axes) == 1:
            _line(axes, account.sweep[0], values, units)
        else:
            _field(axes, account.sweep, account.axes, units)
            axes.set_ylabel(account.axes[1][0])
        axes.set_xticks(range(len(values)), values)
        axes.set_xlabel(key)
        figure.text(0.03, 0.95, heading, fontsize=14, weight="bold", va="center")
        line = "the inflow of this log, run again"
        if not any(name == "pit.depth" for name, _ in account.axes):
            line += f"; the floor lies at {units.level.text(floor)}"
        figure.text(0.03, 0.89, line, fontsize=10, va="center")
    return figure


def _line(axes, row, values, units):
    scale = units.level.number
    high = [scale(outcome.highest_m) for outcome in row]
    floors = [scale(outcome.floor_m) for outcome in row]
    axes.plot(range(len(values)), high, color=BLUE, marker="o")
    axes.plot(range(len(values)), floors, color="black", linewidth=2.2)
    axes.annotate("FLOOR", xy=(0, floors[0]), xytext=(2, 5), textcoords="offset points", weight="bold")
    for i, outcome in enumerate(row):
        axes.annotate("dry" if outcome.dry else "wet", xy=(i, high[i]), xytext=(0, -14), textcoords="offset points",
                      ha="center", weight="normal" if outcome.dry else "bold")  # fmt: skip
    axes.set_ylabel(f"highest water [{units.level.unit}]")
    axes.set_ylim(0, 1.15 * max(*high, *floors))
    axes.margins(x=0.08)


def _field(axes, rows, pair, units):
    for j, row in enumerate(rows):
        for i, outcome in enumerate(row):
            face, hatch = ("white", "") if outcome.dry else (ORANGE, "\\\\\\\\")
            axes.add_patch(Rectangle((i - 0.5, j - 0.5), 1, 1, facecolor=face, hatch=hatch, edgecolor="0.5"))
            gap = units.level.number(abs(outcome.floor_m - outcome.highest_m))
            word = "dry" if outcome.dry else "WET"
            side = "below" if outcome.highest_m <= outcome.floor_m else "above"
            axes.text(i, j, f"{word}\n{gap:.1f} {units.level.unit}\n{side}", ha="center", va="center", fontsize=8,
                      bbox={"boxstyle": "square,pad=0.15", "facecolor": "white", "edgecolor": "none"})  # fmt: skip
    axes.set_xlim(-0.5, len(pair[0][1]) - 0.5)
    axes.set_ylim(-0.5, len(pair[1][1]) - 0.5)
    axes.set_yticks(range(len(pair[1][1])), pair[1][1])


save = strip.save
