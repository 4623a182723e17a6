"""The mended parts of the emulator, each on a bare chip: UART, USB, analog converter, and the line of a client."""

import pytest

from tests.hil.emulated_chip import chip, emulator

emulator()

from rp2040py.irq import IRQ  # noqa: E402
from rp2040py.peripherals import adc as plain_adc  # noqa: E402
from rp2040py.peripherals import uart as plain_uart  # noqa: E402
from rp2040py.peripherals import usb as plain_usb  # noqa: E402

from hil.kits.emulated.line import LINGER_NS, Line  # noqa: E402
from hil.kits.emulated.mended_adc import QuickAdc  # noqa: E402
from hil.kits.emulated.mended_uart import FIFO, LEVELS, RECEIVE_TIMEOUT, MendedUart  # noqa: E402
from hil.kits.emulated.mended_usb import START_OF_FRAME, MendedUsb, UsbPort  # noqa: E402

DATA = plain_uart.UARTDR
MASK_AT, STATUS_AT = plain_uart.UARTIMSC, plain_uart.UARTIRIS


@pytest.fixture
def mcu():
    return chip()


@pytest.fixture
def port(mcu):
    made = MendedUart(mcu, "UART0", IRQ.UART0, mcu.uart[0].dreq)
    # 125 MHz / (16 * 406.9) is 19200 baud; buffers on.
    made.write_uint32(plain_uart.UARTIBRD, 406)
    made.write_uint32(plain_uart.UARTFBRD, 58)
    made.write_uint32(plain_uart.UARTLCR_H, plain_uart.FEN)
    made.told = []
    made.on_byte = made.told.append
    return made


def pending(mcu):
    return mcu.core.pending_interrupts >> int(IRQ.UART0) & 1


# UART.


def test_bytes_leave_at_the_baud_rate(mcu, port):
    for value in b"abc":
        port.write_uint32(DATA, value)
    assert port.byte_ns() == pytest.approx(10e9 / 19200, rel=1e-3)
    mcu.clock.tick(1.5 * port.byte_ns())
    assert bytes(port.told) == b"a" and port.flags & 1 << 3, "busy while it sends"
    mcu.clock.tick(1.6 * port.byte_ns())
    assert bytes(port.told) == b"abc" and not port.flags & 1 << 3


def test_a_full_buffer_takes_no_more_and_says_so(mcu, port):
    for value in range(FIFO + 5):
        port.write_uint32(DATA, value)
    assert port.flags & 1 << 5
    mcu.clock.tick((FIFO + 6) * port.byte_ns())
    assert port.told == list(range(FIFO))


def test_the_transmit_interrupt_comes_when_the_buffer_has_emptied_and_can_be_left(mcu, port):
    port.write_uint32(MASK_AT, plain_uart.UARTTXINTR)
    assert not pending(mcu), "nothing was sent yet"
    for value in range(8):
        port.write_uint32(DATA, value)
    mcu.clock.tick(3.5 * port.byte_ns())
    assert not pending(mcu)
    mcu.clock.tick(1.0 * port.byte_ns())
    assert pending(mcu), "an eighth is left"
    port.raw_write_value = plain_uart.UARTTXINTR
    port.write_uint32(plain_uart.UARTICR, plain_uart.UARTTXINTR)
    assert not pending(mcu), "a program that has answered it can leave"


def test_the_receive_interrupt_comes_at_its_level_and_the_time_out_after_silence(mcu, port):
    port.write_uint32(LEVELS, 1 << 3)
    for value in range(7):
        port.feed_byte(value)
    assert not port.read_uint32(STATUS_AT) & plain_uart.UARTRXINTR
    port.feed_byte(7)
    assert port.read_uint32(STATUS_AT) & plain_uart.UARTRXINTR
    assert [port.read_uint32(DATA) for _ in range(3)] == [0, 1, 2]
    assert not port.read_uint32(STATUS_AT) & plain_uart.UARTRXINTR
    mcu.clock.tick(4 * port.byte_ns())
    assert port.read_uint32(STATUS_AT) & RECEIVE_TIMEOUT
    for _ in range(5):
        port.read_uint32(DATA)
    assert not port.read_uint32(STATUS_AT) & RECEIVE_TIMEOUT


def test_a_reset_forgets_what_was_being_sent(mcu, port):
    port.write_uint32(DATA, 65)
    port.reset()
    mcu.clock.tick(1e9)
    assert port.told == []


# USB.


def test_frames_start_every_millisecond_while_they_are_asked_for(mcu):
    usb = MendedUsb(mcu, "USB")
    usb.write_uint32(plain_usb.INTE, START_OF_FRAME)
    seen = []
    for _ in range(5):
        mcu.clock.tick(1_000_000)
        assert usb._int_raw & START_OF_FRAME
        seen.append(usb.read_uint32(plain_usb.SOF_RD))
        assert not usb._int_raw & START_OF_FRAME, "reading the number ends the interrupt"
    assert seen == [1, 2, 3, 4, 5]
    usb.write_uint32(plain_usb.INTE, 0)
    mcu.clock.tick(5_000_000)
    assert not usb._int_raw & START_OF_FRAME


@pytest.fixture
def host(mcu):
    usb = MendedUsb(mcu, "USB")
    answered = []
    made = UsbPort(usb, mcu.clock, lambda data: None, lambda: None)
    made.cdc._out_endpoint = 2
    made.answer = lambda endpoint, size: answered.append((endpoint, bytes(take(made.cdc.tx_fifo, size))))
    made.answered = answered
    return made


def take(fifo, size):
    return [fifo.pull() for _ in range(min(size, fifo.item_count))]


def test_a_host_with_nothing_to_send_waits_instead_of_sending_empty_packets(mcu, host):
    host.controller.on_endpoint_read(2, 64)
    mcu.clock.tick(1e9)
    assert host.answered == [] and host.idle()
    host.send(b"hello")
    assert not host.idle()
    mcu.clock.tick(100_000)
    assert host.answered == [(2, b"hello")] and host.idle()


def test_what_is_longer_than_the_hosts_buffer_goes_piece_by_piece(mcu, host):
    data = bytes(range(256)) * 4
    host.send(data)
    for _ in range(100):
        host.controller.on_endpoint_read(2, 64)
        mcu.clock.tick(300_000)
    assert b"".join(piece for _, piece in host.answered) == data


def test_control_transfers_are_answered_at_once(mcu, host):
    host.controller.on_endpoint_read(0, 7)
    assert host.answered == [(0, b"")]


def test_a_reset_of_the_chip_closes_the_port_and_drops_what_was_on_its_way(mcu, host):
    host.open = True
    host.send(b"lost")
    mcu.usb_ctrl = host.controller
    host.controller.on_reset()
    mcu.clock.tick(1e9)
    assert not host.open and host.idle() and host.answered == []


def test_the_host_leaves_dtr_inactive_until_a_terminal_comes(host):
    sent = []
    host.controller.send_setup_packet = sent.append
    host.cdc._cdc_set_control_line_state()
    assert not host.cdc.dtr and not host.cdc.rts and len(sent) == 1
    host.terminal(True)
    assert host.cdc.dtr and host.cdc.rts


# Analog.


def test_asking_once_whether_a_reading_is_done_waits_for_it(mcu):
    adc = QuickAdc(mcu, "ADC")
    told = []
    adc.on_sample = lambda: told.append(mcu.clock.nanos)
    adc.channel_values[2] = 1234
    adc.write_uint32(plain_adc.CS, plain_adc.CS_EN | plain_adc.CS_START_ONE | 2 << plain_adc.CS_AINSEL_SHIFT)
    began = mcu.clock.nanos
    assert adc.busy
    assert adc.read_uint32(plain_adc.CS) & plain_adc.CS_READY
    assert mcu.clock.nanos - began == pytest.approx(2000), "a reading takes 2 us"
    assert adc.read_uint32(plain_adc.RESULT) == 1234 and told == [began]


# The line.


class Port:
    def __init__(self):
        self.open = True
        self.sent = b""

    def send(self, data):
        self.sent += data


class Board:
    def __init__(self):
        self.output = bytearray()
        self.port = Port()


class Bench:
    """A kit whose board says `script[ms]` at that millisecond."""

    def __init__(self, script=()):
        self.pico = Board()
        self.ns = 0
        self.script = dict(script)

    def now_ns(self):
        return self.ns

    def pass_ns(self, ns, until):
        end = self.ns + ns
        while self.ns < end and not until():
            self.ns += 1_000_000
            if self.pico is not None:
                self.pico.output += self.script.get(self.ns // 1_000_000, b"")


def test_reading_lets_the_boards_time_pass_and_takes_what_came():
    bench = Bench({2: b"ab", 5: b"c"})
    line = Line(bench)
    assert line.read(5) == b"ab" and bench.ns == 2_000_000
    assert line.read(1) == b"" and line.read(1) == b"c"
    assert line.clock_s() == pytest.approx(0.005)


def test_dropping_what_came_and_a_power_cut_begin_anew():
    bench = Bench()
    line = Line(bench)
    bench.pico.output += b"old words"
    line.reset_input_buffer()
    assert line.in_waiting == 0
    bench.pico.output += b"new"
    assert line.in_waiting == 3 and line.read(2) == b"ne"
    bench.pico = Board()
    bench.pico.output += b"after the power cut"
    line.reset_input_buffer()
    assert line.in_waiting == 0, "the count begins with the new power-up, not where the old one stood"
    bench.pico.output += b"!"
    assert line.read(10) == b"!"


def test_a_board_without_power_hears_nothing_and_says_nothing():
    bench = Bench()
    line = Line(bench)
    bench.pico = None
    assert line.write(b"hello") == 5 and line.read(3) == b"" and line.in_waiting == 0


def test_a_byte_either_way_keeps_the_board_from_dozing_for_a_moment():
    bench = Bench()
    line = Line(bench)
    assert not line.busy()
    line.write(b"?")
    assert bench.pico.port.sent == b"?" and line.busy()
    bench.ns += LINGER_NS
    assert not line.busy()
