"""The mapping file: which column of a table log holds what, in which unit, on which clock.

    [file]                      # may be left out
    kind = "csv"                # or "parquet"; by the file's name if left out
    delimiter = ","
    decimal = "."               # or ","
    encoding = "utf-8"
    skip = 0                    # lines before the one that names the columns; lines that begin with # go by themselves
    missing = ["", "NA", "nan"] # cells that hold no reading
    rows = "changes"            # a row only where something changed; or "intervals"; the rows themselves tell if left
                                # out, and with names (below) it is "changes"
    names = "entity"            # only where each row holds one reading: the column that names it, and the one of its
    values = "state"            # value; "column" below is then one of these names

    [time]
    column = "time"
    time_of_day = "clock"       # only where date and time stand in two columns: the second of them
    format = "iso"              # or "unix s", "unix ms", "seconds", or strptime's, such as "%m/%d/%Y %H:%M"
    zone = "UTC"                # an IANA name or "+01:00"; zone of times that do not carry one

    [level]
    column = "depth"
    unit = "in"                 # of plain numbers; or unit_column = "..."
    zero = "0 in"               # height of the reading 0 above the pit bottom
    measures = "height"         # or "depth below": the reading grows as the water falls
    spike = "2 in"              # a reading this far from both neighbors is a spike

    [contacts.lead]             # also off, lag, high
    column = "float 1"
    wet = ["1", "on"]           # words that read wet (capitals do not matter, 1.0 is 1)
    off_words = ["0", "off"]    # words that read dry, off or absent; the usual ones if left out

    [pump1]                     # also pump2
    column = "p1"
    on = ["1", "on"]

    [current1]                  # also current2
    column = "amps"
    unit = "A"

    [mains]
    column = "power"
    present = ["1", "ok"]

    [rain]
    column = "rain"
    unit = "mm/h"
"""

import tomllib
from dataclasses import dataclass, field
from pathlib import Path

import tomli_w
from duplexsump.control.records import CONTACT_NAMES

from host_sim import units
from host_sim.errors import InputError
from host_sim.replay.reading.stamps import zone_of
from host_sim.site.reader import Table

KINDS = ("csv", "parquet")
ROWS = ("intervals", "changes")
MISSING = ("", "NA", "N/A", "nan", "NaN", "null", "NULL", "None", "-", "--", "---")
# Words for on and off, whatever their capitals; common in exports, no source.
YES = ("1", "true", "on", "yes", "y", "t", "wet", "closed", "run", "running", "active", "ok", "present", "high")
NO = ("0", "false", "off", "no", "n", "f", "dry", "open", "stop", "stopped", "idle", "inactive", "standby", "absent",
      "lost", "out", "fail", "failed", "low")  # fmt: skip
NUMBERS = ("unix s", "unix ms", "seconds")
CLOCKS = ("iso", *NUMBERS)


@dataclass
class Column:
    """One column: `unit` is what a bare number in it is in, `factor` and `offset` take that to SI."""

    name: str
    kind: str
    unit: str = ""
    unit_column: str | None = None
    factor: float = 1.0
    offset: float = 0.0


@dataclass
class State:
    """One column that is on or off: `yes` are the words that mean on (wet, present), `no` those that mean off."""

    name: str
    yes: tuple[str, ...] = YES
    no: tuple[str, ...] = NO


@dataclass
class Mapping:
    """How to read one table log; see the module's head."""

    time: str
    clock: str = "iso"
    zone: str = ""
    kind: str = ""
    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    skip: int = 0
    missing: tuple[str, ...] = MISSING
    level: Column | None = None
    spike_m: float | None = None
    contacts: dict[str, State] = field(default_factory=dict)
    pumps: list = field(default_factory=lambda: [None, None])
    currents: list = field(default_factory=lambda: [None, None])
    mains: State | None = None
    rain: Column | None = None
    time_of_day: str | None = None  # the second column, where date and time stand in two
    rows: str = ""  # of ROWS, or "" where the rows themselves tell
    names: str | None = None  # where each row holds one reading: the column of its name
    values: str | None = None  # and that of its value

    def channels(self):
        """Return the name of every column that holds readings or their unit."""
        parts = [self.level, *self.contacts.values(), *self.pumps, *self.currents, self.mains, self.rain]
        found = []
        for part in parts:
            if part is not None:
                found.append(part.name)
                if getattr(part, "unit_column", None):
                    found.append(part.unit_column)
        return list(dict.fromkeys(found))

    def columns(self):
        """Return the names of every column of the file that is asked for, the time first."""
        found = [self.time] + ([self.time_of_day] if self.time_of_day else [])
        found += [self.names, self.values] if self.names else self.channels()
        return list(dict.fromkeys(found))


def load(path):
    """Return the Mapping of a TOML file.  Raises InputError with everything that is wrong with it."""
    path = Path(path)
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"cannot be read: {error}", str(path)) from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not valid TOML: {error}", str(path)) from error
    return read(data, str(path))


def read(data, source="mapping"):
    """Return the Mapping of a table.  Raises InputError with everything that is wrong with it."""
    problems = []
    table = Table(data, "", problems)
    found = Mapping("")
    _file(table.table("file", {}), found)
    _time(table.table("time"), found)
    level = table.table("level", None)
    if level is not None:
        if "unit" not in level.data and "unit_column" not in level.data:
            level.problem("unit", 'say in what the numbers are: "in", "ft", "mm", "cm" or "m"')
        down = level.text("measures", "height", ("height", "depth below")) == "depth below"
        found.level = _column(level, "length")
        zero = level.quantity("zero", "distance", 0.0)
        found.spike_m = level.quantity("spike", "length", None, above=0.0)
        level.done()
        if found.level is not None and zero is not None:
            found.level.offset = zero
            found.level.factor *= -1.0 if down else 1.0
    contacts = table.table("contacts", {})
    for name in CONTACT_NAMES:
        part = contacts.table(name, None) if contacts else None
        if part is not None:
            found.contacts[name] = _state(part, "wet")
    if contacts is not None:
        contacts.done()
    for i in (0, 1):
        part = table.table(f"pump{i + 1}", None)
        found.pumps[i] = None if part is None else _state(part, "on")
        part = table.table(f"current{i + 1}", None)
        found.currents[i] = None if part is None else _column(part, "current", done=True)
    part = table.table("mains", None)
    found.mains = None if part is None else _state(part, "present")
    part = table.table("rain", None)
    found.rain = None if part is None else _column(part, "rate", done=True)
    table.done()
    if not problems and found.level is None and not found.contacts and not any(found.pumps):
        problems.append("give [level], [contacts.…] or [pump1]: one of them is required")
    if problems:
        raise InputError(problems, source)
    return found


def _file(table, found):
    if table is None:
        return
    found.kind = table.text("kind", "", ("", *KINDS))
    found.delimiter = table.text("delimiter", ",")
    found.decimal = table.text("decimal", ".", (".", ","))
    found.encoding = table.text("encoding", "utf-8")
    found.skip = table.integer("skip", 0, 0, 10000)
    words = table.items("missing", list(MISSING), "a list of cells that hold no reading")
    found.missing = tuple(str(word) for word in words or ())
    found.rows = table.text("rows", "", ("", *ROWS))
    found.names, found.values = table.text("names", None), table.text("values", None)
    if bool(found.names) != bool(found.values):
        table.problem("names", "names and values go together: the column that names the reading, and that of its value")
    if found.delimiter is not None and len(found.delimiter) != 1:
        table.problem("delimiter", f'"{found.delimiter}": one character is required, such as "," or ";" or "\\t"')
    elif found.delimiter is not None and found.delimiter == found.decimal:
        table.problem("decimal", f'"{found.decimal}" is the delimiter as well: they must differ')
    if found.encoding is not None:
        try:
            "".encode(found.encoding)
        except LookupError:
            table.problem("encoding", f'"{found.encoding}" is unknown: try "utf-8" or "latin-1"')
    table.done()


def _time(table, found):
    if table is None:
        return
    found.time = table.text("column")
    found.time_of_day = table.text("time_of_day", None)
    found.clock = table.text("format", "iso")
    found.zone = table.text("zone", "")
    if found.clock is not None and found.clock not in CLOCKS and "%" not in found.clock:
        table.problem("format", f'"{found.clock}": one of {", ".join(CLOCKS)}, or a pattern such as "%m/%d/%Y %H:%M"')
    if found.time_of_day and found.clock in NUMBERS:
        table.problem("format", f'"{found.clock}": date and time in two columns are iso or a pattern')
    if found.zone:
        try:
            zone_of(found.zone)
        except ValueError as error:
            table.problem("zone", str(error))
    table.done()


def _column(table, kind, done=False):
    name = table.text("column")
    default = units.unit(kind, "si")
    unit = table.text("unit", default)
    unit_column = table.text("unit_column", None)
    if done:
        table.done()
    if unit is None or name is None:
        return None
    try:
        factor = units.read(f"1 {unit}", kind)
    except ValueError as error:
        table.problem("unit", str(error))
        return None
    return Column(name, kind, unit, unit_column, factor)


def _state(table, key):
    name = table.text("column")
    words = table.items(key, list(YES), "a list of words")
    no = table.items("off_words", list(NO), "a list of words")
    table.done()
    if None in (name, words, no):
        return None
    return State(name, tuple(str(word) for word in words), tuple(str(word) for word in no))


def as_table(mapping):
    """Return the table from which `read()` makes the same Mapping."""
    m = mapping
    data = {"file": {"delimiter": m.delimiter, "decimal": m.decimal, "encoding": m.encoding, "skip": m.skip}}
    if m.kind:
        data["file"] = {"kind": m.kind, **data["file"]}
    if m.missing != MISSING:
        data["file"]["missing"] = list(m.missing)
    data["file"] |= {key: value for key, value in (("rows", m.rows), ("names", m.names), ("values", m.values)) if value}
    data["time"] = {"column": m.time, "format": m.clock} | ({"time_of_day": m.time_of_day} if m.time_of_day else {})
    if m.zone:
        data["time"]["zone"] = m.zone
    if m.level is not None:
        data["level"] = {**_plain(m.level), "zero": f"{m.level.offset!r} m"}
        if m.level.factor < 0.0:
            data["level"]["measures"] = "depth below"
        if m.spike_m:
            data["level"]["spike"] = f"{m.spike_m!r} m"
    if m.contacts:
        data["contacts"] = {name: _words(s, "wet") for name, s in m.contacts.items()}
    for i in (0, 1):
        if m.pumps[i] is not None:
            data[f"pump{i + 1}"] = _words(m.pumps[i], "on")
        if m.currents[i] is not None:
            data[f"current{i + 1}"] = _plain(m.currents[i])
    if m.mains is not None:
        data["mains"] = _words(m.mains, "present")
    if m.rain is not None:
        data["rain"] = _plain(m.rain)
    return data


def as_toml(mapping):
    """Return the mapping file (a TOML text) from which `load()` makes the same Mapping."""
    return tomli_w.dumps(as_table(mapping))


def _words(state, key):
    found = {"column": state.name, key: list(state.yes)}
    return found if state.no == NO else found | {"off_words": list(state.no)}


def _plain(column):
    found = {"column": column.name, "unit": column.unit}
    return found | ({"unit_column": column.unit_column} if column.unit_column else {})
