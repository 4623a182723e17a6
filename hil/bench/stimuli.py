"""Stimuli of a board on the bench: water, floats, wires, currents, supply, buttons, selectors, power.

In the trade's terms; the electrical meaning follows from the settings in force on
the board.
"""

from duplexsump.station import registers as r

from hil.kits import wires
from host_sim.errors import InputError

COILS = tuple(row[0] for row in r.COMMANDS)
POSITIONS = {"auto": 0, "off": 1, "hand": 2}
PRESS_S = 0.5  # how long a person holds a button that is meant to be pressed once


class Stimuli:
    """The part of a `hil.bench.bench.Bench` that drives wires; every call is a new stimulus."""

    # Water.

    def water(self, *names):
        """Make exactly these floats wet and all others dry."""
        for name in names:
            _float(name)
        self._stimulus()
        for name in wires.FLOATS:
            self._place_float(name, name in names)

    def float(self, name, wet=True):
        """Lift one float by hand, or let it hang; the others stay as they are."""
        self._stimulus()
        self._place_float(_float(name), wet)

    def unplug(self, name):
        """Pull a float's plug: an open circuit."""
        self._stimulus()
        self.kit.drive(_float(name), 0)

    def short(self, name):
        """Short a float's two wires."""
        self._stimulus()
        self.kit.drive(_float(name), 1)

    def _place_float(self, name, wet):
        self.wet = self.wet | {name} if wet else self.wet - {name}
        closed = 1 if self.setting("normally_closed") & wires.WIRES[name].bit else 0
        if name in self.kit.wires:
            self.kit.drive(name, closed ^ (1 if wet else 0))

    # Pumps, supply, people.

    def draws(self, pump, load="normal", welded=False):
        """Let pump 1 or 2 draw while its relay is on: "none", "under", "normal", "over" or "locked".

        With `welded` it draws although its relay is off.  The current follows from the settings' own thresholds.
        """
        self._stimulus()
        self.draws_of[pump].follow(load, welded)

    def draw_normally(self):
        """Have both pumps draw rated current while their relays are on."""
        for pump in (1, 2):
            self.draws(pump)

    def _relay_moved(self, edge):
        for draw in self.draws_of.values():
            draw.relay(edge)

    def mains(self, on):
        """Turn the mains on or off, and a charger with it."""
        self._drive("mains", on)
        if "charger" in self.kit.wires:
            self.kit.drive("charger", 1 if on else 0)

    def generator(self, on=True):
        """Set whether the mains come from a generator."""
        self._drive("generator", on)

    def charger(self, on):
        """Let the charger charge or not."""
        self._drive("charger", on)

    def battery(self, volts):
        """Set the battery's voltage in V."""
        self._drive("battery", round(volts * 1000.0))

    def selector(self, pump, position):
        """Turn the selector of pump 1 or 2 to "auto", "off" or "hand"."""
        if position not in POSITIONS:
            raise InputError(f'selector "{position}": {", ".join(POSITIONS)}', "bench")
        self._drive(f"selector_{pump}", POSITIONS[position])

    def press(self, button, for_s=PRESS_S):
        """Press "silence" or "reset", hold it, let go.

        Where the kit has no wire to the button the coil on the link is written instead, which is a press of no length;
        a longer hold then raises Missing.
        """
        if button not in self.kit.wires and button in COILS and for_s <= PRESS_S:
            self._stimulus()
            self.client.write_bits(COILS.index(button), [1])
            self.wait(for_s)
            return
        self._drive(button, 1)
        self.wait(for_s)
        self.kit.drive(button, 0)

    def thermal(self, pump, open=True):
        """Open (hot) or close the thermal contact of a pump."""
        self._drive(f"thermal_{pump}", open)

    def moisture(self, pump, wet=True):
        """Set or clear moisture in the seal chamber of a pump."""
        self._drive(f"moisture_{pump}", wet)

    def jumper(self, made=True):
        """Insert or remove the test jumper."""
        self._drive("jumper", made)

    def transmitter(self, level_mm=None, ma=None):
        """Set the transmitter: a level in mm above its datum, or a loop current in mA."""
        if (level_mm is None) == (ma is None):
            raise InputError("transmitter: give either level_mm or ma", "bench")
        if level_mm is not None:
            ma = 4.0 + 16.0 * level_mm / self.setting("level_span")
        self._drive("level", round(ma * 1000.0))

    def power(self, on):
        """Turn the controller's power on or off."""
        self._stimulus()
        self.dark = not on
        self.kit.power(on)

    def hang(self):
        """Hang the firmware in mid-run."""
        self._stimulus()
        self.kit.hang()

    def _drive(self, name, value):
        self._stimulus()
        self.kit.drive(name, int(value))


def _float(name):
    if name not in wires.FLOATS:
        raise InputError(f'there is no float "{name}": {", ".join(wires.FLOATS)}', "bench")
    return name
