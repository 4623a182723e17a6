"""The emulator's USB device, mended: starts of frames while they are asked for, and a host that holds back.

rp2040py 0.3.6 sends a device no start of frame; MicroPython counts sixteen of
them after a terminal came before it sends what was printed until then.  Where
a host has nothing to send it answers with empty packets without end, which the
board must fetch one by one; a real host waits.  And its host raises DTR the
moment the board is known, while the board still starts: sixteen frames then
pass before the program looks, which fills MicroPython's queue of events, and
the end of the first transfer is lost in it.  Ours leaves DTR and RTS inactive,
as every client of the controller does, until a terminal is asked for.
"""

from rp2040py.peripherals import usb
from rp2040py.usb.cdc import USBCDC

START_OF_FRAME = 1 << 17  # in the device's interrupt registers (RP2040 datasheet, section 4.1.4)
FRAME_NS = 1_000_000
_REACH = 256  # bytes handed to the port at once
_RETRY_NS = 200_000


class MendedUsb(usb.RPUSBController):
    """A USB controller that gets a start of frame every millisecond while its interrupt is enabled."""

    def __init__(self, mcu, name):
        super().__init__(mcu, name)
        self.frame = mcu.clock.create_alarm(self._frame)

    def reset(self):
        """Also end the frames."""
        self.frame.cancel()
        super().reset()

    def _frame(self):
        if self._host_mode or not self._int_enable & START_OF_FRAME:
            return
        self._sof_frame_number = (self._sof_frame_number + 1) & 0x7FF
        self._int_raw |= START_OF_FRAME
        self.check_interrupts()
        self.frame.schedule(FRAME_NS)

    def read_uint32(self, offset):
        """Read a register; reading the frame's number ends its interrupt."""
        if offset == usb.SOF_RD and self._int_raw & START_OF_FRAME:
            self._int_raw &= ~START_OF_FRAME
            self.check_interrupts()
        return super().read_uint32(offset)

    def write_uint32(self, offset, value):
        """Write a register."""
        before = self._int_enable & START_OF_FRAME
        super().write_uint32(offset, value)
        if self._int_enable & START_OF_FRAME and not before:
            self.frame.schedule(FRAME_NS)


class _Host(USBCDC):
    """The emulator's host, which leaves DTR and RTS inactive unless told otherwise."""

    def _cdc_set_control_line_state(self, value=None, interface_number=None):
        super()._cdc_set_control_line_state(value or 0, interface_number)


class UsbPort:
    """The host's end of the USB serial port.

    `heard(data)` is called with what the board sent, `opened()` when it has been
    set up.  `send` takes bytes at any time; they leave when the board asks.
    """

    def __init__(self, controller, clock, heard, opened):
        self.controller = controller
        self.cdc = _Host(controller)
        self.cdc.on_serial_data = heard
        self.cdc.on_device_connected = self._opened
        self.tell_opened = opened
        self.open = False
        self.queue = bytearray()
        self.asked = None  # how much the board asked for while there was nothing
        self.answer = controller.on_endpoint_read
        self.forget = controller.on_reset
        controller.on_endpoint_read = self._asked
        controller.on_reset = self._reset
        self.push = clock.create_alarm(self._push)

    def send(self, data, after_ns=20_000):
        """Send bytes to the board."""
        self.queue += data
        self.push.schedule(after_ns)

    def terminal(self, there):
        """A terminal takes the port, or leaves it: DTR and RTS."""
        self.cdc.set_control_lines(dtr=there, rts=there)

    def idle(self):
        """Tell whether nothing is on its way to the board."""
        return not self.queue and self.cdc.tx_fifo.item_count == 0

    def _opened(self):
        self.open = True
        self.tell_opened()

    def _reset(self):
        self.asked = None
        self.open = False
        self.queue.clear()
        self.push.cancel()
        self.forget()

    def _asked(self, endpoint, size):
        if endpoint and endpoint == self.cdc._out_endpoint and self.cdc.tx_fifo.item_count == 0:
            self.asked = size
        else:
            self.answer(endpoint, size)

    def _push(self):
        fifo = self.cdc.tx_fifo
        while self.queue and fifo.item_count < _REACH:
            fifo.push(self.queue.pop(0))
        if self.asked is not None and fifo.item_count:
            size, self.asked = self.asked, None
            self.answer(self.cdc._out_endpoint, size)
        if self.queue:
            self.push.schedule(_RETRY_NS)
