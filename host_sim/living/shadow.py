"""What a second machine needs to repeat a session: every step's raw inputs, and what came of it here.

The session is run once more from its beginning with the same deeds, and each
step of the controller is written down; what is written down is what was
lived, or `Witnessed.same()` is False.
"""

from duplexsump.control.records import N_INPUTS, OUTPUT_NAMES
from duplexsump.control.ticks import MASK, diff

from host_sim.run.controllers import Duplex
from host_sim.run.journal import firmware_checksum

MOST_STEPS = 1500  # of one message


class Witness(Duplex):
    """The firmware's controller, with a row for everything that is done to it in `rows`.

    ["up", ms, its time, snapshot]; ["down", ms, retained];
    ["step", ms, its time, {place: raw value that differs}, outputs, next due]
    """

    def __init__(self, site):
        super().__init__(site)
        self.rows = []
        self.raw = [0] * N_INPUTS

    def power_up(self, now_ms):
        """Power up, and note the state that it begins in."""
        super().power_up(now_ms)
        self.raw = [0] * N_INPUTS
        self.rows.append(["up", now_ms, now_ms & MASK, list(self.controller.snapshot())])

    def power_down(self, now_ms):
        """Power down, and note what is retained."""
        super().power_down(now_ms)
        self.rows.append(["down", now_ms, list(self.retained)])

    def step(self, now_ms, raw):
        """Step, and note what went in and came out."""
        super().step(now_ms, raw)
        ring = now_ms & MASK
        changed = {str(i): raw[i] for i in range(N_INPUTS) if raw[i] != self.raw[i]}
        self.raw[:] = raw
        due = diff(self.controller.next_due(ring), ring)
        self.rows.append(["step", now_ms, ring, changed, list(self.out), due])


class Witnessed:
    """One session's steps, a message at a time: `first()`, then `more()` until it says "end"."""

    def __init__(self, session):
        self.session = session
        self.until_ms = session.now_ms
        self.lived = [repr(record) for record in session.pair.night.control.records]
        self.witness = Witness(session.site)
        self.pit = session.twin(self.witness)

    def first(self):
        """Return what is told before the first step: settings, names of the outputs, the firmware's checksum."""
        return {"settings": list(self.session.site.settings), "outputs": list(OUTPUT_NAMES),
                "firmware": f"{firmware_checksum():08x}", "until_ms": self.until_ms}  # fmt: skip

    def more(self):
        """Return the next rows, the last ones with "end"."""
        pit, rows = self.pit, self.witness.rows
        while len(rows) < MOST_STEPS and pit.next_ms <= self.until_ms:
            pit.step()
        answer = {"rows": rows[:], "at_ms": pit.now_ms}
        rows.clear()
        if pit.next_ms > self.until_ms:
            answer |= {"end": True, "same": self.same()}
        return answer

    def same(self):
        """Return whether what was written down is what was lived."""
        return [repr(record) for record in self.witness.records] == self.lived
