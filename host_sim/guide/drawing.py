"""A drawing: symbols of schemdraw at places of our own choosing, as one SVG that scales with its page.

Lengths are in units of 10 mm on a page of 186 mm; type sizes in points on that page.  Black on white, nothing is said
by color.
"""

from host_sim.errors import InputError

WIDTH = 18.6  # units: the printed page's width
POINTS_A_UNIT = 10.0 / 0.3528
FONT = "Arial, Helvetica, 'Liberation Sans', sans-serif"


def library():
    """Return schemdraw with its elements, drawing in SVG.  Raises InputError that says how to get it."""
    try:
        import schemdraw
        import schemdraw.elements as elements
    except ImportError as error:
        raise InputError("schemdraw is missing: python -m pip install schemdraw", "build") from error
    schemdraw.use("svg")
    return schemdraw, elements


class Drawing:
    """One drawing; `svg()` returns it.  Places are (x, y), y upwards."""

    def __init__(self, name):
        self.name = name
        schemdraw, self.e = library()
        self.d = schemdraw.Drawing(show=False)
        self.d.config(unit=1.0, inches_per_unit=POINTS_A_UNIT / 72.0, fontsize=8, font=FONT, lw=0.9, margin=0.1)
        self.low, self.high = 0.0, 0.0  # what has been drawn between, by our own places

    def _reach(self, *places):
        self.low = min(self.low, *(y - 0.35 for _, y in places))
        self.high = max(self.high, *(y + 0.35 for _, y in places))

    def add(self, element):
        """Put a schemdraw element and return it."""
        return self.d.add(element)

    def line(self, *places):
        """Draw straight lines from place to place."""
        self._reach(*places)
        for one, other in zip(places, places[1:], strict=False):
            self.add(self.e.Line().at(one).to(other))

    def dot(self, place):
        """Draw a junction."""
        self.add(self.e.Dot(radius=0.05).at(place))

    def terminal(self, place):
        """Draw a terminal: an open circle."""
        self.add(self.e.Dot(open=True, radius=0.08).at(place))

    def text(self, place, words, size=8.0, align="left"):
        """Write a line of text whose middle height is at the place."""
        self._reach(place)
        # schemdraw sets the middle of a line a little high, and a little to the right
        place = (place[0] - (0.08 if align == "center" else 0.0), place[1] - 0.012 * size)
        self.add(self.e.Label().at(place).theta(0).label(words, loc="center", ofst=(0, 0), halign=align,
                                                         valign="center", fontsize=size))  # fmt: skip

    def rect(self, corner, other, words="", size=8.0):
        """Draw a box with a text in its middle."""
        self._reach(corner, other)
        self.add(self.e.Rect(corner1=corner, corner2=other).at((0, 0)).theta(0))
        if words:
            self.text(((corner[0] + other[0]) / 2, (corner[1] + other[1]) / 2), words, size, "center")

    def between(self, element, one, other):
        """Put an element of two terminals between two places."""
        return self.add(element.at(one).to(other))

    def ground(self, place):
        """Draw the ground symbol below a place."""
        self._reach((place[0], place[1] - 0.4))
        self.add(self.e.Ground().at(place).theta(0).scale(0.45))

    def svg(self):
        """Return the drawing as an SVG element, as wide as its page allows, with its name for those who cannot see."""
        text = self.d.get_imagedata("svg").decode("utf-8")
        text = text[text.index("<svg") :]
        rest = text.split(">", 1)[1]
        tall = self.high - self.low
        box = " ".join(f"{value * POINTS_A_UNIT:.2f}" for value in (0.0, -self.high, WIDTH, tall))
        return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" style="width:{10 * WIDTH:g}mm;'
                f'height:{10 * tall:.1f}mm" role="img" aria-label="{self.name}">{rest}')  # fmt: skip
