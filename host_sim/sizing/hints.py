"""A sensible value for each key of the site file, given with every error that names the key."""

import re

from host_sim.sizing.example_curve import ROWS

# last part of a dotted key: what a sensible value looks like
SENSIBLE = {
    "depth": "most pits are 24 in to 36 in deep",
    "diameter": "pits are 18 in to 36 in across; a 1-1/2 in pipe is 1.610 in inside",
    "side": "square pits are 18 in to 36 in wide",
    "curve": f"from the data plate, as {ROWS}",
    "length": 'measured along the pipe, as "8 ft" for a riser and "20 ft" for a header',
    "outlet": 'of a discharge, height above the bottom of the pit, as "10 ft"; of a motor, the thread, as "1-1/2 in"',
    "intake": 'height of the pump inlet above the bottom of the pit, as "3 in"',
    "rise": '4 in or more, for a small error of the tape, as "4 in"',
    "falls": '4 in or more, for a small error of the tape, as "4 in"',
    "in": 'by the watch, as "5 min"',
    "rated_current": 'from the data plate, as "9.5 A"',
    "wet_at": 'height above the bottom of the pit, as "14 in"',
    "rain": 'the worst hour, as "2 in/h", or the worst day, as "5 in"',
    "area": 'the area that drains to the pit, as "1000 ft2"',
    "water_table": 'height above the bottom of the pit, as "3 ft"',
    "starts_per_hour": "small motors allow 10 to 15 starts per hour",
    "capacity": 'from the battery\'s label, as "100 Ah"',
    "margin": 'as "50 %"',
}
_KEY = re.compile(r"^([A-Za-z0-9_.\[\]]+)(:| =)")


def sensible(problem):
    """Return a problem with what a sensible value looks like added, where its key is known."""
    match = _KEY.match(problem)
    if not match:
        return problem
    last = re.sub(r"\[\d+\]", "", match[1]).split(".")[-1]
    hint = SENSIBLE.get(last)
    return problem if hint is None or "sensible" in problem else f"{problem}. Sensible: {hint}"
