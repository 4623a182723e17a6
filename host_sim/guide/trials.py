"""How a known value is put on each measuring input without opening anything at line voltage, and what it takes."""

from math import ceil

from host_sim.guide import figures
from host_sim.sizing import sensors

LAMP_A = 5.0  # a 12 V lamp of 60 W
LOOP_TEST_OHM = 1800.0
LOOPS = 10.0  # of a cord splitter's second loop


def turns(sensor):
    """Return the turns of a 5 A lamp's wire through a direct-current sensor that make a third of its range and 5 %.

    Example: 75 A, six turns.
    """
    return ceil(1.05 * sensor.range_a / 3.0 / LAMP_A)


def load_a(motors):
    """Return the amperes of an AC load on the tenfold loop that make 40 % of the largest range, to 0.1 A.

    Example: 30 A, 1.2 A.
    """
    return ceil(10.0 * 0.4 * max(one.sensor.range_a for one in motors) / LOOPS) / 10.0


def ways(subject):
    """Return what a person does for each kind of measuring input of a `subject.Subject`, as texts."""
    found = []
    if subject.sensed(sensors.TRANSFORMER):
        load = load_a(subject.sensed(sensors.TRANSFORMER))
        found.append(f"AC: a plug-in load of {load:g} A ({120.0 * load:.0f} W at 120 V) or more on a cord splitter, "
                     f"transformer and meter's clamp both round its x10 loop: ten times as much, {LOOPS * load:g} A")
    for one in subject.motors:
        if one.sensor is not None and one.sensor.kind != sensors.TRANSFORMER:
            count = turns(one.sensor)
            found.append(f"DC, pump {one.number}: a 12 V lamp of {LAMP_A:g} A on the battery, fused 10 A, its wire "
                         f"{count} times through the sensor, the meter's clamp round them all: {count * LAMP_A:g} A")
    if subject.has("level loop"):
        ma = 1000.0 * 24.0 / (LOOP_TEST_OHM + figures.LOOP_OHM[subject.board])
        found.append("Loop: 1.8 kohm, 0.5 W from X5:+ to X5:3 in the transmitter's place, meter in series: "
                     f"{ma:.1f} mA")  # fmt: skip
    if subject.has("battery"):
        found.append("Battery: the battery itself, meter from X5:4 to X5:6")
    return found


def gear(subject):
    """Return the test gear that the steps of a `subject.Subject` name."""
    found = ["multimeter", "soldering iron", "bucket of water", "screwdrivers", "crimper for ferrules",
             "drill, step bit or 22 mm punch", "garden hose"]
    if any(one.sensor for one in subject.motors):
        found.append("clamp meter for AC and DC")
    if subject.sensed(sensors.TRANSFORMER):
        load = load_a(subject.sensed(sensors.TRANSFORMER))
        found.append(f"plug-in cord splitter with insulated loops x1 and x10; a plug-in load of {load:g} A")
    if subject.hall:
        found.append("12 V lamp of 5 A (60 W) with a 10 A fuse in its lead")
    if subject.has("level loop"):
        found.append("1.8 kohm 0.5 W")
    return "; ".join(found)
