"""Cells into numbers: bare ones in the column's unit, others in the unit that they carry."""

import re

import numpy as np

from host_sim import units
from host_sim.errors import InputError
from host_sim.replay.reading import doubts
from host_sim.replay.reading.log import UNKNOWN, note

_FORM = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([^\d\s].*)?$")


class Reader:
    """Turns the cells of one `mapping.Column` into SI."""

    def __init__(self, column, mapping, issues):
        self.column, self.issues = column, issues
        self.decimal, self.missing = mapping.decimal, frozenset(mapping.missing)
        self.factors = {"": column.factor}

    def factor(self, unit):
        """Return what one of a unit is in SI, nan for one that cannot be read."""
        if unit not in self.factors:
            try:
                self.factors[unit] = units.read(f"1 {unit}", self.column.kind)
            except ValueError:
                self.factors[unit] = np.nan
        return self.factors[unit]

    def read(self, cells, unit_cells=None):
        """Return an array of n in SI, nan where a cell holds no number.  Raises InputError for decimal commas."""
        found = np.full(len(cells), np.nan)
        unreadable, mixed = [], 0
        for i, cell in enumerate(cells):
            if cell is None or (isinstance(cell, str) and cell.strip() in self.missing):
                continue
            unit = "" if unit_cells is None or unit_cells[i] is None else str(unit_cells[i]).strip()
            value = cell
            if isinstance(cell, str):
                form = _FORM.match(cell.replace(",", ".") if self.decimal == "," else cell)
                if form is None:
                    unreadable.append(i + 1)
                    continue
                value, unit = float(form[1]), (form[2] or unit).strip()
            number = float(value) * self.factor(unit)
            if not np.isfinite(number):
                if not (isinstance(cell, float) and cell != cell):
                    unreadable.append(i + 1)
                continue
            mixed += bool(unit) and unit != self.column.unit
            found[i] = number
        name = self.column.name
        if unreadable:
            cell = str(cells[unreadable[0] - 1])
            doubts.decimal_comma(name, (cell, len(unreadable), len(cells)), self.decimal, "mapping")
        note(self.issues, "no number", len(unreadable), f'cells of "{name}" without a number in a known unit',
             unreadable[0] if unreadable else 0)  # fmt: skip
        note(self.issues, "other unit", mixed, f'cells of "{name}" in a unit other than {self.column.unit}, converted')
        return found + self.column.offset


def word(cell):
    """Return a cell that is on or off as one word: lower case, 1.0 as 1, "" where it is empty."""
    if cell is None or cell != cell:
        return ""
    text = str(cell).strip().lower()
    try:
        return f"{float(text):g}"
    except ValueError:
        return text


def states(cells, state, mapping):
    """Return an array of n: 1 where a cell is one of the words for on, 0 for off, UNKNOWN where it is missing.

    Capitals do not matter, and 1.0 is 1.  Raises InputError naming every word
    that is neither, with the number of its cells.
    """
    yes, no = ({word(text) for text in words} for words in (state.yes, state.no))
    missing = {word(text) for text in mapping.missing} - yes
    no -= yes
    kept, strange = {}, {}
    found = np.empty(len(cells), np.int8)
    for i, cell in enumerate(cells):
        key = (type(cell), cell)  # True and 1 are one key otherwise
        value = kept.get(key)
        if value is None:
            text = word(cell)
            value = kept[key] = UNKNOWN if text in missing else 1 if text in yes else 0 if text in no else None
        if value is None:
            strange[str(cell)] = strange.get(str(cell), 0) + 1
        found[i] = UNKNOWN if value is None else value
    if strange:
        most = sorted(strange, key=lambda text: -strange[text])
        told = ", ".join(f'"{text}" ({strange[text]} cells)' for text in most[:4])
        more = f" and {len(most) - 4} other values" if len(most) > 4 else ""
        raise InputError(f'column "{state.name}": {told}{more} mean neither on nor off: list the words for on '
                         "(on, wet, present) and those for off (off_words) in the mapping; a column of measured values "
                         "is no on/off column", "mapping")  # fmt: skip
    return found
