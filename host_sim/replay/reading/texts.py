"""Opens a log's text: plain or gzip, lines that begin with # before the header left out."""

import csv
import gzip
from pathlib import Path

from host_sim.errors import InputError

GZIP = b"\x1f\x8b"  # how every gzip file begins (RFC 1952, section 2.3.1)
MARK = "#"
MOST_LINES = 10000


def is_gzip(path):
    """Tell whether a file is compressed by gzip, whatever its name."""
    with Path(path).open("rb") as file:
        return file.read(2) == GZIP


def opened(path, encoding="utf-8", errors="strict"):
    """Return a text file, uncompressed on the way where it is gzip.  Raises OSError."""
    if is_gzip(path):
        return gzip.open(path, "rt", encoding=encoding, errors=errors, newline="")
    return Path(path).open(encoding=encoding, errors=errors, newline="")


def suffix(path):
    """Return the ending of a log's name in lower case, a .gz after it left out."""
    name = Path(path)
    return Path(name.stem).suffix.lower() if name.suffix.lower() == ".gz" else name.suffix.lower()


def cells_of(line, delimiter):
    """Return the names in a header line, without blanks, a byte order mark or a # before the first."""
    names = [name.strip().lstrip("\ufeff") for name in next(csv.reader([line], delimiter=delimiter), [])]
    if names and names[0].startswith(MARK):
        names[0] = names[0].lstrip(MARK).strip()
    return names


def header(file, path, delimiter, skip, wanted):
    """Return (names of the columns, lines before them) of a text file that stands at its beginning.

    Lines that begin with # are passed over, unless one names every column that
    is wanted.  Raises InputError where the columns' names are not split by the delimiter.
    """
    passed = 0
    for _ in range(skip):
        passed += 1
        file.readline()
    line = file.readline()
    while line.lstrip("\ufeff").startswith(MARK) and not set(wanted) <= set(cells_of(line, delimiter)):
        passed += 1
        if passed > MOST_LINES:
            raise InputError(f"begins with over {MOST_LINES} lines of comment: it holds no table", str(path))
        line = file.readline()
    names = cells_of(line, delimiter)
    other = next((mark for mark in (";", "\t", "|", ",") if mark != delimiter and line.count(mark) >= 1), None)
    if len(names) == 1 and other and wanted and wanted[0] not in names:
        shown = {"\t": "\\t"}.get(other, other)
        raise InputError(f'line {passed + 1}, which names the columns, is not split by "{delimiter}": set delimiter = '
                         f'"{shown}" in [file] of the mapping', str(path))  # fmt: skip
    return names, passed
