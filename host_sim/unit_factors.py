"""Units that are read and shown without pint: what each is in SI, and SI in the units of the reports.

The figures are pint's own, to the last bit, so that a text gives the same number whichever way it
is read; `tests/unit/test_units.py` holds all of them against pint.  A unit that is not here is left to
pint, and so is every text that cannot be read.
"""

# kind: {unit: one of it in the kind's SI unit}
READ = {
    "length": {"m": 1.0, "mm": 0.001, "cm": 0.01, "in": 0.0254, "inch": 0.0254, "inches": 0.0254,
        "ft": 0.30479999999999996, "foot": 0.30479999999999996, "feet": 0.30479999999999996},
    "area": {"m**2": 1.0, "cm**2": 0.0001, "mm**2": 1e-06, "in**2": 0.00064516, "ft**2": 0.09290303999999999},
    "volume": {"m**3": 1.0, "L": 0.0010000000000000002, "l": 0.0010000000000000002,
        "mL": 1.0000000000000002e-06, "gal": 0.0037854117839999993, "gallon": 0.0037854117839999993,
        "gallons": 0.0037854117839999993, "ft**3": 0.028316846591999994, "in**3": 1.6387063999999996e-05,
        "cm**3": 1.0000000000000002e-06},
    "flow": {"m**3/s": 1.0, "m**3/h": 0.0002777777777777778, "m**3/d": 1.1574074074074073e-05,
        "L/s": 0.0010000000000000002, "L/min": 1.666666666666667e-05, "L/h": 2.7777777777777787e-07,
        "gpm": 6.309019639999999e-05, "gph": 1.0515032733333332e-06, "cfs": 0.028316846591999994,
        "gal/min": 6.309019639999999e-05, "gal/h": 1.0515032733333332e-06, "ft**3/s": 0.028316846591999994},
    "time": {"s": 1.0, "ms": 0.001, "min": 60.0, "h": 3600.0, "d": 86400.0, "second": 1.0, "seconds": 1.0,
        "minute": 60.0, "minutes": 60.0, "hour": 3600.0, "hours": 3600.0, "day": 86400.0, "days": 86400.0},
    "rate": {"m/s": 1.0, "mm/h": 2.7777777777777776e-07, "mm/min": 1.6666666666666667e-05, "mm/s": 0.001,
        "cm/h": 2.777777777777778e-06, "in/h": 7.055555555555555e-06, "in/min": 0.0004233333333333333,
        "ft/h": 8.466666666666666e-05},
    "conductance": {"m**2/s": 1.0, "gpm/ft": 0.0002069888333333333, "gpm/in": 0.002483866,
        "L/s/m": 0.0010000000000000002},
    "current": {"A": 1.0, "mA": 0.001},
    "voltage": {"V": 1.0, "mV": 0.001},
    "power": {"W": 1.0, "kW": 1000.0, "hp": 745.6998715822701},
    "charge": {"A*s": 1.0, "Ah": 3600.0, "A*h": 3600.0},
    "resistance": {"ohm": 1.0, "mohm": 0.001},
    "mass": {"kg": 1.0, "g": 0.001, "lb": 0.4535923700000001},
    "share": {"": 1.0, "%": 0.01},
    "number": {"": 1.0},
}  # fmt: skip
READ["distance"] = READ["length"]

# (kind, unit): one SI unit in it
SHOWN = {
    ("length", "in"): 39.37007874015748, ("length", "mm"): 1000.0, ("distance", "ft"): 3.2808398950131235,
    ("distance", "m"): 1.0, ("area", "ft2"): 10.763910416709724, ("area", "m2"): 1.0,
    ("volume", "gal"): 264.1720523581485, ("volume", "L"): 999.9999999999999,
    ("flow", "gpm"): 15850.323141488907, ("flow", "L/s"): 999.9999999999999,
    ("time", "min"): 0.016666666666666666, ("rate", "in/h"): 141732.28346456692, ("rate", "mm/h"): 3600000.0,
    ("conductance", "gpm/ft"): 4831.178493525818, ("conductance", "L/s/m"): 999.9999999999999,
    ("current", "A"): 1.0, ("voltage", "V"): 1.0, ("power", "W"): 1.0, ("charge", "Ah"): 0.0002777777777777778,
    ("resistance", "mohm"): 1000.0, ("mass", "lb"): 2.2046226218487757, ("mass", "kg"): 1.0,
    ("share", "%"): 100.0,
}  # fmt: skip
