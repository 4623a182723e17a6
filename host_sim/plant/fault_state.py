"""The faults in force, as plain fields that faults set and the plant reads.

A fault never changes the plant itself: it sets fields of a FaultState record,
which is made anew from all faults in force whenever one begins or ends.  So
faults combine, and leave nothing behind but their effect on the water.
"""

from dataclasses import dataclass, field

AS_IS, WET, DRY, CHATTERING, BROKEN = "as is", "wet", "dry", "chattering", "broken"


@dataclass
class PumpCondition:
    will_not_start: bool = False
    jammed: bool = False
    air_locked: bool = False
    worn: float = 0.0  # share of head and flow lost
    clogged: float = 0.0  # share of the inlet shut
    breaker_open: bool = False
    welded: bool = False
    thermal_open: bool = False
    moisture: bool = False
    sensor_dead: bool = False
    check: str = "good"  # "good", "leaking", "shut", "missing"
    leak_m3s: float = 0.0  # through a leaking check under the whole lift
    valve_shut: bool = False
    selector: str = ""  # "", "off" or "hand"


@dataclass
class FaultState:
    contacts: list[str] = field(default_factory=lambda: [AS_IS] * 4)
    pumps: tuple[PumpCondition, PumpCondition] = field(default_factory=lambda: (PumpCondition(), PumpCondition()))
    transmitter: str = AS_IS  # or "below range", "above range", "frozen", "drifting", "clogged"
    transmitter_value: float = 0.0  # drift in m/s, or time constant in s
    frozen: bool = False  # the discharge
    burst: bool = False
    returned: float = 0.0  # share of the water from the burst that runs back into the pit
    mains_lost: bool = False
    mains_sense_open: bool = False  # the wire of the mains-present input
    flapping_s: float = 0.0  # mean time between changes; 0: no flapping
    battery_share: float = 1.0  # capacity that is left of the battery's
    battery_dead: bool = False
    not_charging: bool = False
    silence_stuck: bool = False
    reset_stuck: bool = False
    expander_silent: bool = False  # on the controller's I2C bus
    converter_silent: bool = False
    adc_stuck: bool = False
    crash_s: float = 0.0  # the controller resets itself this often; 0: never
