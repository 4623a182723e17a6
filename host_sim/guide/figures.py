"""The figures of the guide, worked out for a site's motors and supply.  Amperes, volts, ohms, hours.

Published sources are named by number; where the figure was not read in them it says
"from memory".  Local code decides in every case.
"""

from dataclasses import dataclass
from math import pi

from duplexsump.control import settings as s

from host_sim.errors import InputError
from host_sim.plant.battery import runtime_s
from host_sim.plant.equipment import Battery
from host_sim.sizing import sensors
from host_sim.sizing.limits import OWN, PRACTICE

# What was read is the wording as others quote it, not the standard itself; "from memory" was not read at all.
QUOTED = "(read as quoted by others, not in the code book)"
NEC_BRANCH = f"NFPA 70 (NEC) 430.22, 430.52, standard sizes 240.6(A), conductors 240.4(D) {QUOTED}"
CONTACTOR_AC = "IEC 60947-4-1, utilization category AC-3: makes 10 times its rated current (as quoted by a maker)"
CONTACTOR_DC = "IEC 60947-4-1, utilization category DC-3: makes 4 times its rated current (as quoted by a maker)"
GFCI = f"NFPA 70 (NEC) 210.8 for sump pumps {QUOTED}; UL 943, class A (read as quoted by others)"
INPUT_TYPES = "IEC 61131-2, digital inputs type 1 and 3: at least 2 mA flow while on (from memory)"
NAMUR = "NAMUR NE 43: failure below 3.6 mA or above 21 mA (read as quoted by others)"

BREAKERS_A = (15, 20, 30, 40, 50, 60)  # in which breakers with GFCI are usual; common practice, no source
PLUG_A, PLUG_V = 20, 150.0  # up to these a GFCI receptacle and a plug are usual; common practice, no source
WIRES = ((15, 14), (20, 12), (30, 10), (40, 8), (55, 6))  # most amperes of the overcurrent device, AWG copper
CONTACTORS_A = (9, 12, 18, 25, 32, 40, 50, 65)
FUSES_DC_A = (5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 150)

FIELD_V, FIELD_OHM, LED_V = 12.0, 2200.0, 1.2  # of an isolated contact circuit; the coupler's diode at some mA
PANEL_V, PANEL_OHM = 3.3, 3300.0  # of a contact within the enclosure
SERIES_OHM, FILTER_F = 1000.0, 100e-9  # before each input pin
ANALOG_SERIES = "10 kohm"  # before the clamp of loop and divider: 24 V there drive 2 mA into the 3.3 V supply
PULL_OHM = 10000.0  # at the coupler's transistor
CABLE_OHM_PER_M = 0.0333 * 2  # two conductors of 20 AWG copper at 20 C (from memory: 33.3 ohm/km)
LONGEST_M = 50.0
DIVIDER_OHM = (180_000.0, 20_000.0)
LOOP_OHM = {"pico": 150.0, "esp32": 120.0}

# What the controller itself draws at rest, in A from a 5 V supply, and from the battery for the field circuits.
LOADS_5V = (("controller board, its light and the serial transceiver", 0.15),
            ("alarm and service relay, held in", 0.14))  # fmt: skip
FIELD_CLOSED = 5  # contacts that are closed at rest: float high, both thermal contacts, mains, charging
CONVERTER = 0.85
LOOP_A = 0.02
OWN_BATTERY_AH = 7.0
AGED, DEPTH = 1.25, 0.5  # capacity to plan with: IEEE 485 ageing factor (from memory); half discharged


@dataclass(frozen=True)
class Motor:
    """One pump's power side.  `direct`: fed by the battery."""

    number: int
    direct: bool
    volts: float
    rated_a: float
    locked_a: float
    conductor_a: float
    breaker_a: float
    awg: int
    contactor_a: int
    category: str
    sensor: object  # `host_sim.sizing.inputs.Sensor`, None where the site senses no motor current

    @property
    def two_poles(self):
        """Return whether both conductors are hot: 208 to 240 V."""
        return not self.direct and self.volts > PLUG_V

    @property
    def plugs(self):
        """Return whether a pump with cord and plug is usual on its circuit."""
        return not self.direct and self.breaker_a <= PLUG_A


def motor(number, pump, sensor_range_ma, sensed=True):
    """Return the Motor of a pump (`host_sim.plant.equipment.Pump`).

    Where 20 A carry the motor that is its breaker, else the largest size within 250 %.
    Raises InputError where the current is beyond what the tables hold.
    Example: 8 A at 115 V, locked 40 A: conductor for 10 A, breaker 20 A, 12 AWG, contactor 12 A.
    """
    plate, direct = pump.motor, pump.supply == "battery"
    rated, locked = plate.rated_a, plate.rated_a * plate.locked_share
    conductor = 1.25 * rated
    sizes = FUSES_DC_A if direct else BREAKERS_A
    most = (1.5 if direct else 2.5) * rated
    if not direct and conductor <= PLUG_A:
        most = min(most, PLUG_A)  # larger ones there are, but neither GFCI receptacles nor plugs for them
    allowed = [size for size in sizes if conductor <= size <= most]
    device = max(allowed, default=next((size for size in sizes if size >= conductor), None))
    wire = next((awg for amps, awg in WIRES if device is not None and device <= amps), None)
    makes = 4.0 if direct else 10.0
    contactor = next((amps for amps in CONTACTORS_A if amps >= conductor and amps * makes >= locked), None)
    if None in (device, wire, contactor):
        raise InputError(f"pump {number} draws {rated:g} A, {locked:g} A with its rotor locked: more than this guide's "
                         f"tables hold ({CONTACTORS_A[-1]} A); an electrician sizes it", "build")  # fmt: skip
    sensor = sensors.sensor(sensors.usual(direct), pump, sensor_range_ma, False) if sensed else None
    return Motor(number, direct, plate.volts, rated, locked, conductor, float(device), wire, contactor,
                 "DC-3" if direct else "AC-3", sensor)  # fmt: skip


def motors(site):
    """Return the pair of Motors of a site (`host_sim.site.plan.Site`).  Raises InputError."""
    sensed = site.settings[s.SENSING] == s.SENSE_CURRENT
    ranges = site.settings[s.SENSOR_RANGE_1_MA : s.SENSOR_RANGE_2_MA + 1]
    return tuple(motor(n + 1, pump, ranges[n], sensed) for n, pump in enumerate(site.pumps))


def field_ma(cable_m=0.0):
    """Return the current through a closed contact of the isolated circuit, in mA.

    Example: 12 V through 2.2 kohm and the coupler's 1.2 V: 4.91 mA.
    """
    return 1000.0 * (FIELD_V - LED_V) / (FIELD_OHM + CABLE_OHM_PER_M * cable_m)


def panel_ma():
    """Return the current through a closed panel contact in mA: 3.3 V through its pull-up, 1 mA."""
    return 1000.0 * PANEL_V / PANEL_OHM


def filter_ms(source_ohm):
    """Return the time constant of an input's filter in ms; source resistance in ohm."""
    return 1000.0 * (SERIES_OHM + source_ohm) * FILTER_F


@dataclass(frozen=True)
class Reserve:
    """What the controller draws from a 12 V battery, and for how long a battery feeds it."""

    rest_a: float
    capacity_ah: float
    hours: float
    shared: bool


def reserve(site, has_loop=True):
    """Return the Reserve of a site: its own battery, else one of 7 Ah for the controller alone.

    Peukert's law on the planned share of the capacity, and never more than that share
    holds.  With a pump on the same battery these are the hours while no pump runs.
    """
    from_5v = sum(amps for _, amps in LOADS_5V) * 5.0 / 12.0 / CONVERTER
    rest = from_5v + FIELD_CLOSED * field_ma() / 1000.0 + (LOOP_A if has_loop else 0.0)
    shared = site.supply.battery is not None
    battery = site.supply.battery or Battery(capacity_as=OWN_BATTERY_AH * 3600.0)
    share = DEPTH / AGED
    # Below its rated current Peukert's law promises more than the battery holds.
    seconds = min(runtime_s(battery, rest, share), battery.capacity_as * share / rest)
    return Reserve(rest, battery.capacity_as / 3600.0, seconds / 3600.0, shared)


def rows(subject):
    """Return the figures of a `subject.Subject` as rows of (what, value, worked out from, source)."""
    site, has_loop = subject.site, subject.has("level loop")
    found = []
    for one in subject.motors:
        found += _motor_rows(one)
    found += _circuit_rows(subject)
    kept = reserve(site, has_loop)
    found.append((
        "controller's supply, at rest", f"{kept.rest_a:.2f} A at 12 V",
        f"{' + '.join(f'{amps:g} A' for _, amps in LOADS_5V)} at 5 V through a converter of {CONVERTER:.0%}; "
        f"{FIELD_CLOSED} closed contacts of {field_ma():.1f} mA{'; the level loop 20 mA' if has_loop else ''}",
        f"{PRACTICE}: measure yours",
    ))  # fmt: skip
    whose = "the battery of the site file" if kept.shared else "a sealed 7 Ah battery of its own"
    found.append((
        "run time of the controller alone", f"{kept.hours:.0f} h",
        f"{whose}, {kept.capacity_ah:g} Ah, divided by {AGED:g} for ageing, half discharged, Peukert's law"
        f"{', no pump running: what is left for the pump, sumpbench size says' if kept.shared else ''}",
        "Peukert's law; ageing 1.25 by IEEE 485 (from memory)",
    ))  # fmt: skip
    found.append((
        "charger's fuse FG", f"{subject.charger_fuse_a:g} A", f"the next size from 125 % of {subject.charger_a:g} A",
        PRACTICE,
    ))  # fmt: skip
    return found


def _motor_rows(one):
    name = f"pump {one.number}"
    volts = f"{one.volts:g} V {'DC' if one.direct else 'AC'}"
    found = [(f"{name}, full load and locked rotor", f"{one.rated_a:g} A, {one.locked_a:g} A", volts, "data plate")]
    share = "150 %" if one.direct else "250 %"
    plate = "where the plate gives horsepower, the electrician takes the amperes of Table 430.248"
    device = "slow-blow (time-delay) fuse at the battery" if one.direct else "branch breaker, inverse time"
    source = f"{PRACTICE}" if one.direct else NEC_BRANCH
    at_most = f", 20 A where that is enough; {plate}" if not one.direct else ""
    found.append((f"{name}, {device}", f"{one.breaker_a:g} A{', two poles' if one.two_poles else ''}",
                  f"largest usual size from 125 % ({one.conductor_a:g} A) to {share} of {one.rated_a:g} A, or the next "
                  f"one up{at_most}", source))  # fmt: skip
    if not one.direct:
        found.append((f"{name}, ground-fault protection", guard(one), "class A trips between 4 and 6 mA", GFCI))
    found.append((f"{name}, conductors", f"{one.awg} AWG copper",
                  f"for a device of {one.breaker_a:g} A; larger for a long run: hold the drop to 3 %", source))
    makes = 4 if one.direct else 10
    found.append((f"{name}, contactor", f"{one.contactor_a} A, {one.category}",
                  f"at least 125 % of {one.rated_a:g} A; makes {makes} x {one.contactor_a} = "
                  f"{makes * one.contactor_a} A, no less than the {one.locked_a:g} A of a locked rotor",
                  CONTACTOR_DC if one.direct else CONTACTOR_AC))  # fmt: skip
    if one.sensor is not None:
        found.append(_sensor_row(one, name))
    return found


def guard(one):
    """Return how the circuit of an AC Motor gets its ground-fault protection."""
    breaker = f"{'two-pole ' if one.two_poles else ''}breaker CB{one.number} with GFCI, {one.breaker_a:g} A"
    if one.two_poles or not one.plugs:
        return breaker
    return f"GFCI receptacle, {one.breaker_a:g} A, fed through; or {breaker}"


def _sensor_row(one, name):
    inside = f"a locked rotor is taken from 3 x {one.rated_a:g} = {3 * one.rated_a:g} A on"
    sensor, top = one.sensor, one.sensor.range_a
    if sensor.kind == sensors.TRANSFORMER:
        return (f"{name}, current sensor", f"transformer {sensor.ratio:.0f}:1, burden {sensor.burden_ohm:g} ohm",
                f"range {top:g} A: {1000 * top / sensor.ratio:g} mA through {sensor.burden_ohm:g} ohm is "
                f"{sensor.full_v:.2f} V RMS, rectified a mean of {MEAN * sensor.full_v:.2f} V; times "
                f"{rectifier(sensor).gain:.2f} is 3.3 V DC; {inside}",
                f"{OWN}: Ohm's law; mean of a sine 0.900 of its RMS value")  # fmt: skip
    return (f"{name}, current sensor", f"Hall sensor, one direction, {top:g} A",
            f"0 V without current, its {sensor.full_v:g} V at {top:g} A times {sensor.gain:.2f} is 3.3 V; {inside}",
            PRACTICE)  # fmt: skip


E96 = tuple(round(10.0 ** (n / 96.0), 2) for n in range(96))  # IEC 60063
MEAN = 2.0 * 2.0**0.5 / pi  # of a sine rectified on both sides, by its RMS value: 0.900
GROUND_KOHM = 10.0  # from the last amplifier's minus input to 0 V


@dataclass(frozen=True)
class Amplifier:
    """An amplifier after a current sensor: its gain, and the resistor from its output back to its minus input."""

    gain: float
    feedback_kohm: float


def amplifier(gain):
    """Return the Amplifier of a gain: the nearest value of E96 over 10 kohm, so that 3.3 V is met within 1 %.

    Example: gain 1.32, 3.16 kohm.
    """
    wanted = GROUND_KOHM * (gain - 1.0)
    values = [value * scale for scale in (0.1, 1.0, 10.0, 100.0) for value in E96]
    return Amplifier(gain, round(min(values, key=lambda value: (round(abs(value - wanted), 4), value)), 3))


def rectifier(sensor):
    """Return the last Amplifier of a transformer's rectifier (`host_sim.sizing.inputs.Sensor`, with its burden).

    Example: 0.99 V RMS, a mean of 0.891 V, gain 3.70: 26.7 kohm over 10.
    """
    return amplifier(sensor.gain / MEAN)


def _circuit_rows(subject):
    ohm = LOOP_OHM[subject.board]
    found = [
        ("field contact, wetting current", f"{field_ma():.1f} mA at {FIELD_V:g} V",
         f"({FIELD_V:g} - {LED_V:g} V) / {FIELD_OHM / 1000:g} kohm; {field_ma(LONGEST_M):.1f} mA at the end of "
         f"{LONGEST_M:g} m of 20 AWG pair", INPUT_TYPES),
        ("field contact, filter", f"{filter_ms(PULL_OHM):.1f} ms",
         f"({PULL_OHM / 1000:g} + {SERIES_OHM / 1000:g} kohm) x 100 nF at the pin; what is slower is left to the "
         "controller's debounce", f"{OWN}: R x C"),
        ("panel contact, wetting current", f"{panel_ma():.1f} mA at {PANEL_V:g} V",
         f"{PANEL_V:g} V / {PANEL_OHM / 1000:g} kohm: take gold-plated contacts, silver ones need some mA at 12 V or "
         "more", PRACTICE),
        ("panel contact, filter", f"{filter_ms(PANEL_OHM):.2f} ms",
         f"({PANEL_OHM / 1000:g} + {SERIES_OHM / 1000:g} kohm) x 100 nF", f"{OWN}: R x C"),
    ]  # fmt: skip
    if subject.has("level loop"):
        found.append((
            "level loop, shunt", f"{ohm:g} ohm, 0.1 %",
            f"20 mA x {ohm:g} ohm = {0.02 * ohm:.2f} V, 22 mA {0.022 * ohm:.2f} V; failure is told at 3.6 and 21 mA; "
            f"of the loop's 24 V the transmitter has {24 - 0.022 * ohm:.1f} V left", NAMUR,
        ))  # fmt: skip
    if subject.has("battery"):
        found.append((
            "battery, divider", f"{DIVIDER_OHM[0] / 1000:g} and {DIVIDER_OHM[1] / 1000:g} kohm, 0.1 %",
            f"{DIVIDER_OHM[1] / sum(DIVIDER_OHM):g} of the voltage: 33 V is 3.3 V", f"{OWN}: Ohm's law",
        ))  # fmt: skip
    return found
