"""The questions of `size --ask`, in order: what is asked, why, what an answer looks like, what is taken instead.

A question's `edits(answer, answers)` turns the answer into edits of the site
file.  `default` is cautious, and said beside the question.
"""

import re
from dataclasses import dataclass
from typing import Any

from host_sim import units
from host_sim.plant.hydraulics import TURBULENT_FRICTION
from host_sim.sizing import example_curve
from host_sim.sizing.evidence import KINDS as EVIDENCE
from host_sim.sizing.evidence import WEATHER
from host_sim.sizing.limits import CHEMISTRY, MATERIALS
from host_sim.sizing.reading import COVERS, OUTFALLS

NOT_KNOWN = ("", "?", "don't know", "dont know", "do not know", "no idea", "unknown")


@dataclass(frozen=True)
class Question:
    """One question: `kind` of units.KINDS, "choice", "yes", "whole", "curve" or "words"; `when(answers)` asks "
    "it or not."""

    key: str
    ask: str
    why: str
    kind: str
    example: str
    default: str
    because: str  # why the default is cautious
    edits: Any
    choices: tuple = ()
    when: Any = None
    least: str = ""
    most: str = ""


def _one(key):
    return lambda answer, answers: {key: answer}


def _test(key):
    return lambda answer, answers: {f"sizing.evidence.0.{key}": answer}


def _is(key, *values):
    return lambda answers: answers.get(key) in values


def read_curve(text):
    """Return [[flow, head], ...] texts of a curve written "0 gpm 18 ft, 35 gpm 10 ft".  Raises ValueError."""
    rows = []
    for part in re.split(r"[;,]", text):
        match = re.match(r"^\s*([\d.]+\s*[A-Za-z/0-9]+?)\s*(?:at|@|\s)\s*([\d.]+\s*[A-Za-z]+)\s*$", part)
        if not match:
            raise ValueError(f'"{part.strip()}" is no flow and head: write the points as in "{example_curve.WORDS}"')
        rows.append(
            (units.read(match[1], "flow"), units.read(match[2], "distance"), match[1].strip(), match[2].strip())
        )
    rows.sort()
    if len(rows) < 2 or rows[0][0] != 0.0:
        raise ValueError('two points or more are wanted, one of them at "0 gpm": the shut-off head')
    for before, after in zip(rows, rows[1:], strict=False):
        if after[1] >= before[1] or after[0] == before[0]:
            raise ValueError(
                f"from {before[2]} to {after[2]} the head must fall; it goes from {before[3]} to {after[3]}"
            )
    return [[flow, head] for _, _, flow, head in rows]


def _yes(key, yes=True, no=False):
    return lambda answer, answers: {key: yes if answer else no}


def _pit(answer, answers):
    return {"pit.shape": {"round": "cylinder", "square": "square", "bucket": "basin"}[answer]}


def _size(answer, answers):
    shape = answers.get("shape")
    if shape == "square":
        return {"pit.side": answer}
    return {"pit.bottom_diameter" if shape == "bucket" else "pit.diameter": answer}


def _evidence(answer, answers):
    if answer == "nothing measured":
        return {}
    return {"sizing.evidence": [{"kind": answer}]}


def _backup(answer, answers):
    if answer == "none":
        return {}
    edits = {"supply.controller": "battery"}
    if answer == "battery pump":
        edits["pump2"] = {"supply": "battery", "volts": "12 V", "power_factor": 1.0}
    elif answer == "inverter":
        edits["pump2"] = {"supply": "either"}
    else:
        return {"supply.generator.starts_after": "20 s"}
    return edits


def _lines(answer, answers):
    size = answers.get("pipe", "1.5 in")
    riser = {"pipe": size, "length": answers["riser_length"], "fittings": {"elbow_90": 1}}
    if answer == "shared":
        return {"discharge.riser": riser, "discharge.header": {"pipe": size, "length": "1 ft", "fittings": {"exit": 1}}}
    riser["fittings"]["exit"] = 1
    return {"discharge.riser": riser}


def _run(answer, answers):
    if answers.get("lines") == "shared":
        return {"discharge.header.length": answer}
    both = units.read(answers["riser_length"], "distance") + units.read(answer, "distance")
    return {"discharge.riser.length": f"{both / 0.3048:.2f} ft"}


def _elbows(answer, answers):
    where = "header" if answers.get("lines") == "shared" else "riser"
    return {f"discharge.{where}.fittings.elbow_90": int(answer) + (1 if where == "riser" else 0)}


def _battery_amps(answer, answers):
    return {"pump2.rated_current": answer}


BATTERY = ("battery pump", "inverter")

# fmt: off
QUESTIONS = (
    Question("name", "What is the place called?", "It heads the page.", "words", "cellar, north corner", "A cellar",
             "only a name", _one("name")),
    Question("shape", "Is the pit round, square, or a bucket that widens upwards?",
             "Its area turns inches into gallons.", "choice", "round", "round", "most are", _pit, ("round", "square",
             "bucket")),
    Question("width", "How wide is it at the bottom, inside?", "Tape across the inside, near the bottom.", "length",
             "18 in", "18 in", "the code's least, which is what most pits are", _size, least="4 in", most="10 ft"),
    Question("top", "How wide at the top?", "A bucket holds more the higher the water stands.", "length", "22 in",
             "18 in", "no wider than the bottom", _one("pit.top_diameter"), when=_is("shape", "bucket"),
             least="4 in", most="10 ft"),
    Question("depth", "How deep is it, from the bottom to the cellar floor?", "The floor is what must stay dry.",
             "length", "30 in", "24 in", "the code's least", _one("pit.depth"), least="6 in", most="15 ft"),
    Question("floor", "How large is the cellar floor?",
             "It says how fast water spreads, and stands in where no inflow was measured.", "area", "600 ft2",
             "1000 ft2", "a large floor gathers more", _one("pit.floor_area"), least="10 ft2", most="100000 ft2"),
    Question("evidence", "What do you know of the inflow?",
             "Best: switch the pump off in the wettest week and time how fast the water rises: a 'rise test'.",
             "choice", "rise test", "nothing measured", "14 gpm for each 1000 ft2 of floor, the rule for sand",
             _evidence, (*EVIDENCE, "nothing measured")),
    Question("rise", "How far did the water rise?", "A rise of 4 in or more makes the tape's error small.", "length",
             "4 in", "1 in", "a short rise counts its large error in", _test("rise"), when=_is("evidence",
             "rise test"), least="0.1 in", most="10 ft"),
    Question("rise_time", "In how long did it rise so far?", "By the watch.", "time", "5 min", "30 s",
             "an inch in half a minute is a wet cellar", _test("in"), when=_is("evidence", "rise test"), least="1 s",
             most="10 days"),
    Question("rise_from", "From which height above the bottom did it rise?", "A bucket is wider higher up.",
             "length", "6 in", "6 in", "matters little in a straight pit", _test("from"), when=_is("evidence",
             "rise test"), least="0 in", most="10 ft"),
    Question("falls", "One pump running: how far did the water fall?",
             "The inflow is what the pump moved less this.", "length", "6 in", "1 in",
             "a slow fall means much inflow", _test("falls"), when=_is("evidence", "pump-down test"), least="0.1 in",
             most="10 ft"),
    Question("falls_time", "In how long did it fall so far?", "By the watch.", "time", "30 s", "60 s",
             "a slow fall means much inflow", _test("in"), when=_is("evidence", "pump-down test"), least="1 s",
             most="1 day"),
    Question("falls_from", "From which height above the bottom did it fall?", "", "length", "14 in", "14 in",
             "near the lead contact", _test("from"), when=_is("evidence", "pump-down test"), least="1 in",
             most="10 ft"),
    Question("starts", "How many times did the pump start?",
             "Each start is one band of water, and what runs in meanwhile.", "number", "12", "20", "a busy pit",
             _test("starts"), when=_is("evidence", "log"), least="1", most="100000"),
    Question("over", "Over how long?", "", "time", "1 h", "1 h", "an hour", _test("over"), when=_is("evidence",
             "log"), least="1 min", most="400 days"),
    Question("stops_at", "At which height does it stop?", "", "length", "6 in", "5 in",
             "a wide band means more water", _test("stops_at"), when=_is("evidence", "log"), least="0 in",
             most="10 ft"),
    Question("starts_at", "And start?", "", "length", "14 in", "15 in", "a wide band means more water",
             _test("starts_at"), when=_is("evidence", "log"), least="1 in", most="10 ft"),
    Question("drained", "Which area drains to the pit?", "Roof and paving whose drains end there.", "area",
             "1000 ft2", "1500 ft2", "a whole roof", _test("area"), when=_is("evidence", "drained area"),
             least="1 ft2", most="1000000 ft2"),
    Question("rain", "How hard does it rain in the worst hour?", "The weather service prints it for your place.",
             "rate", "2 in/h", "3 in/h", "a cloudburst", _test("rain"), when=_is("evidence", "drained area"),
             least="0.01 in/h", most="20 in/h"),
    Question("table", "How high does the groundwater stand now, above the pit's bottom?",
             "Look into a well or a deeper hole.", "distance", "3 ft", "4 ft", "a foot or two above the usual floor",
             _test("water_table"), when=_is("evidence", "recovery"), least="0.1 ft", most="40 ft"),
    Question("low", "Pumped down, from which level did you time the recovery?", "", "length", "6 in", "6 in",
             "near the bottom", _test("from"), when=_is("evidence", "recovery"), least="0 in", most="10 ft"),
    Question("high", "To which level?", "", "length", "14 in", "14 in", "near the lead contact", _test("to"),
             when=_is("evidence", "recovery"), least="0.1 in", most="10 ft"),
    Question("recovery_time", "In how long did it recover?", "", "time", "10 min", "1 min", "fast", _test("in"),
             when=_is("evidence", "recovery"), least="1 s", most="100 days"),
    Question("thumb", "Which floor area gathers the water?", "", "area", "600 ft2", "1000 ft2", "a large floor",
             _test("area"), when=_is("evidence", "rule of thumb"), least="10 ft2", most="100000 ft2"),
    Question("weather", "In which weather was that?",
             "Dry weather shows little of what is to come: wet is taken 1.5 times, dry or unknown 3 times.",
             "choice", "wettest", "unknown", "taken as dry", _test("weather"), WEATHER, when=_is("evidence",
             "rise test", "pump-down test", "log")),
    Question("curve", "The pump's data plate: flow at each head?",
             "The plate or the leaflet prints a few points. Write flow and head, points apart by commas.", "curve",
             example_curve.WORDS, example_curve.WORDS, "a weak pump of our own invention", lambda a,
             answers: {"pump.curve": read_curve(a)}),
    Question("outlet", "How large is the pump's outlet?", "The pipe may be no smaller.", "length", "1.5 in",
             "1.5 in", "the usual one", _one("sizing.motor.outlet"), least="0.5 in", most="6 in"),
    Question("intake", "How high above the pit's bottom does the pump suck?", "Off must stay above it.", "length",
             "3 in", "3 in", "on its feet, with a brick under it", _one("pump.intake"), least="0.1 in", most="5 ft"),
    Question("body", "How wide is the pump's body?", "Two of them and the floats must fit.", "length", "7 in",
             "8 in", "a wide pump", _one("sizing.motor.body_diameter"), least="2 in", most="3 ft"),
    Question("current", "Which current is on the plate?", "For protection, cables and generator.", "current",
             "9.5 A", "10 A", "a strong half-horsepower motor", _one("pump.rated_current"), least="0.2 A",
             most="60 A"),
    Question("starts_hour", "How many starts an hour does the maker allow?", "In the leaflet, if at all.", "number",
             "15", "10", "the lower end of common practice", _one("sizing.motor.starts_per_hour"), least="1",
             most="60"),
    Question("lift", "How high above the pit's bottom is the highest point of the discharge?",
             "Pit, cellar wall, and up to where the pipe goes out.", "distance", "10 ft", "12 ft", "a high wall",
             _one("discharge.outlet"), least="1 ft", most="100 ft"),
    Question("pipe", "Which pipe?", "Nominal size; no smaller than the pump's outlet.", "choice", "1.5 in", "1.5 in",
             "the usual one", lambda a, answers: {}, tuple(f'{size:g} in' for size in sorted(TURBULENT_FRICTION))),
    Question("riser_length", "How long is the pipe from one pump to where the lines join (or to the wall)?",
             "With the check valve and the full-open valve in it.", "distance", "8 ft", "10 ft",
             "as high as the wall", lambda a, answers: {}, least="0.5 ft", most="100 ft"),
    Question("lines", "Do both pumps share the pipe from there on?",
             "A shared line is cheaper, but then the second pump adds little.", "choice", "shared", "shared",
             "the worse of the two", _lines, ("shared", "separate")),
    Question("run", "How long is the pipe from there to the outlet?", "Along the pipe, up and out.", "distance",
             "20 ft", "30 ft", "a long way costs head", _run, least="0.5 ft", most="2000 ft"),
    Question("elbows", "How many elbows are in that stretch?", "Each costs as much as some feet of pipe.", "whole",
             "3", "4", "more cost head", _elbows, least="0", most="50"),
    Question("check", "Is there a check valve for each pump?", "Without it the water runs back after each stop.",
             "yes", "yes", "no", "taken as missing", _yes("discharge.riser.fittings.swing_check", 1, None)),
    Question("valve", "And a full-open valve above each?", "To take a pump out while the other works.", "yes", "yes",
             "no", "taken as missing", _yes("discharge.riser.fittings.ball_valve", 1, None)),
    Question("weep", "Is there a weep hole below each check valve?", "It lets the air out of a pump that ran dry.",
             "yes", "yes", "no", "taken as missing", _yes("pump.weep_hole", "0.1875 in", None)),
    Question("material", "What is printed on the pipe?", "Drain pipe with a foam core is not made for pressure.",
             "choice", "PVC schedule 40", "unknown", "taken as not made for pressure",
             _one("sizing.piping.material"), tuple(MATERIALS)),
    Question("to", "Where does the water go?", "Never into the sanitary sewer.", "choice", "daylight", "unknown",
             "find out before anything is dug", _one("sizing.outfall.to"), OUTFALLS),
    Question("away", "How far from the wall does it come out?", "Near the wall it seeps back.", "distance", "20 ft",
             "0 ft", "taken as at the wall", _one("sizing.outfall.distance"), least="0 ft", most="2000 ft"),
    Question("relief", "Is there a freeze relief outside, or is there no frost?", "A frozen line stops both pumps.",
             "yes", "yes", "no", "taken as missing", _yes("sizing.outfall.freeze_relief")),
    Question("cover", "What covers the pit?", "Children, damp, soil gas.", "choice", "bolted", "none",
             "taken as open", _one("sizing.basin.cover"), COVERS),
    Question("held", "Is the basin's rim cast into the floor?", "Groundwater lifts an empty basin.", "yes", "yes",
             "no", "taken as loose", _yes("sizing.basin.held_down")),
    Question("backup", "What runs a pump when the mains is out?",
             "The storm that floods the cellar takes the mains.", "choice", "inverter", "none", "nothing", _backup,
             ("none", *BATTERY, "generator")),
    Question("battery_amps", "Which current does the battery pump draw?", "On its plate.", "current", "20 A", "25 A",
             "a strong one", _battery_amps, when=_is("backup", "battery pump"), least="1 A", most="60 A"),
    Question("capacity", "What is on the battery's label?", "Amp-hours at the 20 h rate.", "charge", "100 Ah",
             "75 Ah", "a small one", _one("supply.battery.capacity"), when=_is("backup", *BATTERY), least="1 Ah",
             most="5000 Ah"),
    Question("chemistry", "Which kind?", "They differ in how much a strong current costs.", "choice", "AGM",
             "flooded", "the kind that loses most", lambda a, answers: {"sizing.power.battery": a,
             "supply.battery.peukert": CHEMISTRY[a][0]}, tuple(CHEMISTRY), when=_is("backup", *BATTERY)),
    Question("charger", "Which current does the charger give?", "It must be full again for the next storm.",
             "current", "10 A", "5 A", "a small one", _one("supply.charger.current"), when=_is("backup", *BATTERY),
             least="0.1 A", most="200 A"),
    Question("surge", "Which surge does the inverter bear?", "A motor's start draws about five times its current.",
             "power", "6000 W", "2000 W", "a small one", _one("supply.inverter.limit"), when=_is("backup",
             "inverter"), least="100 W", most="50000 W"),
    Question("fuse", "Which fuse sits at the battery?", "Within a hand's width of the post.", "current", "60 A",
             "none", "taken as missing", lambda a, answers: {} if a == "none" else {"sizing.power.fuse": a},
             when=_is("backup", *BATTERY), least="1 A", most="500 A"),
    Question("circuits", "Has each pump a branch circuit of its own?", "One breaker must not take both.", "yes",
             "yes", "no", "taken as shared", _yes("sizing.power.circuits", "separate", "shared")),
    Question("sensing", "Does the controller read each pump's current?",
             "It sees dry running, a clog, a jam at once.", "yes", "yes", "no", "taken as not fitted",
             _yes("controller.sensing", "current", "nothing")),
    Question("floats", "Floats on rods (vertical) or on cords (tethered)?", "Cords need room and travel far.",
             "choice", "vertical", "tethered", "they need more room", lambda a, answers: {"sizing.floats.kind": a,
             "sizing.floats.travel": "1 in" if a == "vertical" else "4 in"}, ("vertical", "tethered")),
)
# fmt: on
