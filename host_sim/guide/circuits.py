"""The circuits between terminal and pin, one drawing for each class of signal, with every value."""

from host_sim.guide import figures
from host_sim.guide.drawing import Drawing
from host_sim.sizing import sensors

STEP = 2.75


def contacts(board):
    """Return the drawing of the circuits of contacts and outputs: F, P, R, D."""
    d = Drawing("circuits F, P, R, D: contacts and outputs")
    _field(d, 0.0)
    _panel(d, -STEP - 0.9)
    _relay(d, -2 * STEP - 0.9)
    _lamp(d, -3 * STEP - 0.9)
    return d


def measuring(board, motors):
    """Return the drawing of the measuring circuits: C, L, B, S."""
    d = Drawing("circuits C, L, B, S: measuring and serial")
    y = 0.0
    kinds = []
    for one in motors:
        if one.sensor.kind not in kinds:
            kinds.append(one.sensor.kind)
            numbers = " and ".join(str(each.number) for each in motors if each.sensor.kind == one.sensor.kind)
            (_transformer if one.sensor.kind == sensors.TRANSFORMER else _hall)(d, one, numbers, y)
            y -= STEP
    _loop(d, board, y)
    _divider(d, y - STEP)
    _serial(d, y - 2 * STEP)
    return d


def _head(d, y, letter, words):
    d.text((0.0, y + 1.25), f"{letter}: {words}", 9.0)


def _pin(d, x, y, words="GPIO"):
    # Series resistor and filter before the pin, clamp on the converter's side.
    d.between(d.e.Resistor(), (x, y), (x + 1.3, y))
    d.text((x + 0.65, y + 0.42), "1 kohm", 7.0, "center")
    d.dot((x + 1.6, y))
    d.line((x + 1.3, y), (x + 1.6, y))
    d.between(d.e.Capacitor(), (x + 1.6, y), (x + 1.6, y - 0.9))
    d.ground((x + 1.6, y - 0.9))
    d.text((x + 1.95, y - 0.5), "100 nF", 7.0)
    d.line((x + 1.6, y), (x + 3.2, y))
    d.terminal((x + 3.3, y))
    d.text((x + 3.5, y), words, 8.0)


def _field(d, y):
    ma = figures.field_ma()
    _head(d, y, "F", "field contact, isolated: floats, thermal, moisture, mains, charger, generator; "
          f"{ma:.1f} mA wets it")  # fmt: skip
    d.text((0.0, y), "+12 V field", 7.5)
    d.line((2.0, y), (2.3, y))
    d.between(d.e.Fuse(), (2.3, y), (3.6, y))
    d.text((2.95, y + 0.42), "0.1 A", 7.0, "center")
    d.terminal((4.2, y))
    d.line((3.6, y), (4.1, y))
    d.text((4.2, y + 0.32), "X1:+", 7.0, "center")
    d.between(d.e.Switch(), (4.3, y), (5.9, y))
    d.terminal((6.0, y))
    d.text((6.0, y + 0.32), "X1:1", 7.0, "center")
    d.line((6.1, y), (6.5, y))
    d.between(d.e.Resistor(), (6.5, y), (7.9, y))
    d.text((7.2, y + 0.42), "2.2 kohm", 7.0, "center")
    d.line((7.9, y), (8.9, y))
    d.dot((8.4, y))
    d.between(d.e.Diode(), (8.4, y - 1.2), (8.4, y))
    d.dot((8.4, y - 1.2))
    # The coupler: its diode, its transistor.
    d.rect((8.75, y - 1.35), (10.75, y + 0.2))
    d.line((8.9, y), (9.2, y))
    d.between(d.e.LED(), (9.2, y), (9.2, y - 1.2))
    d.line((9.2, y - 1.2), (7.6, y - 1.2))
    d.text((7.45, y - 1.2), "0 V field", 7.5, "right")
    d.text((10.4, y - 0.6), "Q", 7.5, "center")
    d.text((9.75, y - 1.65), "optocoupler", 7.0, "center")
    d.line((10.75, y), (11.6, y))
    d.line((10.75, y - 1.2), (11.1, y - 1.2))
    d.ground((11.1, y - 1.2))
    d.dot((11.6, y))
    d.between(d.e.Resistor(), (11.6, y), (11.6, y + 0.85))
    d.text((11.2, y + 0.55), "10 kohm to 3.3 V", 7.0, "right")
    d.line((11.6, y), (12.4, y))
    _pin(d, 12.4, y)


def _panel(d, y):
    _head(d, y, "P", "panel contact, inside the enclosure: selectors, buttons, jumper; "
          f"{figures.panel_ma():.1f} mA, gold contacts")  # fmt: skip
    d.ground((3.0, y - 0.2))
    d.line((3.0, y - 0.2), (3.0, y), (4.3, y))
    d.between(d.e.Switch(), (4.3, y), (5.9, y))
    d.terminal((6.0, y))
    d.text((6.0, y + 0.32), "X2:1", 7.0, "center")
    d.line((6.1, y), (12.4, y))
    d.dot((7.8, y))
    d.between(d.e.Resistor(), (7.8, y), (7.8, y + 0.75))
    d.text((8.1, y + 0.45), "3.3 kohm to 3.3 V", 7.0)
    d.dot((10.6, y))
    d.between(d.e.Zener(), (10.6, y - 0.9), (10.6, y))
    d.ground((10.6, y - 0.9))
    d.text((10.05, y - 0.5), "clamp, 3.6 V", 7.0, "right")
    _pin(d, 12.4, y)


def _relay(d, y):
    _head(d, y, "R", "relay drive: holds the relay off while the board boots, is in reset or has no power")
    d.text((0.0, y), "GPIO", 8.0)
    d.line((1.0, y), (6.0, y))
    _to_ground(d, 3.0, y, "10 kohm; for an active-low module to its own + instead")
    d.rect((6.0, y - 0.25), (10.6, y + 0.35), "relay module, isolated input", 7.5)
    d.line((10.6, y), (11.4, y))
    d.between(d.e.Switch(), (11.4, y), (13.0, y))
    d.text((13.3, y), "coil of the contactor, 2 A fuse", 7.5)


def _lamp(d, y):
    _head(d, y, "D", "lamp drive: a light-emitting diode on the front panel, 3 mA")
    d.text((0.0, y), "GPIO", 8.0)
    d.line((1.0, y), (2.0, y))
    d.between(d.e.Resistor(), (2.0, y), (3.5, y))
    d.text((2.75, y + 0.42), "330 ohm", 7.0, "center")
    d.line((3.5, y), (4.4, y))
    d.terminal((4.5, y))
    d.text((4.5, y + 0.32), "X2:9", 7.0, "center")
    d.line((4.6, y), (5.2, y))
    d.between(d.e.LED(), (5.2, y), (6.6, y))
    d.line((6.6, y), (7.2, y))
    d.ground((7.2, y))


def _transformer(d, one, numbers, y):
    sensor = one.sensor
    _head(d, y, "C", f"current sensor, pump {numbers}: transformer {sensor.ratio:.0f}:1, "
          f"{sensor.range_a:g} A is 3.3 V DC")  # fmt: skip
    d.text((0.0, y), "transformer", 7.5)
    d.line((2.2, y), (4.2, y))
    d.text((2.4, y + 0.3), "never open under current", 7.0)
    _to_ground(d, 4.2, y, f"burden {sensor.burden_ohm:g} ohm")
    d.line((4.2, y), (7.4, y))
    d.rect((7.4, y - 0.3), (11.6, y + 0.3), f"rectifier, gain {sensor.gain:.2f}, 50 ms", 7.5)
    d.line((11.6, y), (12.4, y))
    _pin(d, 12.4, y, "converter")


def _hall(d, one, numbers, y):
    sensor = one.sensor
    _head(d, y, "C", f"current sensor, pump {numbers}: Hall sensor for one direction, {sensor.range_a:g} A is 3.3 V")
    d.text((0.0, y), "Hall sensor, 5 V", 7.5)
    d.line((2.9, y), (7.4, y))
    d.text((3.0, y + 0.3), f"0 to {sensor.full_v:g} V", 7.0)
    d.rect((7.4, y - 0.3), (11.6, y + 0.3), f"gain {sensor.gain:.2f}, ends at 3.3 V", 7.5)
    d.line((11.6, y), (12.4, y))
    _pin(d, 12.4, y, "converter")


def _loop(d, board, y):
    ohm = figures.LOOP_OHM[board]
    _head(d, y, "L", f"level loop: {ohm:g} ohm, 22 mA is {0.022 * ohm:.2f} V")
    d.text((0.0, y), "+24 V loop", 7.5)
    d.line((1.9, y), (3.0, y))
    d.rect((3.0, y - 0.3), (5.4, y + 0.3), "transmitter", 7.5)
    d.line((5.4, y), (6.3, y))
    d.terminal((6.4, y))
    d.text((6.4, y + 0.32), "X5:3", 7.0, "center")
    d.line((6.5, y), (12.4, y))
    _to_ground(d, 7.8, y, f"{ohm:g} ohm")
    _clamp(d, y)
    _pin(d, 12.4, y, "converter")


def _to_ground(d, x, y, text):
    # A resistor from the line to ground, its value beside it.
    d.dot((x, y))
    d.between(d.e.Resistor(), (x, y), (x, y - 0.9))
    d.ground((x, y - 0.9))
    d.text((x + 0.35, y - 0.5), text, 7.0)


def _clamp(d, y):
    d.dot((11.6, y))
    d.between(d.e.Zener(), (11.6, y - 0.9), (11.6, y))
    d.ground((11.6, y - 0.9))
    d.text((11.05, y - 0.5), "3.6 V", 7.0, "right")


def _divider(d, y):
    _head(d, y, "B", "battery divider: 33 V is 3.3 V")
    d.text((0.0, y), "battery +", 7.5)
    d.line((1.7, y), (2.0, y))
    d.between(d.e.Fuse(), (2.0, y), (3.4, y))
    d.text((2.7, y + 0.48), "0.1 A at the post", 7.0, "center")
    d.line((3.4, y), (4.3, y))
    d.terminal((4.4, y))
    d.text((4.4, y + 0.32), "X5:4", 7.0, "center")
    d.line((4.5, y), (5.2, y))
    d.between(d.e.Resistor(), (5.2, y), (6.8, y))
    d.text((6.0, y + 0.42), "180 kohm", 7.0, "center")
    d.line((6.8, y), (12.4, y))
    _to_ground(d, 7.8, y, "20 kohm")
    _clamp(d, y)
    _pin(d, 12.4, y, "converter")


def _serial(d, y):
    _head(d, y, "S", "RS-485: a transceiver that turns the line by itself, 3.3 V, isolated where the cable leaves "
          "the house")  # fmt: skip
    d.text((0.0, y + 0.2), "X6:1, DI", 7.5)
    d.text((0.0, y - 0.4), "X6:2, RO", 7.5)
    d.line((2.0, y + 0.2), (4.0, y + 0.2))
    d.line((2.0, y - 0.4), (4.0, y - 0.4))
    d.rect((4.0, y - 0.7), (7.4, y + 0.5), "transceiver", 7.5)
    d.line((7.4, y + 0.2), (9.4, y + 0.2))
    d.line((7.4, y - 0.4), (9.4, y - 0.4))
    d.text((9.6, y + 0.2), "A", 7.5)
    d.text((9.6, y - 0.4), "B; 120 ohm across A and B at each end of the cable", 7.5)
