"""The one table of a board: each signal with its pin, position, electrical class and terminal (`tables/*.toml`).

`tables/signals.toml` holds what is the same on every board, one file a board its
pins.  Wiring list, rig, register list, acceptance and the building guide are drawn
from here; the firmware's own wiring tables are held to it by a test.
"""

import functools
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

from duplexsump.control import records
from duplexsump.control import settings as s

from host_sim.errors import InputError

FOLDER = Path(__file__).with_name("tables")
BOARDS = ("pico", "esp32", "posix")  # the last has no pins
CONNECTORS = {"X1": "pit", "X2": "front panel", "X3": "supply signals", "X4": "relay module", "X5": "measuring",
              "X6": "serial"}  # fmt: skip
OUTPUT, CONTACT, ANALOG, SERIAL = "output", "contact to ground", "0 to 3.3 V", "serial"
# What each electrical class is to the firmware (`boards/wired.py`).
KINDS = {"relay": OUTPUT, "lamp": OUTPUT, "field contact": CONTACT, "panel contact": CONTACT, "current": ANALOG,
         "loop": ANALOG, "battery": ANALOG, "serial": SERIAL}  # fmt: skip

# The resistor that is fitted at an input (drawings F and P); a chip's own pull-up, where there is one, is far weaker.
FITTED = {"field contact": "up, 10 kohm fitted", "panel contact": "up, 3.3 kohm fitted"}


@dataclass(frozen=True)
class Signal:
    """One row.  `pin`: a GPIO number, "LED", "A0" to "B7" of the expander, "AIN0" to "AIN3" of the converter.

    `position` is the pin's place on the board's header, "" for what is not on it.  `place` is an index into the
    firmware's records, -1 for none; `level` as in the firmware's wiring table.
    """

    name: str
    wire: str
    place: int
    level: int
    rest: str
    safe: str
    electrical: str
    terminal: str
    to: str
    pin: int | str
    position: str
    pull: str

    @property
    def kind(self):
        """Return the firmware's word for it."""
        return KINDS[self.electrical]

    @property
    def direction(self):
        """Return "out" or "in", seen from the controller."""
        return "out" if self.kind == OUTPUT or self.name.endswith("driver") else "in"

    @property
    def on_board(self):
        """Return whether the pin is the controller's own."""
        return isinstance(self.pin, int) or self.pin == "LED"

    @property
    def pin_text(self):
        """Return the pin as it is named: GP18, light on the board, expander A3."""
        if isinstance(self.pin, int):
            return f"GP{self.pin}"
        if self.pin == "LED":
            return "LED"
        return f"{'converter' if self.pin.startswith('AIN') else 'expander'} {self.pin}"


@functools.cache
def _data(name):
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


def board(name):
    """Return the board's own part of the table: title, header, ground, supply, expander; {} for the virtual board.

    Raises InputError for an unknown board.
    """
    if name not in BOARDS:
        raise InputError(f'board "{name}" is unknown: there are {", ".join(BOARDS)}', "wiring")
    return {} if name == "posix" else _data(name)


def title(name, expander=False):
    """Return the board's name for people."""
    found = board(name).get("title", "virtual board: no pins")
    return f"{found}, with the I2C expander" if expander and board(name) else found


@functools.cache
def signals(name, expander=False):
    """Return the board's Signals in the table's order; the virtual board has none.  Raises InputError."""
    data = board(name)
    if not data:
        return ()
    pins = dict(data["pins"])
    to = dict(data["to"])
    if expander:
        pins |= data["expander"]["pins"]
        to |= data["expander"]["to"]
    found = []
    for row in _data("signals")["signal"]:
        if row["name"] in pins:
            found.append(_signal(row, pins[row["name"]], data, to))
    return tuple(found)


def _signal(row, pin, data, to):
    bit = data.get("bits", {}).get(row["name"], row["bit"])
    own = isinstance(pin, int)
    pull = FITTED.get(row["class"], "none")
    place = getattr(records, row["place"]) if row["place"] else -1
    level = getattr(records, bit) if isinstance(bit, str) else bit
    position = str(data["header"][str(pin)]) if own else ""
    words = to.get(row["name"], row["to"])
    return Signal(row["name"], row["wire"], place, level, row["rest"], row["safe"], row["class"], row["terminal"],
                  words, pin, position, pull)  # fmt: skip


def ranged(rows, values):
    """Return Signals with the current sensors' ranges of a settings record, in `level` (mA) and in `to`."""
    found = []
    for one in rows:
        if one.electrical == "current":
            level = values[s.SENSOR_RANGE_1_MA + one.place - records.IN_CURRENT_1]
            one = replace(one, level=level, to=one.to.replace(f"({one.level / 1000:g} A)", f"({level / 1000:g} A)"))
        found.append(one)
    return tuple(found)


def wires(name, expander=False):
    """Return the names of the bench's wires that a board has, as a frozenset."""
    return frozenset(signal.wire for signal in signals(name, expander) if signal.wire)
