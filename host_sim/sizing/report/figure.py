"""What the page's drawings share: one style, and a figure turned into SVG that stands inside a page.

The drawings are read in black and white as well: dashes, markers and words
carry what colors do.  Letters become outlines, so that they print the same on
a machine without the font, and no text can grow over another.
"""

import io
import logging
import re
from html import escape

import matplotlib as mpl
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

# The first picture on a new machine makes matplotlib look for fonts; nobody needs to be told.
logging.getLogger("matplotlib.font_manager").setLevel(logging.ERROR)

INK, FAINT, GRID = "#1b2733", "#5c6b78", "#d9dfe4"
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


def svg(figure, name, title):
    """Return a figure as an <svg> element, the same text for the same picture; `name` keeps its ids apart from
    those of the page's other drawings."""
    out = io.StringIO()
    with mpl.rc_context(STYLE):
        figure.savefig(out, format="svg", metadata={"Date": None})
    text = out.getvalue()
    text = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{name}-", text[text.index("<svg") :])
    return text.replace("<svg ", f'<svg role="img" aria-label="{escape(title)}" ', 1).strip()
