"""Every limit and every conservative default of the sizing: value in SI, meaning, source.

A limit with no published source says so.  Nothing in the sizing compares
against a number that is not listed here, so the report can print them all.
"""

from dataclasses import dataclass

INCH, FOOT, GALLON, PSI = 0.0254, 0.3048, 3.785411784e-3, 6894.757
GPM = GALLON / 60.0

PRACTICE = "common practice, no source"
MEMORY = "from memory"
OWN = "our own choice, no source"


@dataclass(frozen=True)
class Limit:
    """One limit: `value` in SI (or a plain number), the kind of `say.py` that shows it, meaning and source."""

    name: str
    value: float
    kind: str
    meaning: str
    source: str


LIMITS = (
    Limit("pit_diameter", 18 * INCH, "length", "minimum diameter of a sump pit",
          "International Plumbing Code (2021) 1113.1.2, where the local code says nothing else"),
    Limit("pit_depth", 24 * INCH, "length", "minimum depth of a sump pit",
          "International Plumbing Code (2021) 1113.1.2, where the local code says nothing else"),
    Limit("deepest", 48 * INCH, "length", "depth beyond which a pit is only dug where nothing else helps", OWN),
    Limit("velocity_low", 2 * FOOT, "velocity", "minimum velocity; below it sand and iron settle in the pipe",
          "Wisconsin NR 110.14"),
    Limit("velocity_high", 8 * FOOT, "velocity", "maximum velocity; above it valves slam and wear",
          "Sanks, Pumping Station Design"),
    Limit("starts", 10, "number", "starts per hour of one motor where its manufacturer gives none",
          "common practice, no source: 10 to 15 for small single-phase motors, the lower is used"),
    Limit("tolerance", 0.05, "share", "starts per hour over their limit by no more than this count as at the limit: "
          "tape, watch and data plate are no more accurate", PRACTICE),
    Limit("least_run", 10.0, "seconds", "minimum run of a motor where its manufacturer gives none", PRACTICE),
    Limit("least_rest", 10.0, "seconds", "minimum off time of a motor where its manufacturer gives none", PRACTICE),
    Limit("minimum_flow", 0.10, "share", "of run-out: minimum flow of a pump where its manufacturer gives none",
          PRACTICE),
    Limit("smallest_pump", 20 * GPM, "flow", "least flow with no head of a sump pump that can be bought", PRACTICE),
    Limit("margin", 0.5, "share", "margin on the best estimate of the inflow", OWN),
    Limit("weather_wet", 1.5, "number", "factor from a wet spell to the wettest week", OWN),
    Limit("weather_dry", 3.0, "number", "factor from dry or unknown weather to the wettest week", OWN),
    Limit("uncertain", 0.35, "share", "largest uncertainty of a rise test", OWN),
    Limit("disagree", 2.5, "number", "largest ratio of two inflow measurements that still agree", OWN),
    Limit("lag_gain", 0.35, "share", "minimum gain from the second pump", OWN),
    Limit("pipe_pays", 0.20, "share", "gain in flow that makes a larger pipe worth it", OWN),
    Limit("wear", 0.10, "share", "loss of head and flow by wear before anybody notices", PRACTICE),
    Limit("gap", 1 * INCH, "length",
          "clearance between the pumps, and between pumps and floats; each may stand at the wall",
          PRACTICE),
    Limit("step", 2 * INCH, "length", "minimum height between two contacts", PRACTICE),
    Limit("step_transmitter", 1 * INCH, "length", "minimum height between two levels of a transmitter", PRACTICE),
    Limit("freeboard", 3 * INCH, "length", "minimum height from the high contact to the floor", PRACTICE),
    Limit("intake_cover", 1 * INCH, "length", "water kept above the pump's minimum, against waves and air", PRACTICE),
    Limit("entrance_head", 6 * INCH, "length", "head outside that drives water through the basin holes", OWN),
    Limit("outfall_distance", 10 * FOOT, "distance", "minimum distance of the outlet from the wall", PRACTICE),
    Limit("tape_on_pipe", 0.10, "share", "of the way to the outlet that pipe and tape may differ by", OWN),
    Limit("drain_back", 0.25, "share", "of the band: largest drain-back after a stop", OWN),
    Limit("uplift", 1.2, "number", "weight over uplift", PRACTICE),
    Limit("time_to_floor", 1800.0, "time", "time a person needs to wake and act", OWN),
    Limit("ageing", 1.25, "number", "extra battery size for aging",
          "IEEE 485-2020, aging factor, from memory"),
    Limit("depth", 0.5, "share", "usable share of a lead-acid battery", PRACTICE),
    Limit("depth_lithium", 0.8, "share", "usable share of a lithium battery", PRACTICE),
    Limit("wanted", 8 * 3600.0, "time", "battery run time wanted where none is given", OWN),
    Limit("recharge", 48 * 3600.0, "time", "longest recharge time, for two storms in a row", PRACTICE),
    Limit("cable_drop", 0.03, "share", "largest voltage drop between battery and pump, both conductors", PRACTICE),
    Limit("locked_rotor", 5.0, "number", "locked-rotor current over rated current where the plate gives none",
          "common practice, no source: four to six times"),
    Limit("generator_spare", 0.8, "share", "usable share of a generator's rating", PRACTICE),
    Limit("inflow_agreement", 0.02, "share", "largest difference between calculation and simulation", OWN),
)  # fmt: skip

_BY_NAME = {limit.name: limit for limit in LIMITS}

# Capacity of a cold lead-acid battery as a share of that at 77 F (25 C): IEEE 485-2020, table 1, from memory, has the
# factor 1.25 at 45 F for an unheated basement; its lowest, 1.52 at 25 F, is 0.66, and 0.6 is our own for frost below.
COLD = {"heated": 1.0, "unheated": 0.8, "freezing": 0.6}
COLD_SOURCE = "cold: IEEE 485-2020, table 1, from memory"
# Battery kinds: (Peukert exponent, share of the plan's depth, gives off gas into its room, where from)
CHEMISTRY = {
    "flooded": (1.3, "depth", True, "exponent 1.2 to 1.6, sources vary"),
    "AGM": (1.1, "depth", False, "exponent 1.05 to 1.15, sources vary"),
    "lithium": (1.03, "depth_lithium", False, MEMORY),
}
# Gassing current on boost charge, mA for each Ah: 20 vented, 8 valve-regulated.  A lithium battery gives off none.
GAS_MA_AH = {"flooded": 20.0, "AGM": 8.0, "lithium": 0.0}
GAS_SOURCE = "IEC 62485-2:2010, 7.2 and table 1 (boost charge), as quoted in the trade"
RESISTIVITY = 1.7241e-8  # ohm m, annealed copper at 20 C: 1/58 ohm mm2/m (IEC 60028)
# Amperes by American wire gauge: copper, insulation and terminals for 60 C, not more than three current-carrying
# conductors in raceway, cable or earth, 30 C (86 F) around.  Single conductors in free air are table 310.17, and more.
AMPACITY = {14: 15.0, 12: 20.0, 10: 30.0, 8: 40.0, 6: 55.0, 4: 70.0, 2: 95.0, 0: 125.0}
AMPACITY_SOURCE = "NEC (NFPA 70) 2023 Table 310.16, copper, 60 C column, from memory"
# Standard sizes of fuses and breakers.
FUSES_A = (15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0, 110.0, 125.0, 150.0, 175.0,
           200.0)  # fmt: skip
FUSES_SOURCE = "sizes: NEC 2023 240.6(A), from memory"
FUSE_FACTOR = 1.25  # of the running current
FUSE_SOURCE = "125 % as for motor conductors, NEC 2023 430.22, from memory"
# NEMA MG 10-2001, table 2-3, three-phase motors of designs A and B: (starts per hour, least rest in s) by hp and poles.
NEMA_STARTS = {
    (1.0, 2): (15.0, 75), (1.0, 4): (30.0, 38), (1.0, 6): (34.0, 33),
    (1.5, 2): (12.9, 76), (1.5, 4): (25.7, 38), (1.5, 6): (29.1, 34),
    (2.0, 2): (11.5, 77), (2.0, 4): (23.0, 39), (2.0, 6): (26.1, 35),
}  # fmt: skip
# Long cycles that lift stations are built for, said beside our own figures.
STATION_CYCLES = (
    ("10 to 15 min from start to start under 20 hp", "US Army EI 11C201, 1997"),
    ("at least 6 min under 50 hp", "MIL-HDBK-1005/9A"),
)
# Inflow by the floor's area, where it was not measured: m3/s for each m2.  Rules of thumb of the trade: common
# practice, no source; they tell nothing of a house that stands in groundwater.
RULE_OF_THUMB = {"sand": 14 * GPM / (1000 * FOOT**2), "clay": 8 * GPM / (1000 * FOOT**2)}


def limit(name):
    """Return the value of a limit in SI.  Raises KeyError for an unknown name."""
    return _BY_NAME[name].value


def row(name):
    """Return the whole Limit of a name."""
    return _BY_NAME[name]


def at_limit(value, most):
    """Tell whether a figure is over its limit by no more than the tolerance of what it is worked out from."""
    return most < value <= most * (1.0 + limit("tolerance"))


def awg_area_m2(gauge):
    """Return the copper area of an American wire gauge: d = 0.127 mm * 92 ** ((36 - n) / 39)."""
    diameter = 0.127e-3 * 92.0 ** ((36.0 - gauge) / 39.0)
    return 3.141592653589793 / 4.0 * diameter**2
