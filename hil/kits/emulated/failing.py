"""What can fail on the emulated chip itself: flash that is worn or loses power in mid-write, its clock, a pin, the ADC.

Nothing here is a part of the chip: each takes hold of one place of the emulator from outside.
"""

from rp2040py.peripherals.ssi import CMD_BLOCK_ERASE, CMD_PAGE_PROGRAM, CMD_SECTOR_ERASE

from hil.kits.emulated import flash

_HEAD = 4  # bytes of a flash command before the data


class FailingFlash:
    """The flash as its file system meets it.

    `worn`: no block erases any more, and no page holds all that is programmed.  `tear(count)`: after so many more page
    programs the power goes, half of that page written; `torn` tells that it has.
    """

    def __init__(self, mcu, interrupt):
        self.ssi = mcu.ssi
        self.interrupt = interrupt
        self.plain = mcu.ssi._apply_command
        self.worn = False
        self.left = None
        self.torn = False
        mcu.ssi._apply_command = self._apply

    def tear(self, count=0):
        """Have the power go in the midst of a page program, after `count` whole ones."""
        self.left = count

    def _drop(self):
        self.ssi._tx_buffer = bytearray()
        self.ssi._write_enabled = False

    def _apply(self):
        sent = self.ssi._tx_buffer
        opcode = sent[0] if sent else None
        writes = opcode in (CMD_SECTOR_ERASE, CMD_BLOCK_ERASE, CMD_PAGE_PROGRAM) and len(sent) >= _HEAD
        if not writes or self.ssi._address_from_buffer() < flash.FILES_AT:
            self.plain()
        elif self.torn or (self.worn and opcode != CMD_PAGE_PROGRAM):
            self._drop()
        elif opcode == CMD_PAGE_PROGRAM and self.left == 0:
            self.ssi._tx_buffer = sent[: _HEAD + (len(sent) - _HEAD) // 2]
            self.plain()
            self.torn = True
            self.interrupt()
        else:
            if opcode == CMD_PAGE_PROGRAM and self.left is not None:
                self.left -= 1
            if self.worn:
                sent[_HEAD] = 0
            self.plain()


class Oscillator:
    """A pin driven up and down `hertz` times a second, until `stop()`."""

    def __init__(self, mcu, pin, hertz):
        self.gpio = mcu.gpio[pin]
        self.half_ns = 0.5e9 / hertz
        self.level = False
        self.alarm = mcu.clock.create_alarm(self._turn)
        self._turn()

    def _turn(self):
        self.level = not self.level
        self.gpio.set_input_value(self.level)
        self.alarm.schedule(self.half_ns)

    def stop(self):
        """Let go of the pin."""
        self.alarm.cancel()
        self.gpio.release_input()


class StoppedClock:
    """The chip's microsecond timer stands still, its alarms with it; the next reset starts it unless `for_good`."""

    def __init__(self, mcu, for_good=False):
        self.timer = timer = mcu.timer
        stands = timer._micros()
        timer._micros = lambda: stands
        for alarm in timer.alarms:
            alarm.clock_alarm.cancel()
        if not for_good:
            self.reset, timer.reset = timer.reset, self._reset

    def _reset(self):
        del self.timer._micros
        self.timer.reset = self.reset
        self.timer.reset()
