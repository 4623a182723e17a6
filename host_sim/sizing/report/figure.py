"""What the page's drawings share: one style, and a figure turned into SVG that stands inside a page.

The drawings are read in black and white as well: dashes, markers and words
carry what colors do.  Letters become outlines, so that they print the same on
a machine without the font, and no text can grow over another.  What is drawn
to scale is drawn to one that a rule shows, and printed at its own size.
"""

import io
import logging
import re
from html import escape

import matplotlib as mpl
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

# The first picture on a new machine makes matplotlib look for fonts; nobody needs to be told.
logging.getLogger("matplotlib.font_manager").setLevel(logging.ERROR)

INK, FAINT, GRID = "#1b2733", "#5c6b78", "#d9dfe4"
POINTS_A_METRE = 72.0 / 0.0254  # of paper
# Scales that a rule shows, by the report's units: 1 in 8 is 1-1/2 in to the foot.
SCALES = {"us": (8, 12, 16, 24, 32, 48, 64, 96, 192, 384), "si": (5, 10, 20, 25, 50, 75, 100, 200, 500)}
ARROW_PT = 4.0
LINES = (("#0b5fa5", "-"), ("#b3470f", (0, (6, 3))), ("#2e7d32", (0, (1.2, 1.8))), ("#6a3d9a", (0, (7, 2, 1.5, 2))))
STYLE = {
    "font.family": ["DejaVu Sans"],
    "font.size": 8.5,
    "text.color": INK,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": GRID,
    "grid.linewidth": 0.7,
    "xtick.color": FAINT,
    "ytick.color": FAINT,
    "hatch.linewidth": 0.5,
    "hatch.color": FAINT,
    "svg.fonttype": "path",
    "svg.hashsalt": "sumpbench",
}


def styled(draw):
    """Let a function that draws do so in the style of the page."""

    def drawn(*given):
        with mpl.rc_context(STYLE):
            return draw(*given)

    drawn.__doc__ = draw.__doc__
    return drawn


def blank(width_pt, height_pt, **more):
    """Return an empty figure of a size in points."""
    figure = Figure(figsize=(width_pt / 72.0, height_pt / 72.0), **more)
    FigureCanvasSVG(figure)
    return figure


def scale_for(wide_m, tall_m, most_wide_pt, most_tall_pt, system):
    """Return n of the largest scale 1 : n at which it fits into a room on paper, the smallest where none does."""
    for n in SCALES[system]:
        points = POINTS_A_METRE / n
        if wide_m * points <= most_wide_pt and tall_m * points <= most_tall_pt:
            return n
    return SCALES[system][-1]


class Drawing:
    """A figure whose coordinates are points of paper, with the strokes that drawings to scale are made of."""

    def __init__(self, width_pt, height_pt):
        self.width, self.height = width_pt, height_pt
        self.figure = blank(width_pt, height_pt)
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set(xlim=(0.0, width_pt), ylim=(0.0, height_pt))
        self.axes.axis("off")

    def box(self, x, y, across, up, color, **more):
        """Draw a filled rectangle from its lower left corner."""
        self.axes.add_patch(Rectangle((x, y), across, up, **{"facecolor": color, "linewidth": 0.0, **more}))

    def line(self, xs, ys, color=INK, width=1.0, dash="-"):
        """Draw a line through points."""
        self.axes.plot(xs, ys, color=color, linewidth=width, linestyle=dash, solid_capstyle="butt")

    def words(self, x, y, words, align="center", **more):
        """Write a text, its middle at height y."""
        self.axes.text(x, y, words, ha=align, va="center", **more)

    def dimension(self, begin, end, words, aside_pt=7.0):
        """Draw a dimension line with arrows between two points, level or plumb, its words beside it."""
        (x0, y0), (x1, y1) = begin, end
        self.line([x0, x1], [y0, y1], width=0.7)
        plumb = x0 == x1
        for x, y, way in ((x0, y0, 1.0), (x1, y1, -1.0)):
            ends = [(way * ARROW_PT, 1.6), (way * ARROW_PT, -1.6)]
            tips = [(x + (b if plumb else a), y + (a if plumb else b)) for a, b in ends]
            self.axes.add_patch(Polygon([(x, y), *tips], facecolor=INK, linewidth=0.0))
            cross = ([x - 4.0, x + 4.0], [y, y]) if plumb else ([x, x], [y - 4.0, y + 4.0])
            self.line(*cross, width=0.7)
        if plumb:
            self.words(x0 - aside_pt, 0.5 * (y0 + y1), words, rotation=90.0, fontsize=8)
        else:
            self.words(0.5 * (x0 + x1), y0 - aside_pt, words, fontsize=8)

    def ruler(self, x, y, points_a_metre, system):
        """Draw a length of 6 in or 100 mm (1 ft or 500 mm where that is short), with its words."""
        lengths = ((0.1524, "6 in"), (0.3048, "1 ft"), (0.9144, "3 ft")) if system == "us" else (
            (0.1, "100 mm"), (0.5, "500 mm"), (1.0, "1 m"))  # fmt: skip
        length_m, words = next((one for one in lengths if one[0] * points_a_metre >= 18.0), lengths[-1])
        span = length_m * points_a_metre
        self.line([x, x + span], [y, y], width=1.4)
        for end in (x, x + span):
            self.line([end, end], [y - 3.5, y + 3.5], width=1.4)
        self.words(x + span + 6.0, y, words, "left", fontsize=8)
        return span + 50.0


def apart(places, least_pt, most_pt=float("inf")):
    """Return heights of labels, from the lowest up: each at its own, or a text's height above the one before; where
    that would bring the uppermost over `most_pt`, they move down as far as they must."""
    found = []
    for place in places:
        found.append(max(place, found[-1] + least_pt) if found else place)
    for k in range(len(found) - 1, -1, -1):
        found[k] = min(found[k], most_pt - least_pt * (len(found) - 1 - k))
    return found


def svg(figure, name, title):
    """Return a figure as an <svg> element, the same text for the same picture; `name` keeps its ids apart from
    those of the page's other drawings."""
    out = io.StringIO()
    with mpl.rc_context(STYLE):
        figure.savefig(out, format="svg", metadata={"Date": None})
    text = out.getvalue()
    text = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{name}-", text[text.index("<svg") :])
    return text.replace("<svg ", f'<svg role="img" aria-label="{escape(title)}" ', 1).strip()
