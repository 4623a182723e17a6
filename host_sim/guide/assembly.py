"""The order of assembly, each step with the test that ends it; `sumpbench build --check` carries the tests out."""

# How MicroPython's file gets onto the board, as its download page says (from memory).
IMAGE = {
    "pico": "Hold BOOTSEL while you plug it in; copy MicroPython's file for RPI_PICO (with radio: RPI_PICO_W) to the drive "
            "that appears.",
    "esp32": "MicroPython's file for ESP32_GENERIC_S3, written with the chip maker's esptool: erase, then write at 0.",
}  # fmt: skip


def steps(board, expander, active_low=False):
    """Return rows of (what to do, the test that ends the step)."""
    deploy = f"sumpbench deploy --board {board} --port PORT --settings my-site.toml"
    deploy += " --active-low all" if active_low else ""
    deploy += " --expander" if expander else ""
    check = f"sumpbench build --check --board {board}{'' if expander else ' --no-expander'} --port PORT"
    found = [
        ("Read the cautions. On a computer: this program (its README, two commands), then your own site file, by "
         "`sumpbench size --ask my-site.toml`. Print this guide for it.",
         f"`sumpbench build --board {board} --site my-site.toml{'' if expander else ' --no-expander'}"
         f"{' --active-low' if active_low else ''}`: the site's name on sheet 1 is yours, the motors on the ladder diagram "
         "are those on your data plates."),
        ("Ask the building department. Order the parts. Print the labels.",
         "Permit and electrician arranged for everything at line voltage; each part ticked on the list."),
        ("Mount enclosure, back plate, terminals X1 to X6, supply and converters. Battery not connected.",
         "Meter: no connection from any terminal to the enclosure or to the line side."),
        ("Connect the battery through its 5 A fuse, nothing else.",
         "5.0 V (4.75 to 5.25 V) at the converter; 12 V (11 to 13 V) at the isolated one; field 0 V not connected to 0 V."),
        (f"Board on the bench, nothing wired to it: MicroPython 1.24 or later over USB. {IMAGE[board]} PORT is what your "
         "computer calls the board: COM5, /dev/ttyACM0. If your relay module is active-low, say so now: `--active-low all`.",
         f"`{deploy}`: it ends with `controller running`."),
        ("Solder panel and field circuits (drawings F, P), relay drive (R), measuring (C, L, B).",
         "Board out of its socket: 3.3 V at each pull-up; each field contact bridged: coupler output under 0.4 V."),
        ("Board into its socket. Relay module connected, its contacts not wired to anything.",
         "FIRST POWER-UP, WITHOUT PUMPS: K1 and K2 never click; after some seconds K3 and K4 (horn, beacon) pull in, K5 and "
         "K6 stay dropped, the light dark: with no float wired it reads high water, and both motors hot. If all six pull in "
         "at once the module is active-low: `sumpbench hardware --port PORT --active-low all`."),
        ("Front panel: selectors, push buttons, lamp, jumper.",
         f"`{check} --only X2`: the program asks for each contact and reads it."),
        ("Field wiring at X1 and X3: floats on the bench in a bucket, thermal and moisture contacts, mains relay, charger, "
         "generator.", f"`{check} --only X1 --only X3`: each one tipped or bridged by hand."),
        ("Measuring: level loop, battery, both current sensors on an unplugged wire.",
         f"`{check} --only X5`: known currents and voltages are read within 3 %."),
        ("Horn, beacon, alarm and service line to the relay contacts, each through its fuse.",
         "Tip the high float: you hear the horn, see the beacon, and the alarm line calls. Let it hang; press silence, then "
         "reset."),
        ("Electrician: contactors, breakers, GFCI devices, disconnects, coil circuits. Pumps unplugged.",
         "Selector at OFF: no contactor moves whatever the relays do. HAND: it pulls in. GFCI test buttons trip."),
        ("Pump relays K1, K2 to the coil circuits. Pumps still unplugged.",
         f"Selectors to AUTO, reset: K5 and K6 pulled in, status light on, nothing is wrong. Then `{check}`: what is left, the "
         "outputs and each contactor; all proved, the record kept."),
        ("Floats into the pit, cover on, pumps plugged in.",
         "`sumpbench commission --port PORT --site my-site.toml`: the hose test, with its record to sign."),
    ]  # fmt: skip
    if expander:
        at = next(n for n, (_, test) in enumerate(found) if test.startswith("FIRST POWER-UP"))
        found.insert(at, ("Expander and converter: SDA, SCL, 3.3 V, 0 V, pull-ups, address pins, unused inputs.",
                          "Meter: SDA and SCL 3.3 V, address pins 0 V. After the first power-up `sumpbench watch --port PORT` "
                          "does not list `I2C expander not answering`."))  # fmt: skip
    return found
