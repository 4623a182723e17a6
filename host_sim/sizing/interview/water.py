"""The questions about the inflow: how it was measured, and the figures of that measurement."""

from host_sim import units
from host_sim.sizing.evidence import KINDS as EVIDENCE
from host_sim.sizing.evidence import STRONGER, WEATHER
from host_sim.sizing.inflow import RAN
from host_sim.sizing.interview.question import Question, among
from host_sim.sizing.limits import INCH

NOTHING = "nothing measured"
INFLOW = "the design inflow"


def _within(key, sign):
    # A rise or a fall stays within the pit.
    def check(value, a):
        if key not in a:
            return
        start, way = units.read(value, "length"), units.read(a[key], "length")
        end, depth = start + sign * way, units.read(a.get("depth", "24 in"), "length")
        if not -1e-9 <= end <= depth + 1e-9:
            raise ValueError(
                f"from {value}, {a[key]} {'up' if sign > 0 else 'down'} ends at {end / INCH:.1f} in, but the pit is "
                f"{a.get('depth', '24 in')} deep: give the height at the start, or go back"
            )

    return check


def _in_the_pit(value, a):
    if units.read(value, "length") > units.read(a.get("depth", "24 in"), "length") + 1e-9:
        raise ValueError(f"{value} is more than the pit is deep, {a.get('depth', '24 in')}: give the rise in the pit")


def _above(key):
    def check(value, a):
        if key in a and units.read(value, "distance") <= units.read(a[key], "distance"):
            raise ValueError(f"{value} is not above {a[key]}: the water rises")

    return check


def _under_table(value, a):
    _above("low")(value, a)
    if units.read(value, "distance") >= units.read(a["table"], "distance"):
        raise ValueError(f"{value} is not below the water table at {a['table']}: the pit cannot fill so far")


# fmt: off
QUESTIONS = (
    Question("evidence", "How was the inflow measured?",
             "Best: a rise test. In the wettest week unplug the pump and time how fast the water rises.", "choice",
             "rise test", NOTHING, "then 14 gpm per 1000 ft2 of floor, a rule of thumb for sand", INFLOW,
             "inflow measurement", (*EVIDENCE, NOTHING)),
    Question("rise", "How far did the water rise?", "With 4 in or more the error of the tape is small.", "length",
             "4 in", "1 in", "a short rise carries a large error, which is added", INFLOW, "rise",
             when=among("evidence", "rise test"), least="0.1 in", most="10 ft", check=_in_the_pit),
    Question("rise_time", "How long did the rise take?", "By the watch.", "time", "5 min", "30 s",
             "an inch in half a minute is a wet basement", INFLOW, "time of the rise",
             when=among("evidence", "rise test"), least="1 s", most="10 days"),
    Question("rise_from", "At what height above the bottom did the rise start?", "A tapered pit is wider higher up.",
             "length", "6 in", "6 in", "near the stop height", INFLOW, "start of the rise",
             when=lambda a: (a.get("evidence"), a.get("shape")) == ("rise test", "bucket"), least="0 in",
             most="10 ft", check=_within("rise", 1)),
    Question("falls_pump", "Which pump ran in the pump-down test?",
             "Inflow = what that pump moves, less the fall.  With a battery pump, pump 1 is the mains pump and pump 2 "
             "the battery pump.", "choice", "pump 1", STRONGER, "it gives the greater inflow", INFLOW,
             "pump that ran in the pump-down test", (*RAN, STRONGER), when=among("evidence", "pump-down test")),
    Question("falls", "While it pumped, how far did the water fall?", "Inflow = pump rate less the fall.",
             "length", "6 in", "1 in", "a slow fall means a large inflow", INFLOW, "fall",
             when=among("evidence", "pump-down test"), least="0.1 in", most="10 ft"),
    Question("falls_time", "How long did the fall take?", "By the watch.", "time", "30 s", "60 s",
             "a slow fall means a large inflow", INFLOW, "time of the fall", when=among("evidence", "pump-down test"),
             least="1 s", most="1 day"),
    Question("falls_from", "At what height above the bottom did the fall start?", "A tapered pit is wider higher up.",
             "length", "14 in", "14 in", "near the lead contact", INFLOW, "start of the fall",
             when=among("evidence", "pump-down test"), least="1 in", most="10 ft", check=_within("falls", -1)),
    Question("starts", "How many times did the pump start?",
             "Each start pumps one band of water, and what flows in meanwhile.", "number", "12", "20", "a busy pit",
             INFLOW, "pump starts counted", when=among("evidence", "log"), least="1", most="100000"),
    Question("over", "In how much time?", "By the watch, or from the log.", "time", "1 h", "1 h", "the usual test",
             INFLOW, "time of the count", when=among("evidence", "log"), least="1 min", most="400 days"),
    Question("stops_at", "At what height above the bottom does the pump stop?", "The band is between stop and start.",
             "length", "6 in", "5 in", "a wide band means more water", INFLOW, "stop height",
             when=among("evidence", "log"), least="0 in", most="10 ft"),
    Question("starts_at", "And at what height does it start?", "The band is between stop and start.", "length",
             "14 in", "15 in", "a wide band means more water", INFLOW, "start height", when=among("evidence", "log"),
             least="1 in", most="10 ft", check=_above("stops_at")),
    Question("drained", "What area drains to the pit?", "Roof and pavement whose drains end in it.", "area",
             "25 x 40 ft", "1500 ft2", "a whole roof", INFLOW, "drained area", when=among("evidence", "drained area"),
             least="1 ft2", most="1000000 ft2"),
    Question("rain", "What is the rainfall in the worst hour?", "The weather service publishes it for your area.",
             "rate", "2 in/h", "3 in/h", "a cloudburst", INFLOW, "rain in the worst hour",
             when=among("evidence", "drained area"), least="0.01 in/h", most="20 in/h"),
    Question("table", "How high is the water table now, above the bottom of the pit?",
             "Measure in a well or a deeper hole.", "distance", "3 ft", "4 ft",
             "a foot or two above the usual basement floor", INFLOW, "water table",
             when=among("evidence", "recovery"), least="0.1 ft", most="40 ft"),
    Question("low", "After pumping down, at what height did you start to time the recovery?",
             "Height above the bottom.", "length", "6 in", "6 in", "near the bottom", INFLOW, "start of the recovery",
             when=among("evidence", "recovery"), least="0 in", most="10 ft"),
    Question("high", "To what height?", "Height above the bottom.", "length", "14 in", "14 in",
             "near the lead contact", INFLOW, "end of the recovery", when=among("evidence", "recovery"),
             least="0.1 in", most="10 ft", check=_under_table),
    Question("recovery_time", "How long did the recovery take?", "By the watch.", "time", "10 min", "1 min",
             "a fast recovery means a large inflow", INFLOW, "time of the recovery",
             when=among("evidence", "recovery"), least="1 s", most="100 days"),
    Question("thumb", "What floor area collects the water?", "The rule of thumb goes by the floor area.", "area",
             "25 x 40 ft", "1000 ft2", "a large floor", INFLOW, "floor that collects water",
             when=among("evidence", "rule of thumb"), least="10 ft2", most="100000 ft2"),
    Question("weather", "What was the weather then?",
             "Dry weather reads low: a wet spell is multiplied by 1.5, a dry or unknown one by 3.", "choice",
             "wettest", "unknown", "treated as dry", INFLOW, "weather at the test", WEATHER,
             when=among("evidence", "rise test", "pump-down test", "log")),
)
# fmt: on

KEYS = {
    "rise": "rise", "rise_time": "in", "rise_from": "from", "falls": "falls", "falls_time": "in", "falls_from": "from",
    "falls_pump": "ran",
    "starts": "starts", "over": "over", "stops_at": "stops_at", "starts_at": "starts_at", "drained": "area",
    "rain": "rain", "table": "water_table", "low": "from", "high": "to", "recovery_time": "in", "thumb": "area",
    "weather": "weather",
}  # fmt: skip


def edits(a):
    """Return the edits of the site document for answers."""
    if a["evidence"] == NOTHING:
        return {}
    facts = {KEYS[key]: a[key] for key in KEYS if key in a}
    if "rise" in a and "rise_from" not in a:
        facts["from"] = "0 in"  # a straight pit is as wide at any height
    return {"sizing.evidence": [{"kind": a["evidence"], **facts}]}
