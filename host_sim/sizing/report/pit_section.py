"""The pit in section, to scale: pumps, floats, water at lead, floor and intake, every height named at its line."""

from math import pi, sqrt

from matplotlib.patches import Ellipse, Polygon, Rectangle

from host_sim.sizing.contacts import NAMES
from host_sim.sizing.report.figure import FAINT, INK, blank, styled

EARTH, CONCRETE, WATER, PUMP, PIPE = "#efe8dc", "#d3d7db", "#d5e7f5", "#7b8894", "#b7c0c8"
COLORS = {"off": "#2e7d32", "lead": "#0b5fa5", "lag": "#6a3d9a", "high": "#b3470f"}
MOST_WIDE_PT, MOST_TALL_PT = 150.0, 300.0  # of the pit; all lengths here are points of the drawing
EDGE_PT, WALL_PT, WORDS_PT, ABOVE_PT, BELOW_PT = 8.0, 22.0, 122.0, 34.0, 62.0
LINE_PT = 13.0  # between two labels


@styled
def pit_section(page, say):
    """Return the figure of the pit; `scale_of` tells its points for each metre."""
    return _Section(page.result, say).draw()


def scale_of(result):
    """Return how many points of the drawing a metre of the pit is."""
    wide = max(_span_m(result.inputs, h) for h in _levels_m(result.inputs.pit))
    return min(MOST_WIDE_PT / wide, MOST_TALL_PT / result.inputs.pit.floor_m)


class _Section:
    def __init__(self, result, say):
        self.result, self.inputs, self.pit, self.say = result, result.inputs, result.inputs.pit, say
        self.scale = scale_of(result)
        wide = max(_span_m(self.inputs, h) for h in _levels_m(self.pit)) * self.scale
        self.middle, self.base = EDGE_PT + WALL_PT + wide / 2.0, BELOW_PT
        self.right = self.middle + wide / 2.0 + WALL_PT
        self.width = max(self.right + WORDS_PT, 220.0)
        self.height = self.base + self.pit.floor_m * self.scale + ABOVE_PT
        self.figure = blank(self.width, self.height)
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set(xlim=(0.0, self.width), ylim=(0.0, self.height))
        self.axes.axis("off")

    def draw(self):
        floor, edge = self._y(self.pit.floor_m), EDGE_PT
        self._box(edge, self.base - 12.0, self.right - edge, floor - self.base + 12.0, EARTH, hatch="..")
        self._box(edge, floor - 9.0, self.right - edge, 9.0, CONCRETE, hatch="////")
        self._outline(_levels_m(self.pit), facecolor="white", edgecolor=INK, linewidth=1.6)
        lead = self.result.contacts[1].wet_m
        self._outline([h for h in _levels_m(self.pit) if h < lead] + [lead], facecolor=WATER)
        for n, side in ((0, -1.0), (1, 1.0)):
            self._pump(n, side)
        self._heights()
        self._floats()
        self._words(self.middle, self.base - 24.0, f"{self.say(self.inputs.diameter_m, 'length')} at the bottom")
        self._ruler(edge + WALL_PT, 10.0)
        return self.figure

    def _y(self, level_m):
        return self.base + level_m * self.scale

    def _half(self, level_m):
        return _span_m(self.inputs, level_m) * self.scale / 2.0

    def _box(self, x, y, across, up, color, **more):
        self.axes.add_patch(Rectangle((x, y), across, up, **{"facecolor": color, "linewidth": 0.0, **more}))

    def _outline(self, levels, **style):
        left = [(self.middle - self._half(h), self._y(h)) for h in levels]
        right = [(self.middle + self._half(h), self._y(h)) for h in levels[::-1]]
        self.axes.add_patch(Polygon(left + right, **style))

    def _line(self, xs, ys, color=INK, width=1.0, dash="-"):
        self.axes.plot(xs, ys, color=color, linewidth=width, linestyle=dash, solid_capstyle="butt")

    def _words(self, x, y, words, align="center", **more):
        self.axes.text(x, y, words, ha=align, va="center", **more)

    def _pump(self, n, side):
        pump, plate = self.inputs.pumps[n], self.inputs.plates[n]
        body = min(plate.body_m * self.scale, self._half(0.0) - 3.0)
        center = self.middle + side * (self._half(0.0) - body / 2.0 - 3.0)
        tall = min(max(plate.covered_m + 0.05, 1.3 * plate.body_m), 0.75 * self.pit.floor_m)
        foot, top = self.base + 0.6 * pump.intake_m * self.scale, self._y(tall)
        rim, pipe = self._y(self.pit.floor_m) + 14.0, max(4.0, self.inputs.discharge.risers[n].diameter_m * self.scale)
        self._box(center - pipe / 2.0, top, pipe, rim - top, PIPE, linewidth=0.6, edgecolor=INK)
        self._box(center - body / 2.0, foot, body, top - foot, PUMP, linewidth=0.6, edgecolor=INK)
        for leg in (-0.35, 0.35):
            self._line([center + leg * body] * 2, [self.base, foot], width=1.6)
        self._words(center, rim + 8.0, str(n + 1), fontweight="bold", fontsize=10)

    def _floats(self):
        # The floats hang on one rod between the pumps, each at the height at which it turns.
        self._line([self.middle] * 2, [self.base + 4.0, self._y(self.pit.floor_m) + 8.0], width=1.1)
        across = max(8.0, 0.05 * self.scale)
        for name, level in _turning(self.result):
            at = (self.middle, self._y(level))
            self.axes.add_patch(Ellipse(at, across, 0.62 * across, facecolor=COLORS[name], edgecolor="white", zorder=4))

    def _heights(self):
        rows = [(level, name, COLORS[name], True) for name, level in _turning(self.result)]
        rows.append((self.pit.floor_m, "floor", INK, True))
        rows.append((self.inputs.pumps[0].intake_m, "pump inlet", FAINT, False))
        if self.inputs.basin.inlet_m is not None:
            rows.append((self.inputs.basin.inlet_m, "drain inlet", FAINT, False))
        rows.sort(key=lambda row: row[0])
        for (level, name, color, bold), label in zip(rows, _apart([self._y(row[0]) for row in rows]), strict=True):
            y = self._y(level)
            start = self.middle + self._half(level) * (1.0 if name == "floor" else -1.0)
            self._line([start, self.right - 8.0], [y, y], color, 1.2 if bold else 0.8, "-" if bold else (0, (3, 2)))
            self._line([self.right - 8.0, self.right + 4.0], [y, label], color, 0.8)
            words, weight = f"{name} {self.say(level, 'length')}", "bold" if bold else "normal"
            self._words(self.right + 7.0, label, words, "left", color=color, fontweight=weight, fontsize=9)

    def _ruler(self, x, y):
        length_m, words = (0.1524, "6 in") if self.say.system == "us" else (0.1, "100 mm")
        span = length_m * self.scale
        self._line([x, x + span], [y, y], width=1.4)
        for end in (x, x + span):
            self._line([end, end], [y - 3.5, y + 3.5], width=1.4)
        self._words(x + span + 6.0, y, words, "left")


def _apart(places):
    # Labels from the lowest up, each at its line or as far above the one before as a text is tall.
    found = []
    for place in places:
        found.append(max(place, found[-1] + LINE_PT) if found else place)
    return found


def _turning(result):
    return [(name, c.dry_m if name == "off" else c.wet_m) for name, c in zip(NAMES, result.contacts, strict=True)]


def _levels_m(pit):
    return [pit.floor_m * i / 12.0 for i in range(13)]


def _span_m(inputs, level_m):
    area = inputs.pit.area_m2(min(level_m, inputs.pit.floor_m - 1e-6))
    return sqrt(area) if inputs.shape == "square" else sqrt(4.0 * area / pi)
