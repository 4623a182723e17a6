"""Index constants of the records that cross the edge of the core, and their values.

`raw`, `inputs`, `outputs` and `settings` are plain lists of integers.  A raw
record has the shape of an input record; only its analog places still hold raw
units (see `bands.py`, which turns the one into the other).
"""

try:
    from micropython import const
except ImportError:  # CPython

    def const(value: int) -> int:
        return value


# Level contacts, rising: one bit each.  Set means wet.
OFF = const(1)
LEAD = const(2)
LAG = const(4)
HIGH = const(8)
CONTACTS = (OFF, LEAD, LAG, HIGH)
CONTACT_NAMES = ("off", "lead", "lag", "high")

# Inputs.  In a raw record: contacts are "electrically closed" bits, currents
# are mA (or 0/1 for run feedback), level is the loop current in microamperes,
# battery is mV; transmitter and moved are not read.
IN_CONTACTS = const(0)
IN_CHATTER = const(1)  # contacts held wet because they chatter; written by step()
IN_CURRENT_1 = const(2)
IN_CURRENT_2 = const(3)
IN_LEVEL = const(4)  # in steps of 10 mm above the transmitter's datum
IN_TRANSMITTER = const(5)
IN_MOVED = const(6)  # 1 once the level has moved over 2 mm since the last start
IN_MAINS = const(7)  # 1 = present
IN_CHARGER = const(8)  # 1 = charging
IN_BATTERY = const(9)
IN_GENERATOR = const(10)  # 1 = mains comes from a generator
IN_SELECTOR_1 = const(11)
IN_SELECTOR_2 = const(12)
IN_THERMAL_1 = const(13)  # 1 = thermal contact open
IN_THERMAL_2 = const(14)
IN_MOISTURE_1 = const(15)  # 1 = moisture in the seal chamber
IN_MOISTURE_2 = const(16)
IN_SILENCE = const(17)  # push button, 1 = pressed
IN_RESET = const(18)
IN_JUMPER = const(19)  # 1 = test jumper made
IN_COMMAND = const(20)  # CMD_ bits from the link; each acts when it turns on
IN_FORCE_MASK = const(21)  # FORCE_ bits: which inputs are forced over the link
IN_FORCE_VALUE = const(22)  # FORCE_ bits: to what
IN_FORCE_REFRESH = const(23)  # a counter; any change is a refresh of the forces
IN_BOARD = const(24)  # what of the board's own parts is out: FAULT_ bits
N_INPUTS = const(25)
INPUT_NAMES = (
    "contacts",
    "chatter",
    "current_1",
    "current_2",
    "level",
    "transmitter",
    "moved",
    "mains",
    "charger",
    "battery",
    "generator",
    "selector_1",
    "selector_2",
    "thermal_1",
    "thermal_2",
    "moisture_1",
    "moisture_2",
    "silence",
    "reset",
    "jumper",
    "command",
    "force_mask",
    "force_value",
    "force_refresh",
    "board",
)

# Bands of motor current.
CURRENT_NONE = const(0)
CURRENT_UNDER = const(1)
CURRENT_NORMAL = const(2)
CURRENT_OVER = const(3)
CURRENT_LOCKED = const(4)
CURRENT_NAMES = ("none", "under", "normal", "over", "locked")

# Bands of the level transmitter and of the battery.
TRANSMITTER_OK = const(0)
TRANSMITTER_LOW = const(1)
TRANSMITTER_HIGH = const(2)
BATTERY_GOOD = const(0)
BATTERY_LOW = const(1)
BATTERY_DEAD = const(2)

# Parts of the board itself.
FAULT_EXPANDER = const(1)  # silent on the I2C bus: buttons, HAND, moisture, generator, charger are not read
FAULT_CONVERTER = const(2)  # the same, or stuck: the battery is not read
FAULT_STORAGE = const(4)  # the journal cannot be written

# Hand-off-auto selector.
SELECT_AUTO = const(0)
SELECT_OFF = const(1)
SELECT_HAND = const(2)

# Commands over the link.
CMD_SILENCE = const(1)
CMD_RESET = const(2)
CMD_INSPECTED = const(4)  # somebody has recorded an inspection
CMD_TEST = const(8)  # horn, beacon, alarm relay and service relay test
CMD_REPLACED = const(16)  # the standby battery is new
CMD_SHELVE = const(256)  # times 1 + the number of an alarm: shelve it; times SHELVE_END: shelve none
SHELVE_END = const(63)

# Inputs that may be forced (the contacts keep their own bits).
FORCE_OFF = const(1)
FORCE_LEAD = const(2)
FORCE_LAG = const(4)
FORCE_HIGH = const(8)
FORCE_MAINS = const(16)
FORCE_CURRENT_1 = const(32)  # value bit set: normal, clear: none
FORCE_CURRENT_2 = const(64)
FORCE_THERMAL_1 = const(128)
FORCE_THERMAL_2 = const(256)
FORCE_ALL = const(511)

# Outputs.
OUT_PUMP_1 = const(0)
OUT_PUMP_2 = const(1)
OUT_HORN = const(2)
OUT_BEACON = const(3)
OUT_RELAY = const(4)  # alarm relay, 1 = energised = healthy
OUT_SERVICE = const(5)  # service relay, 1 = energised = nobody is needed
OUT_LIGHT = const(6)  # status light, 1 = watching and nothing is wrong
OUT_LATE = const(7)  # 1 = this step came after the instant that was due
OUT_CLOCK = const(8)  # 1 = clock fault: a step backwards or over 24 h late
N_OUTPUTS = const(9)
OUTPUT_NAMES = ("pump_1", "pump_2", "horn", "beacon", "relay", "service", "light", "late", "clock")

# What a part holds is listed in its FIELDS as (name, kind, length or 0 for a single value, marks).
# Kinds of a snapshot field.
STATE = const(0)  # discrete state
DEADLINE = const(1)  # a time, or NEVER
COUNTER = const(2)  # a small count that decides something
CLOCK = const(3)  # a long time counted up, or a mark in time
STATISTIC = const(4)  # recorded, decides nothing
KIND_NAMES = ("state", "deadline", "counter", "clock", "statistic")

# Marks of a snapshot field, added up; AGAIN is for single values.
RETAIN = const(1)  # it survives a reset (J4)
AGAIN = const(2)  # a later part of a step may change it and an earlier part reads it: the next tick looks again
