"""The link against two independent Modbus clients, both framings, over a pty: real MicroPython answers.

No claim here is about the clock of the machine; timeouts are last resorts.
"""

import contextlib
import os

import minimalmodbus
import pytest
import serial
from duplexsump.control import settings as s
from duplexsump.station import registers as r
from pymodbus.client import ModbusSerialClient
from pymodbus.framer import FramerType

from host_sim.board.virtual import VirtualBoard
from tests.micropython.virtual_rig import pit, ready, told, wait_for
from tests.station_rig import run, start

pytestmark = pytest.mark.skipif(os.name != "posix", reason="no pty on this system")


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    site = pit(inflow="1 gpm")
    with VirtualBoard(site, tmp_path_factory.mktemp("board") / "flash.img") as board:
        board.sum = ready(board, site)["firmware"]
        yield board


@contextlib.contextmanager
def pymodbus_client(port, framing):
    client = ModbusSerialClient(port, framer=framing, baudrate=19200, timeout=60)
    assert client.connect()
    try:
        yield client
    finally:
        client.close()


@pytest.fixture(params=["ASCII on USB", "RTU on RS-485"])
def pymodbus(request, board):
    """Give a connected pymodbus client."""
    ascii_ = request.param.startswith("ASCII")
    port, framing = (board.port, FramerType.ASCII) if ascii_ else (board.port_485, FramerType.RTU)
    with pymodbus_client(port, framing) as client:
        yield client


@pytest.fixture(params=["ASCII on USB", "RTU on RS-485"])
def minimal(request, board):
    """Give a minimalmodbus instrument."""
    ascii_ = request.param.startswith("ASCII")
    mode = minimalmodbus.MODE_ASCII if ascii_ else minimalmodbus.MODE_RTU
    instrument = minimalmodbus.Instrument(board.port if ascii_ else board.port_485, 1, mode)
    instrument.serial.baudrate = 19200
    instrument.serial.timeout = 3  # the whole of it is waited for where an answer is a refusal
    instrument.clear_buffers_before_each_transaction = True
    yield instrument
    instrument.serial.close()


def test_pymodbus_reads_every_space(pymodbus, board):
    words = pymodbus.read_input_registers(0, count=4, device_id=1).registers
    assert words[:2] == [r.SIGNATURE, r.MAP_VERSION]
    assert words[2] << 16 | words[3] == board.sum
    held = pymodbus.read_holding_registers(2 * s.MIN_OFF_MS, count=2, device_id=1).registers
    assert held[0] << 16 | held[1] == 60000
    assert pymodbus.read_coils(0, count=r.N_COILS, device_id=1).bits[: r.N_COILS] == [False] * r.N_COILS
    bits = pymodbus.read_discrete_inputs(0, count=8, device_id=1).bits
    assert bits[:4] == [True, False, False, False], "off is wet at 8 in, nothing above it"


def test_pymodbus_writes_every_way(pymodbus):
    assert not pymodbus.write_coil(0, True, device_id=1).isError()
    assert not pymodbus.write_coils(0, [True, False, True, False], device_id=1).isError()
    assert not pymodbus.write_register(1, 900, device_id=1).isError()
    assert pymodbus.read_holding_registers(0, count=2, device_id=1).registers == [0, 900]
    assert not pymodbus.write_registers(0, [0, 1000], device_id=1).isError()


def test_pymodbus_is_told_what_is_wrong(pymodbus):
    assert pymodbus.read_input_registers(900, count=1, device_id=1).exception_code == 2
    assert pymodbus.write_register(r.RESET_AT, 1, device_id=1).exception_code == 3
    assert pymodbus.write_coil(r.FORCE_MASK_AT, True, device_id=1).exception_code == 4


def test_minimalmodbus_reads_and_writes(minimal):
    assert minimal.read_register(0, functioncode=4) == r.SIGNATURE
    assert minimal.read_long(2 * s.RETRY_MS, functioncode=3) == 600000
    assert minimal.read_bits(0, 4, functioncode=2) == [1, 0, 0, 0]
    minimal.write_bit(2, 1, functioncode=5)
    minimal.write_long(0, 1100)
    assert minimal.read_long(0, functioncode=3) == 1100
    minimal.write_long(0, 1000)
    with pytest.raises(minimalmodbus.IllegalRequestError):
        minimal.read_register(900, functioncode=4)


def test_forces_need_the_jumper_and_move_the_contact(board):
    with pymodbus_client(board.port, FramerType.ASCII) as client:
        assert client.write_coils(r.FORCE_MASK_AT, [False, True], device_id=1).isError()
        board.set_jumper(True)
        wait_for(lambda: not client.write_coil(r.FORCE_VALUE_AT + 1, True, device_id=1).isError())
        assert not client.write_coil(r.FORCE_MASK_AT + 1, True, device_id=1).isError()
        wait_for(lambda: client.read_discrete_inputs(1, count=1, device_id=1).bits[0])
        board.set_jumper(False)
        wait_for(lambda: not client.read_discrete_inputs(1, count=1, device_id=1).bits[0])
        client.write_coil(1, True, device_id=1)


def test_ctrl_c_in_the_stream_ends_nothing(board):
    lives = board.lives
    with serial.Serial(board.port, timeout=0.2) as line:
        line.write(b"\x03" * 200 + b"\x04\x01\x02" + b":0103\x03")
        line.flush()
    assert told(board.port, "signature") == r.SIGNATURE
    assert board.lives == lives


def test_a_client_that_never_reads_stops_nothing(board):
    lives = board.lives
    request = b":010400000040BB\r\n"
    with serial.Serial(board.port, timeout=0.2, write_timeout=2) as line:
        with contextlib.suppress(serial.SerialTimeoutException):
            for _ in range(400):
                line.write(request)
        # Nobody reads on USB: the other line tells that the loop goes round all the same.
        before = told(board.port_485, "passes", "rtu")
        wait_for(lambda: told(board.port_485, "passes", "rtu") > before + 200)
        line.reset_input_buffer()
    assert told(board.port, "reset_cause") == 0
    assert board.lives == lives


@pytest.mark.long
def test_sixty_registers_are_answered_often_enough_for_a_live_view(tmp_path):
    # Ten times a second by the board's own clock, which a test steps.
    board, station = start(tmp_path / "pit")
    request = b":01040000003C"
    request += b"%02X\r\n" % (-sum(bytes.fromhex(request[1:].decode())) & 255)
    for _ in range(40):
        board.usb.answered.clear()
        board.usb.sent.extend(request)
        run(board, station, 100)
        assert board.usb.answered.startswith(b":010478")
        assert len(board.usb.answered) == 1 + 2 * (3 + 2 * 60 + 1) + 2
