"""Fits tables onto one sheet of paper: the type is as large as the sheet allows, and text is shortened only at the end.

The width of a letter is taken as a share of the type size that no common
sans-serif type exceeds on average text; so the estimate errs towards more
lines.  A sheet is what A4 and letter paper both hold within the margins.
"""

from dataclasses import dataclass, field
from html import escape
from math import ceil

HEIGHT_MM = 250.0  # of 186 mm of width: A4 is 210 x 297, letter 216 x 279; 12 mm margins, and some in hand
POINT_MM = 0.3528
LETTER = 0.47  # average width of a letter in type sizes, with some in hand for the ends of lines; measured 0.43
LINE = 1.22  # line height in type sizes
PAD_MM = 0.85  # above and below each row
SIZES_PT = (9.5, 9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0, 5.5)
LONGEST = (400, 240, 160, 110, 80, 55)  # letters of a cell, shortened in this order when the smallest type is too large
CUT = " ... (whole in the JSON)"


@dataclass(frozen=True)
class Cell:
    """One cell: its text, and a class of the style sheet."""

    text: str
    style: str = ""


@dataclass
class Table:
    """Columns are widths in mm, rows lists of Cells; a row of one Cell goes over the whole width."""

    widths: tuple
    rows: list
    heading: str = ""

    def height_mm(self, point, longest):
        """Return the estimated height at a type size."""
        total = (point * 1.25 * LINE * POINT_MM + 2.6) if self.heading else 0.6
        for row in self.rows:
            widths = self.widths if len(row) > 1 else (sum(self.widths),)
            lines = max(_lines(cell.text[:longest], width, point) for cell, width in zip(row, widths, strict=True))
            total += lines * point * LINE * POINT_MM + PAD_MM
        return total

    def html(self, longest):
        """Return the table as HTML."""
        head = f"<h2>{escape(self.heading)}</h2>" if self.heading else ""
        columns = "".join(f'<col style="width:{width:g}mm">' for width in self.widths)
        rows = []
        for row in self.rows:
            span = f' colspan="{len(self.widths)}"' if len(row) == 1 and len(self.widths) > 1 else ""
            cells = "".join(f'<td class="{cell.style}"{span}>{_cut(cell.text, longest)}</td>' for cell in row)
            rows.append(f"<tr>{cells}</tr>")
        return f"{head}<table><colgroup>{columns}</colgroup>{''.join(rows)}</table>"


@dataclass
class Columns:
    """Two tables, or stacks of them, side by side."""

    left: list
    right: list

    def height_mm(self, point, longest):
        """Return the estimated height at a type size."""
        sides = [sum(table.height_mm(point, longest) for table in side) for side in (self.left, self.right)]
        return max(sides)

    def html(self, longest):
        """Return both as HTML."""
        sides = ["".join(table.html(longest) for table in side) for side in (self.left, self.right)]
        return f'<div class="two"><div>{sides[0]}</div><div>{sides[1]}</div></div>'


@dataclass
class Sheet:
    """One sheet of paper: a block of fixed height on top (`head`, `head_mm`), then tables."""

    head: str
    head_mm: float
    blocks: list = field(default_factory=list)
    foot: str = ""
    foot_mm: float = 0.0

    def fit(self):
        """Return (type size, letters a cell may have); the least of both where nothing fits."""
        for longest in LONGEST:
            for point in SIZES_PT if longest == LONGEST[0] else SIZES_PT[-3:]:
                height = self.head_mm + self.foot_mm + sum(block.height_mm(point, longest) for block in self.blocks)
                if height <= HEIGHT_MM:
                    return point, longest
        return SIZES_PT[-1], LONGEST[-1]

    def html(self):
        """Return the sheet as HTML."""
        point, longest = self.fit()
        inside = "".join(block.html(longest) for block in self.blocks)
        return f'<section class="sheet" style="font-size:{point:g}pt">{self.head}{inside}{self.foot}</section>'


def _lines(text, width_mm, point):
    letters = max(1.0, (width_mm - 1.6) / (point * LETTER * POINT_MM))
    return sum(max(1, ceil(len(part) / letters)) for part in text.split("\n"))


def _cut(text, longest):
    if len(text) > longest:
        text = text[: max(1, longest - len(CUT))].rstrip() + CUT
    return escape(text).replace("\n", "<br>")
