"""A loom of wires: the rig and the controller as two MicroPython processes, and between them wires to swap, cut, short.

It plays the hardware of both boards.  Each board's USB port is a pty.  The
controller's pins are those of a Pico: dry contacts to ground, analog inputs of
12 bits, selectors of two contacts.
"""

import contextlib
import os
import selectors
import signal
import socket
import struct
import subprocess
import threading
import time
import tty
from pathlib import Path

from duplexsump.control import records as rec

from hil.kits import rig_deploy
from hil.rig.lib.sumprig import wires as w
from host_sim.board.virtual import FIRMWARE, START, find_micropython

CONTACTS = w.COILS[:15]
FULL = {"current_1": 30000, "current_2": 30000, "level": 22000, "battery": 33000}
PLACES = {"current_1": rec.IN_CURRENT_1, "current_2": rec.IN_CURRENT_2, "level": rec.IN_LEVEL,
          "battery": rec.IN_BATTERY}
FLOATS = {"off": rec.OFF, "lead": rec.LEAD, "lag": rec.LAG, "high": rec.HIGH}
ONE = {"silence": rec.IN_SILENCE, "reset": rec.IN_RESET, "jumper": rec.IN_JUMPER, "mains": rec.IN_MAINS,
       "charger": rec.IN_CHARGER}
POWER_ON, WATCHDOG, ASKED = range(3)
_BOOT_S = 0.1


class Board:
    """One MicroPython process with its pty; `size` is how long its messages are."""

    def __init__(self, name, size, flash, firmware, environment, blocks=352):
        self.name, self.size, self.flash, self.firmware = name, size, Path(flash), Path(firmware)
        self.environment = environment
        self.blocks = blocks
        self.master, self.slave = os.openpty()
        tty.setraw(self.master)
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        self.process = self.pins = None
        self.buffer = b""
        self.cause = POWER_ON
        self.kept = 0  # the word that outlives a reset but no power cut
        self.causes = []
        self.start_at_s = 0.0
        self.reset_at_s = None
        self.gone = False

    def start(self, pins_variable, cause_variable, log):
        """Start the process."""
        ours, theirs = socket.socketpair()
        environment = {**os.environ, **self.environment, pins_variable: str(theirs.fileno()),
                       cause_variable: str(self.cause), "DUPLEXSUMP_KEPT": str(self.kept),
                       "BENCH_FLASH": str(self.flash), "BENCH_FIRMWARE": str(self.firmware),
                       "BENCH_BLOCKS": str(self.blocks)}
        self.process = subprocess.Popen([find_micropython(), "-i", str(START)], stdin=self.master, stdout=self.master,
                                        stderr=log, env=environment, pass_fds=[theirs.fileno()],
                                        start_new_session=True)
        theirs.close()
        self.pins, self.buffer, self.reset_at_s = ours, b"", None
        self.causes.append(self.cause)

    def end(self, cause):
        """End the process without a word."""
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                self.process.kill()
            self.process.wait()
            self.pins.close()
            self.process = self.pins = None
        self.cause = cause
        self.kept = 0 if cause == POWER_ON else self.kept
        self.start_at_s = time.monotonic() + _BOOT_S

    def messages(self):
        """Return the whole messages that have come, None when the process has ended."""
        try:
            data = self.pins.recv(4096)
        except OSError:
            data = b""
        if not data:
            return None
        self.buffer += data
        whole = len(self.buffer) // self.size * self.size
        data, self.buffer = self.buffer[:whole], self.buffer[whole:]
        return [data[i : i + self.size] for i in range(0, whole, self.size)]


class Loom:
    """`with Loom(folder) as loom:` - then `loom.port` is the controller, `loom.rig_port` the rig.

    `arrives` is {rig's wire: terminals of the controller that it is connected to}; `comes` is {rig's relay input: the
    controller's output or None}; terminals in `grounded` are shorted to ground.
    """

    def __init__(self, folder, speed=1, firmware=FIRMWARE, controller=True):
        folder = Path(folder)
        rig_deploy.assemble(folder / "rig-firmware", "posix")
        clock = {"DUPLEXSUMP_SPEED": str(speed), "SUMPRIG_SPEED": str(speed)}
        self.controller = Board("controller", 6, folder / "controller.img", firmware, clock)
        self.rig = Board("rig", 13, folder / "rig.img", folder / "rig-firmware", clock, 96)
        self.controller.gone = not controller
        self.arrives = {name: (name,) for name in CONTACTS + w.ANALOG}
        self.comes = {name: name for name in w.RELAYS}
        self.grounded = set()
        self.power_fitted = self.run_fitted = True
        self.coils, self.analog, self.outputs = 0, (0, 0, 0, 0), 0
        self.told = None  # relays last told to the rig
        self.lock = threading.RLock()
        self.stopping = False
        self.log = open(folder / "stderr.txt", "wb")  # noqa: SIM115 - as long as the loom
        self.thread = threading.Thread(target=self._run, name="loom", daemon=True)

    port = property(lambda self: self.controller.port)
    rig_port = property(lambda self: self.rig.port)

    def __enter__(self):
        self.thread.start()
        return self

    def __exit__(self, *_):
        self.stopping = True
        self.thread.join()
        for board in (self.controller, self.rig):
            board.end(POWER_ON)
            for end in (board.master, board.slave):
                with contextlib.suppress(OSError):
                    os.close(end)
        self.log.close()

    # What a person may do to the wires.

    def swap(self, one, other):
        """Exchange two wires."""
        table = self.comes if one in self.comes else self.arrives
        with self.lock:
            table[one], table[other] = table[other], table[one]
            self._tell_rig()

    def cut(self, name):
        """Cut a wire."""
        with self.lock:
            if name in self.comes:
                self.comes[name] = None
            else:
                self.arrives[name] = ()
            self._tell_rig()

    def bridge(self, one, other):
        """Connect two wires to each other."""
        with self.lock:
            self.arrives[one] = self.arrives[other] = (one, other)

    def ground(self, name):
        """Short a terminal of the controller to ground."""
        with self.lock:
            self.grounded.add(name)

    def mend(self):
        """Put every wire where it belongs."""
        with self.lock:
            self.arrives = {name: (name,) for name in self.arrives}
            self.comes = {name: name for name in self.comes}
            self.grounded = set()
            self._tell_rig()

    def switch(self, outputs):
        """Switch the controller's outputs from outside, bits in the order of the rig's relays."""
        with self.lock:
            self._switched(outputs)

    def vanish(self, board):
        """Pull a board's USB cable: its port is gone, and it is without power."""
        with self.lock:
            board.gone = True
            board.end(POWER_ON)
            os.close(board.master)
            if board is self.controller:
                self._switched(0)

    # Its thread.

    def _run(self):
        watching = selectors.DefaultSelector()
        while not self.stopping:
            with self.lock:
                self._keep_alive(watching)
            for key, _ in watching.select(0.02):
                with self.lock:
                    if key.fileobj is key.data.pins:
                        self._hear(key.data, watching)

    def _keep_alive(self, watching):
        now = time.monotonic()
        for key in [key for key in watching.get_map().values() if key.fileobj is not key.data.pins]:
            watching.unregister(key.fileobj)
        for board in (self.controller, self.rig):
            if board.process is None:
                if now >= board.start_at_s and not board.gone and not (board is self.controller and self._dead()):
                    pins = "DUPLEXSUMP_PINS" if board is self.controller else "SUMPRIG_PINS"
                    board.start(pins, "DUPLEXSUMP_CAUSE", self.log)
                    watching.register(board.pins, selectors.EVENT_READ, board)
                    self.told = None if board is self.rig else self.told
                    self._tell_rig()
            elif board.reset_at_s is not None and now >= board.reset_at_s:
                self._end(board, ASKED, watching)

    def _end(self, board, cause, watching):
        if board.pins is not None:
            watching.unregister(board.pins)
        board.end(cause)
        if board is self.controller:
            self._switched(0)
        else:
            self.coils, self.analog = 0, (0, 0, 0, 0)

    def _hear(self, board, watching):
        messages = board.messages()
        if messages is None:
            self._end(board, WATCHDOG, watching)
            return
        for message in messages:
            letter, value = message[:1], int.from_bytes(message[1:5], "little")
            if letter == b"T":
                board.reset_at_s = time.monotonic() + value / 1000.0
            elif letter == b"K":
                board.kept = value
            elif letter == b"X":
                self._end(board, ASKED, watching)
                return
            elif letter == b"W" and board is self.rig:
                self.coils, self.analog = value, struct.unpack("<4H", message[5:])
                if self._dead() and self.controller.process is not None:
                    self._end(self.controller, POWER_ON, watching)
            elif letter == b"W":
                self._switched(message[5])
            elif letter == b"R":
                with contextlib.suppress(OSError):
                    board.pins.sendall(struct.pack(f"<{rec.N_INPUTS}i", *self.raw()))

    def _dead(self):
        cut = self.coils >> w.COILS.index("power_cut") & 1 and self.power_fitted
        return cut or (self.coils >> w.COILS.index("run_held") & 1 and self.run_fitted)

    def _switched(self, outputs):
        self.outputs = outputs
        self._tell_rig()

    def _tell_rig(self):
        relays = 0
        for i, name in enumerate(w.RELAYS):
            source = self.comes[name]
            if source is not None and self.outputs >> w.RELAYS.index(source) & 1:
                relays |= 1 << i
        if relays != self.told and self.rig.pins is not None:
            self.told = relays
            with contextlib.suppress(OSError):
                self.rig.pins.sendall(bytes([relays]))

    def raw(self):
        """Return the raw record that the controller reads off its pins, as a Pico's wiring table makes it."""
        closed = set(self.grounded)
        volts = dict.fromkeys(w.ANALOG, 0)
        for i, name in enumerate(CONTACTS):
            if self.coils >> i & 1:
                closed |= set(self.arrives[name])
        for name, millivolts in zip(w.ANALOG, self.analog, strict=True):
            for terminal in self.arrives[name]:
                volts[terminal] = millivolts
        raw = [0] * rec.N_INPUTS
        raw[rec.IN_CONTACTS] = sum(bit for name, bit in FLOATS.items() if name in closed)
        for name, place in ONE.items():
            raw[place] = 1 if name in closed else 0
        for n, (selector, thermal) in enumerate(((rec.IN_SELECTOR_1, rec.IN_THERMAL_1),
                                                 (rec.IN_SELECTOR_2, rec.IN_THERMAL_2)), 1):
            hand = rec.SELECT_HAND if f"selector_{n}_hand" in closed else rec.SELECT_AUTO
            raw[selector] = rec.SELECT_OFF if f"selector_{n}_off" in closed else hand
            raw[thermal] = 0 if f"thermal_{n}" in closed else 1
        for name, place in PLACES.items():
            raw[place] = (volts[name] * 4095 // w.FULL_MV) * FULL[name] // 4095
        return raw


class Relay:
    """A TCP port in front of a pty, as a serial device server is: `relay.url` is for pyserial."""

    def __init__(self, port):
        self.port = port
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self.listening.getsockname()[1]}"
        self.stopping = False
        self.thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self):
        self.thread.start()
        return self

    def __exit__(self, *_):
        self.stopping = True
        self.thread.join()
        self.listening.close()

    def _run(self):
        self.listening.settimeout(0.1)
        while not self.stopping:
            try:
                caller, _ = self.listening.accept()
            except TimeoutError:
                continue
            with caller:
                self._carry(caller)

    def _carry(self, caller):
        line = os.open(self.port, os.O_RDWR | os.O_NOCTTY)
        try:
            with selectors.DefaultSelector() as watching:
                watching.register(caller, selectors.EVENT_READ)
                watching.register(line, selectors.EVENT_READ)
                while not self.stopping:
                    for key, _ in watching.select(0.1):
                        if key.fileobj is caller:
                            data = caller.recv(4096)
                            if not data:
                                return
                            os.write(line, data)
                        else:
                            caller.sendall(os.read(line, 4096))
        except OSError:
            return
        finally:
            os.close(line)


def freeze(board):
    """Stop a board's process where it stands, as a hang would."""
    os.kill(board.process.pid, signal.SIGSTOP)
