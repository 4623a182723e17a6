"""The order of assembly, each step with the test that ends it; `sumpbench build --check` carries the tests out."""

from host_sim.board import signals

# How MicroPython's file gets onto the board, as its download page says (from memory).
IMAGE = {
    "pico": "Hold BOOTSEL while you plug it in; copy MicroPython's file for RPI_PICO (with radio: RPI_PICO_W) to the drive "
            "that appears.",
    "esp32": "MicroPython's file for ESP32_GENERIC_S3, written with the chip maker's esptool: erase, then write at 0.",
}  # fmt: skip

FIELD = (("thermal 1", "thermal contacts"), ("moisture 1", "moisture contacts"), ("mains present", "mains relay"),
         ("charging", "charger"), ("generator", "generator"))  # fmt: skip
SITE = "sumpbench-size/site.toml"  # what `sumpbench size` writes


def steps(board, expander, active_low=False):
    """Return rows of (what to do, the test that ends the step)."""
    deploy = f"sumpbench deploy --board {board} --port PORT --settings {SITE}"
    deploy += " --active-low all" if active_low else ""
    deploy += " --expander" if expander else ""
    check = f"sumpbench build --check --board {board}{'' if expander else ' --no-expander'} --port PORT"
    names = {one.name for one in signals.signals(board, expander)}
    fitted = ", ".join(words for name, words in FIELD if name in names)
    say_so, low = ("", "If a relay pulls in that should not, its holding resistor is not at 3.3 V, or its input side is fed "
                   "with 5 V.") if active_low else (
        "If your relay module is active-low, print this guide with `--active-low` and follow that one.",
        "If all six pull in at once the module is active-low: fuse FB out, holding resistors to 3.3 V instead of 0 V, then "
        "`sumpbench hardware --port PORT --active-low all`.")
    bus = "SDA and SCL 3.3 V, address pins 0 V; " if expander else ""
    found = [
        ("Read the cautions. On a computer: this program (its README, two commands), then your own pit, by "
         f"`sumpbench size --ask my-site.toml`. It sizes what you answer and writes the sized site, `{SITE}`: that file is "
         "meant from here on. Print this guide for it.",
         f"`sumpbench build --board {board} --site {SITE}{'' if expander else ' --no-expander'}"
         f"{' --active-low' if active_low else ''}`: the site's name on sheet 1 is yours, the motors on the ladder diagram "
         "are those on your data plates."),
        ("Ask the building department. Order the parts. Print the labels.",
         "Permit and electrician arranged for everything at line voltage; each part ticked on the list."),
        ("Mount enclosure, back plate, terminals X1 to X6, supply and converters. Battery not connected.",
         "Meter: no connection from any terminal to the enclosure or to the line side."),
        ("Connect the battery through its fuse FB, nothing else.",
         "5.0 V (4.75 to 5.25 V) at the converter; 12 V (11 to 13 V) at the isolated one; field 0 V not connected to 0 V. "
         "Take fuse FB out again."),
        (f"Board on the bench, nothing wired to it: MicroPython 1.24 or later over USB. {IMAGE[board]} PORT is what your "
         f"computer calls the board: COM5, /dev/ttyACM0. {say_so}",
         f"`{deploy}`: it ends with `controller running`. Unplug the board."),
        ("Solder panel and field circuits (drawings F, P), relay drive (R), measuring (C, L, B) and the socket. Board not in "
         "it, fuse FB out.",
         "Meter, in ohms, to the socket's 3.3 V pin: 4.3 kohm from each panel contact's pin, 11 kohm from each field contact's; "
         "none of 3.3 V, 5 V, 0 V, 12 V field connected to another."),
        ("Fuse FB in. Board still out of its socket.",
         "Meter: 4.5 to 5.2 V at the socket's 5 V pin; no voltage at any other pin of it, nor when X1:+ is held to each field "
         "contact's terminal. What is there would destroy the board: find it first."),
        ("Fuse FB out, board into its socket, relay module not connected. Fuse FB in.",
         f"3.3 V (3.1 to 3.4 V) at the board's output pin and at each pull-up; {bus}each coupler's output above 3 V, under 0.4 V "
         "while its field contact is bridged to X1:+. A board that turns hot: FB out at once."),
        ("Fuse FB out. Relay module connected, its contacts not wired to anything. Fuse FB in.",
         "FIRST POWER-UP, WITHOUT PUMPS: K1 and K2 never click; after some seconds K3 and K4 (horn, beacon) pull in, K5 and "
         f"K6 stay dropped, the light dark: with no float wired it reads high water, and both motors hot. {low}"),
        ("Front panel: selectors, push buttons, lamp, jumper.",
         f"`{check} --only X2`: the program asks for each contact and reads it."),
        (f"Field wiring at X1 and X3: floats on the bench in a bucket, {fitted}.", f"`{check} --only X1 --only X3`: each one tipped or bridged by hand."),
        ("Measuring: level loop, battery, both current sensors. Nothing at line voltage is opened for it. DC: a 12 V lamp of 5 A "
         "on the battery, fused, its wire five times through the sensor, is 25 A: turns multiply. AC: a heater of 12 A on a plug-in cord "
         "splitter with insulated loop. Loop: 1.8 kohm, 0.5 W in the transmitter's place is about 12 mA.",
         f"`{check} --only X5`: a third of full scale or more, read within 3 % of it. The meter's clamp goes round the same "
         "turns as the sensor."),
        ("Horn, beacon, alarm and service line to the relay contacts, each through its fuse, FA3 to FA6.",
         "Tip the high float: you hear the horn, see the beacon, and the alarm line calls. Let it hang; press silence, then "
         "reset."),
        ("Electrician: contactors, breakers, GFCI devices, disconnects, coil circuits. Pumps unplugged.",
         "Selector at OFF: no contactor moves whatever the relays do. HAND: it pulls in. GFCI test buttons trip."),
        ("Pump relays K1, K2 to the coil circuits. Pumps still unplugged.",
         f"Selectors to AUTO, reset: K5 and K6 pulled in, status light on, nothing is wrong. Then `{check}`: what is left, the "
         "outputs and each contactor; all proved, the record kept."),
        ("RS-485, where it is fitted: transceiver at X6, cable, suppressor, a terminator at each end; USB adapter for "
         "RS-485 at the far end, its port LINE.", "`sumpbench watch --port LINE --framing rtu`: the same figures as over USB."),
        ("Floats into the pit, cover on, pumps plugged in.",
         f"`sumpbench commission --port PORT --site {SITE}`: the hose test, with its record to sign."),
    ]  # fmt: skip
    if expander:
        at = next(n for n, (do, _) in enumerate(found) if do.startswith("Fuse FB in. Board still out"))
        found.insert(at, ("Expander and converter: SDA, SCL, 3.3 V, 0 V, pull-ups, address pins, unused inputs.",
                          "Meter, in ohms: 4.7 kohm from SDA and from SCL to the 3.3 V socket pin, address pins to 0 V; SDA and SCL "
                          "not connected to each other. After the first power-up `sumpbench watch --port PORT` does not list "
                          "`I2C expander not answering`."))  # fmt: skip
    return found
