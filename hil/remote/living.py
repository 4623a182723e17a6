"""A board read once a second for the pages that show it: one holder of the port, however many pages there are."""

import threading
import time

from hil.remote import reading as parts
from hil.remote.gateway.port import Port
from host_sim.errors import InputError

PASS_S = 1.0
SILENT_S = 5.0  # without a sound reading for so long the board is silent


class Watched:
    """`Watched(port, framing, unit)`, `start()`, `close()`.  `port` may be socket://host:port of a gateway.

    `reading` is the last `hil.remote.reading.Reading` (its `at` after `clock`) or None, `settings` the board's,
    `error` why there is none.  `once()` reads once.
    """

    def __init__(self, port, framing="ascii", unit=1, opener=None, clock=time.time):
        self.port, self.clock = Port(port, framing, unit, opener), clock
        self.reading = self.settings = self.sequence = None
        self.error = "it has not been asked yet"
        self.ended = threading.Event()
        self.thread = None

    def start(self):
        """Read in the background from now on."""
        self.thread = threading.Thread(target=self._run, name="board", daemon=True)
        self.thread.start()

    def close(self):
        """Stop reading and free the port."""
        self.ended.set()
        if self.thread is not None:
            self.thread.join(10.0)
        self.port.close()

    def _run(self):
        while not self.ended.is_set():
            self.once()
            self.ended.wait(PASS_S)

    def once(self):
        """Read the board; a board that does not answer leaves its last reading as it was, and why in `error`."""
        try:
            self.reading = self.port.use(self._take)
            self.error = ""
        except InputError as error:
            self.error = "; ".join(error.problems)

    def _take(self, client):
        reading = parts.take(client, self.clock())
        if self.settings is None or reading.values["settings_sequence"] != self.sequence:
            self.settings, self.sequence = client.settings(), reading.values["settings_sequence"]
        return reading

    def silent(self):
        """Return whether the last sound reading is too old to be shown as what is so now."""
        return self.reading is None or self.clock() - self.reading.at > SILENT_S
