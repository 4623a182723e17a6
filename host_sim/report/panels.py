"""The panels of the strip chart that have a scale: water level, inflow, battery."""

import numpy as np

from host_sim.report.clock import Clock, lasting, stretch
from host_sim.report.lanes import BLUE, VERMILION
from host_sim.report.series import clear_place, envelope, spread
from host_sim.report.verdict import margin

BINS = 1500
# Words on lines or hatches stand on a ground of their own; an outline would turn them into curves in an SVG.
GROUND = {"boxstyle": "square,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}
# With more pump runs than this single cycles are not to be told apart: the band they fill is drawn instead.
MOST_CYCLES = 160
BAND_BINS = (80, 320)
CONTACT_LINES = {"off": (0, (1, 2)), "lead": (0, (4, 2)), "lag": (0, (6, 2, 1, 2)), "high": (0, (9, 2))}
BASELINE_WORDS = "the same {stretch} with one pump,\none float switch, no battery"
LETTER_IN, LINE_IN = 0.073, 0.155  # of a 9 point text, measured with a little to spare


class Level:
    """The water level with the contacts and the floor, and behind it the same night with the single pump."""

    def __init__(self, axes, trace, units, baseline, size_in):
        self.axes, self.trace, self.units, self.size_in = axes, trace, units, size_in
        self.top_m = max(1.14 * trace.floor_m, 1.08 * trace.totals.highest_m)
        if baseline is not None:
            self.top_m = max(self.top_m, 1.08 * baseline.totals.highest_m)
        self.bands, self.boxes = [], []
        self._frame()
        self._water()
        top = None if baseline is None else self._baseline(baseline)
        self._peak()
        if top is not None:
            self._words(BASELINE_WORDS.format(stretch=stretch(trace)), top, style="italic")

    def _scale(self, level_m):
        return self.units.level.number(level_m)

    def _frame(self):
        axes, trace = self.axes, self.trace
        axes.set_ylim(0, self._scale(self.top_m))
        axes.set_ylabel(f"water level\n[{self.units.level.unit} above pit bottom]")
        axes.grid(axis="y", color="0.9", linewidth=0.6)
        axes.set_axisbelow(True)
        # The floor: everything above the line is a wet basement.
        floor, top = self._scale(trace.floor_m), self._scale(self.top_m)
        axes.axhspan(floor, top, facecolor="none", edgecolor="0.8", hatch="\\\\", linewidth=0)
        axes.axhline(floor, color="black", linewidth=2.2)
        labels = [(trace.floor_m, f"FLOOR  {self.units.level.text(trace.floor_m)}", "black", "bold")]
        for name, level_m in trace.contact_trip_m.items():
            axes.axhline(self._scale(level_m), color="0.35", linewidth=0.9, linestyle=CONTACT_LINES.get(name, "-"))
            labels.append((level_m, f"{name}  {self.units.level.text(level_m)}", "0.25", "normal"))
        heights = [level_m for level_m, *_ in labels]
        self.boxes += [(0, h / self.top_m - 0.004, 1, h / self.top_m + 0.004) for h in heights]
        gap = self._scale(self.top_m) * 0.16 / self.size_in[1]
        places = spread([self._scale(h) for h in heights], gap, 0, self._scale(self.top_m))
        end = trace.duration_s
        for place, (level_m, text, colour, weight) in zip(places, labels, strict=True):
            axes.annotate(
                text,
                xy=(end, self._scale(level_m)),
                xytext=(1.017 * end, place),
                va="center",
                fontsize=8.5,
                color=colour,
                weight=weight,
                annotation_clip=False,
                arrowprops={"arrowstyle": "-", "color": "0.5", "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0},
            )

    def _water(self):
        trace = self.trace
        banded = len(trace.runs) > MOST_CYCLES
        bins = band_bins(trace) if banded else BINS
        x, low, high = envelope(trace.time_s, trace.level_m, trace.duration_s, bins)
        if banded:
            # Steps, since a bin's highest and lowest water belong to the whole of it.
            x = np.repeat(np.linspace(0, trace.duration_s, bins + 1), 2)[1:-1]
            low, high = np.repeat(low, 2), np.repeat(high, 2)
            self._band_words(trace.duration_s / bins)
        self.axes.fill_between(x, self._scale(low), self._scale(high), color=BLUE, alpha=0.3, linewidth=0)
        self.axes.plot(x, self._scale(high), color=BLUE, linewidth=1.3)
        self.axes.plot(x, self._scale(low), color=BLUE, linewidth=0.8)
        self.bands.append((x / trace.duration_s, low / self.top_m, high / self.top_m))
        self.water = envelope(trace.time_s, trace.level_m, trace.duration_s, BINS)

    def _band_words(self, seconds):
        text = f"shaded: from the lowest to the highest water of every {lasting(seconds)}"
        self.axes.text(0.006, 0.025, text, transform=self.axes.transAxes, fontsize=8, color="0.3")

    def _baseline(self, baseline):
        # Only where it stands above its own start level and the pair's water: elsewhere both cycle alike.
        x, _, high = envelope(baseline.time_s, baseline.level_m, baseline.duration_s, BINS)
        start_m = max(baseline.contact_trip_m.values(), default=0.0)
        above = (high > self.water[2] + 0.01 * baseline.floor_m) & (high > start_m + 0.02 * baseline.floor_m)
        # One bin more on either side, so that a short flood is a spike and not a lost point.
        wide = above.copy()
        wide[1:] |= above[:-1]
        wide[:-1] |= above[1:]
        shown = np.where(wide, high, np.nan)
        if not above.any():
            return None
        self.axes.plot(x, self._scale(shown), color="black", linewidth=1.3, linestyle=(0, (5, 3)), zorder=3)
        # Between two points the line passes through every height from one to the other.
        padded = np.pad(shown, 1, constant_values=np.nan)
        low, top = np.fmin(padded[:-2], padded[2:]), np.fmax(padded[:-2], padded[2:])
        low, top = np.nan_to_num(np.fmin(low, shown), nan=2 * self.top_m), np.nan_to_num(np.fmax(top, shown), nan=-1)
        self.bands.append((x / self.trace.duration_s, low / self.top_m, top / self.top_m))
        peak = int(np.nanargmax(shown))
        return x[peak], high[peak]

    def _peak(self):
        trace, clock = self.trace, Clock(self.trace.begins_s, self.trace.duration_s)
        x_s, level_m = trace.totals.highest_at_s, trace.totals.highest_m
        self.axes.plot(
            [x_s],
            [self._scale(level_m)],
            marker="v",
            markersize=9,
            color=VERMILION,
            markeredgecolor="black",
            zorder=6,
            clip_on=False,
        )
        text = f"highest water {self.units.level.text(level_m)} at {clock.at(x_s)},\n{margin(trace, self.units)}"
        self._words(text, (x_s, level_m), weight="bold", leader=True)

    def _words(self, text, point, leader=False, **style):
        """Write `text` near `point` (seconds, metres) where it covers the least of the picture."""
        wide = 1.12 if style.get("weight") == "bold" else 1.0
        lines = text.split("\n")
        size = (
            max(len(line) for line in lines) * LETTER_IN * wide / self.size_in[0] + 0.012,
            len(lines) * LINE_IN / self.size_in[1] + 0.02,
        )
        anchor = (point[0] / self.trace.duration_s, point[1] / self.top_m)
        left, bottom = clear_place(anchor, size, self.bands, self.boxes)
        self.boxes.append((left, bottom, left + size[0], bottom + size[1]))
        centre = (left + size[0] / 2, bottom + size[1] / 2)
        arrow = {"arrowstyle": "-", "color": "black", "linewidth": 0.7, "shrinkA": 2, "shrinkB": 6}
        self.axes.annotate(
            text,
            xy=(point[0], self._scale(point[1])),
            xytext=centre,
            textcoords="axes fraction",
            ha="center",
            va="center",
            fontsize=9,
            bbox=GROUND,
            zorder=7,
            arrowprops=arrow if leader else None,
            **style,
        )


def band_bins(trace):
    """Return how many bins a band needs so that nearly every one holds a whole pump cycle."""
    gaps = np.diff(sorted(run.start_s for run in trace.runs))
    cycle_s = 1.1 * float(np.quantile(gaps, 0.97))
    return int(np.clip(trace.duration_s / max(cycle_s, 1.0), *BAND_BINS))


def inflow(axes, trace, units):
    """Draw the inflow; where it varies within a bin, its lower edge is dotted."""
    scale = units.flow.number
    x, low, high = envelope(trace.time_s, trace.inflow_m3s, trace.duration_s, BINS)
    axes.fill_between(x, 0, scale(high), color="0.82", linewidth=0)
    axes.plot(x, scale(high), color="black", linewidth=1.0)
    words = f"peak {units.flow.text(high.max())}"
    if (high - low).max() > 0.05 * high.max():
        axes.plot(x, scale(low), color="black", linewidth=0.6, linestyle=":")
        words += "\n(dotted: lowest)"
    axes.set_ylim(0, max(scale(high.max()) * 1.15, 1e-6))
    axes.set_ylabel(f"inflow\n[{units.flow.unit}]")
    note(axes, words, 0.92 * scale(high.max()))


def battery(axes, trace):
    """Draw the battery's voltage at its terminals."""
    x, low, high = envelope(trace.time_s, trace.battery_v, trace.duration_s, BINS)
    axes.fill_between(x, low, high, color="0.75", linewidth=0)
    axes.plot(x, low, color="black", linewidth=0.9)
    room = max(0.5, 0.12 * (high.max() - low.min()))
    axes.set_ylim(low.min() - room, high.max() + room)
    axes.set_ylabel("battery\n[V]")
    note(axes, f"lowest {low.min():.1f} V\n{trace.totals.battery_used:.0%} used", (low.min() + high.max()) / 2)


def note(axes, text, height):
    """Write a text at the right of a panel, at a height of its scale."""
    axes.annotate(
        text,
        xy=(1, height),
        xycoords=("axes fraction", "data"),
        xytext=(8, 0),
        textcoords="offset points",
        va="center",
        fontsize=8.5,
        annotation_clip=False,
    )
