"""The one alarm table: name, priority, latch, text.  What to do about each is told on the PC (`host_sim/alarm_words.py`).

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
PUMP_WEAK = const(22)  # and 23
EXPANDER_SILENT = const(24)
STORAGE_FAILED = const(25)
MOISTURE = const(26)  # and 27
CHATTERING = const(28)
SHORT_CYCLING = const(29)  # and 30
POUR_AND_TEST = const(31)
NOT_IN_AUTO = const(32)
BUTTON_STUCK = const(33)
INSPECTION_DUE = const(34)
INPUTS_FORCED = const(35)
CLOCK_FAULT = const(36)
PUMP_WORN = const(37)  # and 38
CHECK_LEAKS = const(39)  # and 40
BATTERY_OLD = const(41)
COUNT = const(42)
URGENT = const(9)  # alarms below this number are high
SOUNDING = const(26)  # alarms below this number are high or medium

TABLE = (
    ("high_water", HIGH, 0, "high water"),
    ("no_pump", HIGH, 0, "both pumps unavailable"),
    ("level_lost", HIGH, 0, "level lost, blind pumping"),
    ("float_wiring", HIGH, 0, "float wiring"),
    ("not_keeping_up", HIGH, 0, "not keeping up"),
    ("pump_1_will_not_stop", HIGH, 0, "pump 1 will not stop"),
    ("pump_2_will_not_stop", HIGH, 0, "pump 2 will not stop"),
    ("battery_low", HIGH, 0, "battery low on battery"),
    ("inputs_forced_long", HIGH, 0, "inputs forced over 10 min"),
    ("pump_1_unavailable", MEDIUM, 0, "pump 1 unavailable"),
    ("pump_2_unavailable", MEDIUM, 0, "pump 2 unavailable"),
    ("mains_lost", MEDIUM, 0, "mains lost"),
    ("floats_out_of_sequence", MEDIUM, 0, "floats out of sequence"),
    ("transmitter_failed", MEDIUM, 0, "level transmitter failed"),
    ("pump_1_exercise_failed", MEDIUM, 0, "pump 1 failed its exercise"),
    ("pump_2_exercise_failed", MEDIUM, 0, "pump 2 failed its exercise"),
    ("charger_failed", MEDIUM, 0, "charger failed"),
    ("selector_away", MEDIUM, 0, "a selector not in AUTO for 24 h"),
    ("pump_1_suspect", MEDIUM, 0, "pump 1 suspect"),
    ("pump_2_suspect", MEDIUM, 0, "pump 2 suspect"),
    ("battery_failed", MEDIUM, 0, "standby battery failed"),
    ("mains_unsteady", MEDIUM, 0, "mains unsteady"),
    ("pump_1_weak", MEDIUM, 0, "pump 1 too weak for the inflow"),
    ("pump_2_weak", MEDIUM, 0, "pump 2 too weak for the inflow"),
    ("expander_silent", MEDIUM, 0, "I2C expander not answering"),
    ("storage_failed", MEDIUM, 0, "journal and settings cannot be stored"),
    ("pump_1_moisture", LOW, 1, "moisture in pump 1"),
    ("pump_2_moisture", LOW, 1, "moisture in pump 2"),
    ("chattering", LOW, 0, "a contact chatters"),
    ("pump_1_short_cycling", LOW, 0, "pump 1 short cycling"),
    ("pump_2_short_cycling", LOW, 0, "pump 2 short cycling"),
    ("pour_and_test", LOW, 0, "pour water and test"),
    ("not_in_auto", LOW, 0, "a selector not in AUTO"),
    ("button_stuck", LOW, 0, "button stuck"),
    ("inspection_due", LOW, 0, "inspection due"),
    ("inputs_forced", LOW, 0, "inputs forced"),
    ("clock_fault", LOW, 0, "clock fault"),
    ("pump_1_worn", LOW, 0, "pump 1 worn"),
    ("pump_2_worn", LOW, 0, "pump 2 worn"),
    ("pump_1_check_leaks", LOW, 0, "water runs back after pump 1"),
    ("pump_2_check_leaks", LOW, 0, "water runs back after pump 2"),
    ("battery_old", LOW, 0, "standby battery old"),
)  # fmt: skip

# What `detail` holds: a mask of contacts adds up, a cause does not.
LATCHES = [row[NAME] in ("floats_out_of_sequence", "chattering", "float_wiring") for row in TABLE]
