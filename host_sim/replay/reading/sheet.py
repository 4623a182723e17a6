"""The table of a log as `--map` sees it: the columns' names, the first rows, and any whole column as texts."""

import csv
import re
from pathlib import Path

from host_sim.errors import InputError
from host_sim.replay.reading import rows_by_name, table_log, texts
from host_sim.replay.reading.cells import word
from host_sim.replay.reading.doubts import COMMA
from host_sim.replay.reading.mapping import Mapping, State

SNIFFED = 65536  # characters looked at
SHOWN = 20  # rows
NAMES = re.compile(r"entity|^name$|tag|sensor|signal|channel|point|series|variable", re.IGNORECASE)
VALUES = re.compile(r"value|state|reading|^val$", re.IGNORECASE)
MOST_NAMES = 200


class Sheet:
    """One log: `header` names its columns, `rows` are its first rows of cells, as texts.

    `delimiter`, `skip` and `decimal` are what [file] of the mapping says of it.
    Raises InputError where the file cannot be read or holds no table.
    """

    def __init__(self, path):
        self.path, self.delimiter, self.skip, self.decimal = Path(path), ",", 0, "."
        self.parquet = texts.suffix(path) in table_log.PARQUET
        self.header, self.rows = self._parquet() if self.parquet else self._csv()

    def _parquet(self):
        try:
            import pyarrow.parquet as pq
        except ImportError as error:
            raise InputError(f"Parquet {table_log.INSTALL}", str(self.path)) from error
        try:
            batch = next(pq.ParquetFile(self.path).iter_batches(batch_size=SHOWN))
        except (OSError, ValueError, StopIteration) as error:
            raise InputError(f"cannot be read: {error}", str(self.path)) from error
        return batch.schema.names, [[str(cell) for cell in row.values()] for row in batch.to_pylist()]

    def _csv(self):
        try:
            with texts.opened(self.path, errors="replace") as file:
                lines = file.read(SNIFFED).splitlines()
        except (OSError, EOFError) as error:
            raise InputError(f"cannot be read: {error}", str(self.path)) from error
        if len(lines) < 2:
            raise InputError("has no header with rows below it", str(self.path))
        self.delimiter, self.skip = _shape(lines)
        rows = list(csv.reader(lines[self.skip + 1 : self.skip + 1 + SHOWN], delimiter=self.delimiter))
        if self.delimiter != "," and any(COMMA.match(cell) for row in rows for cell in row):
            self.decimal = ","
        return texts.cells_of(lines[self.skip], self.delimiter), rows

    def cells(self, *names):
        """Return {column: every cell as a text}: what the first rows show may not be all there is."""
        if self.parquet:
            import pyarrow.parquet as pq

            table = pq.read_table(self.path, columns=list(names))
            return {name: ["" if cell is None else str(cell) for cell in table.column(name).to_pylist()]
                    for name in names}  # fmt: skip
        found = {name: [] for name in names}
        with texts.opened(self.path, errors="replace") as file:
            header, _ = texts.header(file, self.path, self.delimiter, self.skip, names)
            places = [header.index(name) for name in names]
            for row in csv.reader(file, delimiter=self.delimiter):
                if len(row) > max(places):
                    for name, place in zip(names, places, strict=True):
                        found[name].append(row[place].strip())
        return found

    def first(self, name):
        """Return the first cells of a column."""
        place = self.header.index(name)
        return [row[place] for row in self.rows if len(row) > place]

    def named_rows(self):
        """Return (column of names, column of values) where each row seems to hold one named reading, else None."""
        names = [name for name in self.header if NAMES.search(name)]
        values = [name for name in self.header if VALUES.search(name) and name not in names]
        for name in names:
            seen = {cell for cell in self.first(name) if cell}
            if values and seen and not any(_number(cell) for cell in seen) and len(seen) < max(2, len(self.rows)):
                return name, values[0]
        return None


class NamedSheet:
    """The same log where each row holds one reading: its names stand in the place of the columns."""

    def __init__(self, sheet, time, names, values, time_of_day=""):
        self.path, self.delimiter, self.skip, self.decimal = sheet.path, sheet.delimiter, sheet.skip, sheet.decimal
        kept = [time, *([time_of_day] if time_of_day else [])]
        table = sheet.cells(*kept, names, values)
        seen = list(dict.fromkeys(table[names]))
        if len(seen) > MOST_NAMES:
            raise InputError(f'column "{names}" holds {len(seen)} different names: over {MOST_NAMES} are no channels',
                             "--map")  # fmt: skip
        plain = Mapping(time, time_of_day=time_of_day or None, names=names, values=values,
                        contacts={name: State(name) for name in seen})  # fmt: skip
        wide, _ = rows_by_name.spread(table, plain, [], sheet.path)
        self.table = {name: [cell or "" for cell in cells] for name, cells in wide.items()}
        self.header = [*kept, *seen]
        self.decimal = "," if any(COMMA.match(cell) for cell in table[values]) and sheet.delimiter != "," else "."

    def cells(self, *names):
        """Return {name: every cell as a text}, "" where a row has none."""
        return {name: self.table[name] for name in names}

    def first(self, name):
        """Return the first cells of a name that are not empty."""
        return [cell for cell in self.table[name] if cell][:SHOWN]


def _shape(lines):
    # The delimiter that splits most lines into the same number of cells, and the place of the header: the first such
    # line that is no comment, or a comment above rows that have no names.
    best = (0, ",", 0)
    head = lines[:60]
    for delimiter in (",", ";", "\t", "|"):
        counts = [line.count(delimiter) for line in head]
        most = max(set(counts), key=counts.count)
        if most and counts.count(most) * most > best[0]:
            best = (counts.count(most) * most, delimiter, most)
    _, delimiter, most = best
    split = [i for i, line in enumerate(head) if line.count(delimiter) == most]
    plain = [i for i in split if not head[i].lstrip("\ufeff").startswith(texts.MARK)]
    if not plain:
        return delimiter, split[0] if split else 0
    bare = sum(_number(cell) for cell in texts.cells_of(head[plain[0]], delimiter))
    above = [i for i in split if i < plain[0]]
    return delimiter, above[-1] if above and bare else plain[0]


def _number(text):
    try:
        float(word(text).replace(",", "."))
    except ValueError:
        return False
    return True
