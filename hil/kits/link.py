"""A client on a port that may go away: InputError before the run, Vanished during it."""

from hil.kits.base import Vanished
from host_sim.board.client import Client
from host_sim.errors import InputError


class Link(Client):
    """A `Client` that says whose port it is.  After `begin_run()` a device that goes away raises Vanished.

    `whose` is what the words call the device; `after()` is called after each request, answered or not.
    """

    def __init__(self, port, whose, framing="ascii", unit=1, patience_s=1.0, after=None):
        super().__init__(port, framing, unit, 19200 if framing == "rtu" else 115200, patience_s)
        self.whose = whose
        self.after = after
        self.running = False

    def begin_run(self):
        """From now on this device is known to be there."""
        self.running = True

    def ask(self, pdu, tries=3):
        """Return the answer to a PDU; see `Client.ask`."""
        try:
            return super().ask(pdu, tries)
        except InputError as error:
            # A refusal is an answer.
            if self.running and type(error) is InputError:
                raise Vanished([f"{self.whose}: {line}" for line in error.problems], self.port) from error
            raise
        finally:
            if self.after is not None and self.running:
                self.after()


def signature(port, framing="ascii", unit=1, patience_s=0.7):
    """Return the signature of the Modbus device on a port.  Raises InputError where none answers."""
    with Link(port, "", framing, unit, patience_s) as client:
        return client.words(0, 1)[0]
