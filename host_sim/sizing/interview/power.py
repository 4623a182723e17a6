"""The questions about battery, inverter, generator and circuits."""

import re

from host_sim import units
from host_sim.sizing.interview.question import Question, among
from host_sim.sizing.limits import AMPACITY, CHEMISTRY, COLD

BATTERY = ("battery pump", "inverter")
ON_BATTERY = among("backup", *BATTERY)
GAUGES = tuple(f"{size} AWG" for size in sorted(AMPACITY, reverse=True))
HOURS = "how long the battery lasts"


def gauge(text):
    """Return a wire gauge as people write it, "#8", "10 ga", "8 gauge", as "8 AWG"; any other text as it is."""
    found = re.fullmatch(r"\s*(?:#|no\.?|awg)?\s*(\d{1,2}|1/0)(?:\s*(?:gauge|ga\.?|awg|wire))*\s*", text.lower())
    return f"{found[1].replace('1/0', '0')} AWG" if found else text



# fmt: off
QUESTIONS = (
    Question("capacity", "What is the capacity on the battery's label?", "Amp-hours at the 20 h rate.", "charge",
             "100 Ah", "75 Ah", "a small one", HOURS, "battery capacity", when=ON_BATTERY, least="1 Ah",
             most="5000 Ah"),
    Question("chemistry", "What type is the battery?", "They differ in how much capacity a high current costs.",
             "choice", "AGM", "flooded", "the type that loses most", f"{HOURS}, and ventilation", "battery type",
             tuple(CHEMISTRY), when=ON_BATTERY),
    Question("room", "Is the battery's room heated?", "A cold battery gives less.", "choice", "heated", "unheated",
             "a basement in winter", HOURS, "battery's room", tuple(COLD), when=ON_BATTERY),
    Question("vented", "Is that room ventilated to outdoors?", "A flooded battery gives off explosive gas.", "yes",
             "yes", "no", "assumed closed", "the caution about battery gas", "ventilation", when=ON_BATTERY),
    Question("hours", "How long must the battery last?", "Power failures of a storm last a night and more.", "time",
             "8 h", "8 h", "one night", "the battery that is proposed", "battery time wanted", when=ON_BATTERY,
             least="10 min", most="10 days"),
    Question("charger", "What is the charger's output current?", "The battery must be full again for the next storm.",
             "current", "10 A", "5 A", "a small one", "time to recharge", "charger", when=ON_BATTERY, least="0.1 A",
             most="200 A"),
    Question("surge", "What is the inverter's surge rating?",
             "A starting motor draws about five times its rated current.", "power", "6000 W", "2000 W", "a small one",
             "whether the inverter starts the pump", "inverter surge rating", when=among("backup", "inverter"),
             least="100 W", most="50000 W"),
    Question("cable", "How long is the battery cable, one way?", "Long cables lose volts.", "distance", "6 ft",
             "10 ft", "a long one", "voltage drop and wire size", "battery cable", when=ON_BATTERY, least="0.5 ft",
             most="100 ft"),
    Question("gauge", "What wire gauge is it?", "It must carry the fuse.", "choice", "6 AWG", "10 AWG",
             "a thin one", "voltage drop and fuse", "wire gauge", GAUGES, when=ON_BATTERY, spelt=gauge),
    Question("fuse", "What fuse is at the battery?", "Right at the battery post.", "current", "60 A", "none",
             "assumed missing", "whether a short starts a fire", "battery fuse", when=ON_BATTERY, least="1 A",
             most="500 A", words=("none",)),
    Question("auto", "Does the generator start by itself?", "Nobody is awake when it is needed.", "yes", "yes", "no",
             "assumed not", "whether a power failure floods the floor", "automatic start",
             when=among("backup", "generator")),
    Question("starts_in", "How long after a power failure does it carry the house?", "The pit fills meanwhile.",
             "time", "20 s", "60 s", "a slow one", "the rise of the water until it runs", "generator start",
             when=among("auto", True), least="1 s", most="30 min"),
    Question("watts", "What is the generator's rating?", "A starting motor draws five times its running power.",
             "power", "7500 W", "3000 W", "a small one", "whether it starts the pumps", "generator rating",
             when=among("backup", "generator"), least="100 W", most="100 kW"),
    Question("circuits", "Does every pump on the mains have a branch circuit of its own?",
             "One breaker must not take out both.",
             "yes", "yes", "no", "assumed shared", "whether one breaker stops both pumps", "branch circuits"),
    Question("heard", "Is the alarm heard in the bedroom, or does it call somebody?",
             "High water comes at night.", "yes", "yes", "no", "assumed not", "whether a failed pump is noticed",
             "alarm heard"),
)
# fmt: on


def edits(a):
    """Return the edits of the site document for answers."""
    found = {
        "sizing.power.circuits": "separate" if a["circuits"] else "shared",
        "sizing.power.alarm": a["heard"],
    }
    if a["backup"] in BATTERY:
        found.update(_battery(a))
    if a["backup"] == "inverter":
        found["supply.inverter.limit"] = a["surge"]
    if a["backup"] == "generator":
        found["sizing.power.generator"] = a["watts"]
        if a["auto"]:
            found["supply.generator.starts_after"] = a["starts_in"]
    return found


def _battery(a):
    volts = 12.0
    if a["backup"] == "battery pump":
        volts = 12.0 * max(1, round(units.read(a["volts_2"], "voltage") / 12.0))
    found = {
        "supply.controller": "battery",
        "supply.battery.capacity": a["capacity"],
        "supply.battery.peukert": CHEMISTRY[a["chemistry"]][0],
        "supply.charger.current": a["charger"],
        "sizing.power.battery": a["chemistry"],
        "sizing.power.room": a["room"],
        "sizing.power.vented": a["vented"],
        "sizing.power.wanted": a["hours"],
        "sizing.power.cable": a["cable"],
        "sizing.power.cable_gauge": int(a["gauge"].split()[0]),
    }
    if volts != 12.0:
        found.update({"supply.battery.full": f"{12.7 * volts / 12.0:.1f} V",
                      "supply.battery.empty": f"{11.4 * volts / 12.0:.1f} V",
                      "sizing.power.battery_voltage": f"{volts:g} V"})  # fmt: skip
    if a["fuse"] != "none":
        found["sizing.power.fuse"] = a["fuse"]
    return found
