"""The emulated board as a kit: the firmware on real MicroPython on an emulated chip, its real pins driven and read.

Time is the chip's.  Where nothing waits on the link the kit lets the processor
doze from one tick to the next, through the passes of the station's loop that
would find nothing to do; `doze=False` runs every pass.
"""

from importlib import metadata

from duplexsump.boards import hardware

from hil.kits import base, wires
from hil.kits.emulated import flash
from hil.kits.emulated.line import Line
from hil.kits.emulated.pins import MOST_COUNTS, Pins
from hil.kits.virtual import bench_settings
from host_sim.board import hardware_file, signals
from host_sim.board.client import Client
from host_sim.board.virtual import FIRMWARE
from host_sim.errors import InputError

try:
    from hil.kits.emulated.bus import Converter, Expander
    from hil.kits.emulated.pico import Pico
except ImportError:  # told when somebody asks for such a board
    Pico = None

EMULATOR = "0.3.6"  # of rp2040py: other versions are not mended by what mends this one

MS = 1_000_000
FULL_MV = 3300.0
EXPANDER_AT, CONVERTER_AT = 0x20, 0x48
ANSWER_MS = 30000  # a board that has not answered by then does not answer
TICK_NS = 100 * MS
EARLY_NS = 3 * MS  # a dozing board wakes so long before its tick and rests the remainder itself
SLACK_NS = 5 * MS  # how much earlier than the tick that the grid was taken from another may come
AWAKE_TICKS = 5  # the first is late by what the start took; the grid is taken from one that the board's own rest timed
SET_NS = MS  # the board has set all its relays so long after the first
BURST_NS = 50 * MS  # analog readings closer together than this belong to one tick


class Emulated(Client):
    """The client on the link, which tells the kit what settings it has put in force."""

    def __init__(self, board):
        super().__init__(board.line)
        self.board = board

    def put_settings(self, values):
        """See `Client.put_settings`."""
        super().put_settings(values)
        self.board.set_values(values)


def need_emulator():
    """Raise InputError unless the emulator is installed, in the version that is mended here."""
    install = "python -m pip install 'sumpbench[emulated]'"
    if Pico is None:
        raise InputError(f"rp2040py is missing: {install}", "emulated board")
    found = metadata.version("rp2040py")
    if found != EMULATOR:
        raise InputError(f"rp2040py {found} is installed, {EMULATOR} is needed: {install}", "emulated board")


class EmulatedKit(base.Kit):
    """An emulated Pico.  `uf2` is the path of MicroPython for RPI_PICO; `settings` a settings record.

    `firmware` is the folder its flash is made from; `compiled` False runs rp2040py's own loop alone; `expander` True
    fits the I2C expander and the converter: every signal that there is.
    Raises InputError for a file that is no such UF2, settings that are refused, a firmware that does not compile,
    and where the emulator is missing.
    """

    place = "emulated"
    abilities = frozenset(("power", "hang", "stride", "settings"))
    forgets = True
    may_change_settings = True

    def __init__(self, uf2, settings=None, firmware=FIRMWARE, seed=0, doze=True, compiled=None, expander=False):
        need_emulator()
        super().__init__()
        self.seed = seed
        self.doze = doze
        self.compiled = compiled
        self.settings = list(settings or bench_settings())
        self.pins = Pins("pico", expander)
        self.expander, self.converter = None, None  # where they are fitted and the board has power
        self.fitted = expander
        self.stuck = False  # the chip's own analog converter reads what it read
        self.worn = False  # the flash below the file system
        self.wires = self.pins.wires
        self.program = flash.read_uf2(uf2)
        self.fresh = flash.make_files(
            {**flash.firmware_files(firmware), **flash.settings_files(self.settings), **self._hardware()}
        )
        self.image = self.fresh
        self.values = list(self.settings)  # in force, as far as the kit knows
        self.rest = wires.rest_values(self.settings)
        self.pico = None
        self.time_ns = 0.0  # the bench's time while the board has no power
        self._forget_grid()
        self.starts = []
        self.registers = {}
        self.line = Line(self)
        self.link = Emulated(self)

    def _hardware(self):
        # The file that tells the firmware of the expander.
        if not self.fitted:
            return {}
        return {f"/pit/hardware.{copy}": hardware_file.text(0, True) for copy in hardware.COPIES}

    # Time.

    def now_ns(self):
        """Return the bench's time in ns."""
        return self.time_ns if self.pico is None else self.pico.now_ns()

    def now_ms(self):
        """Return the bench's time in ms."""
        return int(self.now_ns() // MS)

    def pass_ns(self, ns, until=None):
        """Let time pass, at most until `until()` holds."""
        end = self.now_ns() + ns
        while self.now_ns() < end and not (until is not None and until()):
            if self.pico is None:
                self.time_ns = end
            else:
                self.pico.run_ns(end)

    def run_ms(self, ms):
        """Let `ms` pass."""
        self.pass_ns((self.now_ms() + ms) * MS - self.now_ns())

    def run_until(self, predicate, limit_ms):
        """Let time pass until `predicate()` holds, looking after every change of a pin and every 10 ms."""
        until = (self.now_ms() + limit_ms) * MS
        while not predicate():
            left_ns = until - self.now_ns()
            if left_ns <= 0:
                return False
            seen = len(self.edges)
            look_ns = left_ns if self.quiet is not None else min(10 * MS, left_ns)
            self.pass_ns(look_ns, lambda seen=seen: len(self.edges) != seen)
        return True

    def _forget_grid(self):
        # A life begins: when the board looks at its inputs is not known yet.
        self.ticks = 0
        self.tick_ns = self.last_sample_ns = 0.0  # when it last began to look, and when it last read one
        self.grid_ns = None  # one instant at which it looked; the others lie 100 ms apart
        self.quiet = None  # says until when it finds nothing to do

    def _sampled(self):
        now = self.now_ns()
        if now - self.last_sample_ns > BURST_NS:
            self.tick_ns = now
            self.ticks += 1
            if self.ticks == AWAKE_TICKS:
                self.grid_ns = now
            if self.quiet is not None:
                self.quiet.tick(now)
        self.last_sample_ns = now

    def _doze_until(self):
        # The instant of the chip's clock until which a waiting processor may be left to wait.
        pico = self.pico
        if not self.doze or self.grid_ns is None or self.line.busy() or not pico.port.idle():
            return 0.0
        if self.quiet is not None:
            return self.quiet.until_ns(pico.now_ns()) - pico.origin_ns
        # By the grid, not by the last tick: a tick that came late would make all that follow late.
        done = (self.tick_ns - self.grid_ns + SLACK_NS) // TICK_NS
        return self.grid_ns + (done + 1) * TICK_NS - EARLY_NS - pico.origin_ns

    # Pins.

    def set_values(self, values):
        """Take note of the settings that are in force: they say what is plugged into the analog pins."""
        self.values = list(values)
        for name in self.pins.analog:
            self._connect(name, self.driven[name])

    def _put(self, name, value):
        if self.quiet is not None:
            self.quiet.stir()
        self._connect(name, value)

    def _connect(self, name, value):
        if self.pico is None:
            return
        if name in self.pins.analog:
            if name in self.pins.plugged(self.values):
                self._voltage(*self.pins.counts(name, value, self.values))
            return
        for pin, closed in self.pins.closed(name, value).items():
            self._contact(pin, closed)

    def _voltage(self, pin, counts):
        if isinstance(pin, str):
            self.converter.millivolts[pin] = counts * FULL_MV / MOST_COUNTS
        elif not self.stuck:
            self.pico.volts(pin, counts)

    def _contact(self, pin, closed):
        if not isinstance(pin, str):
            self.pico.drive(pin, 0 if closed else None)
        elif closed:
            self.expander.closed.add(pin)
        else:
            self.expander.closed.discard(pin)

    def volts_counts(self, pin):
        """Return what stands at an analog pin, 0 .. 4095 for 0 to 3.3 V."""
        if isinstance(pin, str):
            return int(self.converter.millivolts[pin] * MOST_COUNTS / FULL_MV)
        return self.pico.counts(pin)

    def stick_adc(self, stuck=True):
        """Let the chip's own analog converter read for good what it reads now, or follow its inputs again."""
        self.stuck = stuck
        for name in self.pins.analog:
            self._connect(name, self.driven[name])

    def wear_flash(self, worn=True):
        """Let no block below the file system erase any more."""
        self.worn = worn
        if self.pico is not None:
            self.pico.failing.worn = worn

    def hold_bus(self, held=True):
        """Hold the I2C bus low, as a short does, or let it go.  Raises Missing where there is none."""
        if not self.fitted:
            raise base.Missing(f"this board ({self.place}) has no I2C expander", "expander")
        self.pico.mcu.i2c[signals.board("pico")["expander"]["bus"]].held = held

    def _watch(self, pin):
        name, on = self.pins.outputs[pin]
        self.pico.watch(pin, lambda level: self._moved(name, 1 if level == on else 0))

    def _moved(self, name, value):
        # The board sets its relays one after another: who looks at one change is to see them all.
        self.saw(name, value)
        self.pico.engine.interrupt_in(SET_NS)

    def _restarted(self):
        # Every pin is an input again.
        self.starts.append((self.now_ms(), "watchdog"))
        self._forget_grid()
        for name, _ in self.pins.outputs.values():
            self.saw(name, 0)

    # A kit.

    def client(self):
        """Return the client on the link, whose waiting lets the board's time pass."""
        return self.link

    def power(self, on):
        """Cut or give the controller's power; the flash keeps what was written."""
        if not on and self.pico is not None:
            self.time_ns = self.pico.now_ns()
            self.image = self.pico.files_image()
            self.pico = None
            for name, _ in self.pins.outputs.values():
                self.saw(name, 0)
        elif on and self.pico is None:
            self.pico = pico = Pico(self.program, self.image, self.compiled, self.time_ns)
            pico.on_reset, pico.mcu.adc.on_sample = self._restarted, self._sampled
            pico.engine.held = self._doze_until
            pico.failing.worn = self.worn
            if self.fitted:
                self.expander, self.converter = Expander(), Converter(pico.clock)
                bus = signals.board("pico")["expander"]["bus"]
                pico.hang_on(bus, {EXPANDER_AT: self.expander, CONVERTER_AT: self.converter})
            self._forget_grid()
            self.starts.append((self.now_ms(), "power-up"))
            for pin in self.pins.outputs:
                self._watch(pin)
            for name in [*self.pins.contacts, *self.pins.analog]:
                self._connect(name, self.driven[name])

    def hang(self):
        """Stop the processor dead in whatever it does; the chip's own watchdog is left to it."""
        if self.pico is not None:
            self.pico.halt()

    def press_run(self):
        """Reset the board by its RUN pin, as a person does; it forgets nothing that is in the flash."""
        if self.pico is not None:
            self.pico.press_run()
            self._restarted()
            self.starts[-1] = (self.starts[-1][0], "RUN pin")

    def stride_ms(self, ms):
        """Let up to 23 h pass in one stride: the processor halted as by a debugger, which pauses the watchdog."""
        if not 0 <= ms <= 23 * 3600000:
            raise InputError(f"a stride of {ms} ms: give 0 to 82800000 ms", "stride")
        if self.pico is None:
            self.time_ns += ms * MS
            return
        self.pass_ns(1000 * MS, self.pico.asleep)
        self.pico.stride_ns(ms * MS)

    def reset(self):
        """Make a fresh start: rest values, a flash that has seen nothing but its settings, power, an answer."""
        self.power(False)
        self.to_rest()
        self.cold_start()
        until = self.now_ms() + ANSWER_MS
        while True:
            try:
                self.link.identify()
                return
            except InputError as error:
                if self.now_ms() >= until:
                    raise InputError([*error.problems, *self._why()], "emulated board") from error

    def _why(self):
        # What the firmware left in the flash about why it stopped.
        reason = flash.read_files(self.pico.files_image()).get("/pit/reason", b"")
        said = bytes(self.pico.output[-300:]).decode("utf-8", "replace").strip()
        found = [f"the firmware stopped: {reason.decode('utf-8', 'replace')}"] if reason else []
        return found + ([f"it said: {said}"] if said else [])

    def cold_start(self):
        """Begin with a flash that holds the firmware and the settings, and has seen nothing yet."""
        self.power(False)
        self.image = self.fresh
        self.values = list(self.settings)
        self.power(True)

    def files(self):
        """Return {"/path": bytes}: what lies on the board's file system now."""
        return flash.read_files(self.image if self.pico is None else self.pico.files_image())

    def describe(self):
        """Return what is under test; the board must have started."""
        self.registers = self.registers or self.link.values()
        return {
            "board": self.place,
            "firmware": f"{self.registers['firmware']:08x}",
            "wiring": f"{len(self.wires)} wires at the pins of the chip{' and its expander' if self.fitted else ''}",
            "micropython": flash.micropython_version(self.program),
            "seed": self.seed,
        }

    def log(self):
        """Return what the board sent over USB and the pin trace."""
        sent = b"" if self.pico is None else bytes(self.pico.output[-4000:])
        head = "starts: " + ", ".join(f"{ms / 1000:.3f} s {why}" for ms, why in self.starts)
        return "\n".join(part for part in (head, sent.decode("ascii", "replace").strip(), self.trace()) if part)

    def close(self):
        """Take the power away: the outputs drop."""
        self.power(False)
