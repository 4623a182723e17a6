"""The compiled instructions are those of rp2040py's own core: the same registers, flags, memory and cycles."""

import random

import pytest

from tests.hil.emulated_chip import chip, emulator

emulator()
np = pytest.importorskip("numpy")

from hil.kits.emulated import memory as m  # noqa: E402
from hil.kits.emulated import thumb  # noqa: E402

pytestmark = pytest.mark.long  # the emulator's compiled core against another reading of the manual

CODE = m.SRAM + 0x100
# What the emulator keeps for itself, however it is called: hints, exceptions, breakpoints, undefined encodings.
LEFT_HIGH = {0xBE, 0xDE, 0xDF}
SEED = 20


class Pair:
    """The emulator's core and the compiled one, with the same memories and registers."""

    def __init__(self):
        self.mcu = chip()
        self.core = self.mcu.core
        self.draw = random.Random(SEED)
        filling = self.draw.randbytes(len(self.mcu.sram))
        self.mcu.sram[:] = filling
        self.sram = np.frombuffer(bytearray(filling), np.uint32)
        self.flash = np.frombuffer(self.mcu.flash, np.uint32)
        self.rom = np.frombuffer(self.mcu.bootrom, np.uint32)
        self.registers = np.zeros(16, np.uint32)
        self.state = np.zeros(m.STATE_WORDS, np.int64)

    def prepare(self, *opcodes):
        """Put instructions at CODE and draw registers and flags for both."""
        draw, core = self.draw, self.core
        for place, opcode in enumerate(opcodes):
            self.mcu.write_uint16(CODE + 2 * place, opcode)
        self.sram[(CODE - m.SRAM) // 4] = self.mcu.read_uint32(CODE)
        self.sram[(CODE - m.SRAM) // 4 + 1] = self.mcu.read_uint32(CODE + 4)
        for i in range(16):
            kind = draw.randrange(4)
            value = draw.choice((0, 1, 31, 32, 33, 255, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF))
            if kind == 1:
                value = draw.getrandbits(32)
            elif kind > 1:
                value = m.SRAM + 0x1000 + draw.randrange(0x8000) * (4 if kind == 2 else 1)
            core.registers[i] = value
        core.registers[13] = m.SRAM + 0x20000 + 4 * draw.randrange(0x1000)
        core.registers[15] = CODE
        core.n, core.z, core.c, core.v, core.pm = (draw.randrange(2) for _ in range(5))
        self.registers[:] = np.asarray(core.registers)
        self.state[[m.N, m.Z, m.C, m.V, m.MASKED]] = core.n, core.z, core.c, core.v, core.pm
        self.state[m.LIMIT], self.state[m.CYCLES], self.state[m.PENDING] = 1, 0, 0
        core.interrupts_updated = False

    def one(self):
        """Carry out one instruction on the compiled core; None where it leaves it, else the cycles."""
        thumb.run(self.registers, self.state, self.rom, self.flash, self.sram)
        return None if self.state[m.LEFT] else int(self.state[m.CYCLES])

    def seen(self):
        """Return what the compiled core has come to."""
        return [int(x) for x in self.registers], [int(x) for x in self.state[: m.MASKED + 1]]

    def expected(self):
        """Return what the emulator's core has come to."""
        core = self.core
        return [int(x) for x in core.registers], [int(x) for x in (core.n, core.z, core.c, core.v, core.pm)]


@pytest.fixture
def pair():
    return Pair()


def test_every_short_instruction_does_what_the_emulators_core_does(pair):
    left = set()
    for opcode in range(0xE800):
        pair.prepare(opcode, 0xBF00)
        cycles = pair.one()
        if cycles is None:
            left.add(opcode)
            assert pair.registers[15] == CODE, "what is left to the emulator is not begun"
            continue
        assert pair.core.execute_instruction() == cycles, hex(opcode)
        assert pair.seen() == pair.expected(), hex(opcode)
        if opcode % 256 == 255:
            assert bytes(pair.sram.tobytes()) == bytes(pair.mcu.sram), f"memory by {opcode:#06x}"
    assert bytes(pair.sram.tobytes()) == bytes(pair.mcu.sram)
    # Arithmetic, moves, compares and branches are never left.
    assert not [hex(op) for op in left if op < 0x4700 or 0x4800 <= op < 0x5000 or 0xA000 <= op < 0xB000]
    assert not [hex(op) for op in left if op >> 12 == 13 and op >> 8 not in LEFT_HIGH]
    assert len(left) < 0xE800 // 3, "most instructions must be carried out for the test to mean anything"


def test_long_branches_and_the_interrupt_mask(pair):
    draw = random.Random(SEED + 1)
    kinds = [(0xF000 | draw.getrandbits(11), 0xD000 | draw.getrandbits(14) & 0x2FFF) for _ in range(500)]
    kinds += [(0xF3BF, 0x8F5F), (0xF3BF, 0x8F4F), (0xF3BF, 0x8F6F)]
    kinds += [(0xF3EF, 0x8310), (0xF380, 0x8810), (0xF383, 0x8810)]
    for first, second in kinds:
        pair.prepare(first, second)
        cycles = pair.one()
        assert cycles == 3, (hex(first), hex(second))
        assert pair.core.execute_instruction() == cycles
        assert pair.seen() == pair.expected(), (hex(first), hex(second))


def test_a_system_register_is_the_emulators(pair):
    for second in (0x8308, 0x8309, 0x8314):
        pair.prepare(0xF3EF, second)
        assert pair.one() is None


def test_unmasking_stops_at_once_where_an_interrupt_waits(pair):
    pair.prepare(0xB662, 0xBF00)
    pair.state[m.PENDING], pair.state[m.LIMIT] = 1, 100
    thumb.run(pair.registers, pair.state, pair.rom, pair.flash, pair.sram)
    assert (pair.state[m.MASKED], pair.registers[15], pair.state[m.LEFT]) == (0, CODE + 2, 0)


def test_a_return_from_an_exception_is_the_emulators(pair):
    pair.prepare(0x4770, 0xBF00)
    pair.registers[14] = 0xFFFFFFF9
    pair.state[m.HANDLER] = 1
    assert pair.one() is None
    pair.state[m.HANDLER] = 0
    assert pair.one() == 2


def test_the_divider_and_the_locks_are_the_emulators(pair):
    draw = random.Random(SEED + 2)
    sio, state = pair.mcu.sio, pair.state
    state[m.DIVISOR] = 1
    for _ in range(4000):
        at = draw.choice((0x60, 0x64, 0x68, 0x6C, 0x70, 0x74, 0x78, 0x100 + 4 * draw.randrange(32)))
        value = draw.choice((0, 1, 3, 0x80000000, 0xFFFFFFFF, draw.getrandbits(32), draw.getrandbits(8)))
        if draw.randrange(2) and at != 0x78:
            assert m.write_sio(state, at, value)
            sio.write_uint32(at, value)
        else:
            assert m.read_sio(state, at) == int(sio.read_uint32(at)) & m.M32, hex(at)
    assert m.read_sio(state, 0x10) == -1 and not m.write_sio(state, 0x14, 1), "pins are the emulator's"


def test_a_planted_mistake_is_found(pair, monkeypatch):
    # The comparison above must be able to fail: one bit of one result is turned.
    pair.prepare(0x1840, 0xBF00)
    pair.one()
    pair.registers[0] ^= 1
    pair.core.execute_instruction()
    assert pair.seen() != pair.expected()
