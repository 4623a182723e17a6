"""An emulated Raspberry Pi Pico: the chip of rp2040py with real MicroPython in its flash, run by its own clock.

Nothing here waits on the PC's clock: time is what the chip's clock says, and
it goes on only inside `run_ns`.
"""

from rp2040py.device.bootrom import BOOTROM_B1
from rp2040py.gpio_pin import GPIOPinState
from rp2040py.irq import IRQ
from rp2040py.memory_map import FLASH_START_ADDRESS
from rp2040py.rp2040 import RP2040
from rp2040py.simulator import Simulator
from rp2040py.utils.logging import ConsoleLogger, LogLevel

from hil.kits.emulated import flash
from hil.kits.emulated.bus import Master, Resets
from hil.kits.emulated.engine import Engine
from hil.kits.emulated.failing import FailingFlash, Oscillator, StoppedClock
from hil.kits.emulated.mended_adc import QuickAdc
from hil.kits.emulated.mended_uart import MendedUart
from hil.kits.emulated.mended_usb import MendedUsb, UsbPort

_UARTS = ((0x40034, IRQ.UART0), (0x40038, IRQ.UART1))
_BUSES = ((0x40044, IRQ.I2C0), (0x40048, IRQ.I2C1))
_RESETS_AT = 0x4000C
_ADC_AT = 0x4004C
_USB_AT = 0x50110
_HAD_RUN = 1 << 16  # in CHIP_RESET: the RUN pin was low
PINS = 30
ANALOG_FIRST = 26  # GPIO 26 is the ADC's channel 0


class Pico:
    """One board, powered since it was made.

    `program` is the list of `flash.read_uf2`, `image` the whole flash as it was
    left, or the file system's part of it.  `origin_ns` is where its clock stands on the bench.
    """

    def __init__(self, program, image, compiled=None, origin_ns=0.0):
        self.origin_ns = origin_ns
        self.mcu = mcu = RP2040()
        self.simulator = Simulator(rp2040=mcu)
        mcu.logger = ConsoleLogger(LogLevel.ERROR)
        mcu.load_bootrom(BOOTROM_B1)
        for offset, data in program:
            mcu.flash[offset : offset + len(data)] = data
        mcu.flash[flash.FILES_AT : flash.FILES_AT + len(image)] = image
        self._mend()
        self.clock = mcu.clock
        self.engine = Engine(mcu, self.simulator, compiled)
        self.failing = FailingFlash(mcu, self.engine.interrupt)
        self.output = bytearray()  # everything the board has sent over USB
        self.on_reset = None  # called after each reset by the watchdog
        self.port = UsbPort(mcu.usb_ctrl, self.clock, self._heard, self.engine.interrupt)
        mcu.watchdog.on_watchdog_trigger = self._watchdog
        mcu.core.pc = FLASH_START_ADDRESS

    def _mend(self):
        mcu = self.mcu
        for number, (at, irq) in enumerate(_UARTS):
            mended = MendedUart(mcu, f"UART{number}", irq, mcu.uart[number].dreq)
            mcu.uart[number] = mcu.peripherals[at] = mended
        for number, (at, irq) in enumerate(_BUSES):
            mcu.i2c[number] = mcu.peripherals[at] = Master(mcu, f"I2C{number}", irq)
        mcu.resets = mcu.peripherals[_RESETS_AT] = Resets(mcu, "RESETS")
        mcu.adc = mcu.peripherals[_ADC_AT] = QuickAdc(mcu, "ADC")
        mcu.usb_ctrl = mcu.peripherals[_USB_AT] = MendedUsb(mcu, "USB")

    def _heard(self, data):
        self.output.extend(data)
        self.engine.interrupt()

    def _watchdog(self):
        # The cause stays in the watchdog's own register; the whole chip but that starts again.
        self.mcu.enter_reset(from_watchdog=True)
        watchdog = self.mcu.watchdog
        watchdog.timer.enable = watchdog.alarm.enable = watchdog._enable = False
        self.mcu.leave_reset()
        self.engine.interrupt()
        if self.on_reset is not None:
            self.on_reset()

    # Time.

    def now_ns(self):
        """Return the time since the bench began."""
        return self.origin_ns + self.clock.nanos

    def run_ns(self, until_ns):
        """Run until an instant of the bench; tell whether it was reached, or something is to be looked at before.

        Raises InputError when that took too much CPU time.
        """
        return self.engine.run(until_ns - self.origin_ns)

    def asleep(self):
        """Tell whether the processor waits for an interrupt."""
        return bool(self.mcu.core.waiting)

    def halt(self):
        """Stop the processor for good, as a fault in its program would; the watchdog runs on."""
        self.mcu.core.enabled_interrupts = 0
        self.mcu.core.waiting = True

    def stride_ns(self, ns):
        """Let time pass with the processor halted by a debugger: timers run on, the watchdog is paused (PAUSE_DBG)."""
        timer, alarm = self.mcu.watchdog.timer, self.mcu.watchdog.alarm
        left, ran = timer.counter, alarm.enable
        alarm.enable = False
        self.clock.tick(ns)
        timer.set(left)
        alarm.enable = ran

    def ticks_ns(self, ticks_ms):
        """Return the bench's time at which the program's own millisecond counter reads `ticks_ms`, in this life."""
        return self.origin_ns + self.mcu.timer._epoch_nanos + ticks_ms * 1_000_000

    # Pins.

    def drive(self, pin, level):
        """Drive a pin from outside; None lets go of it, and its own pull decides.

        Only changes reach the chip, which takes a level driven again for an edge.
        """
        gpio = self.mcu.gpio[pin]
        if level is None:
            gpio.release_input()
        elif not gpio._driven or bool(gpio._raw_input_value) != bool(level):
            gpio.set_input_value(bool(level))

    def volts(self, pin, counts):
        """Put a voltage on an analog pin, as the 0 .. 4095 that the converter reads."""
        self.mcu.adc.channel_values[pin - ANALOG_FIRST] = counts

    def counts(self, pin):
        """Return what the converter reads at an analog pin, 0 .. 4095."""
        return self.mcu.adc.channel_values[pin - ANALOG_FIRST]

    def hang_on(self, number, parts):
        """Put parts on an I2C bus, {address: part}."""
        self.mcu.i2c[number].parts = dict(parts)

    def level(self, pin):
        """Return the level that a pin puts out, 0 or 1; None where it is no output."""
        state = self.mcu.gpio[pin].value
        return {GPIOPinState.HIGH: 1, GPIOPinState.LOW: 0}.get(state)

    def watch(self, pin, tell):
        """Call `tell(level)` at once whenever the pin changes; a pin that is no output counts as low."""
        self.mcu.gpio[pin].add_listener(lambda new, old: tell(1 if new == GPIOPinState.HIGH else 0))

    # What fails.

    def oscillate(self, pin, hertz):
        """Drive a pin up and down so often; returns what stops it."""
        return Oscillator(self.mcu, pin, hertz)

    def stop_clock(self, for_good=False):
        """Let the program's clock stand still, until the next reset or for good."""
        StoppedClock(self.mcu, for_good)

    # What a person does.

    def press_run(self):
        """Pull the RUN pin low and let it go: a reset that is neither power-up nor watchdog."""
        self.mcu.enter_reset()
        self.mcu.watchdog.reset()
        self.mcu.vreg_and_chip_reset.record_reset_cause(_HAD_RUN)
        self.mcu.leave_reset()

    def files_image(self):
        """Return the file system's part of the flash as it is now."""
        return bytes(self.mcu.flash[flash.FILES_AT : flash.FILES_AT + flash.FILES_BYTES])
