"""The one alarm table: name, priority, latch, text, likely causes, what to do.

High alarms come first, then medium, then low: the place of a row is the number
of its alarm.
"""

from .ticks import const

HIGH = const(0)
MEDIUM = const(1)
LOW = const(2)
PRIORITIES = ("high", "medium", "low")

NAME = const(0)
PRIORITY = const(1)
LATCH = const(2)
TEXT = const(3)
CAUSES = const(4)
ACTION = const(5)

HIGH_WATER = const(0)
NO_PUMP = const(1)
LEVEL_LOST = const(2)
FLOAT_WIRING = const(3)
NOT_KEEPING_UP = const(4)
WILL_NOT_STOP = const(5)  # and 6 for pump 2
BATTERY_LOW = const(7)
INPUTS_FORCED_LONG = const(8)
UNAVAILABLE = const(9)  # and 10
MAINS_LOST = const(11)
OUT_OF_SEQUENCE = const(12)
TRANSMITTER_FAILED = const(13)
EXERCISE_FAILED = const(14)  # and 15
CHARGER_FAILED = const(16)
SELECTOR_AWAY = const(17)
PUMP_SUSPECT = const(18)  # and 19
BATTERY_FAILED = const(20)
MAINS_UNSTEADY = const(21)
LOCKOUT = const(22)  # and 23
MOISTURE = const(24)  # and 25
CHATTERING = const(26)
SHORT_CYCLING = const(27)  # and 28
POUR_AND_TEST = const(29)
NOT_IN_AUTO = const(30)
BUTTON_STUCK = const(31)
INSPECTION_DUE = const(32)
INPUTS_FORCED = const(33)
CLOCK_FAULT = const(34)
COUNT = const(35)
URGENT = const(9)  # alarms below this number are high
SOUNDING = const(24)  # alarms below this number are high or medium

_UNPLUG = "Unplug the pump or lock it out before any work on it."

TABLE = (
    ("high_water", HIGH, 0, "high water", "inflow above the pumps, a pump out, a blocked discharge",
     "look into the pit; lift what can be spoilt; have a second way to pump at hand"),
    ("no_pump", HIGH, 0, "both pumps unavailable", "trips, selectors, no supply", "the house is unprotected: call for help"),
    ("level_lost", HIGH, 0, "level lost, blind pumping", "float or transmitter failed", "watch the water; mend the floats"),
    ("float_wiring", HIGH, 0, "float wiring", "a common wire, cable or plug of the floats", "check the plug and the cable"),
    ("not_keeping_up", HIGH, 0, "not keeping up", "inflow above both pumps, worn pumps, a blocked discharge",
     "watch the water; check the discharge outside"),
    ("pump_1_will_not_stop", HIGH, 0, "pump 1 will not stop", "a welded contact", "unplug pump 1"),
    ("pump_2_will_not_stop", HIGH, 0, "pump 2 will not stop", "a welded contact", "unplug pump 2"),
    ("battery_low", HIGH, 0, "battery low on battery", "a long mains failure", "bring a generator or a charged battery; ventilate"),
    ("inputs_forced_long", HIGH, 0, "inputs forced over 10 min", "a test not ended", "clear the forces, take the jumper out"),
    ("pump_1_unavailable", MEDIUM, 0, "pump 1 unavailable", "a trip, a lockout, no supply", "see its fault"),
    ("pump_2_unavailable", MEDIUM, 0, "pump 2 unavailable", "a trip, a lockout, no supply", "see its fault"),
    ("mains_lost", MEDIUM, 0, "mains lost", "power failure, breaker, earth-fault device", "check the breaker; a licensed electrician"),
    ("floats_out_of_sequence", MEDIUM, 0, "floats out of sequence", "a float hung up, stuck or cut", "free or replace the float named"),
    ("transmitter_failed", MEDIUM, 0, "level transmitter failed", "wire, supply, clogged port", "check the loop and the port"),
    ("pump_1_exercise_failed", MEDIUM, 0, "pump 1 failed its exercise", "seized, blocked, no supply", "test with water. " + _UNPLUG),
    ("pump_2_exercise_failed", MEDIUM, 0, "pump 2 failed its exercise", "seized, blocked, no supply", "test with water. " + _UNPLUG),
    ("charger_failed", MEDIUM, 0, "charger failed", "charger, fuse, terminals", "check the charger; beware of battery gas"),
    ("selector_away", MEDIUM, 0, "a selector not in AUTO for 24 h", "forgotten", "turn it to AUTO"),
    ("pump_1_suspect", MEDIUM, 0, "pump 1 suspect", "worn, clogged, not running", "measure its draw-down. " + _UNPLUG),
    ("pump_2_suspect", MEDIUM, 0, "pump 2 suspect", "worn, clogged, not running", "measure its draw-down. " + _UNPLUG),
    ("battery_failed", MEDIUM, 0, "standby battery failed", "old or empty battery, terminals, fuse, charger",
     "have the battery tested under load and replaced; clean the terminals"),
    ("mains_unsteady", MEDIUM, 0, "mains unsteady", "a loose connection, a weak supply, a breaker or GFCI that trips again and again",
     "have the supply checked by a licensed electrician"),
    ("pump_1_lockout", MEDIUM, 1, "pump 1 locked out", "the same fault again and again", "mend the cause, then reset. " + _UNPLUG),
    ("pump_2_lockout", MEDIUM, 1, "pump 2 locked out", "the same fault again and again", "mend the cause, then reset. " + _UNPLUG),
    ("pump_1_moisture", LOW, 1, "moisture in pump 1", "a worn shaft seal", "have the seal renewed. " + _UNPLUG),
    ("pump_2_moisture", LOW, 1, "moisture in pump 2", "a worn shaft seal", "have the seal renewed. " + _UNPLUG),
    ("chattering", LOW, 0, "a contact chatters", "waves, a loose wire", "check the float named"),
    ("pump_1_short_cycling", LOW, 0, "pump 1 short cycling", "a leaking check valve, a narrow band, too strong a pump", "see the sizing"),
    ("pump_2_short_cycling", LOW, 0, "pump 2 short cycling", "a leaking check valve, a narrow band, too strong a pump", "see the sizing"),
    ("pour_and_test", LOW, 0, "pour water and test", "off dry for long", "pour a bucket of water and watch a cycle"),
    ("not_in_auto", LOW, 0, "a selector not in AUTO", "service", "turn it to AUTO"),
    ("button_stuck", LOW, 0, "button stuck", "a button held or jammed", "free the button"),
    ("inspection_due", LOW, 0, "inspection due", "time", "inspect, test, record it"),
    ("inputs_forced", LOW, 0, "inputs forced", "a test over the link", "clear the forces, take the jumper out"),
    ("clock_fault", LOW, 0, "clock fault", "the clock went backwards or stood still", "reset; replace the board if it comes again"),
)  # fmt: skip

# What `detail` holds: a mask of contacts adds up, a cause does not.
LATCHES = [row[NAME] in ("floats_out_of_sequence", "chattering", "float_wiring") for row in TABLE]
