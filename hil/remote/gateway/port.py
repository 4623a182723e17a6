"""The one holder of the controller's port: reads it, opens it again when it went away, lets others through.

Every request of a client that is served goes through `pass_on`, one at a time, between the gateway's own.
"""

import threading

from host_sim.board.client import Client, RefusedError, line_of
from host_sim.errors import InputError

PATIENCE_S = 0.5
TRIES = 2


class Port:
    """`opener()` returns an open `Client`, by default on `name`.  Every call raises InputError while nobody answers."""

    def __init__(self, name, framing="ascii", unit=1, opener=None):
        self.name = name
        kind, baud, parity = line_of(framing)
        self.opener = opener or (lambda: Client(name, kind, unit, baud, PATIENCE_S, parity))
        self.lock = threading.RLock()
        self.client = None

    def use(self, work):
        """Return `work(client)`, alone on the port; a port that fails is closed and opened again at the next call."""
        with self.lock:
            if self.client is None:
                client = self.opener()
                try:
                    client.identify()
                except InputError:
                    client.close()
                    raise
                self.client = client
            try:
                return work(self.client)
            except InputError as error:
                if type(error) is InputError:  # a refusal is an answer
                    self.close()
                raise

    def pass_on(self, pdu):
        """Return the controller's answer to a PDU (bytes); a refusal comes back as its exception PDU."""
        try:
            return self.use(lambda client: client.ask(pdu, TRIES))
        except RefusedError as refused:
            return bytes([pdu[0] | 0x80, refused.code])

    def close(self):
        """Close the port until the next call."""
        with self.lock:
            if self.client is not None:
                self.client.close()
                self.client = None
