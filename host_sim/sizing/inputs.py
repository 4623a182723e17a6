"""The inputs of the sizing, in SI: the site's parts and the data that only sizing uses."""

from dataclasses import dataclass, field

from host_sim.plant.discharge import Lines


@dataclass(frozen=True)
class Assumption:
    """A value not given: the default taken, and why it is conservative."""

    key: str
    taken: str
    why: str
    changes: str = ""  # what another value would change; empty where `why` says it all


@dataclass(frozen=True)
class Sensor:
    """What senses a pump's motor current: amperes (RMS, or direct) and what brings them to the controller's input."""

    kind: str  # "current transformer", "shunt", "Hall sensor" or "none"
    range_a: float  # the motor current that drives the controller's input to full scale
    locked_a: float  # three times rated: what the controller takes for a locked rotor
    ratio: float = 0.0  # of a transformer: turns
    burden_ohm: float = 0.0  # of a transformer
    full_v: float = 0.0  # across burden or shunt, or out of the Hall sensor, at the range
    gain: float = 0.0  # from there to the input's 3.3 V, direct
    given: bool = False  # whether the site says which kind it is


@dataclass(frozen=True)
class Nameplate:
    """One pump as its plate and its owner have it, for the page."""

    amps: float
    volts: float
    direct: bool  # direct current (a battery pump); else alternating
    supply: str  # "mains", "battery" or "either"
    points: tuple  # of the curve: (m3/s, m)
    curve_how: str  # "curve", "shut-off and one point", "bucket and watch", "assumed" or "not said"
    intake_m: float
    installed: bool


@dataclass(frozen=True)
class Plate:
    """Data plate and manual of a pump beyond its curve; None where they give nothing."""

    outlet_m: float
    body_m: float
    covered_m: float  # level above the pit's bottom that the motor must stay covered to
    starts_per_hour: float
    least_run_s: float
    least_rest_s: float
    minimum_m3s: float
    maximum_m3s: float
    weight_kg: float


@dataclass(frozen=True)
class Floats:
    kind: str  # "vertical", "tethered" or "transmitter" (then `high` alone is a float, a vertical one)
    travel_m: float  # between wet and dry
    tether_m: float
    footprint_m: float  # diameter of the circle that the floats need beside the pumps


@dataclass(frozen=True)
class Piping:
    material: str
    made_for_pressure: bool
    check: tuple  # by pump, whether a check valve is in its riser
    valve: tuple  # by pump, whether a full-open valve is
    nominal_in: dict  # of "riser1", "riser2", "header": nominal size in inches, None where only a diameter is given


@dataclass(frozen=True)
class Outfall:
    to: str
    distance_m: float
    freezes: bool
    freeze_relief: bool


@dataclass(frozen=True)
class Basin:
    perforated: bool
    holes_m2: float
    holes_m: float  # level of the lowest holes
    hole_each_m2: float
    inlet_m: float | None  # lowest point of a drain pipe that runs in
    held_down: bool
    weight_kg: float
    cover: str
    kind: str  # "solid basin", "basin with holes" or "concrete"
    water_table_m: float  # highest, above the pit's bottom


@dataclass(frozen=True)
class Power:
    """The supply beyond what the plant models."""

    circuits: str
    wanted_s: float
    chemistry: str
    room: str
    vented: bool
    cable_m: float
    cable_awg: int
    fuse_a: float | None
    battery_v: float
    generator_w: float
    house_w: float
    alarm: bool

    @property
    def cells(self):
        """Cells of a lead-acid battery, 2 V each."""
        return round(self.battery_v / 2.0)


@dataclass(frozen=True)
class Evidence:
    """One piece of evidence for the inflow: its kind, its numbers in SI, the weather it was taken in."""

    kind: str
    facts: dict
    weather: str


@dataclass
class Inputs:
    """Everything read from one document."""

    name: str
    data: dict  # the document itself
    pit: object
    shape: str
    floor_area_m2: float
    contacts: list  # of equipment.Contact or None; empty when the sizing is to choose
    closed: list
    pumps: tuple
    plates: tuple
    discharge: object
    supply: object
    transmitter: object
    sensing: str
    wave_m: float
    floats: Floats
    piping: Piping
    outfall: Outfall
    basin: Basin
    power: Power
    evidence: list
    margin: float
    overrides: dict
    sensor_kinds: tuple = (None, None)  # by pump: a kind of `sensors.KINDS` as given, None where not said
    nameplates: tuple = ()  # of Nameplate, by pump
    installed: tuple = ()  # of "pit", "pumps", "pipe", "floats": what is there already and stays
    assumptions: list = field(default_factory=list)
    lines: Lines = None
    measured_pit: object = None  # the pit as the inflow was measured in it, where it has changed since

    @property
    def diameter_m(self):
        """Diameter of the circle that a pump has at the bottom (the side, of a square pit)."""
        area = self.pit.area_m2(0.0)
        return area**0.5 if self.shape == "square" else (4.0 * area / 3.141592653589793) ** 0.5
