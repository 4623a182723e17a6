"""What the guide says: what one may do oneself, cautions, separation, enclosure, labels.  Rows carry their source."""

from host_sim.guide.figures import GFCI, QUOTED
from host_sim.sizing.limits import OWN, PRACTICE

ALLOWED = (
    ("You", "Everything at 24 V DC and below inside the low-voltage enclosure: controller, contact and measuring "
     "circuits, floats on extra-low voltage, front panel, programming, tests. Ask first: some places license low-voltage "
     "work too.", PRACTICE),
    ("Licensed electrician, with a permit", "Everything at line voltage: branch circuits, breakers, GFCI devices, "
     "disconnects, contactors and their enclosure, the mains relay, receptacles, bonding. A homeowner may do some of it "
     "in some places, with a permit and an inspection; ask the building department before you buy.",
     "NFPA 70 (NEC) as adopted locally (from memory)"),
    ("Licensed plumber", "Discharge pipe, check valves, the connection to a storm drain where the town allows one.",
     "International Plumbing Code 1113 as adopted locally"),
    ("Nobody", "A controller built from this guide is not listed or approved by anybody. Where code or insurer asks for "
     "a listed controller, buy one, and use this as the alarm.", PRACTICE),
)  # fmt: skip

CAUTIONS = (
    "Shock: line voltage and water kill. Unplug a pump or lock out its circuit, and prove it dead with a meter, before "
    "any hand goes into the pit, onto a pump or into its enclosure. OFF on a selector, a dropped relay, a dark lamp and "
    "this program make nothing safe to touch.",
    "Drowning: an open pit drowns children and adults. Cover it whenever you turn away.",
    "Battery gas: a charging lead-acid battery gives off explosive gas. Ventilate, no sparks, no flame, the fuse at the "
    "post, its terminals covered: a wrench across them welds. Never charge a frozen battery.",
    "Flood: while you build, wire and test, nothing guards the pit. Have another pump ready, and a weather forecast "
    "without rain.",
    "Generator exhaust: never run a generator in a basement, garage or near a window. Feed the house only through a "
    "transfer switch: a cord into a receptacle kills linemen.",
    "Flammable gas or fuel in the pit: no float or pump from this guide; it takes equipment for classified locations.",
    "Local codes and licensed electricians and plumbers decide; where they differ from anything here, they are right.",
)  # fmt: skip

POWER = (
    ("one branch circuit a pump", "A fault of one pump must leave the other running; no receptacle, light or freezer on "
     "them.", PRACTICE),
    ("disconnect in sight of the pump", "Lockable, or the cord and plug of a plug-connected pump.",
     f"NFPA 70 (NEC) 430.102(B) {QUOTED}; NFPA 70 (NEC) 430.109(F) (from memory)"),
    ("ground-fault protection", "One device for each pump, so that one trip leaves the other running, before the contactor: "
     "it must not lose its supply at every stop. Up to 20 A at 120 V a GFCI receptacle, its LOAD terminals feeding the "
     "circuit, or a breaker with GFCI; above, or at 240 V, a breaker with GFCI. A trip must be seen: with current sensors the "
     "controller raises an alarm for a pump that draws no current.", GFCI),
    ("cord and plug", "Up to 20 A, in a single receptacle after the contactor, rated as its circuit (a 15 A plug goes into a "
     "20 A receptacle as well); its plug pulled is the disconnect. Above 20 A the pump is hard-wired.",
     f"NFPA 70 (NEC) 210.21(B)(1) {QUOTED}"),
    ("equipment ground", "One unbroken conductor, green or bare, from the panel's ground bar to each motor's frame, to every "
     "metal enclosure and to the receptacle: through no switch, contactor or fuse. 0 V is not it.",
     "NFPA 70 (NEC) 250.4(A), 430.241 (from memory)"),
    ("motor overload", "The thermal protector inside the motor, which opens its own winding; a motor "
     "without one takes an overload relay, at most 115 % of its plate current (125 % where its service factor is 1.15).", f"NFPA 70 (NEC) 430.32(A) {QUOTED}"),
    ("thermal contact", "Most pumps bring none out: X1:5 and X1:6 stay bridged. Where a motor has two more wires for it (print "
     "this guide with --thermal and its number), the contact holds in a relay KT; one contact of KT stands in the coil circuit, "
     "the other, gold-plated, at X1:5 or X1:6. Open there means: motor hot, or its breaker or GFCI off, for KT drops with them. "
     "An outage must not read as hot: in parallel at the terminal stands a second contact of the mains relay KM, closed while "
     "the mains is out, and 100 uF hold the input for 0.3 s while one relay moves before the other. KT and KM of one type, so "
     "that both drop at the same volts. Without KM a pump at line voltage keeps its bridge: KT then stops it by the coil "
     "circuit alone.", OWN),
    ("mains relay", "On a branch without a pump, in the panel that feeds the pumps: on a generator it pulls in too.", OWN),
    ("three-position selector", "HAND-OFF-AUTO, one for each pump, four contact blocks: HAND and AUTO in the "
     "coil circuit, OFF and HAND as second contacts to the controller, these gold-plated. OFF opens the coil circuit. Where the "
     "coil circuit is at line voltage the selector stands in the door of the line-voltage enclosure, which opens with a tool; its "
     "line blocks have covers over their screws, a barrier or an empty block between them and the gold-plated ones.", PRACTICE),
    ("suppression", "Across each AC coil that a contact switches 100 ohm and 0.1 uF in series, capacitor of safety class "
     "X2; across each DC coil a diode, cathode to plus. It saves the contact too. Nothing across the contact itself: at "
     "120 V the pair passes 4.5 mA, and a small coil may stay in.",
     "IEC 60384-14 for class X2 (from memory); values " + PRACTICE),
    ("separation of line and low voltage", "Two enclosures, or a barrier: line and low-voltage conductors never in one "
     "cable, duct or terminal block; at least 2 in (50 mm) apart where they run side by side, crossing at right angles. "
     "They meet at relays and transformers alone. So a relay that switches a coil at line voltage is on a module of its own, in "
     "the line-voltage enclosure; its input wires come in by their own gland and stay 1/4 in (6 mm) from line conductors.",
     f"NFPA 70 (NEC) 725.136(A), (D) {QUOTED}"),
    ("insulation where they meet", "Relays and optocouplers with reinforced insulation for the line voltage; at 120 V "
     "on a grounded system at least 5.5 mm over a surface.", "IEC 60664-1, pollution degree 2 (from memory)"),
)  # fmt: skip

LOW = (
    ("field contacts", "Isolated: 12 V of their own supply, a series resistor, an optocoupler with a diode against "
     "reverse voltage. What is coupled into a float's cable ends at the coupler.", PRACTICE),
    ("if the field supply fails", "Every field contact reads open: `high` wet, which sounds the alarm, and both motors "
     "hot, which stops both pumps in AUTO. HAND still runs them. So give that supply a fuse and a converter of its own, and "
     "nothing else on it.", OWN),
    ("cable of a float", "At most 160 ft (50 m), two conductors of 20 AWG or larger, shielded where it runs beside line "
     "voltage, the shield at ground at the controller's end only. `high` has a cable of its own.", PRACTICE),
    ("splices", "None below the cover of the pit; above it in a gel-filled box.", PRACTICE),
    ("panel contacts", "Only inside the enclosures and the gland between them, at most 3 ft (1 m), gold-plated. In the line-voltage "
     "enclosure their wires run in a sleeve rated for the line voltage, 1/4 in (6 mm) from line conductors.", PRACTICE),
    ("active-low relay modules", "Most modules switch on at 0 V; for them this guide is printed with --active-low. Each holding resistor then goes to 3.3 V instead of 0 V, and "
     "the board is told: `sumpbench hardware --port PORT --active-low all`. Their input side is fed with 3.3 V, never 5 V: 5 V "
     "reach the board's pins, and 3.3 V at an input fed with 5 V may not let the relay go. Check at the first power-up, without "
     "pumps.", PRACTICE),
    ("supply", "Battery-backed: the mains failure that it reports must not take it down. Charger with float regulation "
     "and temperature compensation, 10 to 20 % of the battery's ampere-hours, as its maker allows. Every wire at the "
     "plus post has its fuse there: FB, FG, and FV and a pump's where they are fitted.", PRACTICE),
    ("charger's contact", "To X3:2 and X3:+, closed while it charges.", PRACTICE),
    ("clamps", "Two silicon diodes, to 3.3 V and from 0 V, behind a resistor that keeps what flows into the 3.3 V supply "
     "under what the board draws: 10 kohm at loop, divider and Hall sensor, where 24 V drive 2 mA; 1 kohm at panel contacts, "
     "where 12 V drive 8 mA. No Zener diode: of 3.6 V it leaks long before it clamps, and the battery reads low.", OWN),
    ("USB beside the supply", "A Schottky diode keeps USB out of the 5 V converter. 0 V is the battery's minus: read the board from a laptop on its own battery, or through a USB isolator.",
     PRACTICE),
    ("surge", "A surge arrester of type 2 at the panel (ladder diagram); a bidirectional suppressor of 18 V across the field supply and "
     "6.5 V across RS-485.", "IEC 61643-11 for type 2 (from memory); voltages " + PRACTICE),
)  # fmt: skip

# Where something is not fitted: terminal, what to do there, what the site file says.
ABSENT = (
    ("thermal contacts, X1:5, X1:6", "Bridge to X1:+: most pumps bring none out. Open they read hot, and their pump stays off."),
    ("moisture relays, X1:7, X1:8; generator, X3:3", "Leave open."),
    ("lag float, X1:3", "Leave open; leave `lag` out of the site file. Without `off` the motor currents must be sensed."),
    ("charger's contact, X3:2", "Leave open, no charger in the site file; a charger without such a contact: bridge to X1:+, "
     "and nobody is told when it fails."),
    ("mains relay, X3:1", "Leave open; mains_fitted = 0 under [settings] in the site file. Then nobody is told of an outage."),
    ("selectors' second contacts, X2:1 to X2:4", "Leave open: AUTO. The selector works all the same, but is not seen."),
    ("current sensors, X5:1, X5:2", "Leave open; sensing = \"nothing\" under [controller] in the site file. Much is then found late or not at "
     "all: sumpbench size says what."),
    ("level transmitter, X5:3, or battery, X5:4", "Leave open; leave it out of the site file."),
)  # fmt: skip

# How the ladder diagram is read.
LADDER = (
    "Licensed electrician. X closed, O open in the selector's positions HAND, OFF, AUTO. The program stands between AUTO and the "
    "coil only: HAND and OFF work without it. KT is drawn where the guide was printed with --thermal. A pump with cord and plug has its receptacle before M. DS leaves the coil circuit live: to work on C or "
    "in its enclosure, CB off and locked, or FU out."
)
TWO_POLES = " Two poles: CB, DS and C break L1 and L2, the coil circuit is between them after CB."

# Terminals that carry no signal: name, what is on it, what it is for.
COMMON = (
    ("X1:+, X3:+", "+12 V of the field supply, after FF", "one wire of every field contact: a point for each, bridged"),
    ("X2:0", "0 V", "one wire of every panel contact, and of a status light: a point for each, bridged"),
    ("X4:+, X4:0; X4:7", "5 V and 0 V; 3.3 V", "relay modules: coils; input side. X4:1 to X4:6 are the modules' inputs"),
    ("X5:+", "+24 V, after FL", "level transmitter, where one is fitted"),
    ("X5:5, X5:6", "5 V, after FH; 0 V", "Hall sensors; 0 V of a current transformer too"),
    ("X6:3, X6:4", "A and B of RS-485", "the cable to whoever reads the controller"),
    ("X7:+, X7:0", "+12 V after FB; 0 V, the battery's minus", "converters, FA3 to FA6; horn, beacon, both lines. X2:0, "
     "X4:0, X5:6 and the board's GND are joined to X7:0"),
)  # fmt: skip

BUS = (
    ("I2C bus", "At most 8 in (20 cm), 4.7 kohm pull-ups to 3.3 V, never out of the enclosure.", PRACTICE),
    ("expander's other pins", "Address inputs A0, A1, A2 of the chip to 0 V: 0x20. B0 to B7, which nothing uses, to 3.3 V. "
     "Interrupt output open.", "register model of the 9535/9555 type (from memory)"),
    ("converter's other pins", "ADDR to 0 V: 0x48. AIN3 to 0 V and AIN2 to 3.3 V: it proves itself on them. AIN1 to 0 V. "
     "Alert output open.", "register model of the 1015/1115 type (from memory)"),
)  # fmt: skip

ENCLOSURE = (
    ("type", "NEMA 4X (IP66), non-metallic: a basement with a pit is damp and may be hosed.",
     "NEMA 250, IEC 60529 (from memory)"),
    ("place", "On a wall, its bottom above the highest water you can think of, at least 4 ft (1.2 m) above the floor and "
     "not over the pit.", PRACTICE),
    ("entries", "From below only, each cable in a gland of its own that fits its jacket; unused holes plugged to the same "
     "rating.", PRACTICE),
    ("drip loop", "Each cable hangs at least 4 in (100 mm) below its gland before it rises: water runs off at the low "
     "point.", PRACTICE),
    ("condensation", "A drain-breather in the bottom, rated like the enclosure; boards coated or in an inner box.", PRACTICE),
    ("two enclosures", "Line voltage in its own one, closed with a tool. Nothing at line voltage is in the low-voltage enclosure or in "
     "its door.", PRACTICE),
    ("terminals", "Numbered as in the connection table; ferrules on stranded wire; 20 % spare.", PRACTICE),
)  # fmt: skip

LABELS = (
    "DANGER: two sources. Pump 1 and pump 2 have separate circuits. Lock out both.",
    "OFF does not make it safe: unplug or lock out, then test dead.",
    "FED BY A BATTERY: live with the mains off. Disconnect at the post.",
    "Explosive gas while charging: no flame, no spark.",
    "Pit cover: keep closed. An open pit drowns.",
    "Lights: status light ON = watching and nothing wrong. Dark = look at once.",
    "Silence stops the horn. Water keeps rising? Call: ____________________________",
    "Test with a hose every month; battery test with the mains off every three months.",
    "Installed on: ______________  By: ______________  Settings: ______________  Next visit: ______________",
)
