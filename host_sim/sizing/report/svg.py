"""Line charts as plain SVG text: no library, no file beside the page, sharp in print."""

from html import escape
from math import floor, log10

INK, GRID, FAINT = "#1b2733", "#d9dfe4", "#5c6b78"
COLOURS = ("#0b5fa5", "#b3470f", "#2e7d32", "#6a3d9a", "#8a6d00")
DASHES = ("", "7 4", "2 3", "9 3 2 3", "")


def text(x, y, words, size=12, anchor="start", colour=INK, bold=False, turn=None):
    """Return one SVG text element."""
    weight = ' font-weight="600"' if bold else ""
    turned = f' transform="rotate({turn} {x:.1f} {y:.1f})"' if turn is not None else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" fill="{colour}"{weight}{turned}>'
        f"{escape(words)}</text>"
    )


def line(x0, y0, x1, y1, colour=INK, width=1.0, dash=""):
    """Return one SVG line element."""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    ends = f'x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}"'
    return f'<line {ends} stroke="{colour}" stroke-width="{width}"{dashed}/>'


def polyline(points, colour, width=2.0, dash=""):
    """Return one SVG polyline through (x, y) points."""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="{width}"{dashed}/>'


def ticks(top, wanted=6):
    """Return round numbers from 0 to at least `top`."""
    if top <= 0.0:
        return [0.0, 1.0]
    step = 10.0 ** floor(log10(top / wanted))
    for times in (1.0, 2.0, 2.5, 5.0, 10.0):
        if top / (step * times) <= wanted:
            step *= times
            break
    count = int(top / step - 1e-9) + 1
    return [step * i for i in range(count + 1)]


def haloed(x, y, words, anchor, colour=INK):
    """Return a text with a white rim, so that curves behind it do not strike it through."""
    plain = text(x, y, words, 12, anchor, colour)
    rim = plain.replace("<text ", '<text stroke="white" stroke-width="3.5" stroke-linejoin="round" ')
    return rim + plain


class Chart:
    """A chart with axes from 0; curves, marks and bands are drawn in the order they are added."""

    def __init__(self, across, up, most_across, most_up, width=430, height=285):
        self.width, self.height = width, height
        self.left, self.right, self.top, self.bottom = 50, 14, 28, 42
        self.x_ticks, self.y_ticks = ticks(most_across), ticks(most_up)
        self.most = (self.x_ticks[-1], self.y_ticks[-1])
        self.across, self.up = across, up
        self.parts, self.legend = [], []

    def at(self, x, y):
        """Return the place of a point in the drawing."""
        span_x = self.width - self.left - self.right
        span_y = self.height - self.top - self.bottom
        return self.left + span_x * x / self.most[0], self.height - self.bottom - span_y * y / self.most[1]

    def curve(self, points, name, index, width=2.0):
        """Draw a curve, cut at the frame, and put it into the legend."""
        kept = [self.at(x, y) for x, y in _cut(points, self.most)]
        if len(kept) > 1:
            self.parts.append(polyline(kept, COLOURS[index], width, DASHES[index]))
        self.legend.append((name, index))

    def mark(self, x, y, words, side="right", below=False, place=None):
        """Draw a dot with its words beside it; `place` shifts the words so that they meet nothing."""
        px, py = self.at(x, y)
        dx, dy = place or ((9, 15 if below else -8) if side == "right" else (-9, 15 if below else -8))
        anchor = "start" if side == "right" else "end"
        self.parts.append(f'<circle cx="{px:.1f}" cy="{py:.1f}" r="4.2" fill="{INK}" stroke="white" stroke-width="1"/>')
        self.parts.append(haloed(px + dx, py + dy, words, anchor))

    def letter(self, x, y, letter):
        """Draw a dot with a letter above it, to be told below the chart."""
        px, py = self.at(x, y)
        self.parts.append(f'<circle cx="{px:.1f}" cy="{py:.1f}" r="4.2" fill="{INK}" stroke="white" stroke-width="1"/>')
        self.parts.append(
            haloed(px, py - 9, letter, "middle").replace('font-size="12"', 'font-size="13" font-weight="600"')
        )

    def upright(self, x, words, index=4):
        """Draw an upright line with words at its top."""
        px = self.at(x, 0.0)[0]
        self.parts.append(line(px, self.top, px, self.height - self.bottom, COLOURS[index], 1.3, "4 3"))
        near_end = px > self.width - 150
        self.parts.append(text(px + (-5 if near_end else 5), self.top + 12, words, 12, "end" if near_end else "start",
                               COLOURS[index]))  # fmt: skip

    def level(self, y, words, index=1):
        """Draw a level line with words at its right end."""
        if y > self.most[1]:
            return
        py = self.at(0.0, y)[1]
        self.parts.append(line(self.left, py, self.width - self.right, py, COLOURS[index], 1.3, "4 3"))
        self.parts.append(haloed(self.width - self.right - 4, py - 6, words, "end", COLOURS[index]))

    def svg(self, title):
        """Return the whole drawing."""
        out = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" role="img" '
            f'font-family="Helvetica, Arial, sans-serif"><title>{escape(title)}</title>'
        ]
        base = self.height - self.bottom
        for x in self.x_ticks:
            px = self.at(x, 0)[0]
            out.append(line(px, self.top, px, base, GRID))
            out.append(text(px, base + 16, f"{x:g}", 11, "middle", FAINT))
        for y in self.y_ticks:
            py = self.at(0, y)[1]
            out.append(line(self.left, py, self.width - self.right, py, GRID))
            out.append(text(self.left - 6, py + 4, f"{y:g}", 11, "end", FAINT))
        out.append(line(self.left, self.top, self.left, base, INK, 1.2))
        out.append(line(self.left, base, self.width - self.right, base, INK, 1.2))
        out.append(text((self.left + self.width - self.right) / 2, self.height - 8, self.across, 12, "middle"))
        out.append(text(15, (self.top + base) / 2, self.up, 12, "middle", turn=-90))
        out += self.parts
        x = self.left
        for name, index in self.legend:
            out.append(line(x, 14, x + 24, 14, COLOURS[index], 2.4, DASHES[index]))
            out.append(text(x + 29, 18, name, 12))
            x += 44 + 6.4 * len(name)
        return "\n".join([*out, "</svg>"])


def _cut(points, most):
    # Points inside the frame, with the crossing of its upper edge put in.
    found = []
    for i, (x, y) in enumerate(points):
        inside = x <= most[0] * 1.0001 and y <= most[1] * 1.0001
        if i:
            x0, y0 = points[i - 1]
            was = x0 <= most[0] * 1.0001 and y0 <= most[1] * 1.0001
            if inside != was and y != y0 and max(y, y0) > most[1]:
                share = (most[1] - y0) / (y - y0)
                found.append((x0 + share * (x - x0), most[1]))
            elif inside != was and x != x0:
                share = (most[0] - x0) / (x - x0)
                found.append((most[0], y0 + share * (y - y0)))
        if inside:
            found.append((x, y))
    return found
