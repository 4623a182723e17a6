"""What pipe there is, by what is printed on it: what it is made for, its bore, its roughness, the pressure it is rated
for.

Pressures are those of water at room temperature, psi by nominal size in inches.
Polyethylene is rated by its ratio of diameter to wall (SIDR), not by its size:
there the ratio that holds the pressure is what is bought.
"""

from host_sim.plant.hydraulics import pipe_diameter_m
from host_sim.sizing.limits import INCH, OWN, PRACTICE, PSI

# Pipe materials: (made for pressure, what it is, source)
MATERIALS = {
    "PVC schedule 40": (True, "solid-wall PVC 1120", "ASTM D1785"),
    "PVC schedule 80": (True, "solid-wall PVC 1120", "ASTM D1785"),
    "polyethylene pressure": (True, "pressure-rated polyethylene", "ASTM D2239, from memory"),
    "cellular-core DWV": (False, "cellular-core (foam-core) drain pipe", "ASTM F891: not for pressure"),
    "corrugated drain": (False, "corrugated drain pipe", PRACTICE),
    "copper": (True, "copper tube type L", "ASTM B88, from memory"),
    "galvanized steel": (True, "schedule 40 galvanized steel pipe", "ASTM A53, from memory"),
    "ABS": (False, "ABS drain pipe", "ASTM D2661: drain, waste and vent, not for pressure; from memory"),
    "other": (False, "another pipe (look up its pressure rating and write it on this page)", OWN),
    "unknown": (False, "pipe of unknown marking", OWN),
}
# Inside diameter, in, by nominal size, of pipe that is narrower than schedule 40 of the same name: copper tube type L
# (ASTM B88), schedule 80 (ASTM D1785; outside diameter less two minimum walls, as for steel in ASTM A53 table X2.2).
BORES_IN = {
    "copper": {1.0: 1.025, 1.25: 1.265, 1.5: 1.505, 2.0: 1.985, 2.5: 2.465, 3.0: 2.945, 4.0: 3.905},
    "PVC schedule 80": {1.0: 0.957, 1.25: 1.278, 1.5: 1.500, 2.0: 1.939, 2.5: 2.323, 3.0: 2.900, 4.0: 3.826},
}
# Roughness, mm, of pipe that is no plastic: Moody (1944), figure 2, drawn tubing and galvanized iron; from memory.
ROUGHNESS_MM = {"copper": 0.0015, "galvanized steel": 0.15}
SURGE_SPEED = 430.0  # m/s, pressure wave in small Sch 40 PVC; from memory
# Pressure wave, m/s, in other pipe; polyethylene of SIDR 9, softer than PVC; from memory.
WAVE_SPEED = {"copper": 1250.0, "galvanized steel": 1350.0, "polyethylene pressure": 330.0}
# Rated pressure: (psi by nominal size in inches, what it holds for, source)
RATED_PSI = {
    "PVC schedule 40": ({1.0: 450, 1.25: 370, 1.5: 330, 2.0: 280, 2.5: 300, 3.0: 260, 4.0: 220}, "at 73 F",
                        "ASTM D1785"),
    "PVC schedule 80": ({1.0: 630, 1.25: 520, 1.5: 470, 2.0: 400, 2.5: 420, 3.0: 370, 4.0: 320}, "at 73 F",
                        "ASTM D1785"),
    # The thinnest tube, annealed as brazing leaves it; type L and drawn tube hold more.
    "copper": ({1.0: 337, 1.25: 338, 1.5: 331, 2.0: 299, 2.5: 274, 3.0: 253, 4.0: 251},
               "type M at 100 F; joints brazed or of 95-5 solder",
               "ASTM B88 tube; Copper Tube Handbook, table 3c (type M, annealed)"),
    "galvanized steel": ({1.0: 226, 1.25: 229, 1.5: 231, 2.0: 230, 2.5: 533, 3.0: 482, 4.0: 430},
                         "threaded to 2 in, welded above",
                         "ASTM A53 grade B; ASHRAE Handbook, Systems and Equipment, steel pipe data"),
}  # fmt: skip
# Pipe whose rating, a quarter of what bursts it or less, is held against the sustained pressure alone: a surge is borne
# by what is in hand.  Common practice, no source.
BEARS_SURGE = ("copper", "galvanized steel")
# Polyethylene pipe, inside diameter controlled: rated psi by SIDR, 2 * 800 psi / (SIDR + 1), rounded as it is printed.
POLYETHYLENE_PSI = {19.0: 80, 15.0: 100, 11.5: 125, 9.0: 160, 7.0: 200}
POLYETHYLENE_SOURCE = "ASTM D2239, design stress 800 psi (PE 3408), from memory"
SAME_IN = 0.02  # a bore is told by its size within this; our own choice


def bore(nominal_in, material):
    """Return {"pipe": ...} or {"diameter": ...} of a site file's pipe of a nominal size in inches."""
    narrow = BORES_IN.get(material, {}).get(nominal_in)
    return {"pipe": f"{nominal_in:g} in"} if narrow is None else {"diameter": f"{narrow:g} in"}


def bore_m(nominal_in, material):
    """Return the inside diameter in m of a nominal size in inches.  Raises ValueError for an unknown size."""
    narrow = BORES_IN.get(material, {}).get(nominal_in)
    return pipe_diameter_m(nominal_in) if narrow is None else narrow * INCH


def nominal_in(diameter_m, material):
    """Return the nominal size in inches of a bore in m that is narrower than schedule 40's, None where none is it."""
    sizes = BORES_IN.get(material, {})
    return next((size for size, inside in sizes.items() if abs(inside - diameter_m / INCH) < SAME_IN), None)


def rated(material, nominal):
    """Return (pressure in Pa, what it holds for, source) of a nominal size in inches, None where it is not listed."""
    table, holds, source = RATED_PSI.get(material, ({}, "", ""))
    return (table[nominal] * PSI, holds, source) if nominal in table else None


def held_against(material, shutoff_pa, surge_pa):
    """Return the pressure in Pa that is held against a pipe's rating."""
    return shutoff_pa + (0.0 if material in BEARS_SURGE else surge_pa)


def polyethylene(pressure_pa):
    """Return (SIDR, rated pressure in Pa) of the thinnest polyethylene pipe that holds a pressure in Pa, else None."""
    held = [(sidr, psi * PSI) for sidr, psi in POLYETHYLENE_PSI.items() if psi * PSI >= pressure_pa]
    return held[0] if held else None
