"""A simulated person at the terminals of a virtual board: does what is asked, and says what is to be seen.

`wrong` maps a signal's name to what is wrong with its wiring: "open", "stuck", the name
of the signal that it is swapped with, for an output "dead".
"""

from duplexsump.control import settings as s

from hil.kits import wires
from hil.kits.virtual import bench_settings
from host_sim.board import signals

METER = {"current": 15000, "loop": 12000, "battery": 12800}


def everything():
    """Return the settings record of a virtual board to which everything of the table is fitted."""
    values = bench_settings()
    values[s.TRANSMITTER] = values[s.CHARGER_FITTED] = values[s.MAINS_FITTED] = 1
    return values


class Handy:
    """`kit` is a virtual kit; `answers` {key: line} override what the person would say."""

    def __init__(self, kit, board, expander, wrong=None, answers=None, told=None):
        self.kit, self.wrong, self.answers = kit, wrong or {}, answers or {}
        self.rows = {one.name: one for one in signals.signals(board, expander)}
        self.told = told or (lambda text: None)
        self.edge = 0
        self.bridges = ()  # signals at whose terminals a bridge stands in a relay's place
        self.waits = True  # False: nothing will ever change, this person sees that at once

    def say(self, text):
        """Hear a text."""
        self.told(text)

    def poll(self):
        """Say nothing while waiting, or give up (Enter) where nothing will ever change."""
        waits, self.waits = self.waits, True
        return None if waits else ""

    def does(self, key):
        """Do what is asked: "change NAME", "restore NAME", "apply NAME", "alone N"."""
        self.edge = len(self.kit.edges)
        word, _, name = key.partition(" ")
        if word == "alone":
            n = int(name)
            self.kit.drive(f"selector_{n}", 0)
            self.kit.drive(f"selector_{3 - n}", 1)
            self.kit.drive("jumper", 1)
            return
        fault = self.wrong.get(name, "")
        self.waits = not (word == "change" and fault)
        if fault == "open" and word != "apply":
            return
        one = self.rows[fault if fault in self.rows else name]
        self._drive(one, word)

    def _drive(self, one, word):
        if one.kind == signals.ANALOG:
            value = METER[one.electrical] if word == "apply" else self.kit.rest[one.wire]
            self.kit.drive(one.wire, value)
            return
        rest = self.kit.rest[one.wire]
        if wires.WIRES[one.wire].kind == wires.SELECTOR:
            self.kit.drive(one.wire, one.level if word == "change" else rest)
        else:
            self.kit.drive(one.wire, 1 - rest if word == "change" else rest)

    def read(self, key, prompt):
        """Answer a question."""
        self.told(prompt)
        if key in self.answers:
            return self.answers[key]
        word, _, name = key.partition(" ")
        if word == "meter":
            return f"{METER[self.rows[name].electrical] / 1000:g}"
        if word == "see":
            return "no" if self.wrong.get(name) == "dead" else self._saw(self.rows[name])
        if key.startswith("relay "):
            return "no" if name in self.bridges else "yes"
        # Whoever wired it wrong does not find it by trying again; a bridge stays until the relay is there.
        return "no" if word in ("again", "for") else "yes"

    def _saw(self, one):
        if one.name == "status light":
            return "yes" if self.kit.seen["light"] else "no"
        # A relay that moved since the person was last told to look.
        return "yes" if any(edge.wire == one.wire for edge in self.kit.edges[self.edge :]) else "no"


class KitClock:
    """The time of a kit, in seconds."""

    def __init__(self, kit):
        self.kit = kit

    def seconds(self):
        """Return the kit's time."""
        return self.kit.now_ms() / 1000.0

    def pause(self, seconds):
        """Let time pass."""
        self.kit.run_ms(round(seconds * 1000.0))
