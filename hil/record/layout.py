"""Fits tables onto one sheet of paper: the type is as large as the sheet allows, and text is shortened only at the end.

The width of a letter is taken as a share of the type size that no common
sans-serif type exceeds on average text; so the estimate errs towards more
lines.  A sheet is what A4 and letter paper both hold within the margins.
"""

from dataclasses import dataclass, field
from math import ceil

HEIGHT_MM = 250.0  # of 186 mm of width: A4 is 210 x 297, letter 216 x 279; 12 mm margins, and some in hand
POINT_MM = 0.3528
LETTER = 0.55  # average width of a letter in type sizes, with some in hand for the ends of lines; DejaVu Sans 0.525
CAPITAL = 1.35  # how much wider capitals are; DejaVu Sans 1.3
BOLD = 1.15  # how much wider bold letters are; DejaVu Sans 1.12
LINE = 1.22  # line height in type sizes
PAD_MM = 0.85  # above and below each row
SIZES_PT = (9.5, 9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0, 5.5)
LONGEST = (400, 240, 160, 110, 80, 55)  # letters of a cell, shortened in this order when the smallest type is too large
CUT = " ... (in full in the JSON)"


@dataclass(frozen=True)
class Cell:
    """One cell: its text, a class of the style sheet ("" is regular type), and whether it must never be shortened."""

    text: str
    style: str = ""
    whole: bool = False

    def shown(self, longest):
        """Return the text with at most `longest` letters; what is left out is in the JSON, and it says so."""
        if self.whole or len(self.text) <= longest:
            return self.text
        return self.text[: max(1, longest - len(CUT))].rstrip() + CUT

    def lines(self, width_mm, point, longest):
        """Return the estimated number of lines in a column."""
        letters = max(1.0, (width_mm - 1.6) / (point * LETTER * POINT_MM * (BOLD if self.style else 1.0)))
        return sum(max(1, ceil(_letters(part) / letters)) for part in self.shown(longest).split("\n"))


@dataclass
class Table:
    """Columns are widths in mm, rows lists of Cells; a row of one Cell spans the whole width."""

    widths: tuple
    rows: list
    heading: str = ""

    def height_mm(self, point, longest):
        """Return the estimated height at a type size."""
        total = (point * 1.25 * LINE * POINT_MM + 2.6) if self.heading else 0.6
        for row in self.rows:
            widths = self.widths if len(row) > 1 else (sum(self.widths),)
            lines = max(cell.lines(width, point, longest) for cell, width in zip(row, widths, strict=True))
            total += lines * point * LINE * POINT_MM + PAD_MM
        return total


@dataclass
class Columns:
    """Two stacks of tables side by side."""

    left: list
    right: list

    @property
    def sides(self):
        """Return both stacks."""
        return self.left, self.right

    def height_mm(self, point, longest):
        """Return the estimated height at a type size."""
        return max(sum(table.height_mm(point, longest) for table in side) for side in self.sides)


@dataclass
class Sheet:
    """One sheet of paper: `top_mm` and `foot_mm` are what the page's fixed parts take above and below the tables."""

    top_mm: float = 0.0
    foot_mm: float = 0.0
    blocks: list = field(default_factory=list)

    def fit(self):
        """Return (type size, letters a cell may have); the smallest of both where nothing fits."""
        for longest in LONGEST:
            for point in SIZES_PT if longest == LONGEST[0] else SIZES_PT[-3:]:
                height = self.top_mm + self.foot_mm + sum(block.height_mm(point, longest) for block in self.blocks)
                if height <= HEIGHT_MM:
                    return point, longest
        return SIZES_PT[-1], LONGEST[-1]


def _letters(text):
    return len(text) + (CAPITAL - 1.0) * sum(letter.isupper() for letter in text)
