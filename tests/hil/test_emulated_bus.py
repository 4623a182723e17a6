"""The emulated board's I2C bus: its timing by itself; then the firmware on it with every signal that there is.

The second half needs MicroPython's UF2 for RPI_PICO and skips where none is given.
"""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s

from hil.acceptance import procedure
from hil.acceptance.runner import carry_out
from hil.bench.bench import Bench
from hil.kits import wires
from host_sim.board import signals
from tests.hil.emulated_chip import chip, uf2

CON, TAR, DATA, FS_HIGH, FS_LOW, RAW, ABORTS, CLEAR, ENABLE, LEVEL = (
    0x00, 0x04, 0x10, 0x1C, 0x20, 0x34, 0x80, 0x54, 0x6C, 0x78)  # fmt: skip
READ, STOP, RESTART = 1 << 8, 1 << 9, 1 << 10
ABORTED, STOPPED = 1 << 6, 1 << 9
BYTE_NS = 9 * 2500.0  # at 400 kHz


@pytest.fixture
def bus():
    mcu = chip()
    from hil.kits.emulated.bus import Converter, Expander, Master

    master = Master(mcu, "I2C0", 23)
    master.parts = {0x20: Expander(), 0x48: Converter(mcu.clock)}
    for register, value in ((FS_HIGH, 125), (FS_LOW, 187)):  # 312 counts of 8 ns: 400 kHz
        master.write_uint32(register, value)
    master.clock = mcu.clock
    return master


def speak(bus, address, *words, limit_ns=2e6):
    """Put commands onto the bus as a program does; return (bytes read, ns until the stop, whether it was aborted)."""
    bus.write_uint32(ENABLE, 0)
    bus.write_uint32(TAR, address)
    bus.write_uint32(ENABLE, 1)
    bus.read_uint32(0x40)
    began, found = bus.clock.nanos, []
    for word in words:
        bus.write_uint32(DATA, word)
    while not bus.read_uint32(RAW) & STOPPED and bus.clock.nanos - began < limit_ns:
        bus.clock.tick(500.0)
    while bus.read_uint32(LEVEL):
        found.append(bus.read_uint32(DATA) & 0xFF)
    return found, bus.clock.nanos - began, bool(bus.read_uint32(RAW) & ABORTED)


def test_a_byte_takes_nine_bits_and_the_ports_are_read_one_after_the_other(bus):
    bus.parts[0x20].closed = {"A0", "A7", "B1"}
    found, took, aborted = speak(bus, 0x20, 0, RESTART | READ, READ | STOP)
    assert (found, aborted) == ([0x7E, 0xFD], False)
    assert 5 * BYTE_NS <= took <= 5 * BYTE_NS + 3 * 2500 + 1000, "address, command, address, two bytes"


def test_the_other_registers_of_the_expander_are_kept_and_polarity_turns_the_ports(bus):
    assert speak(bus, 0x20, 6, RESTART | READ, READ | STOP)[0] == [0xFF, 0xFF], "inputs at power-up"
    speak(bus, 0x20, 4, 0x0F | STOP)
    bus.parts[0x20].closed = {"A0"}
    assert speak(bus, 0x20, 0, RESTART | READ | STOP)[0] == [0xF1]
    speak(bus, 0x20, 4, 0x00 | STOP)
    speak(bus, 0x20, 2, 0x5A | STOP)
    speak(bus, 0x20, 6, 0x00 | STOP)
    assert speak(bus, 0x20, 0, RESTART | READ | STOP)[0] == [0x5A], "an output reads what it puts out"


def test_a_part_that_is_not_there_is_told_by_the_missing_acknowledge(bus):
    assert speak(bus, 0x21, 0 | STOP)[2]
    bus.parts[0x20].absent = True
    found, _took, aborted = speak(bus, 0x20, 0, RESTART | READ | STOP)
    assert aborted and found == []


def test_a_bus_held_low_says_nothing_until_it_is_let_go_and_reset(bus):
    bus.held = True
    found, took, aborted = speak(bus, 0x20, 0, RESTART | READ | STOP)
    assert (found, aborted) == ([], False) and took >= 2e6
    bus.held = False
    bus.reset()
    assert speak(bus, 0x20, 0, RESTART | READ | STOP)[0] == [0xFF]


def test_a_conversion_takes_what_its_rate_says_and_gives_the_channel_that_was_asked_for(bus):
    converter = bus.parts[0x48]
    converter.millivolts["AIN0"] = 1280.0
    for high, wanted in ((0xC3, 10240), (0xE3, 26400), (0xF3, 0)):
        speak(bus, 0x48, 1, high, 0x83 | STOP)
        bus.clock.tick(7e6)  # of 7.8 ms
        assert speak(bus, 0x48, 1, RESTART | READ, READ | STOP)[0][0] & 0x80 == 0, "busy"
        bus.clock.tick(1e6)
        assert speak(bus, 0x48, 1, RESTART | READ, READ | STOP)[0][0] & 0x80
        assert int.from_bytes(bytes(speak(bus, 0x48, 0, RESTART | READ, READ | STOP)[0]), "big") == wanted
    converter.stuck = 77
    speak(bus, 0x48, 1, 0xC3, 0x83 | STOP)
    bus.clock.tick(9e6)
    assert speak(bus, 0x48, 0, RESTART | READ, READ | STOP)[0] == [0, 77]


def test_a_program_that_resets_the_controller_by_the_chips_reset_register_finds_it_reset():
    mcu = chip()
    from hil.kits.emulated.bus import Master, Resets

    mcu.i2c[0], mcu.i2c[1] = Master(mcu, "I2C0", 23), Master(mcu, "I2C1", 24)
    resets = Resets(mcu, "RESETS")
    for master in mcu.i2c:
        master.write_uint32(TAR, 0x33)
    resets.write_uint32(0, 1 << 3)
    assert [master.read_uint32(TAR) for master in mcu.i2c] == [0x55, 0x33]
    resets.write_uint32(0, 1 << 4)
    assert mcu.i2c[1].read_uint32(TAR) == 0x55


# The firmware on it ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def shared():
    path = uf2()
    from hil.kits.emulated.kit import EmulatedKit

    with EmulatedKit(path, expander=True) as made:
        yield made


@pytest.fixture
def kit(shared):
    shared.reset()
    return shared


def states(kit, ms=400):
    """What the board says after so long."""
    kit.run_ms(ms)
    return kit.client().states()


def alarm(kit, name):
    """Whether an alarm's condition holds on the board."""
    from hil.bench.bench import ALARMS

    return bool(states(kit, 0)["active"] >> ALARMS[name] & 1)


def test_the_table_promises_every_wire_of_the_bench_and_the_board_offers_each(shared):
    assert shared.wires == frozenset(wires.WIRES) == signals.wires("pico", True)


def test_each_signal_behind_the_bus_is_read_by_the_firmware(kit):
    for name, read in (("moisture_1", ("moisture", 1)), ("moisture_2", ("moisture", 2)), ("silence", ("pressed", 1)),
                       ("reset", ("pressed", 2)), ("generator", ("generator", 1))):  # fmt: skip
        kit.drive(name, 1)
        assert states(kit)[read[0]] == read[1], name
        kit.drive(name, 0)
        assert states(kit)[read[0]] == 0, name
    kit.drive("charger", 0)
    assert states(kit)["charging"] == 0
    kit.drive("selector_2", 2)
    kit.drive("battery", 12345)
    kit.drive("level", 12000)
    kit.run_ms(500)
    values = kit.client().values()
    assert values["selector_2"] == r.SELECT_HAND
    assert abs(values["battery"] - 12345) <= 9 and abs(values["loop"] - 12000) <= 9, "both at once"


def test_reading_the_bus_fits_the_pass(kit):
    master = kit.pico.mcu.i2c[0]
    kit.run_ms(2000)
    before = master.bytes
    kit.run_ms(10_000)
    a_pass = (master.bytes - before) / 100
    print(f"{a_pass:.1f} bytes a pass, {a_pass * BYTE_NS / 1e6:.2f} ms at 400 kHz; longest pass "
          f"{kit.client().values()['longest_pass']} ms")  # fmt: skip
    assert 13 <= a_pass <= 15 and kit.client().values()["overruns"] == 0


@pytest.mark.parametrize("way", ["held low", "unplugged"])
def test_m8_a_silent_bus_is_told_and_the_pit_is_kept_and_all_comes_back_by_itself(kit, way):
    from hil.bench.bench import Bench

    def silent(now):
        if way == "held low":
            kit.hold_bus(now)
        else:
            kit.expander.absent = kit.converter.absent = now

    bench = Bench(kit)
    kit.drive("selector_1", 2)
    kit.drive("generator", 1)
    assert states(kit)["generator"] == 1
    silent(True)
    assert states(kit, 800)["board_faults"] == r.FAULT_EXPANDER | r.FAULT_CONVERTER
    found = states(kit)
    assert (found["generator"], found["charging"]) == (0, 0)
    assert alarm(kit, "expander_silent") and not alarm(kit, "charger_failed")
    assert (kit.read("service"), kit.read("light")) == (0, 0)
    kit.run_ms(kit.settings[s.MIN_OFF_MS])
    bench.water("off", "lead")
    assert kit.run_until(lambda: kit.read("pump_1") or kit.read("pump_2"), 5000)
    values = kit.client().values()
    assert values["overruns"] == 0 and values["battery"] == 33000
    silent(False)
    assert states(kit, 4000)["board_faults"] == 0 and states(kit)["generator"] == 1
    assert not alarm(kit, "expander_silent")


def test_m8_a_converter_stuck_at_a_good_battery_is_told_and_nothing_else_is_lost(kit):
    kit.drive("moisture_2", 1)
    kit.run_ms(1000)
    kit.converter.stuck = 10240
    assert states(kit, 8000)["board_faults"] == r.FAULT_CONVERTER
    assert states(kit)["moisture"] == 2 and alarm(kit, "expander_silent")
    kit.converter.stuck = None
    assert states(kit, 4000)["board_faults"] == 0


@pytest.mark.parametrize("name", ["moisture", "generator", "hand_off_auto", "alarm_test", "transmitter_failure"])
def test_a_procedure_whose_signals_the_bus_carries_passes(shared, name):
    bench = Bench(shared)
    found = carry_out(bench, next(one for one in procedure.load((name,))))
    assert found["verdict"] == "pass", found
