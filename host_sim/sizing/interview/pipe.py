"""The questions about the discharge pipe, in the order in which a person walks along it; the lift, which each pump is
held against, before the pumps."""

from host_sim import units
from host_sim.sizing.interview.question import Question, among, feet
from host_sim.sizing.limits import INCH
from host_sim.sizing.pipes import MATERIALS, ROUGHNESS_MM, bore
from host_sim.sizing.reading import OUTFALLS
from host_sim.sizing.trade import SIZES, marking

HEAD = "flow of each pump, starts per hour, reserve"


def _above_floor(value, answers):
    depth = answers.get("depth", "24 in")
    if units.read(value, "distance") <= units.read(depth, "length"):
        raise ValueError(f"{value} is not above the floor at {depth}: measure from the bottom of the pit")


def _reaches(value, answers):
    # Riser and run together cannot be shorter than the lift.
    lift = units.read(answers["lift"], "distance")
    total = units.read(answers["riser_length"], "distance") + units.read(value, "distance")
    if total < 0.95 * lift:
        raise ValueError(
            f"{feet(total)} of pipe in all cannot reach {feet(lift)} up: measure along the pipe, or go back to the lift"
        )


def _least_run(answers):
    lift = units.read(answers.get("lift", "12 ft"), "distance")
    riser = units.read(answers.get("riser_length", "10 ft"), "distance")
    return feet(max(30 * 0.3048, lift - riser + 6.096))


SEPARATE = among("lines", "separate")
# fmt: off
LIFT = (
    Question("lift", "How high above the bottom of the pit is the highest point of the discharge pipe?",
             "Pit, basement wall, and up to where the pipe goes out.", "distance", "10 ft",
             lambda a: feet(max(12 * 0.3048, units.read(a.get("depth", "24 in"), "length") + 2.4384)), "a high wall",
             HEAD, "highest point of the pipe", least="1 ft", most="100 ft", check=_above_floor),
)
QUESTIONS = (
    Question("pipe", "What size is the discharge pipe?", "Nominal size; no smaller than the pump's outlet.", "size",
             "1.5 in", "1.5 in", "the usual one", HEAD, "pipe size", SIZES),
    Question("riser_length", "Walk the pipe.  How long is it from one pump to where the two lines join (or to the "
             "wall)?", "The riser, with its check valve and full-open valve.", "distance", "8 ft", "10 ft",
             "the height of a basement wall", HEAD, "length of a riser", least="0.5 ft", most="100 ft"),
    Question("riser_elbows", "How many 90-degree elbows are in that part?", "Each costs as much head as some feet of "
             "pipe.", "whole", "1", "2", "elbows cost head", HEAD, "elbows in a riser", least="0", most="20"),
    Question("lines", "Do both pumps share one pipe from there on, or has each its own?",
             "A shared line costs less, but the second pump then adds little flow.", "choice", "shared", "shared",
             "the worse case", "flow with both pumps running", "shared or separate lines", ("shared", "separate")),
    Question("run", "How long is the pipe from there to the outlet?", "Measured along the pipe.", "distance", "20 ft",
             _least_run, "a long pipe costs head", HEAD, "length from there to the outlet", least="0.5 ft",
             most="2000 ft", check=_reaches),
    Question("elbows", "How many 90-degree elbows are in that pipe?", "Each costs as much head as some feet of pipe.",
             "whole", "3", "4", "elbows cost head", HEAD, "elbows from there on", least="0", most="50"),
    Question("bends", "And how many 45-degree elbows?", "Each costs about half as much as a 90.", "whole", "2", "2",
             "elbows cost head", HEAD, "45-degree elbows", least="0", most="50"),
    Question("pipe_2", "What size is pump 2's own line?", "It may differ from pump 1's.", "size", "1.5 in",
             lambda a: a.get("pipe", "1.5 in"), "the same as pump 1's", "flow of pump 2", "pipe size of pump 2",
             SIZES, when=SEPARATE),
    Question("run_2", "How long is pump 2's own line from the riser to its outlet?", "Measured along the pipe.",
             "distance", "20 ft", lambda a: a.get("run", "30 ft"), "the same as pump 1's", "flow of pump 2",
             "length of pump 2's line", when=SEPARATE, least="0.5 ft", most="2000 ft", check=_reaches),
    Question("elbows_2", "How many 90-degree elbows are in it?", "Each costs as much head as some feet of pipe.",
             "whole", "3", lambda a: str(a.get("elbows", 4)), "the same as pump 1's", "flow of pump 2",
             "elbows in pump 2's line", when=SEPARATE, least="0", most="50"),
    Question("check", "Is there a check valve for each pump?", "Without one the water drains back after each stop.",
             "yes", "yes", "no", "assumed missing", "short cycling, and backflow through the idle pump",
             "check valves"),
    Question("valve", "Is there a full-open valve above each check valve?",
             "It lets one pump be pulled while the other works.", "yes", "yes", "no", "assumed missing",
             "whether a pump can be pulled in a flood", "full-open valves"),
    Question("weep", "Is there a weep hole below each check valve?",
             "It vents the pump; without it the pump may air-lock.", "yes", "yes", "no", "assumed missing",
             "whether a pump can air-lock", "weep holes"),
    Question("material", "What is printed on the pipe?", "Drain pipe (cellular-core, ABS) is not rated for "
             "pressure; of any other pipe look up its pressure rating.",
             "choice", "PVC schedule 40", "unknown", "assumed not rated for pressure", "whether the pipe may stay",
             "pipe marking", tuple(MATERIALS), spelt=marking),
    Question("to", "Where does the water go?", "Never to the sanitary sewer.", "choice", "daylight", "unknown",
             "find out before you dig", "whether it is allowed", "discharge point", OUTFALLS),
    Question("away", "How far from the house wall is the outlet?", "Close to the wall the water seeps back.",
             "distance", "20 ft", "0 ft", "assumed at the wall", "how much water seeps back", "outlet from the wall",
             least="0 ft", most="2000 ft"),
    Question("relief", "Is there a freeze relief outside, or does it never freeze?", "A frozen line stops both pumps.",
             "yes", "yes", "no", "assumed missing", "whether ice stops both pumps", "freeze relief"),
)
# fmt: on


def _fittings(a, elbows, bends, last):
    found = {"elbow_90": elbows}
    if bends:
        found["elbow_45"] = bends
    if a["check"]:
        found["swing_check"] = 1
    if a["valve"]:
        found["ball_valve"] = 1
    if last:
        found["exit"] = 1
    return found


def _bore(size, material):
    # Copper and schedule 80 are narrower than schedule 40 of the same name, and steel is rougher than plastic.
    found = bore(round(units.read(size, "length") / INCH, 4), material)
    if material in ROUGHNESS_MM:
        found["roughness"] = f"{ROUGHNESS_MM[material]:g} mm"
    return found


def discharge(a):
    """Return the table [discharge] for answers."""
    found, material = {"outlet": a["lift"]}, a.get("material", "unknown")
    if a["lines"] == "shared":
        found["riser"] = {**_bore(a["pipe"], material), "length": a["riser_length"],
                          "fittings": _fittings(a, a["riser_elbows"], 0, False)}  # fmt: skip
        ends = {"elbow_90": a["elbows"], "exit": 1}
        if a["bends"]:
            ends["elbow_45"] = a["bends"]
        found["header"] = {**_bore(a["pipe"], material), "length": a["run"], "fittings": ends}
        return found
    for name, size, run, elbows in (("riser1", "pipe", "run", "elbows"), ("riser2", "pipe_2", "run_2", "elbows_2")):
        length = units.read(a["riser_length"], "distance") + units.read(a[run], "distance")
        found[name] = {**_bore(a[size], material), "length": feet(length),
                       "fittings": _fittings(a, a["riser_elbows"] + a[elbows], a["bends"], True)}  # fmt: skip
    return found


def edits(a):
    """Return the edits of the site document for answers."""
    return {
        "discharge": discharge(a),
        "sizing.piping.material": a["material"],
        "sizing.outfall.to": a["to"],
        "sizing.outfall.distance": a["away"],
        "sizing.outfall.freeze_relief": a["relief"],
    }
