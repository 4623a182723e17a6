"""Fits tables onto one sheet of paper: the type is as large as the sheet allows, and text is shortened only at the end.

`sheet.html` holds the macros that turn the tables into HTML, for every page that is printed so.

The width of a letter is taken as a share of the type size that no common
sans-serif type exceeds on average text; so the estimate errs towards more
lines.  A sheet is what A4 and letter paper both hold within the margins.
"""

from dataclasses import dataclass, field, replace
from math import ceil, inf

WIDTH_MM, HEIGHT_MM = 186.0, 250.0  # of paper: A4 is 210 x 297, letter 216 x 279; 12 mm margins, and some in hand
POINT_MM = 0.3528
LETTER = 0.48  # average width of a letter in type sizes, with some in hand for the ends of lines; Arial 0.45
CAPITAL = 1.35  # how much wider capitals are; DejaVu Sans 1.3
BOLD = 1.15  # how much wider bold letters are; DejaVu Sans 1.12
LINE = 1.22  # line height in type sizes
PAD_MM = 0.78  # above and below each row, with its line
SIZES_PT = (9.5, 9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0, 5.5)
LONGEST = (400, 240, 160, 110, 80, 55)  # letters of a cell, shortened in this order when the smallest type is too large
AGAIN = " (continued)"
LEFT_OUT, LEFT_OUT_MM = "There is more than these sheets hold: the rest is in the JSON.", 6.0
CUT = " ... (in full in the JSON)"


@dataclass(frozen=True)
class Cell:
    """One cell: its text, a class of the style sheet ("" is regular type), and whether it must never be shortened.

    `runs`, where there are any, are pairs (words in bold, words after them) in the text's stead, one after another;
    they are never shortened.
    """

    text: str
    style: str = ""
    whole: bool = False
    runs: tuple = ()

    def shown(self, longest):
        """Return the text with at most `longest` letters; what is left out is in the JSON, and it says so."""
        if self.whole or len(self.text) <= longest:
            return self.text
        return self.text[: max(1, longest - len(CUT))].rstrip() + CUT

    def lines(self, width_mm, point, longest):
        """Return the estimated number of lines in a column."""
        letters = max(1.0, (width_mm - 1.6) / (point * LETTER * POINT_MM * (BOLD if self.style else 1.0)))
        if self.runs:
            return _broken([*_bold(self.runs)], letters)
        return sum(_broken(_words(part), letters) for part in self.shown(longest).split("\n"))


@dataclass
class Table:
    """Columns are widths in mm, rows lists of Cells; a row of one Cell spans the whole width.

    `titles`, where there are any, stand over the columns, on every sheet on which the table goes on.
    """

    widths: tuple
    rows: list
    heading: str = ""
    titles: tuple = ()

    def row_mm(self, row, point, longest):
        """Return the estimated height of a row at a type size."""
        widths = self.widths if len(row) > 1 else (sum(self.widths),)
        lines = max(cell.lines(width, point, longest) for cell, width in zip(row, widths, strict=True))
        return lines * point * LINE * POINT_MM + PAD_MM

    def head_mm(self, point, longest):
        """Return the estimated height of heading and titles at a type size."""
        total = heading_mm(point) if self.heading else 0.6
        return total + (self.row_mm(self.titles, point, longest) if self.titles else 0.0)

    def height_mm(self, point, longest):
        """Return the estimated height at a type size."""
        return self.head_mm(point, longest) + sum(self.row_mm(row, point, longest) for row in self.rows)

    def cut(self, room_mm, point, longest):
        """Return (Table that fits into a height, Table of the rest); None for the one that would hold no row."""
        taken, height = 0, self.head_mm(point, longest)
        for row in self.rows:
            height += self.row_mm(row, point, longest)
            if height > room_mm:
                break
            taken += 1
        if taken == len(self.rows):
            return self, None
        if taken == 0:
            return None, self
        return replace(self, rows=self.rows[:taken]), replace(self, rows=self.rows[taken:], heading=again(self.heading))


def heading_mm(point):
    """Return the height of a heading at a type size."""
    return point * 1.25 * LINE * POINT_MM + 2.2


def again(heading):
    """Return the heading of a table that goes on."""
    return heading if heading.endswith(AGAIN) or not heading else heading + AGAIN


@dataclass
class Columns:
    """Two stacks of tables side by side, under a heading or none."""

    left: list
    right: list
    heading: str = ""

    @property
    def sides(self):
        """Return both stacks."""
        return self.left, self.right

    def height_mm(self, point, longest):
        """Return the estimated height at a type size."""
        tallest = max(sum(table.height_mm(point, longest) for table in side) for side in self.sides)
        return tallest + (heading_mm(point) if self.heading else 0.0)

    def cut(self, room_mm, point, longest):
        """Return (Columns that fit into a height, Columns of the rest), as a Table's `cut` does."""
        cuts = [_cut_stack(side, room_mm, point, longest) for side in self.sides]
        if not all(taken for taken, _ in cuts):
            return None, self
        rest = Columns(*(left for _, left in cuts)) if any(left for _, left in cuts) else None
        return Columns(*(taken for taken, _ in cuts)), rest


@dataclass
class Halves:
    """One list of rows in two halves side by side, each with the `widths`: down the left, then down the right."""

    widths: tuple
    rows: list
    heading: str = ""
    titles: tuple = ()

    def laid(self, point, longest):
        """Return the Columns: the two halves as even in height as the rows allow."""
        left, right, best, taken = 0.0, sum(self._whole.row_mm(row, point, longest) for row in self.rows), inf, 0
        for place, row in enumerate(self.rows):
            height = self._whole.row_mm(row, point, longest)
            left, right = left + height, right - height
            if max(left, right) < best:
                best, taken = max(left, right), place + 1
        halves = [Table(self.widths, rows, "", self.titles) for rows in (self.rows[:taken], self.rows[taken:]) if rows]
        return Columns(halves[:1], halves[1:], self.heading)

    @property
    def _whole(self):
        return Table(self.widths, self.rows, "", self.titles)

    def height_mm(self, point, longest):
        """Return the estimated height at a type size."""
        return self.laid(point, longest).height_mm(point, longest)

    def cut(self, room_mm, point, longest):
        """Return (Halves that fit into a height, Halves of the rest), as a Table's `cut` does."""
        room_mm -= heading_mm(point) if self.heading else 0.0
        taken, rest = self._whole.cut(room_mm, point, longest)
        if taken is None:
            return None, self
        count = len(taken.rows)
        more, _ = (None, None) if rest is None else rest.cut(room_mm, point, longest)
        count += len(more.rows) if more is not None else 0
        if count == len(self.rows):
            return self, None
        return replace(self, rows=self.rows[:count]), replace(self, rows=self.rows[count:], heading=again(self.heading))


def _cut_stack(tables, room_mm, point, longest):
    taken, left = [], list(tables)
    while left:
        part, rest = left[0].cut(room_mm, point, longest)
        if part is not None:
            taken.append(part)
            room_mm -= part.height_mm(point, longest)
        if rest is not None:
            return taken, [rest, *left[1:]]
        left.pop(0)
    return taken, []


@dataclass
class Sheet:
    """One sheet of paper: `top_mm` and `foot_mm` are what the page's fixed parts take above and below the tables.

    `sizes` are the type sizes in points that are tried, largest first; with `fitted` the choice is made already.
    """

    top_mm: float = 0.0
    foot_mm: float = 0.0
    blocks: list = field(default_factory=list)
    sizes: tuple = SIZES_PT
    fitted: tuple | None = None

    def fit(self):
        """Return (type size, letters a cell may have); the smallest of both where nothing fits."""
        if self.fitted:
            return self.fitted
        for longest in LONGEST:
            for point in self.sizes if longest == LONGEST[0] else self.sizes[-3:]:
                height = self.top_mm + self.foot_mm + sum(block.height_mm(point, longest) for block in self.blocks)
                if height <= HEIGHT_MM:
                    return point, longest
        return self.sizes[-1], LONGEST[-1]


def flow(plans, sizes, smallest):
    """Lay blocks one after another onto empty Sheets, in one type size; return (the number of the plan, its Sheets,
    filled).

    What does not fit on one sheet goes on on the next.  `plans` are pairs (blocks,
    empty Sheets), the fullest first: the first that fits in one of `sizes`, the
    largest that does, is taken.  Where none fits, the last plan is set smaller, in
    sizes of `smallest`, then its cells are shortened, and what is still too much is
    left to the JSON, with a line that says so.
    """
    last = len(plans) - 1
    tries = [(number, point, LONGEST[0]) for number in range(len(plans)) for point in sizes]
    tries += [(last, point, LONGEST[0]) for point in smallest]
    tries += [(last, smallest[-1], longest) for longest in LONGEST[1:]]
    for number, point, longest in tries:
        filled, left = _fill(*plans[number], point, longest)
        if not left:
            return number, filled
    blocks, sheets = plans[last]
    cut = replace(sheets[-1], foot_mm=sheets[-1].foot_mm + LEFT_OUT_MM)
    filled, _ = _fill(blocks, [*sheets[:-1], cut], point, longest)
    filled[-1].blocks.append(Table((WIDTH_MM,), [[Cell(LEFT_OUT, "name")]]))
    return last, filled


def _fill(blocks, sheets, point, longest):
    left, filled = list(blocks), []
    for sheet in sheets:
        room, taken = HEIGHT_MM - sheet.top_mm - sheet.foot_mm, []
        while left:
            block = left[0]
            height = block.height_mm(point, longest)
            if height <= room:
                taken.append(_laid(left.pop(0), point, longest))
                room -= height
                continue
            part, rest = block.cut(room, point, longest)
            if part is not None:
                taken.append(_laid(part, point, longest))
                left[0] = rest
            break
        filled.append(replace(sheet, blocks=taken, fitted=(point, longest)))
    return filled, left


def _laid(block, point, longest):
    return block.laid(point, longest) if isinstance(block, Halves) else block


def _bold(runs):
    for lead, text in runs:
        yield from (BOLD * wide for wide in _words(lead))
        yield from _words(text)


def _words(text):
    return [_letters(word) for word in text.split()]


def _broken(words, letters):
    # The number of lines of words, by their widths; one that is longer than a line is broken itself.
    lines, used = 1, 0.0
    for wide in words:
        if used and used + 1.0 + wide > letters:
            lines, used = lines + 1, 0.0
        lines += max(0, ceil(wide / letters) - 1)
        used += wide + (1.0 if used else 0.0)
    return lines


def _letters(text):
    return len(text) + (CAPITAL - 1.0) * sum(letter.isupper() for letter in text)
