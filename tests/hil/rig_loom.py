"""A loom with settings whose times are short, a kit on it, and a device that is neither rig nor controller."""

import os
import threading
import time
import tty

from duplexsump.control import settings as s
from duplexsump.station.framing import lrc

from hil.kits.real_rig import RealKit
from hil.kits.rig_client import RigClient
from host_sim.board.client import Client
from host_sim.errors import InputError

# Short rests, so that a procedure in real time ends soon; motor current sensed.
# The proof of a start is long: the current comes from a PC that may have other things to do.
SHORT = {"sensing": 2, "min_off": 10000, "lag_min_off": 8000, "flood_min_off": 8000, "boot_hold": 2000,
         "min_run": 2000, "start_proof": 6000, "dry_run": 12000, "exercise_run": 12000}
SPEED = 8  # times as fast as the wall clock
SLACK_MS = 5000  # a loaded machine is slow, and its seconds count eightfold
GAP_S = 8.0  # between two floats: two within 2 s would share a wire (L7)
SILENCE_MS = 60000


def wait_for(what, patience_s=600.0):
    """Return what `what()` gives once it is true; InputError counts as not yet."""
    until = time.monotonic() + patience_s
    while True:
        try:
            found = what()
        except InputError:
            found = None
        if found:
            return found
        assert time.monotonic() < until, f"waited {patience_s:g} s in vain"
        time.sleep(0.05)


def give_settings(loom, **changes):
    """Put settings on the controller of a loom, once it answers."""
    values = s.defaults()
    for name, value in {**SHORT, **changes}.items():
        values[s.index(name)] = value

    def put():
        with Client(loom.port) as client:
            client.identify()
            client.put_settings(values)
            return True

    wait_for(put)


def kit_on(loom, **options):
    """Return a kit on a loom, once both boards answer."""
    wait_for(lambda: _answers(loom))
    kit = RealKit(loom.port, loom.rig_port, silence_ms=SILENCE_MS, **options)
    kit.timing_ms = SLACK_MS
    return kit


def rig_on(loom):
    """Return a client on a loom's rig, once it answers."""

    def find():
        rig = RigClient(loom.rig_port)
        try:
            rig.identify()
        except InputError:
            rig.close()
            raise
        return rig

    return wait_for(find)


class Hands:
    """A person's hands at the panel, played by a loom's rig: what they have set stays set, however long a test takes.

    A rig that hears nothing for a minute of its own time lets go of its wires, and that minute is short here.
    """

    def __init__(self, loom):
        self.rig = rig_on(loom)
        self.rig.begin(SILENCE_MS)
        self.busy = threading.Lock()
        self.ended = threading.Event()
        self.thread = threading.Thread(target=self._keep, daemon=True)
        self.thread.start()

    def _keep(self):
        while not self.ended.wait(0.5):
            with self.busy:
                self.rig.state()

    def close_contact(self, name, closed):
        """Close a contact to ground, or open it."""
        with self.busy:
            self.rig.close_contact(name, closed)

    def close_contacts(self, values):
        """Set several contacts at once."""
        with self.busy:
            self.rig.close_contacts(values)

    def close(self):
        """Let go."""
        self.ended.set()
        self.thread.join()
        self.rig.close()


def _answers(loom):
    with Client(loom.port, patience_s=0.5) as client:
        client.identify()
    with RigClient(loom.rig_port, patience_s=0.5) as rig:
        rig.identify()
    return True


class Stranger:
    """A Modbus device on a pty that answers every request with the same words: `with Stranger(0x1234) as port:`."""

    def __init__(self, signature):
        self.signature = signature
        self.master, self.slave = os.openpty()
        tty.setraw(self.master)
        tty.setraw(self.slave)
        self.stopping = False
        self.thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self):
        os.set_blocking(self.master, False)
        self.thread.start()
        return os.ttyname(self.slave)

    def __exit__(self, *_):
        self.stopping = True
        self.thread.join()
        os.close(self.master)
        os.close(self.slave)

    def _run(self):
        asked = b""
        while not self.stopping:
            try:
                asked += os.read(self.master, 256)
            except BlockingIOError:
                time.sleep(0.01)
            while b"\r\n" in asked:
                request, _, asked = asked.partition(b"\r\n")
                pdu = bytes.fromhex(request.rpartition(b":")[2].decode())
                count = pdu[5]
                frame = bytes([pdu[0], pdu[1], 2 * count]) + self.signature.to_bytes(2, "big") * count
                os.write(self.master, b":" + (frame + bytes([lrc(frame, 0, len(frame))])).hex().upper().encode()
                         + b"\r\n")
