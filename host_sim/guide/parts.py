"""The parts list of a board and a site: counts and ratings, never brands."""

from host_sim.board import signals
from host_sim.guide import figures, fuses
from host_sim.sizing import sensors

BOARD = {
    "pico": "RP2040 board with 40-pin header (Raspberry Pi Pico or Pico W)",
    "esp32": "ESP32-S3 development board with 44 pins, two rows of 22",
}


def parts(board, expander, motors, battery_ah=None, charger_a=None):
    """Return rows of (count, part, rating); battery and charger as the site has them, None for one of our own."""
    rows = signals.signals(board, expander)
    count = {kind: sum(one.electrical == kind for one in rows) for kind in signals.KINDS}
    field, panel = count["field contact"], count["panel contact"]
    hall = sum(one.sensor is not None and one.sensor.kind != sensors.TRANSFORMER for one in motors)
    count["current"] = sum(one.sensor is not None for one in motors)
    pins = {one.electrical: one.pin for one in rows}
    shared = "; loop or divider, never both: one pin" if pins["loop"] == pins["battery"] else ""
    analog = count["loop"] + count["battery"]
    found = [(1, "controller board", f"{BOARD[board]}, MicroPython 1.24 or later")]
    if expander:
        found.append((1, "I2C I/O expander", "16 bit, inputs at power-up, register model of the 9535/9555 type, address "
                      "0x20, 3.3 V, on a carrier board"))  # fmt: skip
        if any(str(one.pin).startswith("AIN") for one in rows):
            found.append((1, "I2C analog converter", "12 or 16 bit, 4 channels, register model of the 1015/1115 type, "
                          "address 0x48, 3.3 V, on a carrier board"))  # fmt: skip
        found.append((2, "pull-up resistor", "4.7 kohm, 0.25 W, for SDA and SCL"))
    found += [
        (1, "relay module, 6 channels or more, K1 to K6", "optically isolated inputs, their side fed with 3.3 V apart from the coils' 5 V, contacts 250 V AC 5 A and "
         "30 V DC 5 A, insulation reinforced"),
        (6, "holding resistor", "10 kohm, 0.25 W, one at each relay input"),
        (int(any(one.electrical == "lamp" and one.pin != "LED" for one in rows)), "status light", "light-emitting diode, green, panel mount, with 330 ohm"),
        (field, "optocoupler", "transistor output, current transfer 50 % or more at 5 mA, 5000 V RMS"),
        (field, "reverse diode", "100 V, 0.15 A, across each coupler's diode"),
        (field, "series resistor", "2.2 kohm, 0.25 W, in each field circuit"),
        (field, "pull-up resistor", "10 kohm, 0.25 W, at each coupler"),
        (1, "field suppressor", "18 V standoff, bidirectional, 600 W, across the field supply"),
        (panel, "pull-up resistor", "3.3 kohm, 0.25 W, at each panel contact"),
        (2 * (panel + analog + hall), "clamp diode", "silicon, 100 V, 0.15 A; two at each panel contact, loop, divider "
         "and Hall sensor: to 3.3 V and from 0 V"),
        (field + panel + count["current"], "filter resistor", "1 kohm, 0.25 W, at each pin of contacts and currents"),
        (analog + hall, "filter resistor", "10 kohm, 0.25 W, before the clamp of loop, divider and Hall sensor"),
        (field + panel + count["current"] + analog, "filter capacitor", "100 nF, 50 V, ceramic, at each input pin"),
        (1, "loop supply", "9 to 18 V in, 24 V 0.1 A out; with a level transmitter only"),
        (1, "loop shunt", f"{figures.LOOP_OHM[board]:g} ohm, 0.1 %, 1 W; with a level transmitter only{shared}"),
        (1, "divider", f"180 kohm and 20 kohm, 0.1 %, 0.25 W{shared}"),
        (4, "float switch", "dry contact for 12 V DC, 5 mA; `high` normally closed (opens when wet), the others normally open"),
        (1, "level transmitter", "4 to 20 mA, two wires, submersible, its range the pit's depth or more; where one is fitted"),
        (sum(one.name.startswith("moisture") for one in rows), "moisture relay", "as the motor's maker asks for its seal probe, "
         "contact gold-plated, 5 mm or more from the line; where the motor has a probe"),
        (2, "hand-off-auto selector SS1, SS2", "three positions, 22 mm, two contact blocks 240 V AC-15 and two gold-plated ones"),
        (2, "push button", "momentary, normally open, gold-plated, 22 mm"),
        (1, "test jumper", "two-pin header with a cap, or a small switch, inside the enclosure"),
        (1, "mains relay KM", "coil for the line voltage, 5 mm or more between coil and contact, gold-plated contact"),
        (1, "horn", "12 V DC, 95 dB or more at 1 ft, under 1 A"),
        (1, "beacon", "12 V DC, under 1 A"),
        (1, "serial transceiver", "RS-485, 3.3 V, turns the line by itself, isolated where the cable leaves the house"),
        (1, "serial suppressor", "6.5 V standoff, bidirectional, across A and B"),
        (2, "terminator", "120 ohm, 0.25 W, one across A and B at each end of the cable"),
        *fuses.rows(hall),
        (1, "surge arrester", "type 2, for the service's voltage, at the panel, by the electrician"),
    ]  # fmt: skip
    for one in motors:
        found += _pump(one)
    found += _supply(battery_ah, charger_a, "charging" in {one.name for one in rows})
    return [(str(count), part, rating) for count, part, rating in found if count]


def _pump(one):
    n = one.number
    sensor = one.sensor
    volts = f"{one.volts:g} V {'DC' if one.direct else 'AC'}"
    what = f"fuse FU{n} with holder" if one.direct else f"branch breaker CB{n}"
    found = [
        (1, f"pump {n}: contactor C{n}", f"{one.contactor_a} A {one.category} or rated in horsepower for the motor, coil "
         f"{volts}"),
        (1, f"pump {n}: {what}", f"{one.breaker_a:g} A, {'32 V DC, at the battery post' if one.direct else volts}"),
        (1, f"pump {n}: disconnect DS{n}", f"lockable, {volts}, {one.breaker_a:g} A, motor rated, in sight of the pump"),
        (int(not one.direct), f"pump {n}: receptacle", f"for a pump with cord and plug: {volts}, rated for its plug and its "
         "breaker, weather-resistant"),
        (1, f"pump {n}: conductors", f"{one.awg} AWG copper, insulation 75 C wet"),
        (1, f"pump {n}: coil fuse FC{n}", f"2 A, {volts}, with holder"),
        (1, f"pump {n}: thermal relay KT{n}", f"where the motor brings its contact out: coil {volts}, two contacts, one "
         "gold-plated, 5 mm or more between them"),
    ]  # fmt: skip
    if one.direct:
        found.append((2, f"pump {n}: coil diode", f"100 V, 1 A, across the coils of C{n} and KT{n}"))
    else:
        found += [(1, f"pump {n}: ground-fault device GFCI {n}", f"GFCI, class A (5 mA), {volts}, {one.breaker_a:g} A"),
                  (2, f"pump {n}: coil suppressor", "100 ohm 1 W and 0.1 uF 275 V AC class X2, across the coils of "
                      f"C{n} and KT{n}")]  # fmt: skip
    if sensor is None:
        return found
    if sensor.kind == sensors.TRANSFORMER:
        found += [
            (1, f"pump {n}: current transformer", f"{sensor.ratio:.0f}:1, {sensor.range_a:g} A, split core, insulation "
             f"600 V, with {sensor.burden_ohm:g} ohm 1 % 0.5 W; or a ready transducer, {sensor.range_a:g} A AC to 3.3 V DC, "
             "instead of the rectifier too"),
            (1, f"pump {n}: quad amplifier", "inputs and outputs from rail to rail on 3.3 V, offset 3 mV or less, no phase "
             "reversal, input current 5 mA; 100 nF at its supply; amplifier 4 unused: plus input to 0 V, output to minus"),
            (1, f"pump {n}: rectifier", f"resistors 0.25 W: 10 kohm, 47 kohm, and at 1 % three of 10 kohm and one of "
             f"{figures.rectifier(sensor).feedback_kohm:g} kohm; Schottky diode 30 V 0.2 A; capacitor 1 uF film 50 V")]  # fmt: skip
    else:
        found.append((1, f"pump {n}: Hall sensor", f"{sensor.range_a:g} A DC, one direction, 0 to {sensor.full_v:g} V, supply "
                      "5 V; amplifier with inputs and output from rail to rail on 3.3 V, 100 nF at its supply; 10 kohm and "
                      f"{figures.amplifier(sensor.gain).feedback_kohm:g} kohm, 1 % 0.25 W"))  # fmt: skip
    return found


def _supply(battery_ah, charger_a, has_contact):
    kind = "sealed lead-acid for standby use" if battery_ah is None else "as in the site file; the pump's own"
    ah = figures.OWN_BATTERY_AH if battery_ah is None else battery_ah
    amps = f"{0.1 * ah:.1f} to {0.2 * ah:.1f} A" if charger_a is None else f"{charger_a:g} A as in the site file"
    contact = ", with an alarm contact" if has_contact else ""
    return [
        (1, "battery", f"12 V, {ah:g} Ah, {kind}"),
        (1, "charger", f"12 V, float regulated, temperature compensated, for this type of battery, {amps}{contact}"),
        (1, "converter", "9 to 18 V in, 5 V 3 A out"),
        (1, "Schottky diode", "40 V, 1 A, between the 5 V converter and the board"),
        (1, "isolated converter", "9 to 18 V in, 12 V 0.2 A out, 1500 V DC isolation"),
        (1, "circuit board", "perforated, plated through, 4 x 6 in or larger, with sockets for the controller board"),
        (1, "hook-up wire", "22 AWG stranded, 300 V; 16 AWG for the 12 V supply; ferrules"),
        (1, "enclosure", "NEMA 4X (IP66), non-metallic, with back plate, glands, drain-breather; a second one for line "
         "voltage"),
        (1, "USB isolator", "or a laptop on its own battery, to read the board"),
        (1, "test gear", "multimeter; clamp meter for AC and DC; plug-in cord splitter with insulated loop; 12 V lamp of 5 A; "
         "1.8 kohm 0.5 W"),
        (1, "terminals", "numbered, 2.5 mm2 (12 AWG), 20 % spare, with partition plates"),
    ]  # fmt: skip
