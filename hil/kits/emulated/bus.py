"""The I2C bus of the emulated board: its master, which takes the time that bits take, and the parts that hang on it.

The emulator's master asks hooks what is on the bus; here they answer for the
parts after the time of nine bits (eight and the acknowledge), and not at all while the
bus is `held` low (by a short, or a part cut off in mid-byte): the program's own
time-out ends that.  A part that is `absent` acknowledges nothing.

The parts, by their public register models:
    Expander   16 inputs, type 9535/9555: a command byte, then registers in pairs that alternate
    Converter  type 1015/1115: a pointer, then two bytes; a conversion takes what its data rate says
"""

from rp2040py.peripherals import i2c, reset

BIT_NS = 8.0  # of one count of a clock period: the emulator's 125 MHz
BITS = 9
POINTERS = 4
_SUPPLY_MV = 3300


class Master(i2c.RPI2C):
    """An I2C controller whose bytes take their time; `parts` is {address: part}, `held` True: a line is held low."""

    def __init__(self, mcu, name, irq):
        super().__init__(mcu, name, irq)
        self.parts = {}
        self.held = False
        self.part = None
        self.bytes = 0  # that have passed, addresses among them
        self.then = None
        self.alarm = mcu.clock.create_alarm(self._over)
        self.on_start = self._start
        self.on_connect = self._connect
        self.on_write_byte = self._write
        self.on_read_byte = self._read

    def reset(self):
        """Forget what is under way; what hangs on the bus stays as it is."""
        self.alarm.cancel()
        self.then = None
        super().reset()

    def _after(self, bits, then):
        self.then = then
        self.alarm.schedule(bits * BIT_NS * max(1, self.scl_low_period + self.scl_high_period))

    def _over(self):
        then, self.then = self.then, None
        if then is not None and not self.held:
            then()

    def _start(self, _repeated):
        self._after(1, self.complete_start)

    def _connect(self, address, mode):
        self.bytes += 1
        self.part = self.parts.get(address)
        there = self.part is not None and not self.part.absent
        if there:
            self.part.begin(mode == i2c.I2CMode.READ)
        self._after(BITS, lambda: self.complete_connect(there))

    def _write(self, value):
        self.bytes += 1
        taken = self.part is not None and self.part.take(value)
        self._after(BITS, lambda: self.complete_write(taken))

    def _read(self, _acknowledge):
        self.bytes += 1
        value = 0xFF if self.part is None else self.part.give()
        self._after(BITS, lambda: self.complete_read(value))


class Resets(reset.RPReset):
    """The chip's reset controller; a program that resets an I2C controller by it finds it reset, which the emulator's
    own lets pass (RP2040 datasheet, section 2.14).
    """

    BITS = (reset.RESET_I2C0, reset.RESET_I2C1)

    def __init__(self, mcu, name):
        super().__init__(mcu, name)
        self.masters = mcu.i2c

    def write_uint32(self, offset, value):
        """Write a register."""
        super().write_uint32(offset, value)
        for bit, master in zip(self.BITS, self.masters, strict=True):
            if offset == reset.RESET and value & bit:
                master.reset()


class Expander:
    """Sixteen pins, all inputs at power-up with a pull-up at each; `closed` holds the names ("A3") that are low."""

    def __init__(self):
        self.absent = False
        self.closed = set()
        self.command = 0
        self.first = False  # the next byte written is the command
        self.registers = bytearray((0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0xFF, 0xFF))

    def begin(self, reads):
        """A transfer to or from it begins."""
        self.first = not reads

    def take(self, value):
        """Take a byte; return whether it is acknowledged."""
        if self.first:
            self.first = False
            self.command = value & 7
        else:
            if self.command > 1:  # the input ports are read only
                self.registers[self.command] = value
            self._next()
        return True

    def give(self):
        """Return the next byte."""
        value = self._port(self.command) if self.command < 2 else self.registers[self.command]
        self._next()
        return value

    def _next(self):
        self.command ^= 1

    def _port(self, port):
        low = sum(1 << int(name[1]) for name in self.closed if name[0] == "AB"[port])
        outputs = self.registers[2 + port] & ~self.registers[6 + port]
        return ((~low & self.registers[6 + port] | outputs) ^ self.registers[4 + port]) & 0xFF


class Converter:
    """Four inputs against ground; `millivolts` is {"AIN0": mV}.  `stuck`: the counts that it always gives, or None."""

    RATES = (8, 16, 32, 64, 128, 250, 475, 860)
    FULL_MV = (6144, 4096, 2048, 1024, 512, 256, 256, 256)

    def __init__(self, clock):
        self.clock = clock
        self.absent = False
        self.stuck = None
        self.millivolts = {"AIN0": 0.0, "AIN1": 0.0, "AIN2": _SUPPLY_MV, "AIN3": 0.0}  # the last two are its proof
        self.registers = [0, 0x8583, 0x8000, 0x7FFF]  # conversion, configuration, both thresholds
        self.ready_ns = 0.0
        self.converting = None
        self.pointer = 0
        self.place = 0  # bytes of this transfer
        self.reads = False

    def begin(self, reads):
        """A transfer to or from it begins."""
        self.reads, self.place = reads, 0

    def take(self, value):
        """Take a byte; return whether it is acknowledged."""
        if self.place == 0:
            self.pointer = value % POINTERS
        elif self.pointer:
            shift = 8 if self.place % 2 else 0
            word = self.registers[self.pointer] & ~(0xFF << shift) | value << shift
            self.registers[self.pointer] = word
            if self.pointer == 1 and not shift and word & 0x8000:
                self.converting = word
                self.ready_ns = self.clock.nanos + 1e9 / self.RATES[word >> 5 & 7]
        self.place += 1
        return True

    def give(self):
        """Return the next byte."""
        if self.converting is not None and self.clock.nanos >= self.ready_ns:
            self.registers[0] = self._counts(self.converting) & 0xFFFF
            self.converting = None
        word = self.registers[self.pointer]
        if self.pointer == 1:
            word = word & 0x7FFF | (0 if self.converting is not None else 0x8000)
        self.place += 1
        return word >> 8 if self.place % 2 else word & 0xFF

    def _counts(self, word):
        if self.stuck is not None:
            return self.stuck
        channel = word >> 12 & 7
        millivolts = self.millivolts[f"AIN{channel - 4}"] if channel >= 4 else 0.0
        return min(0x7FFF, round(millivolts * 32768 / self.FULL_MV[word >> 9 & 7]))
