"""The emulator's UART, mended: a transmit buffer that empties at the baud rate, interrupts as the real part has them.

rp2040py 0.3.6 raises the transmit interrupt for ever, so a program that sends
by interrupt never leaves it again; bytes sent take no time; the receive
interrupt comes with the first byte whatever level was asked for, and the
time-out interrupt never.  Source of what is right: ARM PrimeCell UART (PL011)
Technical Reference Manual, and the RP2040 datasheet, section 4.2.
"""

from rp2040py.peripherals import uart

FIFO = 32
BUSY, TRANSMIT_FULL = 1 << 3, 1 << 5
RECEIVE_TIMEOUT = 1 << 6
LEVELS = 0x34  # register UARTIFLS
TRANSMIT_AT = 4  # bytes left at which the transmit interrupt comes (an eighth, its reset value)
RECEIVE_AT = (4, 8, 16, 24, 28, 28, 28, 28)
_DEFAULT_LEVELS = 0x12
_BYTE_NS = 10e9  # ten bits at one baud
_TIMEOUT_BITS = 32


class MendedUart(uart.RPUART):
    """A UART; `on_byte` is called with each byte when it has left."""

    def __init__(self, mcu, name, irq, dreq):
        super().__init__(mcu, name, irq, dreq)
        self.sending = []
        self.levels = _DEFAULT_LEVELS
        self.sent = mcu.clock.create_alarm(self._sent)
        self.silent = mcu.clock.create_alarm(self._silent)

    def reset(self):
        """Forget what is being sent and received; the far end of the wire stays as it is."""
        self.sending.clear()
        self.levels = _DEFAULT_LEVELS
        self.sent.cancel()
        self.silent.cancel()
        super().reset()

    def byte_ns(self):
        """Return how long a byte takes at the baud rate in force."""
        if self.baud_divider <= 0:
            return _BYTE_NS / 115200
        return _BYTE_NS / max(1, self.baud_rate)

    @property
    def flags(self):
        """The flag register."""
        found = (uart.RXFF if self.rx_fifo.full else 0) | (uart.RXFE if self.rx_fifo.empty else 0)
        found |= BUSY if self.sending else uart.TXFE
        return found | (TRANSMIT_FULL if len(self.sending) >= FIFO else 0)

    def check_interrupts(self):
        """Raise or drop the interrupt by status and mask."""
        self.rp2040.set_interrupt(self.irq, bool(self._interrupt_status & self._interrupt_mask))

    def feed_byte(self, value):
        """A byte arrives from the far end."""
        self.rx_fifo.push(value)
        if self.rx_fifo.item_count >= self._receive_at():
            self._interrupt_status |= uart.UARTRXINTR
        self.check_interrupts()
        self.silent.schedule(_TIMEOUT_BITS / 10 * self.byte_ns())

    def read_uint32(self, offset):
        """Read a register."""
        if offset == LEVELS:
            return self.levels
        if offset != uart.UARTDR:
            return super().read_uint32(offset)
        value = 0 if self.rx_fifo.empty else self.rx_fifo.pull()
        if self.rx_fifo.item_count < self._receive_at():
            self._interrupt_status &= ~uart.UARTRXINTR
        if self.rx_fifo.empty:
            self._interrupt_status &= ~RECEIVE_TIMEOUT
        self.check_interrupts()
        return value

    def write_uint32(self, offset, value):
        """Write a register."""
        if offset == LEVELS:
            self.levels = value & 0x3F
        elif offset == uart.UARTDR:
            if len(self.sending) < FIFO:
                self.sending.append(value & 0xFF)
            if len(self.sending) == 1:
                self.sent.schedule(self.byte_ns())
        else:
            super().write_uint32(offset, value)

    def _receive_at(self):
        return RECEIVE_AT[self.levels >> 3 & 7] if self.fifos_enabled else 1

    def _sent(self):
        byte = self.sending.pop(0)
        if self.on_byte:
            self.on_byte(byte)
        if len(self.sending) in (0, TRANSMIT_AT):
            self._interrupt_status |= uart.UARTTXINTR
            self.check_interrupts()
        if self.sending:
            self.sent.schedule(self.byte_ns())

    def _silent(self):
        if not self.rx_fifo.empty:
            self._interrupt_status |= RECEIVE_TIMEOUT
            self.check_interrupts()
