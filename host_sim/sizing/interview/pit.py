"""The questions about the place and the pit."""

from host_sim import units
from host_sim.sizing.interview.question import Question, among, inches
from host_sim.sizing.reading import BASINS, COVERS

INSTALLED = {
    "nothing": [], "pit": ["pit"], "pit and pipe": ["pit", "pipe"], "pit, pipe and pumps": ["pit", "pumps", "pipe"],
    "everything": ["pit", "pumps", "pipe", "floats"],
}  # fmt: skip


def _drain(answers):
    # Drain tile comes in about half way up; lower is the safer side.  Common practice, no source.
    return inches(0.5 * units.read(answers.get("depth", "24 in"), "length"))


def _below_floor(value, answers):
    depth = answers.get("depth", "24 in")
    if value != "none" and units.read(value, "length") >= units.read(depth, "length"):
        raise ValueError(f'{value} is not below the floor at {depth}: measure to the bottom of the pipe, or say "none"')


# fmt: off
QUESTIONS = (
    Question("name", "What do you call this place?", "It is the title of the page.", "words", "basement, north corner",
             "A basement", "only a name", "the title only"),
    Question("installed", "What is there already and stays?",
             "What stays is changed last; without it every fix is open.", "choice", "nothing", "nothing",
             "every fix is open", "the order in which fixes are proposed", "what is installed",
             tuple(INSTALLED)),
    Question("basin", "What is the pit made of?", "A solid basin can float up; holes let groundwater in.", "choice",
             "solid basin", "solid basin", "it can float", "whether the basin can float, and how water gets in",
             "basin type", BASINS),
    Question("holes", "How many holes are in the basin's wall?", "They must pass the inflow.", "whole", "40", "20",
             "few holes pass little water", "the flow that gets into the basin", "holes in the basin",
             when=among("basin", "basin with holes"), least="1", most="1000"),
    Question("hole", "How wide is one hole?", "The flow goes with the area.", "length", "0.5 in", "0.5 in",
             "a usual drill", "the flow that gets into the basin", "width of a hole",
             when=among("basin", "basin with holes"), least="0.1 in", most="4 in"),
    Question("shape", "Is the pit round, square, or tapered like a bucket?", "The area turns inches into gallons.",
             "choice", "round", "round", "most are, and a square one holds more", "gallons per inch, starts per hour",
             "shape of the pit", ("round", "square", "bucket")),
    Question("width", "How wide is it inside, at the bottom?", "Tape across the inside, near the bottom.", "length",
             "18 in", "18 in", "the code minimum, and the usual size",
             "starts per hour, and whether pumps and floats fit", "width of the pit", least="4 in", most="10 ft"),
    Question("top", "How wide at the top?", "A tapered pit holds more per inch the higher the water is.", "length",
             "22 in", lambda a: a.get("width", "18 in"), "no wider than the bottom",
             "the water held near the floor", "width at the top", when=among("shape", "bucket"), least="4 in",
             most="10 ft"),
    Question("depth", "How deep is it, from the bottom to the basement floor?", "The floor is what must stay dry.",
             "length", "30 in", "24 in", "the code minimum", "where the floats go, and the time until the floor is wet",
             "depth of the pit", least="6 in", most="15 ft"),
    Question("inlet", "How high above the bottom is the lowest drain pipe that runs into the pit?",
             "To the bottom of the pipe.  Lead must start the pump below it, or water stands in the drain.", "length",
             "15 in", _drain, "half way up; a low pipe is the harder case",
             "how high lead may be, and so the starts per hour", "height of the drain inlet", least="1 in",
             most="15 ft", words=("none",), check=_below_floor),
    Question("floor", "How large is the basement floor?",
             "Water spreads over it; it also gives the inflow where none was measured.", "area", "25 x 40 ft",
             "1000 ft2", "a large floor collects more water", "the inflow, where none was measured", "basement floor",
             least="10 ft2", most="100000 ft2"),
    Question("cover", "What cover is on the pit?", "It keeps children out, and moisture and soil gas in.", "choice",
             "bolted", "none", "assumed open", "the caution about an open pit", "cover", COVERS),
    Question("held", "Is the basin's rim cast into the floor?", "Groundwater lifts an empty basin.", "yes", "yes",
             "no", "assumed not cast in", "whether the basin can float", "rim cast into the floor",
             when=among("basin", "solid basin", "basin with holes")),
)
# fmt: on


def edits(a):
    """Return the edits of the site document for answers (question key: value)."""
    found = {"name": a["name"], "pit.depth": a["depth"], "pit.floor_area": a["floor"]}
    found["pit.shape"] = {"round": "cylinder", "square": "square", "bucket": "basin"}[a["shape"]]
    if a["shape"] == "bucket":
        found.update({"pit.bottom_diameter": a["width"], "pit.top_diameter": a["top"]})
    else:
        found["pit.side" if a["shape"] == "square" else "pit.diameter"] = a["width"]
    installed = INSTALLED[a["installed"]]
    if installed:
        found["sizing.installed"] = installed
    found["sizing.basin.kind"] = a["basin"]
    found["sizing.basin.held_down"] = True if a["basin"] == "concrete" else a["held"]
    found["sizing.basin.cover"] = a["cover"]
    if a["basin"] == "basin with holes":
        found.update({"sizing.basin.wall": "perforated", "sizing.basin.holes": a["holes"],
                      "sizing.basin.hole": a["hole"]})  # fmt: skip
    if a["inlet"] != "none":
        found["sizing.basin.inlet"] = a["inlet"]
    return found
