"""Which wire of the bench goes to which pin of a Pico, or of what hangs on its bus, by the board's wiring table.

A contact to ground pulls its pin low when it is closed and leaves it to the
pull-up when it is open.  A selector is two contacts, OFF and HAND.  A thermal
contact opens when hot.  An analog value is a voltage: 0 to 3.3 V for 0 to full
scale, here as the 0 .. 4095 that the converter reads.
"""

from duplexsump.control import records as r
from duplexsump.control import settings as s

from hil.kits import wires
from host_sim.board import wiring_list

LED_PIN = 25
MOST_COUNTS = 4095
_THERMAL = (r.IN_THERMAL_1, r.IN_THERMAL_2)
_CURRENT = (r.IN_CURRENT_1, r.IN_CURRENT_2)
_SELECTORS = (r.IN_SELECTOR_1, r.IN_SELECTOR_2)


class Pins:
    """The pins of a board by its wiring table; `board` and `expander` as in `host_sim.board.wiring_list`.

    A pin is a GPIO number, or a name: "A3" of the expander, "AIN0" of the converter.
    """

    def __init__(self, board="pico", expander=False):
        self.contacts = {}  # wire: [(pin, bit)]
        self.analog = {}  # wire: (pin, full scale)
        self.outputs = {}  # pin: (wire, level that is on)
        for row in wiring_list.table(board, expander):
            self._row(row)
        self.wires = frozenset(self.contacts) | frozenset(self.analog)
        self.wires |= frozenset(name for name, _ in self.outputs.values())

    def _row(self, row):
        pin = LED_PIN if row["pin"] == "LED" else row["pin"]
        for wire in wires.TABLE:
            out = wire.direction == wires.OUT
            if wire.place != row["place"] or out != (row["kind"] == "output"):
                continue
            if out:
                self.outputs[pin] = (wire.name, row["level"])
            elif row["kind"] == "0 to 3.3 V":
                self.analog[wire.name] = (pin, row["level"])
            elif row["kind"] == "contact to ground" and wire.bit in (0, row["level"]):
                self.contacts.setdefault(wire.name, []).append((pin, row["level"]))

    def closed(self, name, value):
        """Return {pin: whether its contact is closed} for a value on a contact's or a selector's wire."""
        place = wires.WIRES[name].place
        if place in _SELECTORS:
            chosen = {0: 0, 1: 1, 2: 2}[value]
            return {pin: bit == chosen for pin, bit in self.contacts[name]}
        made = not value if place in _THERMAL else bool(value)
        return {pin: made for pin, _ in self.contacts[name]}

    def counts(self, name, value, settings):
        """Return (pin, 0 .. 4095) for a value on an analog wire; run feedback is a contact to 3.3 V."""
        pin, full_scale = self.analog[name][0], self.full_scale(name, settings)
        if wires.WIRES[name].place in _CURRENT and settings[s.SENSING] == s.SENSE_FEEDBACK:
            return pin, MOST_COUNTS if value else 0
        return pin, min(MOST_COUNTS, (value * MOST_COUNTS + full_scale // 2) // full_scale)

    def full_scale(self, name, settings):
        """Return what an analog wire's 3.3 V stand for; of a motor's current the settings say it."""
        place = wires.WIRES[name].place
        if place in _CURRENT:
            return settings[s.SENSOR_RANGE_1_MA + place - r.IN_CURRENT_1]
        return self.analog[name][1]

    def plugged(self, settings):
        """Return the analog wires that are plugged in: of two on one pin the one that the settings name."""
        absent = "battery" if settings[s.TRANSMITTER] else "level"
        shared = self.analog["level"][0] == self.analog["battery"][0]
        return [name for name in self.analog if not shared or name != absent]
