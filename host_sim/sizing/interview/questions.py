"""The questions of `size --ask`, in order: question, reason, example, default.

A question's `edits(answer, answers)` turns the answer into edits of the site
file.  `default` is conservative, and shown with the question.
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

NOT_KNOWN = ("", "?", "don't know", "dont know", "do not know", "no idea", "unknown", "skip")


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
    because: str  # why the default is conservative
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
    if re.search(r"\d,\d", text):
        point = re.sub(r"(?<=\d),(?=\d)", ".", text)
        raise ValueError(f'"{text}" has a decimal comma: write it with a point, "{point}"')
    for part in re.split(r"[;,]", text):
        match = re.match(r"^\s*([\d.]+\s*[A-Za-z/0-9]+?)\s*(?:at|@|\s)\s*([\d.]+\s*[A-Za-z]+)\s*$", part)
        if not match:
            raise ValueError(
                f'"{part.strip()}" is not a flow and a head: write the points as in "{example_curve.WORDS}"'
            )
        rows.append(
            (units.read(match[1], "flow"), units.read(match[2], "distance"), match[1].strip(), match[2].strip())
        )
    rows.sort()
    if len(rows) < 2 or rows[0][0] != 0.0:
        raise ValueError('give two points or more, one of them at "0 gpm": the shut-off head')
    for before, after in zip(rows, rows[1:], strict=False):
        if after[1] >= before[1] or after[0] == before[0]:
            raise ValueError(
                f"head must fall as flow rises: from {before[2]} to {after[2]} it goes from {before[3]} to {after[3]}"
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


def _floats(answer, answers):
    return {"sizing.floats.kind": answer, "sizing.floats.travel": "1 in" if answer == "vertical" else "4 in"}


def _battery_amps(answer, answers):
    return {"pump2.rated_current": answer}


BATTERY = ("battery pump", "inverter")

# fmt: off
QUESTIONS = (
    Question("name", "What do you call this place?", "It is the title of the page.", "words", "basement, north corner",
             "A basement", "only a name", _one("name")),
    Question("shape", "Is the pit round, square, or tapered like a bucket?", "The area turns inches into gallons.",
             "choice", "round", "round", "most are", _pit, ("round", "square", "bucket")),
    Question("width", "How wide is it inside, at the bottom?", "Tape across the inside, near the bottom.", "length",
             "18 in", "18 in", "the code minimum, and the usual size", _size, least="4 in", most="10 ft"),
    Question("top", "How wide at the top?", "A tapered pit holds more per inch the higher the water is.", "length",
             "22 in", "18 in", "no wider than the bottom", _one("pit.top_diameter"), when=_is("shape", "bucket"),
             least="4 in", most="10 ft"),
    Question("depth", "How deep is it, from the bottom to the basement floor?", "The floor is what must stay dry.",
             "length", "30 in", "24 in", "the code minimum", _one("pit.depth"), least="6 in", most="15 ft"),
    Question("floor", "How large is the basement floor?",
             "Water spreads over it; it also gives the inflow where none was measured.", "area", "600 ft2", "1000 ft2",
             "a large floor collects more water", _one("pit.floor_area"), least="10 ft2", most="100000 ft2"),
    Question("evidence", "How was the inflow measured?",
             "Best: a rise test. In the wettest week unplug the pump and time how fast the water rises.", "choice",
             "rise test", "nothing measured", "then 14 gpm per 1000 ft2 of floor, a rule of thumb for sand", _evidence,
             (*EVIDENCE, "nothing measured")),
    Question("rise", "How far did the water rise?", "With 4 in or more the error of the tape is small.", "length",
             "4 in", "1 in", "a short rise carries a large error, which is added", _test("rise"),
             when=_is("evidence", "rise test"), least="0.1 in", most="10 ft"),
    Question("rise_time", "How long did the rise take?", "By the watch.", "time", "5 min", "30 s",
             "an inch in half a minute is a wet basement", _test("in"), when=_is("evidence", "rise test"), least="1 s",
             most="10 days"),
    Question("rise_from", "At what height above the bottom did the rise start?", "A tapered pit is wider higher up.",
             "length", "6 in", "6 in", "matters little in a straight-sided pit", _test("from"),
             when=_is("evidence", "rise test"), least="0 in", most="10 ft"),
    Question("falls", "With one pump running, how far did the water fall?", "Inflow = pump rate less the fall.",
             "length", "6 in", "1 in", "a slow fall means a large inflow", _test("falls"),
             when=_is("evidence", "pump-down test"), least="0.1 in", most="10 ft"),
    Question("falls_time", "How long did the fall take?", "By the watch.", "time", "30 s", "60 s",
             "a slow fall means a large inflow", _test("in"), when=_is("evidence", "pump-down test"), least="1 s",
             most="1 day"),
    Question("falls_from", "At what height above the bottom did the fall start?", "A tapered pit is wider higher up.",
             "length", "14 in", "14 in", "near the lead contact", _test("from"),
             when=_is("evidence", "pump-down test"), least="1 in", most="10 ft"),
    Question("starts", "How many times did the pump start?",
             "Each start pumps one band of water, and what flows in meanwhile.", "number", "12", "20", "a busy pit",
             _test("starts"), when=_is("evidence", "log"), least="1", most="100000"),
    Question("over", "In how much time?", "By the watch, or from the log.", "time", "1 h", "1 h", "the usual test",
             _test("over"), when=_is("evidence", "log"), least="1 min", most="400 days"),
    Question("stops_at", "At what height above the bottom does the pump stop?", "The band is between stop and start.",
             "length", "6 in", "5 in", "a wide band means more water", _test("stops_at"), when=_is("evidence", "log"),
             least="0 in", most="10 ft"),
    Question("starts_at", "And at what height does it start?", "The band is between stop and start.", "length",
             "14 in", "15 in", "a wide band means more water", _test("starts_at"), when=_is("evidence", "log"),
             least="1 in", most="10 ft"),
    Question("drained", "What area drains to the pit?", "Roof and pavement whose drains end in it.", "area",
             "1000 ft2", "1500 ft2", "a whole roof", _test("area"), when=_is("evidence", "drained area"),
             least="1 ft2", most="1000000 ft2"),
    Question("rain", "What is the rainfall in the worst hour?", "The weather service publishes it for your area.",
             "rate", "2 in/h", "3 in/h", "a cloudburst", _test("rain"), when=_is("evidence", "drained area"),
             least="0.01 in/h", most="20 in/h"),
    Question("table", "How high is the water table now, above the bottom of the pit?",
             "Measure in a well or a deeper hole.", "distance", "3 ft", "4 ft",
             "a foot or two above the usual basement floor", _test("water_table"), when=_is("evidence", "recovery"),
             least="0.1 ft", most="40 ft"),
    Question("low", "After pumping down, at what height did you start to time the recovery?",
             "Height above the bottom.", "length", "6 in", "6 in", "near the bottom", _test("from"),
             when=_is("evidence", "recovery"), least="0 in", most="10 ft"),
    Question("high", "To what height?", "Height above the bottom.", "length", "14 in", "14 in",
             "near the lead contact", _test("to"), when=_is("evidence", "recovery"), least="0.1 in", most="10 ft"),
    Question("recovery_time", "How long did the recovery take?", "By the watch.", "time", "10 min", "1 min",
             "a fast recovery means a large inflow", _test("in"), when=_is("evidence", "recovery"), least="1 s",
             most="100 days"),
    Question("thumb", "What floor area collects the water?", "The rule of thumb goes by the floor area.", "area",
             "600 ft2", "1000 ft2", "a large floor", _test("area"), when=_is("evidence", "rule of thumb"),
             least="10 ft2", most="100000 ft2"),
    Question("weather", "What was the weather then?",
             "Dry weather reads low: a wet spell is multiplied by 1.5, a dry or unknown one by 3.", "choice",
             "wettest", "unknown", "treated as dry", _test("weather"), WEATHER,
             when=_is("evidence", "rise test", "pump-down test", "log")),
    Question("curve", "What is the pump curve: flow at each head?",
             "From the data plate or the manual: flow and head, with a comma between points.", "curve",
             example_curve.WORDS, example_curve.WORDS, "an invented, weak pump",
             lambda a, answers: {"pump.curve": read_curve(a)}),
    Question("outlet", "What size is the pump's outlet?", "The pipe must be no smaller.", "length", "1.5 in", "1.5 in",
             "the usual one", _one("sizing.motor.outlet"), least="0.5 in", most="6 in"),
    Question("intake", "How high is the pump's inlet above the bottom of the pit?", "Off must be above it.", "length",
             "3 in", "3 in", "on its legs, with a brick under it", _one("pump.intake"), least="0.1 in", most="5 ft"),
    Question("body", "How wide is the pump's body?", "Two pumps and the floats must fit.", "length", "7 in", "8 in",
             "a wide pump", _one("sizing.motor.body_diameter"), least="2 in", most="3 ft"),
    Question("current", "What is the rated current on the data plate?", "For protection, cables and generator.",
             "current", "9.5 A", "10 A", "a large 1/2 hp motor", _one("pump.rated_current"), least="0.2 A",
             most="60 A"),
    Question("starts_hour", "How many starts per hour does the manufacturer allow?", "In the manual, if anywhere.",
             "number", "15", "10", "low end of common practice (10 to 15)", _one("sizing.motor.starts_per_hour"),
             least="1", most="60"),
    Question("lift", "How high above the bottom of the pit is the highest point of the discharge pipe?",
             "Pit, basement wall, and up to where the pipe goes out.", "distance", "10 ft", "12 ft", "a high wall",
             _one("discharge.outlet"), least="1 ft", most="100 ft"),
    Question("pipe", "What size is the discharge pipe?", "Nominal size; no smaller than the pump's outlet.", "choice",
             "1.5 in", "1.5 in", "the usual one", lambda a, answers: {},
             tuple(f'{size:g} in' for size in sorted(TURBULENT_FRICTION))),
    Question("riser_length", "How long is the pipe from one pump to where the two lines join (or to the wall)?",
             "The riser, with its check valve and full-open valve.", "distance", "8 ft", "10 ft",
             "the height of a basement wall", lambda a, answers: {}, least="0.5 ft", most="100 ft"),
    Question("lines", "Do both pumps share one pipe from there on, or has each its own?",
             "A shared line costs less, but the second pump then adds little flow.", "choice", "shared", "shared",
             "the worse case", _lines, ("shared", "separate")),
    Question("run", "How long is the pipe from there to the outlet?", "Measured along the pipe.", "distance", "20 ft",
             "30 ft", "a long pipe costs head", _run, least="0.5 ft", most="2000 ft"),
    Question("elbows", "How many elbows are in that pipe?", "Each costs as much head as some feet of pipe.", "whole",
             "3", "4", "elbows cost head", _elbows, least="0", most="50"),
    Question("check", "Is there a check valve for each pump?", "Without one the water drains back after each stop.",
             "yes", "yes", "no", "assumed missing", _yes("discharge.riser.fittings.swing_check", 1, None)),
    Question("valve", "Is there a full-open valve above each check valve?",
             "It lets one pump be pulled while the other works.", "yes", "yes", "no", "assumed missing",
             _yes("discharge.riser.fittings.ball_valve", 1, None)),
    Question("weep", "Is there a weep hole below each check valve?",
             "It vents the pump; without it the pump may air-lock.", "yes", "yes", "no", "assumed missing",
             _yes("pump.weep_hole", "0.1875 in", None)),
    Question("material", "What is printed on the pipe?", "Cellular-core drain pipe is not rated for pressure.",
             "choice", "PVC schedule 40", "unknown", "assumed not rated for pressure", _one("sizing.piping.material"),
             tuple(MATERIALS)),
    Question("to", "Where does the water go?", "Never to the sanitary sewer.", "choice", "daylight", "unknown",
             "find out before you dig", _one("sizing.outfall.to"), OUTFALLS),
    Question("away", "How far from the house wall is the outlet?", "Close to the wall the water seeps back.",
             "distance", "20 ft", "0 ft", "assumed at the wall", _one("sizing.outfall.distance"), least="0 ft",
             most="2000 ft"),
    Question("relief", "Is there a freeze relief outside, or does it never freeze?", "A frozen line stops both pumps.",
             "yes", "yes", "no", "assumed missing", _yes("sizing.outfall.freeze_relief")),
    Question("cover", "What cover is on the pit?", "It keeps children out, and moisture and soil gas in.", "choice",
             "bolted", "none", "assumed open", _one("sizing.basin.cover"), COVERS),
    Question("held", "Is the basin's rim cast into the floor?", "Groundwater lifts an empty basin.", "yes", "yes",
             "no", "assumed not cast in", _yes("sizing.basin.held_down")),
    Question("backup", "What runs a pump when the mains is out?",
             "The storm that floods basements also takes out the mains.", "choice", "inverter", "none", "assumed none",
             _backup, ("none", *BATTERY, "generator")),
    Question("battery_amps", "What current does the battery pump draw?", "On its data plate.", "current", "20 A",
             "25 A", "a large one", _battery_amps, when=_is("backup", "battery pump"), least="1 A", most="60 A"),
    Question("capacity", "What is the capacity on the battery's label?", "Amp-hours at the 20 h rate.", "charge",
             "100 Ah", "75 Ah", "a small one", _one("supply.battery.capacity"), when=_is("backup", *BATTERY),
             least="1 Ah", most="5000 Ah"),
    Question("chemistry", "What type is the battery?", "They differ in how much capacity a high current costs.",
             "choice", "AGM", "flooded", "the type that loses most",
             lambda a, answers: {"sizing.power.battery": a, "supply.battery.peukert": CHEMISTRY[a][0]},
             tuple(CHEMISTRY), when=_is("backup", *BATTERY)),
    Question("charger", "What is the charger's output current?", "The battery must be full again for the next storm.",
             "current", "10 A", "5 A", "a small one", _one("supply.charger.current"), when=_is("backup", *BATTERY),
             least="0.1 A", most="200 A"),
    Question("surge", "What is the inverter's surge rating?",
             "A starting motor draws about five times its rated current.", "power", "6000 W", "2000 W", "a small one",
             _one("supply.inverter.limit"), when=_is("backup", "inverter"), least="100 W", most="50000 W"),
    Question("fuse", "What fuse is at the battery?", "Right at the battery post.", "current", "60 A", "none",
             "assumed missing", lambda a, answers: {} if a == "none" else {"sizing.power.fuse": a},
             when=_is("backup", *BATTERY), least="1 A", most="500 A"),
    Question("circuits", "Does each pump have its own branch circuit?", "One breaker must not take out both.", "yes",
             "yes", "no", "assumed shared", _yes("sizing.power.circuits", "separate", "shared")),
    Question("sensing", "Does the controller sense each pump's motor current?",
             "It detects dry run, clog and locked rotor at once.", "yes", "yes", "no", "assumed not fitted",
             _yes("controller.sensing", "current", "nothing")),
    Question("floats", "Are the floats vertical (on rods) or tethered (on cords)?",
             "Tethered floats need room and have a long travel.", "choice", "vertical", "tethered",
             "they need more room",
             _floats,
             ("vertical", "tethered")),
)
# fmt: on
