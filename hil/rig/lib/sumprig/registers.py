"""The rig's register map: what a Modbus client finds where.  Addresses count from 0, high word first.

Coils: the wires of `wires.COILS`, 1 = closed to ground.  Discrete inputs: the
relays of `wires.RELAYS`, 1 = on.
"""

from duplexsump.control.ticks import const

SIGNATURE = const(0x5249)  # by which a client knows the rig from a controller
MAP_VERSION = const(1)

# Input registers: (name, words, meaning).
WORDS = (
    ("signature", 1, "0x5249, identifies the device"),
    ("map_version", 1, "version of this register map"),
    ("firmware", 2, "checksum of the rig's firmware, CRC-32"),
    ("now", 2, "the rig's time in ms, a 30-bit ring"),
    ("edges", 2, "edges logged since the start, a ring of 28 bits"),
    ("relays", 1, "relays as read at the pins, one bit each"),
    ("coils", 2, "coils as driven, one bit each"),
    ("releases", 1, "times the rig released all wires because the bench was silent"),
    ("longest_look", 1, "longest time in ms between two polls of the relays"),
    ("passes", 2, "passes of the loop, a ring of 28 bits"),
    ("bad_frames", 2, "frames dropped"),
)
N_WORDS = const(17)

# The edge log: a ring of LOG_ROOM edges; edge number n lies at LOG_AT + 4 * (n % LOG_ROOM).
LOG_AT = const(100)
LOG_ROOM = const(256)
LOG_WORDS = const(4)  # time (2 words, ms in the 30-bit ring), wire, value
COUNT_MASK = const(0xFFFFFFF)

# Holding registers: the analog outputs in mV, then these.
SILENCE_AT = const(4)  # ms without a request after which the rig releases its wires
MAINTENANCE_AT = const(5)
RESTART_AT = const(6)
N_HOLDING = const(7)
MAINTENANCE_KEY = const(0x4D36)
RESTART_KEY = const(0x5253)
SILENCE_LEAST_MS = const(500)
SILENCE_MOST_MS = const(60000)
SILENCE_MS = const(3000)
