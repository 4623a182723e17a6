"""The emulator's analog converter, made quick: a program that asks whether a reading is done finds that it is.

A reading takes 2 us (RP2040 datasheet, section 4.9), which MicroPython spends
asking some forty times; four in five things that the emulator did for a
waiting controller were such questions.  Here the first of them lets the clock
go on to the end of the reading, so the program finds the same value at the
same time, to within the length of one question.
"""

from rp2040py.peripherals import adc


class QuickAdc(adc.RPADC):
    """An analog converter.  `on_sample()` is called when a reading begins."""

    def __init__(self, mcu, name):
        super().__init__(mcu, name)
        self.on_sample = None
        self.on_adc_read = self._begin
        self.done_ns = 0.0

    def _begin(self, channel):
        if self.on_sample is not None:
            self.on_sample()
        self.done_ns = self.rp2040.clock.nanos + self.sample_time * 1000.0
        self._default_on_adc_read(channel)

    def read_uint32(self, offset):
        """Read a register."""
        if offset == adc.CS and self.busy:
            clock = self.rp2040.clock
            clock.tick(max(0.0, self.done_ns - clock.nanos))
        return super().read_uint32(offset)
