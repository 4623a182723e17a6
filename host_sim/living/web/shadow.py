"""Runs under MicroPython in the page: repeats a session's steps and compares everything that comes of them.

`begin(settings as JSON)`, then `repeat(rows as JSON)` for each message of the
engine (`host_sim/living/shadow.py` says what a row is); both return JSON.
"""

import json
import sys

if "/firmware" not in sys.path:
    sys.path.insert(0, "/firmware")

from duplexsump.control.bands import Bands
from duplexsump.control.controller import Controller
from duplexsump.control.records import N_INPUTS, OUT_PUMP_1, OUT_PUMP_2
from duplexsump.control.ticks import diff


class Shadow:
    """One controller that is taken through the rows."""

    def __init__(self, settings):
        self.settings = settings
        self.controller = None
        self.bands = None
        self.retained = None
        self.raw = [0] * N_INPUTS
        self.inputs = [0] * N_INPUTS
        self.steps = 0
        self.compared = 0
        self.wrong = None
        self.out = None

    def same(self, row, what, here, there):
        """Compare two lists or numbers; the first difference is kept."""
        self.compared += len(here) if isinstance(here, list) else 1
        if here != there and self.wrong is None:
            self.wrong = {"ms": row[1], "step": self.steps, "what": what, "here": here, "there": there}

    def up(self, row):
        self.controller = Controller(self.settings)
        self.bands = Bands(self.settings)
        if self.retained:
            self.retained[0] = row[3][0]  # told by the station: a reset, or a loss of power
        self.controller.power_up(row[2], self.retained)
        self.raw = [0] * N_INPUTS
        self.out = None
        self.same(row, "snapshot at power-up", list(self.controller.snapshot()), row[3])

    def down(self, row):
        self.retained = list(self.controller.retain())
        self.same(row, "retained at power-down", self.retained, row[2])

    def step(self, row):
        out = self.controller.out
        for place in row[3]:
            self.raw[int(place)] = row[3][place]
        self.bands.convert(self.raw, self.inputs, out[OUT_PUMP_1], out[OUT_PUMP_2])
        self.controller.step(row[2], self.inputs)
        out = self.controller.out
        self.steps += 1
        self.same(row, "outputs", list(out), row[4])
        self.same(row, "next due", diff(self.controller.next_due(row[2]), row[2]), row[5])
        changed = None
        if list(out) != self.out:
            self.out = list(out)
            changed = [row[1], self.out]
        return changed


shadow = None


def begin(settings):
    """Begin with settings given as JSON."""
    global shadow
    shadow = Shadow(json.loads(settings))
    version = ".".join([str(part) for part in sys.implementation.version[:3]])
    return json.dumps({"version": version, "bits": 31 if sys.maxsize == 0x7FFFFFFF else 63})


def repeat(rows):
    """Repeat rows given as JSON; return the steps and comparisons so far, the outputs that changed, what is wrong."""
    changes = []
    for row in json.loads(rows):
        if shadow.wrong is not None:
            break
        if row[0] == "step":
            changed = shadow.step(row)
            if changed is not None:
                changes.append(changed)
        elif row[0] == "up":
            shadow.up(row)
        else:
            shadow.down(row)
    return json.dumps(
        {"steps": shadow.steps, "compared": shadow.compared, "changes": changes, "wrong": shadow.wrong}
    )
