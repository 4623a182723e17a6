"""The order of assembly, each step with the test that ends it; `sumpbench build --check` carries the tests out."""

from host_sim.guide import trials

# How MicroPython's file gets onto the board, as its download page says (from memory).
IMAGE = {
    "pico": "Hold BOOTSEL while you plug it in; copy MicroPython's file for RPI_PICO (with radio: RPI_PICO_W) to the drive "
            "that appears.",
    "esp32": "MicroPython's file for ESP32_GENERIC_S3, written with the chip maker's esptool: erase, then write at 0.",
}  # fmt: skip

# What is bridged until the electrician's relay takes its place: signal, bridge, in words.
BRIDGED = (("thermal 1", "X1:+ to X1:5 and to X1:6", "thermal relays KT1 and KT2"),
           ("mains present", "X3:+ to X3:1", "mains relay KM"))  # fmt: skip
FIELD = (("moisture 1", "moisture contacts"), ("charging", "charger's contact"), ("generator", "transfer switch's contact"))
SITE = "sumpbench-size/site.toml"  # what `sumpbench size` writes


def steps(subject):
    """Return rows of (what to do, the test that ends the step) for a `subject.Subject`."""
    return [*_before(subject), *_bench(subject), *_low_voltage(subject), *_power(subject)]


def check_command(subject):
    """Return the command that proves a build, without connectors."""
    return f"sumpbench build --check --board {subject.board}{'' if subject.expander else ' --no-expander'} --port PORT"


def _before(subject):
    options = f"{'' if subject.expander else ' --no-expander'}{' --active-low' if subject.active_low else ''}"
    return [
        ("Read the cautions. On a computer: this program (its README, two commands), then your own pit, by "
         f"`sumpbench size --ask my-site.toml`. It sizes what you answer and writes the sized site, `{SITE}`: that file is "
         "meant from here on. Print this guide for it.",
         f"`sumpbench build --board {subject.board} --site {SITE}{options}`: the site's name on sheet 1 is yours, the motors "
         "on the ladder diagram are those on your data plates."),
        ("Ask the building department. Order the parts. Print the labels.",
         "Permit and electrician arranged for everything at line voltage; each part ticked on the list."),
        ("Mount enclosure, back plate, terminals X1 to X7, the converters' inputs at X7:+ and X7:0. Battery not connected.",
         "Meter: no connection from any terminal to the enclosure or to the line side."),
        ("Battery's minus to X7:0, its plus through fuse FB to X7:+, nothing else.",
         "5.0 V (4.75 to 5.25 V) at the 5 V converter; 12 V (11 to 13 V) at the isolated one"
         f"{'; 24 V (23 to 25 V) at the loop supply' if subject.has('level loop') else ''}; field 0 V not connected to 0 V. "
         "Take fuse FB out again."),
    ]  # fmt: skip


def _bench(subject):
    deploy = f"sumpbench deploy --board {subject.board} --port PORT --settings {SITE}"
    deploy += " --active-low all" if subject.active_low else ""
    deploy += " --expander" if subject.expander else ""
    say_so = "" if subject.active_low else (
        "If your relay modules are active-low, print this guide with `--active-low` and follow that one.")
    low = ("If a relay pulls in that should not, its holding resistor is not at 3.3 V, or its input side is fed with 5 V."
           if subject.active_low else
           "If all six pull in at once the modules are active-low: fuse FB out, holding resistors to 3.3 V instead of 0 V, "
           "then `sumpbench hardware --port PORT --active-low all`.")  # fmt: skip
    bus = "SDA and SCL 3.3 V, address pins 0 V; " if subject.expander else ""
    letters = "".join(f", {letter}" for letter, there in (
        ("C", any(one.sensor for one in subject.motors)), ("L", subject.has("level loop")),
        ("B", subject.has("battery"))) if there)  # fmt: skip
    return [
        ("Board on the bench, nothing wired to it: MicroPython 1.24 or later over USB. "
         f"{IMAGE[subject.board]} PORT is what your computer calls the board: COM5, /dev/ttyACM0. {say_so}",
         f"`{deploy}`: it ends with `controller running`. Unplug the board."),
        (f"Solder panel and field circuits (drawings F, P), relay drive (R), measuring ({letters[2:]}) and the socket."
         if letters else "Solder panel and field circuits (drawings F, P), relay drive (R) and the socket.",
         "Board not in it, fuse FB out. Meter, in ohms, to the socket's 3.3 V pin: 4.3 kohm from each panel contact's pin, "
         "11 kohm from each field contact's; none of 3.3 V, 5 V, 0 V, 12 V field connected to another."),
        *_bus(subject),
        ("Fuse FB in. Board still out of its socket.",
         "Meter: 4.5 to 5.2 V at the socket's 5 V pin; no voltage at any other pin of it, nor when X1:+ is held to each field "
         "contact's terminal. What is there would destroy the board: find it first."),
        ("Fuse FB out, board into its socket, relay modules not connected. Fuse FB in.",
         f"3.3 V (3.1 to 3.4 V) at the board's output pin and at each pull-up; {bus}each coupler's output above 3 V, under 0.4 V "
         "while its field contact is bridged to X1:+. A board that turns hot: FB out at once."),
        ("Fuse FB out. Relay modules connected to X4, their contacts not wired to anything. Fuse FB in.",
         "FIRST POWER-UP, WITHOUT PUMPS: K1 and K2 never click; after some seconds K3 and K4 (horn, beacon) pull in, K5 and "
         f"K6 stay dropped, the light dark: with no float wired it reads high water, and both motors hot. {low}"),
    ]  # fmt: skip


def _bus(subject):
    if not subject.expander:
        return []
    chips = "Expander and converter" if subject.has_converter else "Expander"
    return [(f"{chips}: SDA, SCL, 3.3 V, 0 V, pull-ups, address pins, unused inputs.",
             "Meter, in ohms: 4.7 kohm from SDA and from SCL to the 3.3 V socket pin, address pins to 0 V; SDA and SCL "
             "not connected to each other. After the first power-up `sumpbench watch --port PORT` does not list "
             "`I2C expander not answering`.")]  # fmt: skip


def _low_voltage(subject):
    check = check_command(subject)
    field = ", ".join(["floats on the bench in a bucket", *(words for name, words in FIELD if subject.has(name))])
    bridges = "; ".join(f"{bridge}, for the {words}" for name, bridge, words in BRIDGED if subject.has(name))
    found = [
        ("Charger to the battery's posts, its plus through FG; then its cord in.",
         "Meter at the posts: the charger's float voltage, after some hours (lead-acid 13.2 to 13.8 V). No smell, nothing warm."),
        (f"Front panel at X2: selectors' second contacts, push buttons, {'lamp, ' if subject.has_lamp else ''}jumper.",
         f"`{check} --only X2`: the program asks for each contact and reads it. The status light is dark until nothing is wrong: "
         "it is proved later."),
        (f"Field wiring at X1 and X3: {field}. A bridge stands for each contact that the electrician brings: {bridges}.",
         f"`{check} --only X1 --only X3`: each one tipped, lifted or bridged by hand."),
    ]  # fmt: skip
    ways = trials.ways(subject)
    if ways:
        parts = [words for words, there in (("current sensors", any(one.sensor for one in subject.motors)),
                 ("level loop", subject.has("level loop")), ("battery", subject.has("battery"))) if there]  # fmt: skip
        fuse = " FV to the post." if subject.has("battery") else ""
        found.append((f"Measuring at X5: {', '.join(parts)}.{fuse} Nothing at line voltage is opened for it. "
                      f"{'. '.join(ways)}.",
                      f"`{check} --only X5`: the meter's reading typed in, the controller's within 3 % of full scale."))
    return [
        *found,
        ("Horn, beacon, alarm and service line: X7:+ through FA3 to FA6, the contacts of K3 to K6 (K3 and K4 normally open, K5 "
         "and K6 normally closed), the load, X7:0.",
         "Tip the high float: you hear the horn, see the beacon, and the alarm line calls. Let it hang; press silence, then "
         "reset."),
    ]  # fmt: skip


def _power(subject):
    line = subject.lines
    sensors = ", each sensor round one conductor of its pump" if any(one.sensor for one in subject.motors) else ""
    bridges = [bridge for name, bridge, _ in BRIDGED if subject.has(name)]
    gfci = " Each GFCI's test button trips it." if line else ""
    return [
        ("Electrician: contactors, overcurrent devices, disconnects, coil circuits, selectors' power contacts, equipment ground"
         f"{', GFCI devices' if line else ''}{', mains relay' if subject.has('mains present') else ''}, thermal relays, surge "
         f"arrester{sensors}. The bridges out ({'; '.join(bridges)}), the relays' gold-plated contacts in their place. "
         "Pumps unplugged, or their leads off.",
         f"Selector at OFF: no contactor moves. HAND: it pulls in.{gfci} Then OFF. `sumpbench watch --port PORT`: no motor "
         f"overheated{', no mains failure' if subject.has('mains present') else ''}."),
        (f"{'Electrician: r' if line else 'R'}elays K1, K2 to the coil circuits (ladder diagram). Pumps still unplugged, or their leads off.",
         f"Selectors to AUTO, reset: K5 and K6 pulled in, status light on, nothing is wrong. Then `{check_command(subject)}`: "
         "what is left, the outputs and each contactor; all proved, the record kept."),
        ("RS-485, where it is fitted: transceiver at X6, cable, suppressor, a terminator at each end; USB adapter for "
         "RS-485 at the far end, its port LINE.",
         f"`{check_command(subject)} --line LINE --only X6`: the program reads the same controller over it. No answer: change "
         "A and B over."),
        ("Floats into the pit, cover on, pumps plugged in or their leads connected.",
         f"`sumpbench commission --port PORT --site {SITE}`: the hose test, with its record to sign."),
    ]  # fmt: skip
