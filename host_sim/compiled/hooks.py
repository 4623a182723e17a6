"""What may be changed from outside in a compiled core.

A constant of the firmware is folded into the compiled code, as MicroPython
folds it; so setting it afterwards would change nothing.  The names here are
kept as variables: the coarse worlds of the explorer shorten them.  Setting any other
name of a compiled module raises AttributeError.

What the explorer puts in the place of a part is a class below the part's own (`stand_ins.py`),
which the compiled code takes; a method put onto an instance is not possible.
"""

# Class: lists of whole numbers that are held as numbers of C (`carrier.Ints`): those that every step goes through.
# Nobody compares them with a list in a step, or hands them on as one but to a parameter named in ARRAYS_TAKEN.
ARRAYS = {
    "Timers": ("at", "rang"),
    "Alarms": ("state", "active", "detail", "quiet", "remind", "bell", "bell_at"),
    "Selectors": ("at",),
}
# Method or function: its parameters that take one of these.
ARRAYS_TAKEN = {"Alarms._soonest": ("times",), "watch._behind": ("active",)}

# Classes that another may stand below, as the explorer's stand-ins do.  A call of any other one's method is direct.
OPEN = ("Belief", "Blind", "Controller", "Demand", "FloodRetries", "Pair", "Pump")

# Module: names.
HOOKS = {
    "settings": ("check",),
    "pump": ("_SECOND_MS", "_RECENT_MS", "_HOUR_MS"),
    "belief": ("WIRE_MS", "WIRE_NO_OFF_MS"),
    "demand": ("LONGEST_DRAW_MS",),
    "flood": ("STEPS_MS", "_HOUR_MS"),
    "blind": ("RESTS_MS",),
    "contacts": ("WINDOW_MS",),
    "alarms": ("BELL_MS", "BELL_ON_MS", "BELL_OFF_MS"),
}
