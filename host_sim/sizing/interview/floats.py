"""The questions about the floats or the transmitter, and where they hang already."""

from host_sim import units
from host_sim.sizing.interview.question import Question, among, inches
from host_sim.sizing.limits import INCH
from host_sim.sizing.reading import FLOATS, TRAVEL


def _hang(a):
    return a.get("installed") == "everything" and a.get("float_kind") != "transmitter"


HEIGHTS = ("off_at", "lead_at", "lag_at", "high_at")
WHERE = "the starts per hour, and when the alarm calls"


def _travel(a):
    return TRAVEL[a.get("float_kind", "tethered")]


def _rises(key):
    # Each height lies above the one before, and below the floor.
    def check(value, a):
        if value == "recommended":
            return
        level = units.read(value, "length")
        before = HEIGHTS[: HEIGHTS.index(key)]
        below = [(name, a[name]) for name in before if a.get(name, "recommended") != "recommended"]
        for name, other in below:
            if level <= units.read(other, "length") + 0.2 * INCH:
                raise ValueError(f"{value} is not above {name[:-3]} at {other}: off, lead, lag, high follow upward")
        if level > units.read(a.get("depth", "24 in"), "length"):
            raise ValueError(f"{value} is above the floor at {a.get('depth', '24 in')}")

    return check


def _range(a):
    # The usual ranges, from the bottom to the floor.
    depth_m = units.read(a.get("depth", "24 in"), "length")
    return next((f"{metres:g} m" for metres in (1.0, 1.5, 2.0, 3.0) if metres >= depth_m), "5 m")


def _measures_all(value, a):
    top = units.read(value, "length") + units.read(a["span"], "distance")
    if top < units.read(a.get("depth", "24 in"), "length") - 0.1:
        raise ValueError(
            f"{value} and the range of {a['span']} end below the floor at {a.get('depth', '24 in')}: it takes a "
            "transmitter with a larger range; go back to it"
        )


# fmt: off
QUESTIONS = (
    Question("float_kind", "Are the floats vertical (on rods), tethered (on cords), or is there a level transmitter?",
             "Tethered floats need room and have a long travel.", "choice", "vertical", "tethered",
             "they need more room", "how far the floats must be apart, and whether they fit", "kind of floats", FLOATS),
    Question("travel", "How far does the water rise between a float's off and on?",
             "Lift it slowly beside a tape, and listen for the click.", "length", "4 in", _travel, "the usual travel",
             "how far the floats must be apart", "float travel", when=among("float_kind", "tethered", "vertical"),
             least="0.2 in", most="2 ft"),
    Question("span", "What level above its own bottom does the transmitter show at 20 mA?", "On its plate.",
             "distance", "1 m", _range, "a common range", "whether the whole pit is measured", "transmitter range",
             when=among("float_kind", "transmitter"), least="0.5 m", most="10 m"),
    Question("zero", "How high does the transmitter hang above the bottom of the pit?", "It reads 4 mA there.",
             "length", "1 in", "1 in", "just off the bottom", "all levels that it tells", "transmitter height",
             when=among("float_kind", "transmitter"), least="0 in", most="2 ft", check=_measures_all),
    *(Question(key, f"At what height above the bottom does {ask}?", "As they hang now; the heights are checked.",
               "length", example, "recommended", "the recommended height is used", WHERE, f"height of {key[:-3]}",
               when=_hang, least="1 in", most="15 ft", words=("recommended",), check=_rises(key))
      for key, ask, example in (
          ("off_at", "the pump stop (off)", "6 in"), ("lead_at", "the first pump start (lead)", "14 in"),
          ("lag_at", "the second pump start (lag)", "17 in"), ("high_at", "the alarm sound (high)", "20 in"))),
)
# fmt: on


def edits(a):
    """Return the edits of the site document for answers."""
    found = {"sizing.floats.kind": a["float_kind"]}
    if a["float_kind"] == "transmitter":
        found["transmitter"] = {"span": a["span"], "zero": a["zero"]}
    else:
        found["sizing.floats.travel"] = a["travel"]
    heights = [a.get(key, "recommended") for key in HEIGHTS]
    if "recommended" not in heights:
        found["contacts"] = _tables([units.read(text, "length") for text in heights], found, a)
    return found


def _tables(levels, found, a):
    # `off` is told by where it turns dry, the others by where they turn wet; each keeps its travel where it has room.
    travel = units.read(a.get("travel", "1 in"), "length")
    least = 0.1 * INCH
    off_dry = levels[0]
    tables = {"off": {"wet_at": inches(min(off_dry + travel, levels[1] - least)), "dry_at": inches(off_dry)}}
    below = off_dry
    for name, wet in zip(("lead", "lag", "high"), levels[1:], strict=True):
        below = max(wet - travel, below + least)
        tables[name] = {"wet_at": inches(wet), "dry_at": inches(min(below, wet - least))}
    return tables
