"""The equipment in and around the pit, as plain records in SI.

Levels are metres above the pit's bottom, flows m3/s, heads m, currents A.
"""

from dataclasses import dataclass, field

from host_sim.plant.hydraulics import Curve, Pipe


@dataclass(frozen=True)
class Contact:
    """A float's contact: wet at or above `wet_m` with rising water, dry at or below `dry_m` with falling water."""

    wet_m: float
    dry_m: float


@dataclass(frozen=True)
class Motor:
    """A pump's motor: current against load, and its heat.

    Shares are of the rated current, which it draws at the flow of the
    curve's last data-plate point before runout or above.  The temperature is
    counted in rises above ambient at rated load: 1 is where rated load ends.
    """

    rated_a: float = 8.0
    volts: float = 115.0
    power_factor: float = 0.75  # common practice for a small split-phase motor; 1 for direct current
    dry_share: float = 0.42  # turning in air; common practice, no source
    shut_share: float = 0.5  # turning against a shut valve; common practice, no source
    locked_share: float = 5.0  # rotor held; common practice: four to six times
    start_s: float = 0.3  # length of the inrush at locked-rotor current; common practice
    heat_s: float = 900.0  # time constant of heating and of cooling; common practice
    opens_at: float = 1.6  # rise at which the thermal contact opens; common practice
    closes_at: float = 1.0  # and at which it closes again
    sensor_scale: float = 1.0  # what the current sensor reports for each ampere of the motor


@dataclass(frozen=True)
class Pump:
    """One pump with its motor; below `intake_m` it draws air, and at `cover_m` above that it draws only water."""

    curve: Curve
    intake_m: float
    cover_m: float
    motor: Motor
    supply: str = "mains"  # "mains", "battery" or "either"
    weep_m2: float = 0.0  # area of the hole below the check valve


@dataclass(frozen=True)
class Discharge:
    """The pipes: a riser for each pump, with its check and full-open valve, and the header that both share, if any."""

    outlet_m: float  # height of the outlet above the pit's bottom
    risers: tuple[Pipe, Pipe]
    header: Pipe | None
    recirculated: float = 0.0  # share of the discharged water that seeps back
    recirculation_s: float = 0.0  # after so long


@dataclass(frozen=True)
class Battery:
    """A lead-acid battery by Peukert's law: t = H * (C / (I * H)) ** k."""

    capacity_as: float
    rate_s: float = 72000.0  # the rated capacity is that of a discharge in so long
    peukert: float = 1.2
    full_v: float = 12.7  # at rest, full; from memory
    empty_v: float = 11.4  # at rest, empty; from memory
    resistance_ohm: float = 0.012  # sag under load; common practice for 100 Ah
    start_depth: float = 0.0  # depth of discharge at the start
    idle_a: float = 0.0  # what the inverter or the controller draws while the mains is out


@dataclass(frozen=True)
class Charger:
    amps: float
    efficiency: float = 0.85  # of lead-acid charge; common practice


@dataclass(frozen=True)
class Inverter:
    """Feeds an "either" pump from the battery; above `limit_w` for its start it does not carry the motor."""

    efficiency: float = 0.85
    limit_w: float = 0.0  # 0: no limit


@dataclass(frozen=True)
class Generator:
    """Feeds the house from `after_s` after a mains failure until the mains is back."""

    after_s: float


@dataclass(frozen=True)
class Transmitter:
    """A 4-20 mA level transmitter: 4 mA at `zero_m`, 20 mA a span above; saturates at 3.8 and 20.5 mA (NAMUR NE 43)."""

    zero_m: float
    span_m: float
    noise_m: float = 0.0  # largest error either way


@dataclass(frozen=True)
class Supply:
    controller: str = "mains"  # "mains" or "battery": what feeds the controller
    battery: Battery | None = None
    charger: Charger | None = None
    inverter: Inverter | None = None
    generator: Generator | None = None


@dataclass(frozen=True)
class Seepage:
    """Groundwater into the pit: flow = conductance * (outside level - pit level), through holes if there are any.

    Water enters no lower than `enters_m`.  `holes` are (level m, total area m2).
    With ground storage the outside level is a state: `storage_m2` is its plan
    area times the porosity.
    """

    conductance_m2s: float
    enters_m: float = 0.0
    two_way: bool = False
    holes: tuple = ()
    storage_m2: float = 0.0
    storage_start_m: float = 0.0
    regional_m2s: float = 0.0  # conductance from the water table to the storage


@dataclass(frozen=True)
class Action:
    """What is done at a given time: a selector, "silence" or "reset", the mains, or the inflow that is set."""

    at_ms: int
    what: str
    value: str = ""
    for_ms: int = 500
    flow_m3s: float = 0.0  # of "inflow"


@dataclass
class Inflow:
    """Inflow in steps: `times_s` rises from 0; `rates_m3s` of given flows; `heads_m` of the water table, or None."""

    times_s: list[float] = field(default_factory=lambda: [0.0])
    rates_m3s: list[float] = field(default_factory=lambda: [0.0])
    heads_m: list[float] | None = None
