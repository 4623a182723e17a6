"""What each alarm means to the people in the house: what is wrong, likely causes, what to do, what not to do, and why.

Keyed by the name in the firmware's alarm table.  The reason is that for the
alarm's priority, from the consequence of doing nothing and the time there is to
act (as IEC 62682 and ISA-18.2 ask); common practice, no source.
"""

from dataclasses import dataclass

from duplexsump.control import settings as s
from duplexsump.control.alarm_table import PRIORITY

CALLS = ("flood", "service", "none")  # by priority: which call for help goes out (A3)
# What not to do; common practice, no source.
WATER = ("Do not step into standing water; cut the power from a dry place or have it cut. That also stops the pumps. "
         "Where the panel cannot be reached dry, call the utility or the fire department to cut it.")  # fmt: skip
UNPLUG = ("The program can start a pump at any moment: unplug it, or have its breaker switched off and tagged, before "
          "anybody touches it.")  # fmt: skip
LOCKED = ("The program still tries a locked-out pump when the water is high: it can start at any moment. Unplug it, or "
          "have its breaker switched off and tagged, before anybody touches it.")  # fmt: skip
OUTLET = "Check that water comes out of the discharge outdoors."
THAW = "Never thaw a frozen pipe with an open flame or a torch: have a licensed plumber thaw it."
ACID = ("A battery gives off explosive gas, and its acid burns: ventilate, no sparks, no smoking, no open flame; "
        "goggles and gloves; no tool across its terminals.")  # fmt: skip
GENERATOR = "Run a generator outdoors only, away from windows and doors; never feed the house through an outlet."
GRACE_MIN = s.TABLE[s.MAINS_GRACE_MS][s.DEFAULT] // 60000


@dataclass(frozen=True)
class Words:
    """Five texts in plain trade words."""

    wrong: str
    causes: str
    do: str
    never: str
    reason: str


_HOUSE = {
    "high_water": Words(
        "The water has reached the high float, just below the floor.",
        "more inflow than the pumps carry; a pump out; a blocked or frozen discharge line; the high float hung up",
        f"Look into the pit from a dry place. {OUTLET} Lift what can be spoiled off the floor. "
        "Get a second pump ready.",
        f"{WATER} {GENERATOR} {THAW}", "The floor is wet within minutes, and nothing but a person can stop it."),
    "no_pump": Words(
        "Neither pump can be relied on: the house is unprotected.",
        "a frozen or blocked discharge pipe, which stops both; both pumps tripped or locked out; selectors at OFF; "
        "no mains and no battery",
        f"{OUTLET} Check both selectors, the breakers and the cords. Call for service now, or bring another pump.",
        f"{WATER} {LOCKED} {GENERATOR} {THAW}",
        "The next inflow floods the floor; how soon depends on the weather alone."),
    "level_lost": Words(
        "The controller cannot tell the level and pumps by time.",
        "a float hung up; a broken float wire; a failed level transmitter (the sensor that measures the level)",
        "Watch the water. Have the floats or the transmitter repaired today.",
        WATER, "Pumping by time wears the pumps and may not keep up in a storm."),
    "float_wiring": Words(
        "Several floats changed at once: they share a broken wire, cable or plug.",
        "a plug pulled out; a cut cable; a loose common terminal",
        "Check the plug and the cable of the floats; have it repaired today.",
        WATER, "One fault has taken all lower floats; the high float alone is left to protect the floor."),
    "not_keeping_up": Words(
        "Both pumps have run or been tried for a long time, and the water does not go down.",
        "more inflow than both carry; worn pumps; a blocked, frozen or burst discharge line; two floats that hang wet",
        f"Watch the water. {OUTLET} Get another pump ready.",
        f"{WATER} {THAW}", "The floor may be wet within the hour."),
    "battery_low": Words(
        "The house runs on the battery, and the battery is low or does not carry its pump.",
        "a long outage; an old or weak battery; a charger that did not charge before the outage",
        "Bring a generator or a charged battery, and connect it by the installer's instructions.",
        f"{GENERATOR} {ACID}", "When the battery is empty no pump runs; that is a matter of an hour or so."),
    "inputs_forced_long": Words(
        "Inputs have been forced over the link for more than 10 min: a computer gives the controller made-up signals "
        "for a test, and it does not see the real pit.",
        "a test that was not ended", "Clear the forces and take the test jumper out.",
        "Do not leave the site with the jumper in.", "While inputs are forced nothing protects the house."),
    "mains_lost": Words(
        f"The mains is out: for longer than the grace time (the wait before it is told, `mains_grace`, {GRACE_MIN} min "
        "unless changed), or with the lag or high float wet. At a power-up: the controller was without power, and the "
        "water has risen to the lag or high float meanwhile.",
        "a power failure; a tripped breaker; a tripped ground-fault device (GFCI)",
        "Check the breaker and the GFCI from a dry place. In a long outage get a generator ready. After an outage look "
        "from a dry place whether the floor got wet.",
        GENERATOR, "A battery pump carries the pit for some hours; a mains pump does nothing until the mains is back."),
    "mains_unsteady": Words(
        "The mains went away five times within an hour.",
        "a loose connection; a weak supply; a breaker or GFCI that trips again and again",
        "Have a licensed electrician check the supply.", "Do not open a panel or a junction box yourself.",
        "A loose connection heats up, and each loss stops the mains pump; hours to days to act."),
    "floats_out_of_sequence": Words(
        "A float did not switch when its turn came; the alarm names it.",
        "a float hung on a pipe or cord; a stuck float; a broken wire",
        "Free the float named, or have it replaced.", WATER,
        "The other floats carry on, but a second fault could flood the floor or run a pump dry; days to act."),
    "transmitter_failed": Words(
        "The level transmitter's signal is out of range, does not move, or contradicts the high float or the pumps.",
        "a broken wire of its loop (the two wires that carry its signal); no loop supply (the power on those wires); a "
        "clogged port; a worn-out transmitter",
        "Check both wires and their supply, clean the port, compare the reading with a tape measure.", WATER,
        "Only the high float is left to tell the level; days to act."),
    "charger_failed": Words(
        "The mains is there, and the charger has not charged for a day.",
        "a dead charger; a blown fuse; corroded terminals", "Check fuse and terminals; have the charger replaced.",
        ACID,
        "The battery will be empty at the next outage; days to act."),
    "battery_failed": Words(
        "The standby battery is dead, stays low on the charger, or does not carry its pump in the weekly test. "
        "In a power outage the pumps on it will be dead, and where the controller lives on that battery the "
        "alarm itself as well.",
        "an old battery; corroded terminals; a blown fuse; a dead charger",
        "Have the battery tested under load and replaced. Clean the terminals.",
        ACID,
        "At the next outage no pump would run; it is told while the mains is still there, so there is time."),
    "selector_away": Words(
        "A selector has not been in AUTO for a day.", "left in OFF or HAND after work", "Turn it to AUTO.",
        "Do not turn it back while somebody works on that pump.", "One pump does not protect the house; days to act."),
    "expander_silent": Words(
        "The controller gets no answer from its I2C expander (the small board that adds inputs), or from the converter "
        "beside it: HAND, the push buttons, moisture, the charger's and the generator's contact are not "
        "read, on some boards nor is the battery.",
        "a loose plug or terminal of its bus (the wires that join it to the controller); a shorted wire; "
        "no 3.3 V at the expander; a dead module",
        "Silence and reset from a computer. Check the wires of the expander with the panel switched off; switch it on "
        "again; if the alarm comes back have the module replaced.",
        "Do not count on HAND, the push buttons, or the alarms of battery, charger and moisture meanwhile. "
        + GENERATOR,
        "Pumps, floats, selector OFF and thermal contacts do not pass through it and carry on; days to act."),
    "storage_failed": Words(
        "The controller cannot write its memory: no journal is kept, and new settings cannot be stored.",
        "a memory that is worn out; a memory that is full of other files; a failing board",
        "Read the journal off while it can be read. Have the board replaced and its settings put onto the new one.",
        "Do not restart the board to see whether it helps: its counts, and which pumps had failed, would be lost.",
        "Pumps and alarms go on by the settings in force; a reset may be the board's last; days to act."),
    "chattering": Words(
        "A float contact switches on and off rapidly; it is taken for wet.", "waves; a loose wire; a worn float",
        "Check the float named and its terminals.", WATER, "Pumping goes on safely; repair it at the next visit."),
    "pour_and_test": Words(
        "The pit has been dry for a long time: nothing has proved the pumps.", "a dry season",
        "Pour water into the pit until a pump starts, and watch a full cycle.", "Do not run a pump without water.",
        "Nothing is wrong yet; a pump that seized in the dry would be found only by water."),
    "not_in_auto": Words(
        "A selector has not been in AUTO for half an hour.", "somebody works on a pump, or forgot it",
        "Turn it to AUTO when the work is done.", "Do not turn it back while somebody works on that pump.",
        "The other pump protects the house; it becomes a service call after a day."),
    "button_stuck": Words(
        "A button has been held down for more than 30 s.", "a jammed button; a shorted wire", "Free the button.",
        "Do not silence alarms by wedging the button.", "Alarms still come, but cannot be silenced."),
    "battery_old": Words(
        "The standby battery has reached the age at which it is replaced.", "time",
        "Replace it, and record the new one with the command battery_replaced.",
        ACID, "It still works; old ones fail in the first long outage."),
    "inspection_due": Words(
        "The regular inspection is due.", "the interval that was set is over",
        "Inspect and test as the maintenance list says, and record it.",
        UNPLUG, "Faults that show only at an inspection grow slowly."),
    "inputs_forced": Words(
        "Inputs are forced over the link: a computer gives the controller made-up signals for a test.", "a test",
        "Clear the forces, take the test jumper out.",
        "Do not leave the site with the jumper in.", "Somebody is there testing; it becomes high after 10 min."),
    "clock_fault": Words(
        "The controller's clock went backwards or stood still.", "a failing board",
        "Press reset; if it comes again have the board replaced.", UNPLUG,
        "Pumping by the floats goes on; times may be wrong."),
}  # fmt: skip

_CAUSE = ("The cause is its last fault: on the screen of `sumpbench watch`, in the register pump_{n}_cause, or in the "
          "timeline of a simulated night.")  # fmt: skip
# For either pump: {n} is its number.
_PUMP = {
    "will_not_stop": Words(
        "Pump {n} runs although it is switched off.", "a welded contactor", "Unplug pump {n} and have the contactor "
        "replaced.", "Do not trust the selector to stop it. " + WATER,
        "It runs dry and burns out within the hour."),
    "unavailable": Words(
        "Pump {n} cannot be relied on: it tripped or overheated. After repeated failures it is locked out: kept off, "
        "but for tries (while the high float is wet, once after a power-up, and, where it moved no water, when the "
        "water rises anew). " + _CAUSE,
        "a jam; a worn or clogged pump; a frozen or blocked discharge pipe; an air lock; a tripped breaker; a pulled "
        "cord; a shut valve; heat",
        OUTLET + " Find the cause and repair it, then press RESET. Without that the alarm clears after a proved run "
        "with water.",
        f"{LOCKED} Do not press RESET again and again. {THAW}",
        "One pump is left; a storm that needs both, or a second fault, floods the floor."),
    "exercise_failed": Words(
        "Pump {n} failed its exercise, the short test run that an idle pump gets every week.",
        "a seized or blocked pump; a pulled cord; a tripped breaker",
        "Pour water and test it; have it repaired.", UNPLUG, "The standby may not be there when needed; days to act."),
    "suspect": Words(
        "Twice pump {n} ran alone and the water rose, or did not fall until the other pump took over.",
        "worn; clogged; an air lock; a shut valve; not running at all; where both are told, a burst discharge",
        "Pour water and time how fast it pumps the pit down.", UNPLUG,
        "The other pump leads; together they may still hold a storm; days to act."),
    "moisture": Words(
        "There is moisture in the seal chamber of pump {n}.", "a worn shaft seal", "Have the seal renewed.", UNPLUG,
        "The pump still runs; the motor fails in weeks or months."),
    "worn": Words(
        "Pump {n} moves a quarter less water than at first.",
        "a worn impeller; debris in the inlet; a partly shut valve; a burst or partly blocked discharge line; "
        "water that runs back through the other pump's check valve",
        "Time a draw-down (from the pump's start to its stop), clean the inlet, look at the valve and the line; "
        "plan to replace the pump.", UNPLUG,
        "It still pumps; the margin for a storm grows smaller over weeks."),
    "weak": Words(
        "Pump {n} is worn and no longer moves much more than the highest inflow measured of late.",
        "a worn impeller; debris in the inlet; a partly shut valve; a wet season",
        "Clean the inlet and look at the valve and the line now; replace the pump.", UNPLUG,
        "The next storm of that size floods the floor if the other pump fails; days to act."),
    "check_leaks": Words(
        "Water runs back into the pit after pump {n} has stopped.", "a leaking or missing check valve",
        "Have the check valve of pump {n} cleaned or replaced; then press RESET.", UNPLUG,
        "The pump starts more often and wears; nothing floods for weeks."),
    "short_cycling": Words(
        "Pump {n} is short cycling: it starts more often than its motor should.",
        "a leaking check valve; floats too close together; a pump too strong for the pit; a storm",
        "If it goes on in dry weather check the check valve and the float spacing.", UNPLUG,
        "It wears the motor over months; nothing floods."),
}  # fmt: skip


def of(name):
    """Return the Words of an alarm by its name in the table.  Raises KeyError for an unknown name."""
    if name in _HOUSE:
        return _HOUSE[name]
    number, _, kind = name.removeprefix("pump_").partition("_")
    words = _PUMP[kind]
    return Words(*(getattr(words, part).replace("{n}", number) for part in Words.__dataclass_fields__))


def call(row):
    """Return "flood", "service" or "none": the call for help that an alarm of the table makes (A3)."""
    return CALLS[row[PRIORITY]]
