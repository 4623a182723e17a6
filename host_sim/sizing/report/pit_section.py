"""The pit in section, to scale: pumps, floats, drain inlet, water at lead; depth and width as dimensions, every height
named at its line."""

from math import pi, sqrt

from matplotlib.patches import Ellipse, Polygon

from host_sim.sizing.contacts import NAMES
from host_sim.sizing.report.figure import FAINT, INK, POINTS_A_METRE, Drawing, apart, scale_for, styled
from host_sim.sizing.room import body_top_m

EARTH, CONCRETE, WATER, PUMP, PIPE = "#efe8dc", "#d3d7db", "#d5e7f5", "#7b8894", "#b7c0c8"
COLORS = {"off": "#2e7d32", "lead": "#0b5fa5", "lag": "#6a3d9a", "high": "#b3470f"}
WIDTH_PT = 258.0  # of paper, in all; what follows are points of paper too
MOST_WIDE_PT, MOST_TALL_PT = 136.0, 184.0  # of the pit
DIMENSION_PT, WALL_PT, ABOVE_PT, BELOW_PT = 24.0, 8.0, 26.0, 50.0
LINE_PT = 11.5  # between two labels
DRAIN_M = 0.1016  # a 4 in drain pipe, the usual one; common practice, no source


@styled
def pit_section(page, say):
    """Return the figure of the pit; `scale_of` tells its scale."""
    return _Section(page.result, say).draw()


def scale_of(result, system="us"):
    """Return n of the drawing's scale 1 : n."""
    wide = max(_span_m(result.inputs, h) for h in _levels_m(result.inputs.pit))
    return scale_for(wide, result.inputs.pit.floor_m, MOST_WIDE_PT, MOST_TALL_PT, system)


class _Section(Drawing):
    def __init__(self, result, say):
        self.result, self.inputs, self.pit, self.say = result, result.inputs, result.inputs.pit, say
        self.ratio = scale_of(result, say.system)
        self.scale = POINTS_A_METRE / self.ratio
        wide = max(_span_m(self.inputs, h) for h in _levels_m(self.pit)) * self.scale
        self.left = DIMENSION_PT
        self.middle, self.base = self.left + WALL_PT + wide / 2.0, BELOW_PT
        self.right = self.middle + wide / 2.0 + WALL_PT
        labels = LINE_PT * (len(self._levels_named()) + 1)
        super().__init__(WIDTH_PT, self.base + max(self.pit.floor_m * self.scale, labels) + ABOVE_PT)

    def draw(self):
        floor = self._y(self.pit.floor_m)
        self.box(self.left, self.base - 10.0, self.right - self.left, floor - self.base + 10.0, EARTH, hatch="..")
        self.box(self.left, floor - 8.0, self.right - self.left, 8.0, CONCRETE, hatch="////")
        self._outline(_levels_m(self.pit), facecolor="white", edgecolor=INK, linewidth=1.6)
        lead = self.result.contacts[1].wet_m
        self._outline([h for h in _levels_m(self.pit) if h < lead] + [lead], facecolor=WATER)
        self._drain()
        for n, side in ((0, -1.0), (1, 1.0)):
            self._pump(n, side)
        self._heights()
        self._floats()
        self.dimension((16.0, self.base), (16.0, floor), self.say(self.pit.floor_m, "length"), 9.0)
        across, y = self._half(0.0), self.base - 19.0
        words = f"{self.say(self.inputs.diameter_m, 'length')} inside"
        self.dimension((self.middle - across, y), (self.middle + across, y), words, 9.0)
        span = self.ruler(self.left, 8.0, self.scale, self.say.system)
        self.words(self.left + span, 8.0, f"scale 1 : {self.ratio}", "left", fontsize=8)
        return self.figure

    def _y(self, level_m):
        return self.base + level_m * self.scale

    def _half(self, level_m):
        return _span_m(self.inputs, level_m) * self.scale / 2.0

    def _outline(self, levels, **style):
        left = [(self.middle - self._half(h), self._y(h)) for h in levels]
        right = [(self.middle + self._half(h), self._y(h)) for h in levels[::-1]]
        self.axes.add_patch(Polygon(left + right, **style))

    def _drain(self):
        level = self.inputs.basin.inlet_m
        if level is None:
            return
        wall = self.middle - self._half(level)
        tall = min(DRAIN_M, max(self.pit.floor_m - level, 0.02)) * self.scale
        self.box(self.left, self._y(level), wall - self.left + 4.0, tall, "white", linewidth=0.9, edgecolor=INK)

    def _pump(self, n, side):
        pump, plate = self.inputs.pumps[n], self.inputs.plates[n]
        body = min(plate.body_m * self.scale, self._half(0.0) - 2.0)
        center = self.middle + side * (self._half(0.0) - body / 2.0 - 2.0)
        foot, top = self.base + 0.6 * pump.intake_m * self.scale, self._y(body_top_m(self.inputs, n))
        rim, pipe = self._y(self.pit.floor_m) + 10.0, max(3.5, self.inputs.discharge.risers[n].diameter_m * self.scale)
        self.box(center - pipe / 2.0, top, pipe, rim - top, PIPE, linewidth=0.6, edgecolor=INK)
        self.box(center - body / 2.0, foot, body, top - foot, PUMP, linewidth=0.6, edgecolor=INK)
        for leg in (-0.35, 0.35):
            self.line([center + leg * body] * 2, [self.base, foot], width=1.6)
        self.words(center, rim + 7.0, str(n + 1), fontweight="bold", fontsize=9.5)

    def _floats(self):
        # The floats hang on one rod between the pumps, each at the height at which it turns; a tethered one beside its
        # cord's clamp.
        self.line([self.middle] * 2, [self.base + 4.0, self._y(self.pit.floor_m) + 6.0], width=1.1)
        across, cord = max(7.0, 0.05 * self.scale), self.inputs.floats.tether_m * self.scale
        if self.inputs.floats.kind == "transmitter":  # at the foot of its tube; of floats there is `high` alone
            self.box(self.middle - 3.0, self.base + 2.0, 6.0, 12.0, COLORS["lead"], linewidth=0.6, edgecolor=INK)
        for place, (name, level) in enumerate(_turning(self.result)):
            if self.inputs.floats.kind == "transmitter" and name != "high":
                continue
            # Vertical ones side by side in turn, so that two close heights stay two floats.
            aside = (0.35 if place % 2 else -0.35) * min(cord, self._half(level)) or (0.5 - place % 2) * across
            at = (self.middle + aside, self._y(level))
            if cord:
                self.line([self.middle, at[0]], [at[1] + 0.5 * across, at[1]], width=0.8)
            self.axes.add_patch(Ellipse(at, across, 0.62 * across, facecolor=COLORS[name], edgecolor="white", zorder=4))

    def _levels_named(self):
        rows = [(level, name, COLORS[name], True) for name, level in _turning(self.result)]
        rows.append((self.pit.floor_m, "floor", INK, True))
        inlets = [pump.intake_m for pump in self.inputs.pumps]
        if inlets[0] == inlets[1]:
            rows.append((inlets[0], "pump inlets", FAINT, False))
        else:
            rows += [(level, f"pump {n + 1} inlet", FAINT, False) for n, level in enumerate(inlets)]
        if self.inputs.basin.inlet_m is not None:
            rows.append((self.inputs.basin.inlet_m, "drain inlet", FAINT, False))
        return sorted(rows, key=lambda row: row[0])

    def _heights(self):
        rows = self._levels_named()
        labels = apart([self._y(row[0]) for row in rows], LINE_PT, self.height - LINE_PT / 2.0)
        for (level, name, color, bold), label in zip(rows, labels, strict=True):
            y = self._y(level)
            start = self.middle + self._half(level) * (1.0 if name == "floor" else -1.0)
            self.line([start, self.right - 6.0], [y, y], color, 1.2 if bold else 0.8, "-" if bold else (0, (3, 2)))
            self.line([self.right - 6.0, self.right + 4.0], [y, label], color, 0.8)
            words, weight = f"{name} {self.say(level, 'length')}", "bold" if bold else "normal"
            size = 8.5 if bold else 7.5
            self.words(self.right + 6.0, label, words, "left", color=color, fontweight=weight, fontsize=size)


def _turning(result):
    return [(name, c.dry_m if name == "off" else c.wet_m) for name, c in zip(NAMES, result.contacts, strict=True)]


def _levels_m(pit):
    return [pit.floor_m * i / 12.0 for i in range(13)]


def _span_m(inputs, level_m):
    area = inputs.pit.area_m2(min(level_m, inputs.pit.floor_m - 1e-6))
    return sqrt(area) if inputs.shape == "square" else sqrt(4.0 * area / pi)
