"""The circuits between terminal and pin, one drawing for each class of signal, with every value."""

from host_sim.guide import figures, fuses
from host_sim.guide.drawing import Drawing
from host_sim.sizing import sensors

STEP = 2.75
RECTIFIED, AMPLIFIED = 5.7, 3.9  # heights of the current sensors: with a rectifier, with an amplifier


def contacts(has_lamp, active_low=False, held=()):
    """Return the drawing of the circuits of contacts and outputs: F, P, R for the kind of relay module, D if fitted.

    `held`: terminals of relays KT at line voltage, whose input is held through the moment of an outage.
    """
    d = Drawing("circuits F, P, R, D: contacts and outputs")
    _field(d, 0.0)
    low = -0.9
    if held:
        _held(d, -2.6, held)
        low -= 1.9
    _panel(d, low - STEP)
    _relay(d, low - 2 * STEP, active_low)
    if has_lamp:
        _lamp(d, low - 3 * STEP)
    return d


def _held(d, y, terminals):
    d.terminal((2.0, y))
    d.text((2.0, y + 0.32), ", ".join(terminals), 7.0, "center")
    d.line((2.1, y), (2.8, y))
    _resistor(d, (2.8, y), (4.2, y), "100 ohm")
    d.line((4.2, y), (6.5, y))
    d.dot((5.0, y))
    d.between(d.e.Capacitor(), (5.0, y), (5.0, y - 0.9))
    d.text((5.0, y - 1.1), "0 V field", 7.5, "center")
    d.text((5.4, y - 0.45), "100 uF, + at the top", 7.0)
    d.text((6.7, y), "to its 2.2 kohm. A relay KT at line voltage: holds 0.3 s while KT and KM move", 7.5)


def measuring(subject):
    """Return the drawing of a `subject.Subject`'s measuring circuits, C, L, B, S as they are built, to their pins."""
    d = Drawing("circuits C, L, B, S: measuring and serial")
    y = 0.0
    for kind, height, draw in ((sensors.TRANSFORMER, RECTIFIED, _transformer), (sensors.HALL, AMPLIFIED, _hall)):
        for alike in _alike(subject.sensed(kind)):
            numbers = [one.number for one in alike]
            draw(d, alike[0], numbers, y, _places([subject.row(f"current {n}") for n in numbers]))
            y -= height
    if subject.has("level loop"):
        _loop(d, subject.board, y, _places([subject.row("level loop")]))
        y -= STEP
    if subject.has("battery"):
        _divider(d, y, _places([subject.row("battery")]))
        y -= STEP
    _serial(d, y, {name: subject.row(name) for name in ("RS-485 driver", "RS-485 receiver")})
    return d


def _alike(motors):
    # Motors by their sensor: two of one range have one drawing.
    found = {}
    for one in motors:
        found.setdefault(one.sensor.range_a, []).append(one)
    return found.values()


def fed(d, y, source, fuse, terminal, end):
    """Draw a supply, its fuse and the terminal after it, from the left edge to x = `end`.

    `fuse` is ((x where the wire begins, x and x of the fuse's ends), height of its words
    above the wire, words), `terminal` (x, name) or None; the schematic of the supply uses it too.
    """
    (wire, begin, after), above, words = fuse
    d.text((0.0, y), source, 7.5)
    d.line((wire, y), (begin, y))
    d.between(d.e.Fuse(), (begin, y), (after, y))
    d.text(((begin + after) / 2, y + above), words, 7.0, "center")
    if terminal is None:
        d.line((after, y), (end, y))
        return
    x, name = terminal
    d.line((after, y), (x - 0.1, y))
    d.terminal((x, y))
    d.text((x, y + 0.32), name, 7.0, "center")
    d.line((x + 0.1, y), (end, y))


def _places(rows):
    # Two lines: the pins, and where they are on the header.
    pins = ", ".join(one.pin_text for one in rows)
    at = ", ".join(one.position for one in rows)
    return (pins, f"pin{'s' if len(rows) > 1 else ''} {at}" if at else "")


def _head(d, y, letter, words):
    d.text((0.0, y + 1.25), f"{letter}: {words}", 9.0)


def _pin(d, x, y, lines=("its pin", ""), series="1 kohm", clamped=False):
    # Series resistor, clamp and filter before the pin.
    _resistor(d, (x, y), (x + 1.3, y), series)
    d.line((x + 1.3, y), (x + 1.6, y))
    if clamped:
        _clamp(d, x + 1.6, y)
        d.line((x + 1.6, y), (x + 2.6, y))
        x += 1.0
    d.dot((x + 1.6, y))
    d.between(d.e.Capacitor(), (x + 1.6, y), (x + 1.6, y - 0.9))
    d.ground((x + 1.6, y - 0.9))
    d.text((x + 1.95, y - 0.5), "100 nF", 7.0)
    d.line((x + 1.6, y), (x + 3.2, y))
    d.terminal((x + 3.3, y))
    first, second = lines
    d.text((x + 3.5, y + (0.17 if second else 0.0)), first, 7.5) if first else None
    d.text((x + 3.5, y - 0.2), second, 7.5) if second else None


def _clamp(d, x, y):
    # Two diodes: what is above 3.3 V flows into the 3.3 V supply, what is below 0 V comes from ground.
    d.dot((x, y))
    d.between(d.e.Diode(), (x, y), (x, y + 0.75))
    d.text((x + 0.2, y + 0.75), "3.3 V", 7.0)
    d.between(d.e.Diode(), (x, y - 0.9), (x, y))
    d.ground((x, y - 0.9))


def _field(d, y):
    ma = figures.field_ma()
    _head(d, y, "F", "field contact, isolated: floats, thermal, moisture, mains, charger, generator; "
          f"{ma:.1f} mA wets it")  # fmt: skip
    fed(d, y, "+12 V field", ((2.0, 2.3, 3.6), 0.42, f"FF {fuses.amps('FF')}"), (4.2, "X1:+"), 4.3)
    d.dot((3.8, y))
    d.between(d.e.RBox(), (3.8, y), (3.8, y - 1.2))
    d.text((3.3, y - 0.45), "suppressor", 7.0, "right")
    d.text((3.3, y - 0.75), "18 V", 7.0, "right")
    d.text((4.25, y - 1.2), "0 V field", 7.5)
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
    d.ground((2.4, y - 0.2))
    d.line((2.4, y - 0.2), (2.4, y), (3.1, y))
    d.terminal((3.2, y))
    d.text((3.2, y + 0.32), "X2:0", 7.0, "center")
    d.line((3.3, y), (4.3, y))
    d.between(d.e.Switch(), (4.3, y), (5.9, y))
    d.terminal((6.0, y))
    d.text((6.0, y + 0.32), "X2:1", 7.0, "center")
    d.line((6.1, y), (11.4, y))
    d.dot((7.8, y))
    d.between(d.e.Resistor(), (7.8, y), (7.8, y + 0.75))
    d.text((8.1, y + 0.45), "3.3 kohm to 3.3 V", 7.0)
    _pin(d, 11.4, y, clamped=True)


def _relay(d, y, active_low):
    _head(d, y, "R", f"relay drive, module on at {'0 V (active-low)' if active_low else '3.3 V'}: the resistor holds "
          "it off while the board boots or is in reset")
    d.text((0.0, y), "its pin", 7.5)
    d.line((1.0, y), (5.2, y))
    d.terminal((5.3, y))
    d.text((5.3, y + 0.32), "X4:1", 7.0, "center")
    d.line((5.4, y), (6.0, y))
    if active_low:
        d.dot((3.0, y))
        d.between(d.e.Resistor(), (3.0, y), (3.0, y - 0.9))
        d.text((3.35, y - 0.5), "10 kohm", 7.0)
        d.text((3.35, y - 0.85), "3.3 V", 7.0)
    else:
        _to_ground(d, 3.0, y, "10 kohm")
    d.text((8.3, y - 0.5), "input side 3.3 V and 0 V; coils 5 V, X4:+", 7.0, "center")
    d.rect((6.0, y - 0.25), (10.6, y + 0.35), "relay module, isolated input", 7.5)
    d.line((10.6, y), (11.4, y))
    d.between(d.e.Switch(), (11.4, y), (13.0, y))
    d.text((13.3, y), "its load: ladder diagram", 7.5)


def _lamp(d, y):
    _head(d, y, "D", "lamp drive: a light-emitting diode on the front panel, 3 mA")
    d.text((0.0, y), "its pin", 7.5)
    d.line((1.0, y), (2.0, y))
    d.between(d.e.Resistor(), (2.0, y), (3.5, y))
    d.text((2.75, y + 0.42), "330 ohm", 7.0, "center")
    d.line((3.5, y), (4.4, y))
    d.terminal((4.5, y))
    d.text((4.5, y + 0.32), "X2:8", 7.0, "center")
    d.line((4.6, y), (5.2, y))
    d.between(d.e.LED(), (5.2, y), (6.6, y))
    d.line((6.6, y), (7.1, y))
    d.terminal((7.2, y))
    d.text((7.2, y + 0.32), "X2:0", 7.0, "center")
    d.line((7.3, y), (7.8, y))
    d.ground((7.8, y))


def _transformer(d, one, numbers, top, pins):
    # Burden; amplifiers 1 and 2 turn the negative half up; 47 kohm and 1 uF take the mean; amplifier 3 makes it 3.3 V.
    sensor, y = one.sensor, top - 0.9
    _head(d, top, "C", f"current sensor, pump {_and(numbers)}: transformer {sensor.ratio:.0f}:1, {sensor.range_a:g} A "
          "is 3.3 V DC; 1, 2, 3: one quad amplifier on 3.3 V")  # fmt: skip
    lines = ((-1.0, "transformer round"), (-0.7, "one conductor"), (2.4, "Never open its"), (2.7, "circuit under"),
             (3.0, "current."))  # fmt: skip
    for low, words in lines:
        d.text((0.0, y - low), words, 7.0)
    low = y - 1.6
    d.between(d.e.Inductor2(loops=3), (0.9, low), (0.9, y))
    d.line((0.9, low), (1.37, low))
    d.line((1.53, low), (2.0, low))
    d.line((0.9, y), (1.4, y))
    d.terminal((1.45, y))
    d.text((1.5, y + 0.32), _terminals(numbers), 7.0)
    d.terminal((1.45, low))
    d.text((1.5, low - 0.35), "X5:6", 7.0, "center")
    d.line((1.5, y), (5.0, y))
    d.dot((2.0, y))
    d.between(d.e.Resistor(), (2.0, y), (2.0, low))
    d.dot((2.0, low))
    d.ground((2.0, low))
    d.text((2.3, y - 0.6), f"{sensor.burden_ohm:g} ohm", 7.0)
    d.text((2.3, y - 0.9), "burden", 7.0)
    _turned_up(d, y)
    _mean(d, y, figures.rectifier(sensor), pins)


def _and(numbers):
    return " and ".join(map(str, numbers))


def _terminals(numbers):
    return ", ".join(f"X5:{n}" for n in numbers)


def _amplifier(d, number, plus):
    # An amplifier whose plus input, the lower one, is at a place; returns the places of its minus input and its output.
    x, y = plus
    minus, out = (x, y + 0.7), (x + 1.9, y + 0.35)
    d.line((x + 0.35, y - 0.4), (x + 0.35, y + 1.1), (x + 1.55, y + 0.35), (x + 0.35, y - 0.4))
    d.line(plus, (x + 0.35, y))
    d.line(minus, (x + 0.35, y + 0.7))
    d.line((x + 1.55, y + 0.35), out)
    d.text((x + 0.55, y), "+", 8.0, "center")
    d.text((x + 0.55, y + 0.7), "-", 8.0, "center")
    d.text((x + 0.9, y + 0.35), str(number), 8.0, "center")
    return minus, out


def _resistor(d, begin, end, words):
    # From left to right, its value above it.
    d.between(d.e.Resistor(), begin, end)
    d.text(((begin[0] + end[0]) / 2, begin[1] + 0.42), words, 7.0, "center")


def _turned_up(d, y):
    # Amplifier 1 follows the positive half and rests at 0 V in the negative one; amplifier 2 passes the one on as it is
    # and turns the other.
    low = y - 2.0
    d.dot((3.6, y))
    d.line((3.6, y), (3.6, low))
    _resistor(d, (3.6, low), (4.9, low), "10 kohm")
    d.dot((5.1, low))
    d.line((4.9, low), (5.4, low))
    d.between(d.e.Schottky(), (5.1, low - 1.0), (5.1, low))
    d.ground((5.1, low - 1.0))
    minus, out = _amplifier(d, 1, (5.4, low))
    d.line(minus, (minus[0], minus[1] + 0.6), (out[0], minus[1] + 0.6), out)
    d.dot(out)
    _resistor(d, (5.0, y), (6.4, y), "10 kohm 1 %")
    d.line((6.4, y), (8.4, y))
    _, out2 = _amplifier(d, 2, (8.4, y - 0.7))
    d.line(out, (7.8, out[1]), (7.8, y - 0.7), (8.4, y - 0.7))
    d.dot((8.1, y))
    d.line((8.1, y), (8.1, y + 0.75), (8.5, y + 0.75))
    _resistor(d, (8.5, y + 0.75), (9.9, y + 0.75), "10 kohm 1 %")
    d.line((9.9, y + 0.75), (out2[0], y + 0.75), out2)
    d.dot(out2)


def _mean(d, y, gain, lines):
    # From the output of amplifier 2 to the pin.
    low = y - 0.35
    d.line((10.3, low), (10.5, low))
    _resistor(d, (10.5, low), (11.8, low), "47 kohm")
    d.line((11.8, low), (12.9, low))
    d.dot((12.2, low))
    d.between(d.e.Capacitor(), (12.2, low), (12.2, low - 1.0))
    d.ground((12.2, low - 1.0))
    d.text((11.8, low - 0.6), "1 uF film", 7.0, "right")
    out = _gained(d, 3, (12.9, low), gain)
    _pin(d, *out, ("", ""))
    for words, above in zip(lines, (0.65, 0.32), strict=True):
        d.text((18.5, out[1] + above), words, 7.0, "right")


def _gained(d, number, plus, gain):
    # An amplifier that makes its plus input larger; returns the place of its output.
    minus, out = _amplifier(d, number, plus)
    x, above = plus[0] - 0.3, plus[1] + 1.45
    d.line(minus, (x, minus[1]), (x, above), (x + 0.4, above))
    d.dot((x, above))
    _resistor(d, (x + 0.4, above), (x + 1.8, above), f"{gain.feedback_kohm:g} kohm 1 %")
    d.line((x + 1.8, above), (out[0], above), out)
    d.dot(out)
    d.line((x, above), (x - 0.3, above))
    _resistor(d, (x - 1.7, above), (x - 0.3, above), "10 kohm 1 %")
    d.ground((x - 1.7, above))
    return out


def _hall(d, one, numbers, top, lines):
    sensor, y = one.sensor, top - 1.25
    _head(d, top, "C", f"current sensor, pump {_and(numbers)}: Hall sensor for one direction, {sensor.range_a:g} A is "
          "3.3 V; amplifier on 3.3 V")  # fmt: skip
    fed(d, y, "5 V", ((0.65, 0.8, 1.7), 0.42, f"FH {fuses.amps('FH')}"), (2.2, "X5:5"), 2.6)
    d.rect((2.6, y - 0.3), (4.6, y + 0.3), "Hall sensor", 7.5)
    d.line((3.6, y - 0.3), (3.6, y - 0.52))
    d.terminal((3.6, y - 0.6))
    d.text((3.85, y - 0.6), "X5:6", 7.0)
    d.ground((3.6, y - 0.68))
    d.line((4.6, y), (5.2, y))
    d.terminal((5.3, y))
    d.text((5.3, y + 0.32), _terminals(numbers), 7.0, "center")
    d.text((5.0, y - 0.35), f"0 to {sensor.full_v:g} V", 7.0)
    d.line((5.4, y), (6.4, y))
    _resistor(d, (6.4, y), (7.7, y), "10 kohm")
    _clamp(d, 8.0, y)
    d.line((7.7, y), (10.0, y))
    out = _gained(d, 1, (10.0, y), figures.amplifier(sensor.gain))
    d.line(out, (12.4, out[1]))
    _pin(d, 12.4, out[1], lines)


def _loop(d, board, y, lines):
    ohm = figures.LOOP_OHM[board]
    _head(d, y, "L", f"level loop: {ohm:g} ohm, 22 mA is {0.022 * ohm:.2f} V")
    fed(d, y, "+24 V loop", ((1.7, 1.8, 3.0), 0.42, f"FL {fuses.amps('FL')}"), (3.4, "X5:+"), 4.0)
    d.rect((4.0, y - 0.3), (6.0, y + 0.3), "transmitter", 7.5)
    d.line((6.0, y), (6.5, y))
    d.terminal((6.6, y))
    d.text((6.6, y + 0.32), "X5:3", 7.0, "center")
    d.line((6.7, y), (11.4, y))
    _to_ground(d, 7.8, y, f"{ohm:g} ohm")
    _pin(d, 11.4, y, lines, figures.ANALOG_SERIES, True)


def _to_ground(d, x, y, text):
    # A resistor from the line to ground, its value beside it.
    d.dot((x, y))
    d.between(d.e.Resistor(), (x, y), (x, y - 0.9))
    d.ground((x, y - 0.9))
    d.text((x + 0.35, y - 0.5), text, 7.0)


def _divider(d, y, lines):
    _head(d, y, "B", "battery divider: 33 V is 3.3 V")
    fed(d, y, "battery +", ((1.7, 2.0, 3.4), 0.48, f"FV {fuses.amps('FV')} at the post"), (4.8, "X5:4"), 5.4)
    _resistor(d, (5.4, y), (7.0, y), "180 kohm")
    d.line((7.0, y), (11.4, y))
    _to_ground(d, 7.8, y, "20 kohm")
    _pin(d, 11.4, y, lines, figures.ANALOG_SERIES, True)


def _serial(d, y, rows):
    _head(d, y, "S", "RS-485: a transceiver that turns the line by itself, 3.3 V, isolated where the cable leaves "
          "the house")  # fmt: skip
    for name, chip, low in (("RS-485 driver", "DI", 0.2), ("RS-485 receiver", "RO", -0.4)):
        d.text((0.0, y + low), " ".join(_places([rows[name]])), 7.5)
        d.line((2.6, y + low), (3.3, y + low))
        d.terminal((3.4, y + low))
        d.text((3.4, y + low + 0.3), f"{rows[name].terminal}, {chip}", 7.0, "center")
        d.line((3.5, y + low), (4.6, y + low))
    d.rect((4.6, y - 0.7), (7.4, y + 0.5), "transceiver", 7.5)
    d.line((7.4, y + 0.2), (9.4, y + 0.2))
    d.line((7.4, y - 0.4), (9.4, y - 0.4))
    d.text((9.6, y + 0.2), "A, X6:3; across A and B: suppressor 6.5 V,", 7.5)
    d.text((9.6, y - 0.4), "B, X6:4; and 120 ohm at each end of the cable", 7.5)
