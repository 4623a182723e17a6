"""The order of assembly, each step with the test that ends it; `sumpbench build --check` carries the tests out."""


def steps(board, expander, active_low=False):
    """Return rows of (what to do, the test that ends the step)."""
    deploy = f"sumpbench deploy --board {board} --port PORT"
    deploy += " --active-low all" if active_low else ""
    deploy += " --expander" if expander else ""
    found = [
        ("Read the cautions. Ask the building department. Order the parts. Print the labels.",
         "Permit and electrician arranged for everything at line voltage."),
        ("Mount enclosure, back plate, terminals X1 to X6, supply and converters. Battery not connected.",
         "Meter: no connection from any terminal to the enclosure or to the line side."),
        ("Connect the battery through its 5 A fuse, nothing else.",
         "5.0 V (4.75 to 5.25 V) at the converter; 12 V (11 to 13 V) at the isolated one; field 0 V not connected to 0 V."),
        ("Put MicroPython on the board over USB, not yet in the enclosure, nothing wired to it. If your relay module is "
         "active-low, say so now: --active-low all.", f"{deploy}: it ends with `controller running`."),
        ("Solder panel and field circuits (drawings F, P), relay drive (R), measuring (C, L, B).",
         "Board out of its socket: 3.3 V at each pull-up; each field contact bridged: coupler output under 0.4 V."),
        ("Board into its socket. Relay module connected, its contacts not wired to anything.",
         "FIRST POWER-UP, WITHOUT PUMPS: no pump relay clicks; alarm and service relay pull in; status light on. If all "
         "relays pull in at once: the module is active-low (sumpbench hardware --active-low all)."),
        ("Front panel: selectors, push buttons, lamp, jumper.",
         "sumpbench build --check --only X2 --port PORT: the program asks for each contact and reads it."),
        ("Field wiring at X1 and X3: floats on the bench in a bucket, thermal and moisture contacts, mains relay, charger, "
         "generator.", "sumpbench build --check --only X1 --only X3 --port PORT: each one tipped or bridged by hand."),
        ("Measuring: level loop, battery, both current sensors on an unplugged wire.",
         "sumpbench build --check --only X5 --port PORT: known currents and voltages are read within 3 %."),
        ("Horn, beacon, alarm and service line to the relay contacts, each through its fuse.",
         "You hear the horn and see the beacon at the next test: sumpbench command test --port PORT."),
        ("Electrician: contactors, breakers, GFCI devices, disconnects, coil circuits. Pumps unplugged.",
         "Selector at OFF: no contactor moves whatever the relays do. HAND: it pulls in. GFCI test buttons trip."),
        ("Pump relays K1, K2 to the coil circuits. Pumps still unplugged.",
         "sumpbench build --check --port PORT: what is left, the outputs and each contactor; all proved, the record kept."),
        ("Floats into the pit, cover on, pumps plugged in.",
         "sumpbench commission --port PORT --site my-site.toml: the hose test, with its record to sign."),
    ]  # fmt: skip
    if expander:
        found.insert(6, ("Expander and converter: SDA, SCL, 3.3 V, 0 V, pull-ups.",
                         "The service relay is energized, the status light is on: an expander that does not answer drops both."))  # fmt: skip
    return found
