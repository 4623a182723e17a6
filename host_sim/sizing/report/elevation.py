"""The discharge in elevation: pit, risers with their valves, header, wall and outlet.

Heights and the pit are to scale; the run to the outlet is cut short, and every length is written down.
"""

from host_sim.sizing.report.figure import INK, POINTS_A_METRE, Drawing, scale_for, styled
from host_sim.sizing.report.pit_section import CONCRETE, EARTH, PIPE, PUMP
from host_sim.sizing.trade import fraction

WIDTH_PT = 258.0  # of paper, in all; what follows are points of paper too
MOST_WIDE_PT, MOST_TALL_PT = 74.0, 184.0  # of the pit; from its bottom to the outlet
LEFT_PT, ABOVE_PT, BELOW_PT = 40.0, 30.0, 40.0
WALL_PT, OUTSIDE_PT = 10.0, 26.0
LINE_PT = 10.0  # between two labels
GRADE_M = 0.45  # how far below the outlet the ground is drawn; not known, and said so by having no dimension


@styled
def elevation(page, say):
    """Return the figure of the discharge."""
    return _Elevation(page.result, say).draw()


class _Elevation(Drawing):
    def __init__(self, result, say):
        self.inputs, self.say = result.inputs, say
        self.pit, self.discharge = self.inputs.pit, self.inputs.discharge
        self.ratio = scale_for(self.inputs.diameter_m, self._top_m(), MOST_WIDE_PT, MOST_TALL_PT, say.system)
        self.scale = POINTS_A_METRE / self.ratio
        super().__init__(WIDTH_PT, BELOW_PT + self._top_m() * self.scale + ABOVE_PT)
        self.half = 0.5 * self.inputs.diameter_m * self.scale
        self.middle = LEFT_PT + 8.0 + self.half
        self.wall = WIDTH_PT - 46.0
        aside = max(6.5, 0.5 * self.half)  # the valves' signs stand beside each other
        self.risers = (self.middle - aside, self.middle + aside)

    def draw(self):
        bottom, floor, outlet = self._y(0.0), self._y(self.pit.floor_m), self._y(self.discharge.outlet_m)
        grade = max(self._y(self.discharge.outlet_m - GRADE_M), floor + 14.0)
        end = self.wall + WALL_PT
        self.box(LEFT_PT, bottom - 8.0, self.wall - LEFT_PT, floor - bottom + 8.0, EARTH, hatch="..")
        self.box(LEFT_PT, floor - 3.0, self.wall - LEFT_PT, 3.0, CONCRETE)
        self.box(self.wall, bottom - 8.0, WALL_PT, self.height - 24.0 - bottom, CONCRETE, hatch="////")
        self.box(end, bottom - 8.0, WIDTH_PT - end, grade - bottom + 8.0, EARTH, hatch="..")
        self.box(self.middle - self.half, bottom, 2.0 * self.half, floor - bottom, "white", edgecolor=INK,
                 linewidth=1.2)  # fmt: skip
        self._pipes(outlet)
        self.dimension((30.0, bottom), (30.0, outlet), self.say(self.discharge.outlet_m, "distance"), 8.0)
        self.line([34.0, self.middle], [outlet, outlet], width=0.5, dash=(0, (2, 2)))
        self.words(end + 2.0, outlet + 10.0, "outlet", "left", fontweight="bold", fontsize=8.5)
        self._lengths()
        span = self.ruler(LEFT_PT, 8.0, self.scale, self.say.system)
        self.words(LEFT_PT + span, 8.0, f"heights 1 : {self.ratio}", "left", fontsize=8)
        return self.figure

    def _top_m(self):
        return max(self.discharge.outlet_m, self.inputs.pit.floor_m + 0.3)

    def _y(self, level_m):
        return BELOW_PT + level_m * self.scale

    def _pipes(self, outlet):
        shared = self.discharge.header is not None
        tall = self._y(0.6 * self.pit.floor_m)
        join = outlet
        if shared:
            join = min(outlet, tall + min(riser.length_m for riser in self.discharge.risers) * self.scale)
        for n, x in enumerate(self.risers):
            top = join if shared else outlet - 5.0 * n
            self._pipe([x, x], [tall, top])
            self.box(x - 3.5, self._y(0.1 * self.pit.floor_m), 7.0, tall - self._y(0.1 * self.pit.floor_m), PUMP)
            self.words(x, self._y(0.0) - 15.0, str(n + 1), fontweight="bold", fontsize=8.5)
            valves = self._y(self.pit.floor_m) + 0.35 * max(join - self._y(self.pit.floor_m), 40.0)
            if self.inputs.piping.check[n]:
                self._check_valve(x, valves)
            if self.inputs.piping.valve[n]:
                self._full_open(x, valves + 13.0)
            if not shared:
                self._pipe([x, self.wall + WALL_PT + OUTSIDE_PT], [top, top])
        if shared:
            self._pipe([self.risers[0], self.risers[1]], [join, join])
            middle = self.risers[1]
            self._pipe([middle, middle], [join, outlet])
            self._pipe([middle, self.wall + WALL_PT + OUTSIDE_PT], [outlet, outlet])

    def _pipe(self, xs, ys):
        self.line(xs, ys, INK, 3.6)
        self.line(xs, ys, PIPE, 2.0)

    def _check_valve(self, x, y):
        # A triangle that points the way of the water, with the bar that it closes against.
        self.box(x - 5.0, y - 5.0, 10.0, 10.0, "white", edgecolor=INK, linewidth=0.9)
        self.line([x - 4.0, x + 4.0, x, x - 4.0], [y - 3.5, y - 3.5, y + 3.0, y - 3.5], width=0.9)
        self.line([x - 4.0, x + 4.0], [y + 3.2, y + 3.2], width=1.2)

    def _full_open(self, x, y):
        # Two triangles, tip to tip.
        self.box(x - 5.0, y - 5.0, 10.0, 10.0, "white", edgecolor=INK, linewidth=0.9)
        xs, ys = [x - 4.0, x + 4.0, x - 4.0, x + 4.0, x - 4.0], [y - 4.0, y - 4.0, y + 4.0, y + 4.0, y - 4.0]
        self.line(xs, ys, width=0.9)

    def _lengths(self):
        # What the pipes are, beside the risers from the top down.
        x, found = self.risers[1] + 9.0, []
        nominal, say = self.inputs.piping.nominal_in, self.say
        whole = "line" if self.discharge.header is None else "riser"
        pieces = {f"each {whole}": ("riser1", self.discharge.risers[0])}
        if self.discharge.risers[0] != self.discharge.risers[1]:
            pieces = {f"{whole} {n + 1}": (f"riser{n + 1}", riser) for n, riser in enumerate(self.discharge.risers)}
        if self.discharge.header is not None:
            pieces["header"] = ("header", self.discharge.header)
        for name, (key, pipe) in pieces.items():
            length = f"{say(pipe.length_m, 'distance')} of {_size(nominal[key], pipe, say)}"
            found += [(name, "bold"), (length, "normal")]
        piping = self.inputs.piping
        found.append(("full-open valves" if all(piping.valve) else "NO full-open valve", "normal"))
        found.append(("check valves" if all(piping.check) else "NO check valve", "normal"))
        floor, outlet = self._y(self.pit.floor_m), self._y(self.discharge.outlet_m)
        if outlet - floor < LINE_PT * (len(found) + 2):  # a deep pit leaves no room: a pipe in one line
            pairs = [f"{name} {length}" for (name, _), (length, _) in zip(found[:-2:2], found[1:-2:2], strict=True)]
            found = [*((pair, "normal") for pair in pairs), *found[-2:]]
        top = min(0.5 * (floor + outlet) + LINE_PT / 2.0 * len(found), max(outlet, floor) - 9.0)
        for i, (words, weight) in enumerate(found):
            self.words(x, top - LINE_PT * i, words, "left", fontsize=7.5, fontweight=weight)
        # Below the slab where the pipes' lengths, of a deep pit, come down to it.
        free = top - LINE_PT * (len(found) - 1) - (floor + 8.0) >= LINE_PT
        ground = {"facecolor": "white" if free else EARTH, "linewidth": 0.0, "pad": 1.0}
        self.words(x, floor + (8.0 if free else -12.0), f"floor {say(self.pit.floor_m, 'length')}", "left",
                   fontsize=7.5, bbox=ground)  # fmt: skip


def _size(nominal_in, pipe, say):
    return fraction(nominal_in) if nominal_in else f"{say(pipe.diameter_m, 'length')} inside"
