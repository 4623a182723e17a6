"""`--map`: guesses the mapping of a log from its columns and asks a person to confirm."""

import re

from host_sim.errors import InputError
from host_sim.replay.reading import stamps
from host_sim.replay.reading.cells import word
from host_sim.replay.reading.mapping import CLOCKS, MISSING, NO, YES
from host_sim.replay.reading.mapping import read as read_mapping
from host_sim.replay.reading.sheet import NamedSheet, Sheet

UNITS = {
    "length": ("mm", "cm", "in", "inch", "inches", "ft", "m"),
    "current": ("A", "amps", "mA"),
    "rate": ("mm/h", "in/h", "mm/day", "in/day"),
}
HINTS = (
    ("time", r"time|date|stamp|^when$|zeit"),
    ("level", r"level|depth|height|water|stage|pegel"),
    ("rain", r"rain|precip"),
    ("mains", r"mains|power|supply|grid"),
    ("current1", r"(amp|curr).*1|^amps?$|^current$"),
    ("current2", r"(amp|curr).*2"),
    ("pump1", r"(pump|^p).*1|^pump$|^run"),
    ("pump2", r"(pump|^p).*2"),
    ("off", r"^off$|stop|off.?(float|contact)"),
    ("lead", r"lead|float.?1|start"),
    ("lag", r"lag|float.?2"),
    ("high", r"high|alarm|float.?3"),
)
DECOY = re.compile(r"alarm|limit|set.?point|threshold|target|min|max", re.IGNORECASE)  # of a level: a setting of it
BELOW = re.compile(r"depth|distance|below|ullage|freeboard|to.?water|air.?gap", re.IGNORECASE)
MOST_WORDS = 12  # different cells of a column that is on or off
RUN_TOGETHER = {"mmh": "mm/h", "mmhr": "mm/h", "mmday": "mm/day", "mmd": "mm/day", "inh": "in/h", "inhr": "in/h",
                "inday": "in/day"}  # fmt: skip
STATES = ("mains", "pump1", "pump2", "off", "lead", "lag", "high")  # roles that are on or off
ROLES = tuple(name for name, _ in HINTS)
_DATE = re.compile(r"^\s*\d{1,4}([-/.])\d{1,2}\1\d{1,4}\s*$")
_TIME_OF_DAY = re.compile(r"^\s*\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?\s*([AaPp][Mm])?\s*$")


def guess(sheet):
    """Return {role: column} for the columns whose names tell what they hold; each column has one role."""
    found, taken = {}, set()
    for role, pattern in HINTS:
        for name in sheet.header:
            if name in taken or role in found or not re.search(pattern, name, re.IGNORECASE):
                continue
            # Of what is on or off the whole column tells: a pump's watts are 0 as well while it rests.
            if role in STATES and not (_says_on_or_off(sheet.first(name)) and _says_on_or_off(sheet.cells(name)[name])):
                continue
            if role == "level" and DECOY.search(name):
                continue
            found[role] = name
            taken.add(name)
    return found


def _says_on_or_off(cells):
    # Few different cells and at least one of the usual words: power in watts is no mains that is on or off.
    seen = {word(cell) for cell in cells} - {word(cell) for cell in MISSING}
    return not seen or (bool(seen & {*YES, *NO}) and len(seen) <= MOST_WORDS and all(
        text in YES or text in NO or not _number(text) for text in seen))  # fmt: skip


def _number(text):
    try:
        float(text)
    except ValueError:
        return False
    return True


def guess_unit(name, kind):
    """Return the unit that stands in a column's name, as "depth [in]" or "level_mm", or None."""
    parts = re.split(r"[\s_\[\]()]+", name)
    for part in parts[1:]:
        if kind == "rate" and part.lower() in RUN_TOGETHER:
            return RUN_TOGETHER[part.lower()]
    for unit in UNITS[kind]:
        if unit in parts[1:] or f"({unit})" in name or f"[{unit}]" in name:
            return unit
    return "A" if kind == "current" and re.search(r"\bamps?\b", name, re.IGNORECASE) else None


def guess_clock(cells):
    """Return the format of the time of these cells, or None where none fits or more than one does.

    A date such as 03/04/2024 may be March or April: only a day above 12 tells.
    """
    cells = [cell for cell in cells if cell and cell.strip()]
    for clock in CLOCKS:
        issues = []
        values, _ = stamps.parse(cells, clock, issues)
        if issues or not cells:
            continue
        if clock == "unix s" and values.min() < 1e8:
            clock = "seconds"
        elif clock == "unix s" and values.max() > 1e11:
            clock = "unix ms"
        return clock
    fits = []
    for date in ("%d.%m.%Y", "%m/%d/%Y", "%d/%m/%Y", "%m-%d-%Y", "%d-%m-%Y"):
        for time in ("%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p"):
            issues = []
            stamps.parse(cells, f"{date} {time}", issues)
            if not issues:
                fits.append(f"{date} {time}")
                break
    return fits[0] if len(fits) == 1 else None


def ask(path, answer):
    """Return the Mapping of a log; `answer(question, default)` returns what a person says (a text).

    Raises InputError where an answer cannot be used.
    """
    sheet = Sheet(path)
    roles = guess(sheet)

    def column(role, question):
        said = answer(f"{question} (columns: {', '.join(sheet.header)}; Enter alone for none)", roles.get(role, ""))
        if said and said not in sheet.header:
            raise InputError(f'"{said}": no such column; there are {", ".join(sheet.header)}', "--map")
        return said

    def required(question, default):
        # What changes every figure is asked for, never taken for granted.
        said = answer(question, default)
        if not said:
            raise InputError(f"the log leaves this open, so an answer is required: {question}", "--map")
        return said

    def words(name, key):
        return _words(sheet.cells(name)[name], name, key, answer)

    roles["time"], roles["time_of_day"] = _date_and_time(sheet, roles.get("time", ""))
    time = column("time", "Which column holds the time?")
    if not time:
        raise InputError("a log without a time cannot be read: name the column of the time", "--map")
    second = column("time_of_day", "Which column holds the time of day, if that is not the same one?")
    clock = required(
        'Format of the time? ("iso", "unix s", "unix ms", "seconds", or a pattern such as "%m/%d/%Y %H:%M"; where '
        "every day is 12 or less, only you know whether the month or the day comes first)",
        guess_clock(_stamps(sheet, time, second)) or "",
    )
    zone = answer("Time zone, if the times do not carry one? (such as Etc/GMT+5 or -05:00; Enter alone if unknown)", "")
    data = {"file": {"delimiter": sheet.delimiter, "skip": sheet.skip, "decimal": sheet.decimal},
            "time": {"column": time, "format": clock, "zone": zone}}  # fmt: skip
    if pair := sheet.named_rows():
        said = answer(f'Does each row hold one reading, named in column "{pair[0]}", its value in "{pair[1]}"? '
                      "(yes / no)", "yes")  # fmt: skip
        if said == "yes":
            sheet = NamedSheet(sheet, time, *pair, second)
            data["file"] |= {"names": pair[0], "values": pair[1], "decimal": sheet.decimal}
            roles = guess(sheet)
    if second:
        data["time"]["time_of_day"] = second
    level = column("level", "Which column holds the water level?")
    if level:
        unit = required(f'Unit of the numbers in "{level}"? (in, ft, mm, cm, m)', guess_unit(level, "length") or "")
        question = f'Is "{level}" the height of the water, or its depth below a mark? (height / depth below)'
        measures = required(question, "" if BELOW.search(level) else "height")
        below = measures == "depth below"
        zero = required("At a reading of 0, how high above the pit bottom is the water?", "" if below else "0 in")
        data["level"] = {"column": level, "unit": unit, "zero": zero, "measures": measures}
    for role in ("off", "lead", "lag", "high"):
        if name := column(role, f"Which column holds the {role} contact?"):
            data.setdefault("contacts", {})[role] = {"column": name, **words(name, "wet")}
    for role in ("pump1", "pump2"):
        if name := column(role, f"Which column tells whether pump {role[4]} is on?"):
            data[role] = {"column": name, **words(name, "on")}
    for role in ("current1", "current2"):
        if name := column(role, f"Which column holds the current of pump {role[-1]}?"):
            unit = required(f'Unit of the numbers in "{name}"? (A, mA)', guess_unit(name, "current") or "")
            data[role] = {"column": name, "unit": unit}
    if name := column("mains", "Which column tells whether the mains is on?"):
        data["mains"] = {"column": name, **words(name, "present")}
    if name := column("rain", "Which column holds the rain?"):
        unit = required(f'Unit of the numbers in "{name}"? (in/h, mm/h, mm/day)', guess_unit(name, "rate") or "")
        data["rain"] = {"column": name, "unit": unit}
    return read_mapping(data, "--map")


def _stamps(sheet, time, second):
    # Stamps to tell the format by, joined where date and time stand in two columns: of dates with bars and points one
    # of each day of the whole log, since only a day above 12 tells it from a month.
    first = sheet.first(time)
    if not any(re.match(r"\s*\d{1,2}[-/.]\d{1,2}[-/.]\d{4}", cell) for cell in first) and not second:
        return first
    table = sheet.cells(*[name for name in (time, second) if name])
    cells = stamps.joined(table[time], table[second]) if second else table[time]
    cells = [cell for cell in cells if len(cell) >= 8]
    days = {cell.split()[0]: cell for cell in reversed(cells) if cell.split()}
    return [*cells[:5], *days.values()]


def _date_and_time(sheet, time):
    # (column of the time, column of the time of day or ""): two of them where one holds dates and one times of day.
    dates, times = [], []
    for name in sheet.header:
        cells = [cell for cell in sheet.first(name) if cell.strip()]
        if cells and all(_DATE.match(cell) for cell in cells):
            dates.append(name)
        elif cells and all(_TIME_OF_DAY.match(cell) for cell in cells):
            times.append(name)
    return (dates[0], times[0]) if dates and times else (time, "")


def _words(cells, name, key, answer):
    # What each word of the whole column means; words that nobody knows have no answer of their own.
    seen = {}
    for cell in cells:
        seen.setdefault(word(cell), cell)
    seen = {text: cell for text, cell in seen.items() if text and text not in {word(m) for m in MISSING}}
    if len(seen) > MOST_WORDS:
        raise InputError(f'column "{name}" holds {len(seen)} different values: it measures something and is not on or '
                         "off; leave it out", "--map")  # fmt: skip
    known = [cell for text, cell in seen.items() if text in YES]
    strange = [cell for text, cell in seen.items() if text not in YES and text not in NO]
    default = "" if strange else ",".join(known) or "1"
    found = ", ".join(seen.values())
    said = answer(f'Which values of "{name}" mean {key}? (found: {found}; separate several with commas)', default)
    on = [text.strip() for text in said.split(",") if text.strip()]
    if not on:
        raise InputError(f'column "{name}" holds {found}: say which of them mean {key}', "--map")
    off = [cell for text, cell in seen.items() if text not in {word(said) for said in on}]
    return {key: on} if all(word(cell) in NO for cell in off) else {key: on, "off_words": off}


def guessed(path):
    """Return the Mapping that can be guessed without asking.  Raises InputError naming what cannot."""
    return ask(path, lambda question, default: default)
