"""Units at the edge: quantities as people write them, read into SI; SI inside; either system out.

A quantity is a text such as "18 in", "1-1/2 in", "45 gpm", "3.2 m", "2 gpm/ft"
or 6' 3 1/2" (`as_written` knows the forms); what it must measure is named by a kind.  The usual units are read from a
table (`unit_factors`); the rest, and what cannot be read, is `pint`'s, which takes a third of a second to load.
"""

import functools
import re

from host_sim import as_written
from host_sim.unit_factors import READ, SHOWN

# kind: (SI unit, what to call it, an example, unit in the US system, unit in the SI system)
KINDS = {
    "length": ("m", "a length", "18 in", "in", "mm"),
    "distance": ("m", "a length", "10 ft", "ft", "m"),
    "area": ("m**2", "an area", "600 ft2", "ft2", "m2"),
    "volume": ("m**3", "a volume", "8.8 gal", "gal", "L"),
    "flow": ("m**3/s", "a flow", "45 gpm", "gpm", "L/s"),
    "time": ("s", "a time", "90 min", "min", "min"),
    "rate": ("m/s", "a rate of rise or rain", "2 in/h", "in/h", "mm/h"),
    "conductance": ("m**2/s", "a flow for each length of head", "2 gpm/ft", "gpm/ft", "L/s/m"),
    "current": ("A", "a current", "8 A", "A", "A"),
    "voltage": ("V", "a voltage", "12.1 V", "V", "V"),
    "power": ("W", "a power", "1500 W", "W", "W"),
    "charge": ("A*s", "a capacity in amp-hours", "100 Ah", "Ah", "Ah"),
    "resistance": ("ohm", "a resistance", "15 mohm", "mohm", "mohm"),
    "mass": ("kg", "a mass", "20 lb", "lb", "kg"),
    "share": ("dimensionless", "a share", "20 %", "%", "%"),
    "number": ("dimensionless", "a plain number", "1.2", "", ""),
}

# What people write on a pump's plate that pint does not know.
_WORDS = ("gpm = gallon / minute", "gph = gallon / hour", "cfs = foot ** 3 / second")
_POWER = re.compile(r"\b(mm|cm|m|in|ft)\s*([23])\b")
_TOWER = re.compile(r"(\*\*|\^)\s*-?(\d{2,}|\d.*(\*\*|\^))")  # a power that would take for ever to work out
_USUAL = re.compile(r"(-?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)(?:/([1-9]\d*)(?![\d.]))?(?:\s*([^\s\d.+-]\S*))?")
_MARKED = re.compile(r"[\d/.]\s*['\"’‘”“′″]")  # 9 1/2" or 6'
_COMMA = re.compile(r"\d,\d")
LONGEST = 60
_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?(/\d+)?")


@functools.cache
def registry():
    """Return the one pint registry of the program."""
    import pint  # A third of a second of import that only unusual units need.

    reg = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    for line in _WORDS:
        reg.define(line)
    return reg


def _plain(text, kind=""):
    # "1-1/2 in" is one and a half, not a half less than one; "10 ft 6 in" is one length; "ft2" is an area.
    return _POWER.sub(r"\1**\2", as_written.in_words(text, kind))


def _without_comma(text):
    # pint would drop the comma and read "6,1 m" as 61 m; a comma before three digits may be meant either way.
    point = re.sub(r"(?<=\d),(?=\d)", ".", text)
    if re.search(r"\d,\d{3}(?!\d)", text):
        return f'"{text}" has a comma: write "{text.replace(",", "")}" without it, or "{point}" for a decimal'
    return f'"{text}" has a decimal comma: write it with a point, "{point}"'


@functools.lru_cache(maxsize=4096)
def _read(text, kind, example=""):
    si, called = KINDS[kind][:2]
    example = example or KINDS[kind][2]
    if len(text) > LONGEST or _TOWER.search(text):
        raise ValueError(f'"{text[:LONGEST]}" cannot be read as {called}: write it as in "{example}"')
    if _COMMA.search(text):
        raise ValueError(_without_comma(text))
    if not _NUMBER.match(text.strip()):
        raise ValueError(f'"{text}" is not {called}: begin with a number, as in "{example}"')
    if _MARKED.search(text) and kind not in ("length", "distance", "area"):
        raise ValueError(f'{text} is in feet or inches: {called} is wanted, as in "{example}"')
    words = _plain(text, kind)
    usual = _USUAL.fullmatch(words)
    if usual and (usual[3] or "") in READ[kind]:
        value = float(usual[1]) / float(usual[2] or 1) * READ[kind][usual[3] or ""]
        if abs(value) != float("inf"):
            return value
    reg = registry()
    try:
        quantity = reg.Quantity(words)
    except Exception as error:  # pint raises its own, Python's and its tokenizer's errors here
        raise ValueError(f'"{text}" cannot be read as {called}: write it as in "{example}"') from error
    if quantity.check("[]") and kind not in ("share", "number"):
        raise ValueError(f'"{text}" has no unit: {called} is wanted, as in "{example}"')
    try:
        value = float(quantity.to(si).magnitude)
    except Exception as error:
        unit = f"{quantity.units:~}" or "no unit"
        raise ValueError(f'"{text}" is in {unit}: {called} is wanted, as in "{example}"') from error
    if value != value or value in (float("inf"), float("-inf")):
        raise ValueError(f'"{text}" is not a finite number: {called} is wanted, as in "{example}"')
    return value


def read(text, kind, example=""):
    """Return the SI value of a quantity written as a text.

    `kind` is one of KINDS.  Plain numbers are taken only for "share" and
    "number".  Raises ValueError with a sentence that says what was given and
    what is wanted, with `example`, or with the kind's own.
    """
    called, example = KINDS[kind][1], example or KINDS[kind][2]
    if isinstance(text, bool) or not isinstance(text, (int, float, str)):
        raise ValueError(f'{text!r} is not {called}: write it as in "{example}"')
    if isinstance(text, (int, float)):
        if kind not in ("share", "number"):
            raise ValueError(f'{text} has no unit: {called} is wanted, as in "{example}"')
        text = repr(text)
    return _read(text, kind, example)


def bare(text):
    """Whether a text is a number without a unit: "30", "3.5", "1/2", "3 1/2"."""
    try:
        as_written.number(as_written.fractions_spelled(text))
    except ValueError:
        return False
    return True


_TIDY = re.compile(r"^[\d.]+(-\d+/\d+)? ?[A-Za-z/0-9%]+$")


def tidy(text, kind):
    """Return a quantity as a site file has it, "75.5 in": as it stands where it is a number and a unit.

    Raises ValueError as `read` does.
    """
    value = read(text, kind)
    text = text.strip()
    if _TIDY.match(text) or kind in ("share", "number"):
        return text
    return f"{convert(value, kind):.6g} {unit(kind)}".strip()


@functools.cache
def _factor(kind, unit):
    if (kind, unit) in SHOWN:
        return SHOWN[kind, unit]
    reg = registry()
    return float(reg.Quantity(1.0, KINDS[kind][0]).to(_plain(unit) or "dimensionless").magnitude)


def unit(kind, system="us"):
    """Return the unit in which a kind is shown in a system, "us" or "si"."""
    return KINDS[kind][3 if system == "us" else 4]


def convert(value, kind, system="us"):
    """Return an SI value as a number in the unit of a system."""
    name = unit(kind, system)
    return value * _factor(kind, name) if name else value


def show(value, kind, system="us", digits=3):
    """Return an SI value as a text with its unit, to so many significant digits."""
    number = f"{convert(value, kind, system):.{digits}g}"
    if "e" in number:
        number = f"{float(number):.0f}" if abs(float(number)) >= 1 else number
    return f"{number} {unit(kind, system)}".strip()
