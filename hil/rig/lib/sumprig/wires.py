"""The wires of the rig, by their place: coils and analog outputs go to the controller, relays come from it.

A coil is 1 while the rig closes its contact to ground.  Released means 0: the
state of a rig without power.  With every coil released both thermal contacts
read open, so that the controller holds both pumps off whatever the floats say.
"""

from duplexsump.control.ticks import const

# Coils, in the order of their addresses.
COILS = (
    "off",
    "lead",
    "lag",
    "high",
    "selector_1_off",
    "selector_1_hand",
    "selector_2_off",
    "selector_2_hand",
    "thermal_1",
    "thermal_2",
    "silence",
    "reset",
    "jumper",
    "mains",
    "charger",
    "power_cut",  # the relay in the controller's supply is energised: no power
    "run_held",  # the controller's RUN pin is held at ground: it stands in reset
)
ANALOG = ("current_1", "current_2", "level", "battery")  # holding registers, mV at the controller's pin
RELAYS = ("pump_1", "pump_2", "horn", "beacon", "relay")  # discrete inputs

N_COILS = const(17)
N_ANALOG = const(4)
N_RELAYS = const(5)
N_WIRES = const(26)

# Places in the edge log.
FIRST_ANALOG = const(17)
FIRST_RELAY = const(21)
NAMES = COILS + ANALOG + RELAYS
FULL_MV = const(3300)
