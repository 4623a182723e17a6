"""The sensor of each motor's current: which kind fits its supply, its range, and what stands between it and the input.

A transformer reads alternating current only; a direct-current motor takes a
Hall sensor or a shunt.  A shunt on the mains is refused: it ties the line
conductor to the controller's 3.3 V board.  A locked rotor must lie within the range.  All of it
is common practice, no source; the arithmetic is Ohm's law.
"""

from duplexsump.control import settings as s

from host_sim.sizing.inputs import Sensor

TRANSFORMER, HALL, SHUNT, NONE = "current transformer", "Hall sensor", "shunt", "none"
KINDS = (TRANSFORMER, HALL, SHUNT)
LOCKED = 3.0  # times rated: what the controller takes for a locked rotor
INPUT_V = 3.3  # the controller's input at full scale
TURNS = 1000.0  # of a common split-core transformer; common practice, no source
BURDEN_V = 1.0  # RMS across the burden at the range: 1.4 V peak, well within a transformer's and an amplifier's reach
SHUNT_V = 0.075  # a shunt's usual rating
HALL_V = 2.5  # a Hall sensor's usual swing
RESISTORS = (10.0, 12.0, 15.0, 18.0, 22.0, 27.0, 33.0, 39.0, 47.0, 56.0, 68.0, 82.0)  # the E12 series (IEC 60063)


def usual(direct):
    """Return the kind that fits a motor's current."""
    return HALL if direct else TRANSFORMER


def reads(kind, direct):
    """Whether a kind of sensor can read a motor's current at all."""
    return kind != TRANSFORMER or not direct


def live(kind, direct):
    """Whether a kind of sensor would put the mains on the controller's board."""
    return kind == SHUNT and not direct


LIVE = ("a shunt in the mains circuit of pump {n} ties the line conductor to the controller's 3.3 V board: whoever "
        "touches the board is killed.  Use a current transformer (or an isolated Hall sensor)")


def burden_ohm(range_a):
    """Return the burden: the largest of the E12 series within BURDEN_V at the range.

    Example: 30 A at 1000:1, 33 ohm.
    """
    most = BURDEN_V / (range_a / TURNS)
    decades = [value * scale for scale in (0.1, 1.0, 10.0) for value in RESISTORS]
    return max((value for value in decades if value <= most), default=decades[0])


def sensor(kind, pump, range_ma, given):
    """Return the Sensor of a pump; `range_ma` is the controller's own setting of it."""
    range_a = range_ma / 1000.0
    locked = LOCKED * pump.motor.rated_a
    ratio = burden = 0.0
    if kind == TRANSFORMER:
        ratio, burden = TURNS, burden_ohm(range_a)
        full = range_a / ratio * burden
    else:
        full = SHUNT_V if kind == SHUNT else HALL_V
    return Sensor(kind, range_a, locked, ratio, burden, full, INPUT_V / full, given)


def sensors(inputs, values):
    """Return the pair of Sensors of a site under its settings record."""
    found = []
    for n, pump in enumerate(inputs.pumps):
        direct = pump.supply == "battery"
        kind = inputs.sensor_kinds[n]
        if inputs.sensing != "current":
            found.append(Sensor(NONE, 0.0, LOCKED * pump.motor.rated_a))
            continue
        found.append(sensor(kind or usual(direct), pump, values[s.SENSOR_RANGE_1_MA + n], kind is not None))
    return tuple(found)
