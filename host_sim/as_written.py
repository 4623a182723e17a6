"""Quantities as people write them, put into the words that the unit registry takes.

    18"   9'   6' 3 1/2"   6 ft 3-1/2 in   25 x 40 ft   1000 sqft   1 min 30 s   45 GPM

What could be read in two ways is refused, with both readings offered.
"""

import re

_MARKS = (
    (re.compile(r"''|[″”“]"), '"'),
    (re.compile(r"[′’‘]"), "'"),
    (re.compile(r"[×]"), " x "),
    (re.compile(r"²"), "2"),
    (re.compile(r"³"), "3"),
    (re.compile(r"[½]"), " 1/2"),
    (re.compile(r"[¼]"), " 1/4"),
    (re.compile(r"[¾]"), " 3/4"),
)
_NUMBER = r"(?:\d+[-\s]+\d+/\d+|\d+/\d+|\d+\.?\d*|\.\d+)"
_MIXED = re.compile(r"(?<![\w./])(?:(\d+)[-\s]+)?(\d+)/(\d+)(?![\w/])")
_FEET = re.compile(rf"^({_NUMBER})\s*(?:ft|feet|foot)\.?(?:\s*[-,]?\s*({_NUMBER})\s*(?:in|inch|inches)\.?)?$", re.I)
_FEET_BARE = re.compile(rf"^({_NUMBER})\s*(?:ft|feet|foot)\s+({_NUMBER})$", re.I)
_SQUARE = re.compile(r"\b(?:sq\.?|square)\s*(ft|feet|foot|in|inches|inch|m|meters?|yd|yards?)\b\.?", re.I)
_PLAIN_POWER = re.compile(r"\b(mm|cm|m|in|ft)\s*([23])\b")
_BY = re.compile(r"\s*(?:(?<=\d)x(?=\s*\d)|\bx\b|\bby\b|\*)\s*", re.I)
_SIDES = re.compile(rf"^{_NUMBER}\s*(?:x|by|\*)\s*{_NUMBER}$", re.I)
_BARE = re.compile(rf"^{_NUMBER}$")
_CLOCK = re.compile(r"^(\d{1,3}):(\d{2})(?::(\d{2}))?$")
_TIME = re.compile(
    rf"^(?:({_NUMBER})\s*(?:days?|d)\b\s*)?(?:({_NUMBER})\s*(?:hours?|hrs?|h)\b\s*)?"
    rf"(?:({_NUMBER})\s*(?:minutes?|mins?|min)\b\s*)?(?:({_NUMBER})\s*(?:seconds?|secs?|s)\b)?$",
    re.I,
)
# A unit in any letter case, by what is measured; elsewhere the registry's own spelling holds.
_SPELT = {
    "length": {"in": "in", "in.": "in", "inch": "in", "inches": "in", "ft": "ft", "ft.": "ft", "feet": "ft",
               "foot": "ft"},
    "flow": {"gpm": "gpm", "gph": "gph", "gal/min": "gpm", "gal/h": "gph", "gal/hr": "gph", "l/s": "L/s",
             "l/min": "L/min", "m3/h": "m3/h"},
    "current": {"a": "A", "amp": "A", "amps": "A", "ma": "mA"},
    "voltage": {"v": "V", "volt": "V", "volts": "V", "vac": "V", "vdc": "V", "v ac": "V", "v dc": "V"},
    "power": {"w": "W", "watt": "W", "watts": "W", "kw": "kW", "hp": "hp"},
    "charge": {"ah": "Ah", "amp hours": "Ah", "amp-hours": "Ah", "amp-hour": "Ah"},
    "volume": {"gal": "gal", "gal.": "gal", "gallon": "gal", "gallons": "gal", "l": "L", "liters": "L", "litres": "L"},
}  # fmt: skip
_SPELT["distance"] = _SPELT["length"]
_LAST = re.compile(rf"^({_NUMBER})\s*([A-Za-z][A-Za-z./0-9 -]*)$")


def number(text):
    """Return the value of "3", "3.5", "1/2", "3-1/2" or "3 1/2".  Raises ValueError for anything else."""
    match = _MIXED.fullmatch(text.strip())
    if match:
        if int(match[3]) == 0:
            raise ValueError(f'"{text}" divides by nothing')
        return int(match[1] or 0) + int(match[2]) / int(match[3])
    return float(text)


def fractions_spelled(text):
    """Return a text with typed fractions as digits: "1½" is "1 1/2"."""
    for pattern, word in _MARKS:
        text = pattern.sub(word, text)
    return text.strip()


def sides(text):
    """Whether a text is two lengths of an area without a unit: "25x40", "25 by 40"."""
    return _SIDES.match(fractions_spelled(text)) is not None


def in_words(text, kind):
    """Return a quantity in words that the registry takes.  Raises ValueError for what has two readings."""
    text = fractions_spelled(text)
    if kind in ("length", "distance", "area"):
        text = re.sub(r"(?<=[\d/.])\s*\"", " in ", text)
        text = re.sub(r"(?<=[\d/.])\s*'", " ft ", text).strip()
    if kind == "area":
        return _area(text)
    if kind in ("length", "distance"):
        return _length(text)
    if kind == "time":
        return _time(text)
    return _fractions(_spelt(text, kind))


def _fractions(text):
    return _MIXED.sub(lambda m: repr(number(m[0])), text)


def _spelt(text, kind):
    match = _LAST.match(text)
    words = _SPELT.get(kind, {})
    unit = re.sub(r"\s+", " ", match[2].strip().lower()) if match else ""
    return f"{match[1]} {words[unit]}" if unit in words else text


def _length(text):
    match = _FEET.match(text)
    if match and match[2]:
        return f"{number(match[1]) + number(match[2]) / 12.0!r} ft"
    match = _FEET_BARE.match(text)
    if match:
        feet, more = match[1], match[2]
        raise ValueError(f'"{text}" gives no unit to the {more}: write {feet}\' {more}" for feet and inches')
    return _fractions(_spelt(text, "length"))


def _area(text):
    text = _SQUARE.sub(lambda m: _square_unit(m[1]), re.sub(r"\bsqft\b", "ft2", re.sub(r"\bsf\b", "ft2", text)))
    sides = [part for part in _BY.split(text) if part]
    if len(sides) != 2 or "**" in text:
        return _PLAIN_POWER.sub(r"\1**2" if "3" not in text[-1:] else r"\1**\2", _fractions(text))
    first, second = sides
    if _BARE.match(first):  # "25 x 40 ft": the unit at the end holds for both
        unit = re.search(r"[A-Za-z.]+$", second)
        first = f"{first} {unit[0]}" if unit else first
    return f"({_length(first)}) * ({_length(second)})"


def _square_unit(word):
    word = word.lower()
    known = {"ft": "ft", "feet": "ft", "foot": "ft", "in": "in", "inch": "in", "inches": "in", "m": "m"}
    return f"{known.get(word, 'yd' if word[0] == 'y' else 'm')}**2"


def _time(text):
    match = _CLOCK.match(text)
    if match and not match[3]:
        a, b = match[1], match[2]
        raise ValueError(f'"{text}" may be minutes or hours: write "{a} min {b} s" or "{a} h {b} min"')
    if match:
        return f"{int(match[1]) * 3600 + int(match[2]) * 60 + int(match[3])} s"
    match = _TIME.match(text)
    if match and any(match.groups()):
        given = [(number(part), size) for part, size in zip(match.groups(), (86400, 3600, 60, 1), strict=True) if part]
        if len(given) > 1:
            return f"{sum(value * size for value, size in given)!r} s"
    return _fractions(text)
