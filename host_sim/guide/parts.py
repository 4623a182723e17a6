"""The parts list of a board and a site: counts and ratings, never brands."""

from math import ceil

from duplexsump.control import settings as s

from host_sim.guide import figures, fuses, places, trials
from host_sim.sizing import sensors

BOARD = {
    "pico": "RP2040 board with 40-pin header (Raspberry Pi Pico or Pico W)",
    "esp32": "ESP32-S3 development board with 44 pins, two rows of 22, two USB sockets (USB and UART)",
}
# A pin of either board gives this much with its voltage in bounds; both chips' data sheets, from memory.
PIN_MA = 4


# With FC at 2 A and a relay contact of 5 A.
COIL_DC = " that draws at most 1 A, 2 A as it pulls in"
COIL_AC = ", at most 60 VA as it pulls in"
PANEL_POLES = {False: "one pole", True: "two poles"}


def parts(subject):
    """Return rows of (count, part, rating) for a `subject.Subject`."""
    found = [*_chips(subject), *_relays(subject), *_inputs(subject), *_devices(subject), *fuses.rows(subject),
             (1, "surge arrester", "type 2, for the service's voltage, at the panel, by the electrician")]  # fmt: skip
    for one in subject.motors:
        found += _pump(one, one.number in subject.thermal)
    found += [*_supply(subject), *_mechanical(subject)]
    return [(str(count), part, rating) for count, part, rating in found if count]


def _chips(subject):
    found = [(1, "controller board", f"{BOARD[subject.board]}, MicroPython 1.24 or later, USB cable")]
    if not subject.expander:
        return found
    found.append((1, "I2C I/O expander", "16 bit, inputs at power-up, register model of the 9535/9555 type, address "
                  "0x20, 3.3 V, on a carrier board"))  # fmt: skip
    if subject.has_converter:
        found.append((1, "I2C analog converter", "12 or 16 bit, 4 channels, register model of the 1015/1115 type, "
                      "address 0x48, 3.3 V, on a carrier board"))  # fmt: skip
    return [*found, (2, "pull-up resistor", "4.7 kohm, 0.25 W, for SDA and SCL")]


def _relays(subject):
    lines = [f"K{n}" for n in subject.lines]
    others = [f"K{n}" for n in range(1, 7) if n not in subject.lines]
    switched = "on at 0 V (active-low)" if subject.active_low else "on at 3.3 V (active-high)"
    side = (f"{switched}, at most {PIN_MA} mA an input at 3.3 V; inputs isolated, their side fed with 3.3 V apart from the coils' "
            "5 V")  # fmt: skip
    found = [] if not lines else [
        (1, f"relay module for {', '.join(lines)}", f"{len(lines)} channel{'s' if len(lines) > 1 else ''}, {side}; "
         "contacts 250 V AC 5 A, insulation reinforced; on its own, in the line-voltage enclosure")]
    return [*found,
            (1, f"relay module for {', '.join(others)}", f"{len(others)} channels or more, {side}; change-over "
             "contacts 30 V DC 5 A"),
            (6, "holding resistor", f"10 kohm, 0.25 W, from each relay input to {'3.3 V' if subject.active_low else '0 V'}"),
            (int(subject.has_lamp), "status light", "light-emitting diode, green, panel mount, with 330 ohm")]  # fmt: skip


def _inputs(subject):
    field = sum(one.electrical == "field contact" for one in subject.rows)
    panel = sum(one.electrical == "panel contact" for one in subject.rows)
    current = sum(one.sensor is not None for one in subject.motors)
    loop, battery, hall = int(subject.has("level loop")), int(subject.has("battery")), subject.hall
    where = [words for words, there in (("each panel contact", panel), ("loop", loop), ("divider", battery),
                                        ("each Hall sensor", hall)) if there]  # fmt: skip
    return [
        (field, "optocoupler", "transistor output, current transfer 50 % or more at 5 mA, 5000 V RMS"),
        (field, "reverse diode", "100 V, 0.15 A, across each coupler's diode"),
        (field, "series resistor", "2.2 kohm, 0.25 W, in each field circuit"),
        (field, "pull-up resistor", "10 kohm, 0.25 W, at each coupler"),
        (len(subject.kept_cool), "outage capacitor", "100 uF, 25 V, electrolytic, with 100 ohm 0.25 W: holds the input of a relay KT at "
         "line voltage for 0.3 s"),
        (1, "field suppressor", "18 V standoff, bidirectional, 600 W, across the field supply"),
        (panel, "pull-up resistor", "3.3 kohm, 0.25 W, at each panel contact"),
        (2 * (panel + loop + battery + hall), "clamp diode", f"silicon, 100 V, 0.15 A; two at {', '.join(where)}: to 3.3 V "
         "and from 0 V"),
        (field + panel + current, "filter resistor", "1 kohm, 0.25 W, at each pin of contacts and currents"),
        (loop + battery + hall, "filter resistor", f"10 kohm, 0.25 W, before the clamp of {', '.join(where[1:])}"),
        (field + panel + current + loop + battery, "filter capacitor", "100 nF, 50 V, ceramic, at each input pin"),
        (loop, "loop supply", "9 to 18 V in, 24 V 0.1 A out"),
        (loop, "loop shunt", f"{figures.LOOP_OHM[subject.board]:g} ohm, 0.1 %, 1 W"),
        (battery, "divider", "180 kohm and 20 kohm, 0.1 %, 0.25 W"),
    ]  # fmt: skip


def _devices(subject):
    floats = [one.name for one in subject.rows if one.name.startswith("float") and one.name not in subject.absent]
    loop, mains = int(subject.has("level loop")), int(subject.has("mains present"))
    return [
        (len(floats), "float switch", "dry contact for 12 V DC, 5 mA, cable 2 x 20 AWG to the enclosure; `high` normally "
         "closed (opens when wet), the others normally open"),
        (loop, "level transmitter", "4 to 20 mA, two wires, submersible, range "
         f"{subject.site.settings[s.LEVEL_SPAN_MM] / 304.8:.3g} ft of water ({subject.site.settings[s.LEVEL_SPAN_MM]} mm) as in the "
         "site file, working from "
         f"{24.0 - 0.022 * figures.LOOP_OHM[subject.board]:.0f} V or less"),
        (sum(one.name.startswith("moisture") for one in subject.rows), "moisture relay", "as the motor's maker asks for its "
         "seal probe, contact gold-plated, 5 mm or more from the line; where the motor has a probe"),
        (2, "hand-off-auto selector SS1, SS2", "three positions, 22 mm; two contact blocks for the coil "
         f"circuit, {_blocks(subject)}, and two gold-plated ones; covers over the blocks' screws at line voltage"),
        (2, "push button", "momentary, normally open, gold-plated, 22 mm"),
        (1, "test jumper", "two-pin header with a cap, or a small switch, inside the enclosure"),
        (mains, "mains relay KM", "coil for the line voltage, 5 mm or more between coil and contacts, gold-plated contacts: one normally "
         f"open{_second(subject)}"),
        (1, "horn", "12 V DC, 95 dB or more at 1 ft, under 1 A"),
        (1, "beacon", "12 V DC, under 1 A"),
        (2, "dialer", "calls when 12 V DC comes onto it, under 0.5 A: one on the alarm line, one on the service line, or one with two "
         "inputs; where nobody is to be called, none"),
        (1, "serial transceiver", "RS-485, 3.3 V, turns the line by itself, isolated where the cable leaves the house; "
         "where RS-485 is wanted, with the next three"),
        (1, "serial suppressor", "6.5 V standoff, bidirectional, across A and B"),
        (2, "terminator", "120 ohm, 0.25 W, one across A and B at each end of the cable"),
        (1, "USB adapter for RS-485", "for the computer at the far end, and to prove X6"),
    ]  # fmt: skip


def _blocks(subject):
    kinds = [f"12 V DC, 2 A (DC-13), in SS{one.number}" if one.direct else f"240 V AC (AC-15) in SS{one.number}" for one in subject.motors]
    return "; ".join(kinds)


def _second(subject):
    count = len(subject.kept_cool)
    held = " and ".join(f"X1:{4 + n}" for n in subject.kept_cool)
    return f", and {count} normally closed, for {held}" if count else ""


def _pump(one, hot):
    coils = f"the coils of C{one.number} and KT{one.number}" if hot else f"the coil of C{one.number}"
    n = one.number
    volts = f"{one.volts:g} V {'DC' if one.direct else 'AC'}"
    poles = ", two poles" if one.two_poles else ""
    what = f"fuse FU{n} with holder" if one.direct else f"branch breaker CB{n}"
    found = [
        (1, f"pump {n}: contactor C{n}", f"{one.contactor_a} A {one.category}, {'two poles' if one.two_poles else 'one pole'} or more, "
         f"{'' if one.direct else 'or rated in horsepower for the motor, '}coil {volts}{COIL_DC if one.direct else COIL_AC}"),
        (1, f"pump {n}: {what}", f"{one.breaker_a:g} A{' slow-blow (time-delay)' if one.direct else ''}, "
         f"{fuses.POST if one.direct else f'{volts}, {PANEL_POLES[one.two_poles]}, of the type that the panel takes'}"),
        (1, f"pump {n}: disconnect DS{n}", f"lockable, {volts}{poles}, {one.breaker_a:g} A or more, motor rated, in sight of "
         "the pump"),
        (1, f"pump {n}: conductors", f"{one.awg} AWG copper, insulation 75 C wet"
         f"{'' if one.direct else f', and equipment ground {one.awg} AWG'}; length: measure the run"),
        (1, f"pump {n}: coil fuse FC{n}", f"2 A, {'32 V DC, with holder' if one.direct else '250 V AC, with holder, interrupting 10 kA'}"),
        (int(hot), f"pump {n}: thermal relay KT{n}", f"coil {volts}, under 0.2 A, two contacts normally open, one gold-plated, 5 mm or "
         "more between them; of the type of KM where that is fitted"),
    ]  # fmt: skip
    if one.direct:
        found.append((1 + hot, f"pump {n}: coil diode", f"100 V, 1 A, across {coils}"))
    else:
        found += [(1, f"pump {n}: GFCI {n}", f"class A (5 mA), {volts}: {figures.guard(one)}"),
                  (int(one.plugs), f"pump {n}: receptacle", f"single, NEMA {_receptacle(one)} (NEMA WD 6), "
                   f"{one.breaker_a:g} A, wet-location cover, after C{n}; for a pump with cord and plug"),
                  (1 + hot, f"pump {n}: coil suppressor", f"100 ohm 1 W and 0.1 uF 275 V AC class X2, across {coils}")]  # fmt: skip
    return found + ([] if one.sensor is None else _sensor(one))


def _receptacle(one):
    return f"{6 if one.two_poles else 5}-{one.breaker_a:g}R"


def _sensor(one):
    n, sensor = one.number, one.sensor
    if sensor.kind == sensors.TRANSFORMER:
        return [
            (1, f"pump {n}: current transformer", f"{sensor.ratio:.0f}:1, {sensor.range_a:g} A, split core, insulation "
             f"600 V, with {sensor.burden_ohm:g} ohm 1 % 0.5 W; or a ready transducer, {sensor.range_a:g} A AC to 3.3 V DC, "
             "instead of the rectifier too"),
            (1, f"pump {n}: quad amplifier", "inputs and outputs from rail to rail on 3.3 V, offset 3 mV or less, no phase "
             "reversal, input current 5 mA; 100 nF at its supply; amplifier 4 unused: plus input to 0 V, output to minus"),
            (1, f"pump {n}: rectifier", f"resistors 0.25 W: 10 kohm, 47 kohm, and at 1 % three of 10 kohm and one of "
             f"{figures.rectifier(sensor).feedback_kohm:g} kohm; Schottky diode 30 V 0.2 A; capacitor 1 uF film 50 V")]  # fmt: skip
    return [(1, f"pump {n}: Hall sensor", f"{sensor.range_a:g} A DC, one direction: 0 V without current (not 0.5 or 2.5 V), "
             f"{sensor.full_v:g} V at {sensor.range_a:g} A, its arrow toward the motor; supply 5 V, opening for {trials.turns(sensor)} turns of 16 AWG; amplifier with inputs and output from rail to rail on "
             "3.3 V, 100 nF at its supply; 10 kohm and "
             f"{figures.amplifier(sensor.gain).feedback_kohm:g} kohm, 1 % 0.25 W")]  # fmt: skip


def _supply(subject):
    battery, charger = subject.site.supply.battery, subject.site.supply.charger
    kind = "sealed lead-acid for standby use" if battery is None else "as in the site file; the pump's own"
    ah = figures.OWN_BATTERY_AH if battery is None else battery.capacity_as / 3600.0
    amps = f"{0.1 * ah:.1f} to {0.2 * ah:.1f} A" if charger is None else f"{charger.amps:g} A as in the site file"
    if charger is not None and not 0.1 * ah <= charger.amps <= 0.2 * ah:
        amps += f" (common practice is {0.1 * ah:.1f} to {0.2 * ah:.1f} A for {ah:g} Ah: ask the battery's maker)"
    contact = ", with an alarm contact that is closed while it charges" if subject.has("charging") else ""
    return [
        (1, "battery", f"12 V, {ah:g} Ah, {kind}"),
        (1, "charger", f"12 V, float regulated, temperature compensated, for this type of battery, {amps}{contact}"),
        (1, "converter", "9 to 18 V in, 5 V 3 A out"),
        (1, "Schottky diode", "40 V, 1 A, between the 5 V converter and the board"),
        (1, "isolated converter", "9 to 18 V in, 12 V 0.2 A out, 1500 V DC isolation"),
    ]  # fmt: skip


def _mechanical(subject):
    return [
        (1, "circuit board", "perforated, plated through, 4 x 6 in or larger, with sockets for the controller board"),
        (1, "hook-up wire", "22 AWG stranded, 300 V; 16 AWG for the 12 V supply; ferrules"),
        (terminals(subject), "terminal", "2.5 mm2 (12 AWG), numbered X1 to X7, 20 % spare, with jumper bars, end stops and "
         "partition plates"),
        (1, "low-voltage enclosure", "NEMA 4X (IP66), non-metallic, about 16 x 14 x 8 in, with back plate and drain-breather: "
         "lay the parts out on it first"),
        (int(places.has_line_enclosure(subject)), "line-voltage enclosure", "the same, about 12 x 12 x 8 in, opened with a tool, by the electrician"),
        (glands(subject), "cable gland", "rated like the enclosure, each for the jacket of its cable"),
        (1, "USB isolator", "or a laptop on its own battery, to read the board"),
        (1, "test gear", trials.gear(subject)),
    ]  # fmt: skip


def terminals(subject):
    """Return how many terminals X1 to X7 take, 20 % spare: two for each contact, one for each other wire."""
    pairs = sum(2 for one in subject.rows if one.electrical.endswith("contact"))
    single = sum(1 for one in subject.rows if not one.electrical.endswith("contact"))
    commons = 1 + 3 + 4 + 2 + 16  # X2:0 of the light; X4:+, X4:0, X4:7; X5:+, X5:5 and two X5:6; X6:3, X6:4; X7
    return ceil(1.2 * (pairs + single + commons))


def glands(subject):
    """Return how many cables enter the low-voltage enclosure.

    One for each float and other field contact, sensor, transmitter; supply, charger's
    contact within the field contacts; horn, beacon and both lines; relay inputs; serial.
    """
    field = sum(one.electrical == "field contact" for one in subject.rows)
    measured = sum(one.kind == "0 to 3.3 V" and one.name not in subject.absent for one in subject.rows)
    return field + measured + 1 + 4 + len(subject.lines) + 1
