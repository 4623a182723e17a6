"""The order of assembly, each step with the test that ends it; `sumpbench build --check` carries the tests out."""

from host_sim.guide import trials

# How MicroPython's file gets onto the board, as its download page says (from memory).
IMAGE = {
    "pico": "Hold BOOTSEL while you plug it in; copy MicroPython's file for RPI_PICO (with radio: RPI_PICO_W) to the drive "
            "that appears.",
    "esp32": "MicroPython's file for ESP32_GENERIC_S3 from micropython.org; of the board's two USB sockets the one marked USB, "
             "with esptool and later as PORT (the one marked UART or COM is not used). Hold BOOT while you plug it in, then "
             "`esptool --chip esp32s3 --port PORT erase-flash`, `esptool --chip esp32s3 --port PORT write-flash 0 FILE`, "
             "reset (esptool 5; pip brings it).",
}  # fmt: skip

OUT, IN = "Fuse FB out.", "Fuse FB in."
STEP = "the electrician's step"  # its number takes the place of these words
FIELD = (("moisture 1", "moisture contacts"), ("charging", "charger's contact"), ("generator", "transfer switch's contact"))
INSTALL = '.venv/bin/python -m pip install ".[board]"'
SITE = "sumpbench-size/site.toml"  # what `sumpbench size` writes


def steps(subject):
    """Return rows of (what to do, the test that ends the step) for a `subject.Subject`."""
    first = [*_before(subject), *_bench(subject), *_low_voltage(subject)]
    electrician = str(len(first) + 1)
    first = [tuple(text.replace(STEP, f"step {electrician}") for text in row) for row in first]
    return [*first, *_power(subject)]


def check_command(subject):
    """Return the command that proves a build, without connectors."""
    return f"sumpbench build --check --board {subject.board}{'' if subject.expander else ' --no-expander'} --port PORT"


def bridges(subject):
    """Return (bridges until the electrician's relay takes their place, bridges for good) as rows of (bridge, for what)."""
    waiting = [(f"X1:+ to X1:{4 + n}", f"KT{n}") for n in subject.read_hot]
    waiting += [("X3:+ to X3:1", "KM")] if subject.has("mains present") else []
    good = [(f"X1:+ to X1:{4 + n}", f"thermal {n}") for n in subject.bridged_hot]
    return waiting, good


def _dead(subject):
    # How the pumps' circuits are made dead for work on them.
    found = [f"{' and '.join(f'CB{n}' for n in subject.lines)} off and locked"] if subject.lines else []
    posts = [f"FU{one.number}" for one in subject.motors if one.direct]
    return ", ".join([*found, *([f"{' and '.join(posts)} out"] if posts else [])])


def _live(subject):
    # How they are fed again.
    found = [f"{' and '.join(f'CB{n}' for n in subject.lines)} on"] if subject.lines else []
    posts = [f"FU{one.number}" for one in subject.motors if one.direct]
    return ", ".join([*found, *([f"{' and '.join(posts)} in"] if posts else [])])


def _contacts(subject):
    # The motors' own thermal contacts: "T1 and T2", "" for none.
    return " and ".join(f"T{n}" for n in subject.thermal)


def _before(subject):
    options = f"{'' if subject.expander else ' --no-expander'}{' --active-low' if subject.active_low else ''}"
    options += "".join(f" --thermal {n}" for n in subject.thermal)
    return [
        ("Read the cautions. On a computer: this program, by the first command of its README, then "
         f"`{INSTALL}`; where this guide says sumpbench, type .venv/bin/sumpbench (Windows: .venv\\Scripts\\sumpbench). Then "
         "your own pit, by `sumpbench size --ask my-site.toml`. It sizes what you answer and writes the sized site, "
         f"`{SITE}`: that file is meant from here on. Print this guide for it. A motor whose cable has two more wires, of a thermal "
         "contact: add --thermal and the pump's number.",
         f"`sumpbench build --board {subject.board} --site {SITE}{options}`: the site's name on sheet 1 is yours, the motors "
         "on the ladder diagram are those on your data plates."),
        ("Ask the building department. Order the parts. Print the labels.",
         "Permit and electrician arranged for everything at line voltage; each part ticked on the list."),
        ("Mount enclosure, back plate, terminals X1 to X7, the converters' inputs at X7:+ and X7:0. Battery not connected.",
         "Meter, in ohms: no connection between terminals that no jumper bar joins, nor from any of them to a metal plate."),
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
           "then (the board runs from USB while FB is out) `sumpbench hardware --port PORT --active-low all`.")  # fmt: skip
    bus = "SDA and SCL 3.3 V, address pins 0 V; " if subject.expander else ""
    chip = " (of the expander's contacts at its carrier's pins, after the next step)" if subject.expander else ""
    letters = "".join(f", {letter}" for letter, there in (
        ("C", any(one.sensor for one in subject.motors)), ("L", subject.has("level loop")),
        ("B", subject.has("battery"))) if there)  # fmt: skip
    return [
        ("Board on the bench, nothing wired to it: MicroPython 1.24 or later over USB. "
         f"{IMAGE[subject.board]} PORT is what your computer calls the board: COM5, /dev/ttyACM0. {say_so}",
         f"`{deploy}`: it ends with `controller running`. Unplug the board."),
        (f"Solder panel and field circuits (drawings F, P), relay drive (R), measuring ({letters[2:]}) and the socket."
         if letters else "Solder panel and field circuits (drawings F, P), relay drive (R) and the socket.",
         f"Board not in it, fuse FB out. Meter, in ohms, red lead on the socket's 3.3 V pin, black on each pin{chip}: 4.3 kohm at a "
         "panel contact's, 11 kohm at a field contact's; 3.3 V, 5 V, 0 V and 12 V field more than 100 ohm from each other, once "
         "the reading has settled."),
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
    chips = "Expander and I2C analog converter" if subject.has_converter else "Expander"
    return [(f"{chips}: SDA, SCL, 3.3 V, 0 V, pull-ups, address pins, unused inputs.",
             "Meter, in ohms: 4.7 kohm from SDA and from SCL to the 3.3 V socket pin, address pins to 0 V; SDA and SCL "
             "not connected to each other. After the first power-up `sumpbench watch --port PORT` does not list "
             "`I2C expander not answering`.")]  # fmt: skip


def _low_voltage(subject):
    check = check_command(subject)
    field = ", ".join(["floats on the bench in a bucket", *(words for name, words in FIELD if subject.has(name))])
    waiting, good = bridges(subject)
    stands = [f"{bridge} (until {STEP}: {relay})" for bridge, relay in waiting]
    stands += [f"{bridge} (for good: {words})" for bridge, words in good]
    again = (f" Asked what makes {', '.join(_bridged_names(subject))}: bridge. They are asked again after {STEP}."
             if waiting else "")  # fmt: skip
    stays = f" {' and '.join(words for _, words in good)}: bridged for good." if good else ""
    found = [
        (f"{OUT} Charger to the battery's two posts, its plus through FG; then its cord in. {IN} From now on, "
         "before FB or anything at the posts is put on or taken off: the charger's cord out, and in again afterwards.",
         "Meter at the posts: the charger's float voltage, after some hours (lead-acid 13.2 to 13.8 V). No smell, nothing warm."),
        (f"{OUT} Front panel at X2: selectors' second contacts, push buttons, {'lamp, ' if subject.has_lamp else ''}jumper. No "
         f"line voltage is there yet. {IN}",
         f"`{check} --only X2`: the program asks for each contact and reads it. The status light is dark until nothing is wrong: "
         "it is proved later."),
        (f"{OUT} Field wiring at X1 and X3: {field}. Bridges: {'; '.join(stands)}. {IN}",
         f"`{check} --only X1 --only X3`: each one tipped, lifted or bridged by hand.{again}{stays}"),
    ]  # fmt: skip
    ways = trials.ways(subject)
    if ways:
        posts = ["FB", *(["FV"] if subject.has("battery") else []), *(["lamp"] if subject.hall else [])]
        posts = f" Charger's cord out first ({', '.join(posts)}); last connection away from the posts."
        parts = [words for words, there in (("current sensors", any(one.sensor for one in subject.motors)),
                 ("level loop", subject.has("level loop")), ("battery", subject.has("battery"))) if there]  # fmt: skip
        fuse = " FV to the post." if subject.has("battery") else ""
        found.append((f"{OUT} Measuring at X5: {', '.join(parts)}.{fuse}{posts} {IN} Nothing at line voltage is opened for it. "
                      f"{'. '.join(ways)}.",
                      f"`{check} --only X5`: the meter's reading typed in, the controller's within 3 % of full scale."))
    return [
        *found,
        (f"{OUT} Warn whom the dialers call. Horn, beacon, dialers of alarm and service line: X7:+ through FA3 to FA6, the "
         f"contacts of K3 to K6 (K3 and K4 normally open, K5 and K6 normally closed), the load, X7:0. {IN}",
         "Tip the high float: you hear the horn, see the beacon, and the alarm line's dialer calls (12 V at it where there is none "
         "yet). Let it hang; press silence, then reset."),
    ]  # fmt: skip


def _bridged_names(subject):
    # The signals whose bridge goes when the electrician's relay comes.
    return [*(f"thermal {n}" for n in subject.read_hot), *(["mains present"] if subject.has("mains present") else [])]


def _blip(subject):
    # The moment of an outage, where a relay KT drops with the mains.
    if not subject.kept_cool:
        return ""
    return (" Main breaker off for 3 s, and on: again no motor overheated (hot now: KM's second contacts, or the capacitor). "
            "A pump's own breaker or GFCI off reads as hot: that is meant.")  # fmt: skip


def _power(subject):
    line = subject.lines
    sensors = ", each sensor round one conductor of its pump" if any(one.sensor for one in subject.motors) else ""
    waiting, good = bridges(subject)
    gone = (f" Out come the bridges {'; '.join(bridge for bridge, _ in waiting)}, the gold-plated contacts of "
            f"{', '.join(relay for _, relay in waiting)} in their place." if waiting else "")  # fmt: skip
    stay = f" {'; '.join(bridge for bridge, _ in good)}: these bridges stay." if good else ""
    heat = ", thermal relays" if subject.thermal else ""
    proved = "; ".join([*(f"{names} again, now made by the relay's own contact" for names in [', '.join(_bridged_names(subject))]
                          if names)])  # fmt: skip
    leads = (f" Thermal leads {_contacts(subject)} stay connected, or are bridged for the test: else HAND does not pull in."
             if subject.thermal else "")  # fmt: skip
    reset = " HAND without motor current may leave pump alarms: press reset." if sensors else ""
    relays = " and ".join(f"KT{n}" for n in subject.thermal)
    again = (f"Where {_contacts(subject)} were bridged: while dead, bridges out and a lead of each off; fed, {relays} stay dropped. "
             "Dead again, leads on; fed, they pull in. Then " if subject.thermal else "")  # fmt: skip
    gfci = " Each GFCI's test button trips it." if line else ""
    return [
        (f"{OUT} Electrician: contactors, overcurrent devices, disconnects, coil circuits, selectors' power contacts, equipment ground"
         f"{', GFCI devices' if line else ''}{', mains relay' if subject.has('mains present') else ''}{heat}, surge "
         f"arrester{sensors}.{gone}{stay} Pumps unplugged, or their leads off.{leads} Then {_live(subject)}. {IN}",
         f"Selector at OFF: no contactor moves. HAND: it pulls in.{gfci} Then OFF.{reset} `sumpbench watch --port PORT`: no motor "
         f"overheated{', no mains failure' if subject.has('mains present') else ''}.{_blip(subject)} "
         f"Then {_dead(subject)}."),
        (f"{OUT} {'Electrician: r' if line else 'R'}elays K1, K2 to the coil circuits (ladder diagram), {_dead(subject)}. Pumps "
         f"still unplugged, or their leads off. Then {_live(subject)}: they feed the coils. {IN}",
         f"Selectors to AUTO, reset: K5 and K6 pulled in, status light on, nothing is wrong. Then `{check_command(subject)}`: "
         f"what is left, the outputs and each contactor{f'; {proved}' if proved else ''}; all proved, the record kept."),
        (f"{OUT} RS-485, where it is fitted: transceiver at X6, cable, suppressor, a terminator at each end; USB adapter for "
         f"RS-485 at the far end, its port LINE. {IN}",
         f"`{check_command(subject)} --line LINE --only X6`: the program reads the same controller over it. No answer: change "
         "A and B over."),
        (f"Floats and pumps into the pit: selectors OFF, {_dead(subject)} while they are set and the pumps plugged in or their "
         f"leads connected. Cover on. Then {_live(subject)}, selectors AUTO.",
         f"{again}`sumpbench commission --port PORT --site {SITE}`: the hose test, with its record to sign."),
    ]  # fmt: skip
