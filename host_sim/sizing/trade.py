"""Trade sizes and markings of pipe as plumbers write them: 1-1/2", 1 1/2 in, 1.5"; PVC sch 40."""

import re
from fractions import Fraction

from host_sim import units
from host_sim.plant.hydraulics import TURBULENT_FRICTION
from host_sim.sizing.limits import INCH

SIZES = tuple(f"{size:g} in" for size in sorted(TURBULENT_FRICTION))
NEAR_IN = 0.02  # a size is recognized within this; our own choice


def fraction(inches):
    """Return inches as a trade size, "1 1/4 in": a fraction to the eighth; other figures stay decimal, "1.31 in"."""
    part = Fraction(inches).limit_denominator(8)
    if abs(float(part) - inches) > 1e-3:
        return f"{inches:.3g} in"
    whole, rest = divmod(part, 1)
    words = [str(whole)] if whole else []
    return " ".join([*words, *([str(rest)] if rest else []), "in"]) if words or rest else "0 in"


def read_size(text):
    """Return the size of pipe that a text names, as "1.5 in".  Raises ValueError naming the sizes."""
    found = None
    for words in (text, f"{text} in"):
        try:
            found = units.read(words, "length") / INCH
            break
        except ValueError:
            continue
    for size in sorted(TURBULENT_FRICTION):
        if found is not None and abs(found - size) <= NEAR_IN:
            return f"{size:g} in"
    sizes = "; ".join(fraction(size) for size in sorted(TURBULENT_FRICTION))
    raise ValueError(f'"{text}" is no size of pipe at hand: one of: {sizes}')


_SCHEDULE = re.compile(r"(?:pvc )?(?:sch|schd|sched|schedule) ?(40|80)(?: pvc)?")
_WORDS = {
    "galvanized": "galvanized steel", "galvanised": "galvanized steel", "galv": "galvanized steel",
    "steel": "galvanized steel", "galvanised steel": "galvanized steel", "copper tube": "copper",
    "copper pipe": "copper", "copper type l": "copper", "copper type m": "copper", "type l": "copper",
    "abs pipe": "ABS", "abs dwv": "ABS", "poly": "polyethylene pressure", "foam core": "cellular-core DWV",
    "cellular core": "cellular-core DWV",
}  # fmt: skip


def marking(text):
    """Return the marking of a pipe in the words of `pipes.MATERIALS`: "sch 40" is "PVC schedule 40"."""
    words = re.sub(r"[\s.,-]+", " ", text.lower()).strip()
    match = _SCHEDULE.fullmatch(words)
    return f"PVC schedule {match[1]}" if match else _WORDS.get(words, text)
