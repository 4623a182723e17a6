"""The processor's instruction set, compiled: the plain instructions in one go, everything else left to the emulator.

rp2040py carries out about four million instructions a second, most of its time
going into finding Python methods.  This file carries out the same
instructions on the same registers and memories, compiled by numba.  It takes
the cycle counts and the corner cases of rp2040py's own core, so that a run is
the same instruction for instruction (tests compare the two), and it touches
only memory, the divider and the spin locks.  At anything else - a peripheral,
an exception, a wait for an interrupt - it stops before the instruction, and
the emulator carries that one out.

Registers, memories and the state below are arrays, because that is what numba
passes without copying.  All values are 0 .. 2**32 - 1 in 64-bit integers.
Source of the encodings: ARM v6-M Architecture Reference Manual, chapter A5.
"""

import numpy as np

try:
    import numba

    # No function here makes an array, and counting references to them would take twenty times as long as the work.
    njit = numba.njit(cache=True, _nrt=False)
    COMPILED = True
except ImportError:  # Then these functions are too slow to run a board with, and still right.
    COMPILED = False

    def njit(function):
        """Leave a function as it is."""
        return function


# Places in the state array (int64).
N, Z, C, V = 0, 1, 2, 3
MASKED = 4  # PRIMASK
HANDLER = 5  # 1 in an exception handler, where some branches are returns from it
PENDING = 6  # an interrupt is pending: unmasking must stop
LIMIT = 7  # cycles to run
CYCLES = 8  # cycles run
LEFT = 9  # 1: the next instruction is the emulator's
DIVIDEND, DIVISOR, QUOTIENT, REMAINDER, DIVIDER_CSR = 10, 11, 12, 13, 14
LOCKS = 15  # spin locks that are taken
STATE_WORDS = 16

M32 = 0xFFFFFFFF
TOP = 0x80000000
ROM_BYTES = 0x4000
FLASH, FLASH_END = 0x10000000, 0x14000000  # four mirrors of 16 MB
SRAM, SRAM_END = 0x20000000, 0x20042000
SIO, SIO_END = 0xD0000000, 0xD0001000
_GONE = -1  # not here: the emulator's


@njit
def _signed(value):
    return ((value & M32) ^ TOP) - TOP


@njit
def _nz(s, value):
    s[N] = value >> 31 & 1
    s[Z] = 1 if value & M32 == 0 else 0


@njit
def _add(s, a, b):
    total = a + b
    _nz(s, total)
    s[C] = 1 if total > M32 else 0
    s[V] = 1 if _signed(total) != _signed(a) + _signed(b) else 0
    return total & M32


@njit
def _subtract(s, a, b):
    rest = a - b
    _nz(s, rest)
    s[C] = 1 if a >= b else 0
    s[V] = 1 if (a ^ b) & (a ^ rest) & TOP else 0
    return rest & M32


# The divider and the spin locks.


@njit
def _divide(s, signed):
    dividend, divisor = s[DIVIDEND], s[DIVISOR]
    if divisor == 0:
        s[QUOTIENT] = M32 if dividend > 0 else 1
        s[REMAINDER] = dividend
    else:
        if signed:
            dividend, divisor = _signed(dividend), _signed(divisor)
        quotient = abs(dividend) // abs(divisor)
        if (dividend < 0) != (divisor < 0):
            quotient = -quotient
        s[QUOTIENT] = quotient & M32
        s[REMAINDER] = (dividend - quotient * divisor) & M32
    s[DIVIDER_CSR] = 3


@njit
def _read_sio(s, at):
    if at == 0:
        return 0  # the number of the processor
    if 0x100 <= at < 0x180:
        bit = 1 << (at - 0x100 >> 2)
        if s[LOCKS] & bit:
            return 0
        s[LOCKS] |= bit
        return bit
    if at == 0x60 or at == 0x68:
        return s[DIVIDEND]
    if at == 0x64 or at == 0x6C:
        return s[DIVISOR]
    if at == 0x70:
        s[DIVIDER_CSR] &= ~2
        return s[QUOTIENT]
    if at == 0x74:
        return s[REMAINDER]
    if at == 0x78:
        return s[DIVIDER_CSR]
    return _GONE


@njit
def _write_sio(s, at, value):
    if 0x100 <= at < 0x180:
        s[LOCKS] &= ~(1 << (at - 0x100 >> 2))
    elif at == 0x60 or at == 0x68:
        s[DIVIDEND] = value
        _divide(s, at == 0x68)
    elif at == 0x64 or at == 0x6C:
        s[DIVISOR] = value
        _divide(s, at == 0x6C)
    elif at == 0x70 or at == 0x74:
        s[QUOTIENT if at == 0x70 else REMAINDER] = value
        s[DIVIDER_CSR] = 3
    else:
        return False
    return True


# Memory.


@njit
def _read(s, rom, flash, sram, address, size):
    # The value of `size` bytes, _GONE when it is not memory or not aligned.
    if address & (size - 1):
        return _GONE
    if SRAM <= address < SRAM_END:
        word = np.int64(sram[(address - SRAM) >> 2])
    elif FLASH <= address < FLASH_END:
        word = np.int64(flash[(address & 0xFFFFFF) >> 2])
    elif address < ROM_BYTES:
        word = np.int64(rom[address >> 2])
    elif SIO <= address < SIO_END and size == 4:
        return _read_sio(s, address - SIO)
    else:
        return _GONE
    if size == 4:
        return word
    return word >> ((address & 3) << 3) & (0xFF if size == 1 else 0xFFFF)


@njit
def _write(s, sram, address, value, size):
    # False when it is not memory that can be written, or not aligned.
    if address & (size - 1):
        return False
    if SRAM <= address < SRAM_END:
        at = (address - SRAM) >> 2
        if size == 4:
            sram[at] = value
        else:
            shift = (address & 3) << 3
            mask = (0xFF if size == 1 else 0xFFFF) << shift
            sram[at] = np.int64(sram[at]) & ~mask | value << shift & mask
        return True
    if SIO <= address < SIO_END and size == 4:
        return _write_sio(s, address - SIO, value)
    return False


# Instructions.  Each returns its cycles, _GONE when it is the emulator's; r[15] is two bytes on.


@njit
def _load(r, s, rom, flash, sram, address, size, register, sign):
    address &= M32
    value = _read(s, rom, flash, sram, address, size)
    if value == _GONE:
        return _GONE
    if sign and value >> (8 * size - 1):
        value |= M32 << (8 * size) & M32
    r[register] = value
    return 1 if address >= SIO else 2


@njit
def _store(r, s, sram, address, size, register):
    address &= M32
    if not _write(s, sram, address, np.int64(r[register]), size):
        return _GONE
    return 1 if address >= SIO else 2


@njit
def _shift_immediate(op, r, s):
    # LSL, LSR, ASR by a number.
    kind, by = op >> 11, op >> 6 & 31
    value = np.int64(r[op >> 3 & 7])
    if kind == 0:
        result = value << by
        if by:
            s[C] = value >> (32 - by) & 1
    elif kind == 1:
        result = value >> by if by else 0
        s[C] = value >> (by - 1 if by else 31) & 1
    else:
        result = _signed(value) >> (by if by else 31)
        s[C] = value >> (by - 1 if by else 31) & 1
    _nz(s, result)
    r[op & 7] = result & M32
    return 1


@njit
def _shift_register(op, r, s, kind):
    # LSL 2, LSR 3, ASR 4, ROR 7 by a register; how the emulator has it where the count is 0 or above 31.
    value, by = np.int64(r[op & 7]), np.int64(r[op >> 3 & 7]) & 255
    if kind == 2:
        result = value << by if by < 32 else 0
        if by:
            s[C] = value >> (32 - by & 31) & 1
    elif kind == 3:
        result = value >> by if by < 32 else 0
        s[C] = value >> (by - 1 & 31) & 1 if by <= 32 else 0
    elif kind == 4:
        by = min(32, by)
        result = _signed(value) >> min(31, by)
        s[C] = value >> (by - 1 & 31) & 1
    else:
        by &= 31
        result = (value >> by | value << (32 - by)) & M32
        s[C] = result >> 31
    _nz(s, result)
    r[op & 7] = result & M32
    return 1


@njit
def _data(op, r, s):
    # Two registers, the sixteen operations of 0b010000.
    kind = op >> 6 & 15
    if kind == 2 or kind == 3 or kind == 4 or kind == 7:
        return _shift_register(op, r, s, kind)
    d, m = op & 7, op >> 3 & 7
    a, b = np.int64(r[d]), np.int64(r[m])
    if kind == 5:
        r[d] = _add(s, b, a + s[C])
    elif kind == 6:
        r[d] = _subtract(s, a, b + 1 - s[C])
    elif kind == 9:
        r[d] = _subtract(s, 0, b)
    elif kind == 10:
        _subtract(s, a, b)
    elif kind == 11:
        _add(s, a, b)
    else:
        if kind == 0 or kind == 8:
            result = a & b
        elif kind == 1:
            result = a ^ b
        elif kind == 12:
            result = a | b
        elif kind == 13:
            result = (a * b) & M32
        elif kind == 14:
            result = a & ~b
        else:
            result = ~b & M32
        _nz(s, result)
        if kind != 8:
            r[d] = result
    return 1


@njit
def _immediate(op, r, s):
    # MOV, CMP, ADD, SUB with eight bits; ADD, SUB with three bits or a register.
    if op < 0x2000:
        b = op >> 6 & 7 if op & 0x400 else np.int64(r[op >> 6 & 7])
        a = np.int64(r[op >> 3 & 7])
        r[op & 7] = _subtract(s, a, b) if op & 0x200 else _add(s, a, b)
        return 1
    d, number = op >> 8 & 7, op & 255
    kind = op >> 11 & 3
    if kind == 0:
        r[d] = number
        _nz(s, number)
    elif kind == 1:
        _subtract(s, np.int64(r[d]), number)
    elif kind == 2:
        r[d] = _add(s, np.int64(r[d]), number)
    else:
        r[d] = _subtract(s, np.int64(r[d]), number)
    return 1


@njit
def _high(op, r, s):
    # ADD, CMP, MOV with any register; BX and BLX.
    m, d = op >> 3 & 15, op >> 4 & 8 | op & 7
    kind = op >> 8 & 3
    if kind == 3:
        return _branch_register(op, r, s, m)
    if kind == 1:
        _subtract(s, np.int64(r[d]), np.int64(r[m]))
        return 1
    value = np.int64(r[m]) + (2 if m == 15 else 0)
    if kind == 0:
        value += np.int64(r[d]) + (2 if d == 15 else 0)
    if d == 15:
        r[15] = value & 0xFFFFFFFE
        return 2
    r[d] = value & (0xFFFFFFFC if d == 13 else M32)
    return 1


@njit
def _branch_register(op, r, s, m):
    if op & 7:
        return _GONE
    if op & 0x80:
        r[14] = np.int64(r[15]) | 1
        r[15] = np.int64(r[m]) & 0xFFFFFFFE
        return 2
    target = np.int64(r[m])
    if s[HANDLER] and target >> 28 == 15:
        return _GONE
    r[15] = target & 0xFFFFFFFE
    return 2


@njit
def _load_store_register(op, r, s, rom, flash, sram):
    # STR, STRH, STRB, LDRSB, LDR, LDRH, LDRB, LDRSH with a register as offset.
    address = np.int64(r[op >> 6 & 7]) + np.int64(r[op >> 3 & 7])
    kind, t = op >> 9 & 7, op & 7
    if kind < 3:
        return _store(r, s, sram, address, 4 >> kind, t)
    if kind == 4:
        return _load(r, s, rom, flash, sram, address, 4, t, False)
    if kind == 5 or kind == 7:
        return _load(r, s, rom, flash, sram, address, 2, t, kind == 7)
    return _load(r, s, rom, flash, sram, address, 1, t, kind == 3)


@njit
def _load_store_immediate(op, r, s, rom, flash, sram):
    # Words, bytes and halves with five bits of offset; words from the stack pointer with eight.
    kind = op >> 12
    if kind == 9:
        size, t = 4, op >> 8 & 7
        address = np.int64(r[13]) + (op & 255) * 4
    else:
        size = 4 if kind == 6 else (1 if kind == 7 else 2)
        t = op & 7
        address = np.int64(r[op >> 3 & 7]) + (op >> 6 & 31) * size
    if op & 0x800:
        return _load(r, s, rom, flash, sram, address, size, t, False)
    return _store(r, s, sram, address, size, t)


@njit
def _count(bits):
    found = 0
    for i in range(9):
        found += bits >> i & 1
    return found


@njit
def _push(op, r, sram):
    count = _count(op & 0x1FF)
    address = np.int64(r[13]) - 4 * count
    if address < SRAM or address + 4 * count > SRAM_END:
        return _GONE
    r[13] = address
    at = (address - SRAM) >> 2
    for i in range(8):
        if op >> i & 1:
            sram[at] = r[i]
            at += 1
    if op & 0x100:
        sram[at] = r[14]
    return 1 + _count(op & 255)


@njit
def _pop(op, r, s, sram):
    count = _count(op & 0x1FF)
    address = np.int64(r[13])
    if address < SRAM or address + 4 * count > SRAM_END:
        return _GONE
    at = (address - SRAM) >> 2
    if op & 0x100:
        target = np.int64(sram[at + count - 1])
        if s[HANDLER] and target >> 28 == 15:
            return _GONE
        r[15] = target & 0xFFFFFFFE
    for i in range(8):
        if op >> i & 1:
            r[i] = sram[at]
            at += 1
    r[13] = address + 4 * count
    return 1 + _count(op & 255) + (2 if op & 0x100 else 0)


@njit
def _multiple(op, r, sram):
    # STM and LDM within the work memory.
    n, count = op >> 8 & 7, _count(op & 255)
    address = np.int64(r[n])
    if address & 3 or address < SRAM or address + 4 * count > SRAM_END:
        return _GONE
    at = (address - SRAM) >> 2
    for i in range(8):
        if op >> i & 1:
            if op & 0x800:
                r[i] = sram[at]
            else:
                sram[at] = r[i]
            at += 1
    if not op >> n & 1:
        r[n] = (address + 4 * count) & M32
    return 1 + count


@njit
def _unmask(s, masked):
    # An interrupt that waits behind the mask is taken by the emulator, which looks when `LIMIT` is reached.
    s[MASKED] = masked
    if s[PENDING]:
        s[LIMIT] = 0
    return 1


@njit
def _extend(op, r):
    # SXTH, SXTB, UXTH, UXTB; REV, REV16, REVSH.
    value = np.int64(r[op >> 3 & 7])
    kind = op >> 6 & 3
    swapped = (value & 0x00FF00FF) << 8 | (value & 0xFF00FF00) >> 8
    if op >> 8 == 0xB2:
        if kind & 1:
            result = value & 0xFF
            result |= 0xFFFFFF00 if kind == 1 and result & 0x80 else 0
        else:
            result = value & 0xFFFF
            result |= 0xFFFF0000 if kind == 0 and result & 0x8000 else 0
    elif kind == 0:
        result = (swapped & 0xFFFF) << 16 | swapped >> 16
    elif kind == 1:
        result = swapped
    elif kind == 3:
        result = _signed((swapped & 0xFFFF) << 16) >> 16 & M32
    else:
        return _GONE
    r[op & 7] = result
    return 1


@njit
def _miscellaneous(op, r, s, sram):
    top = op >> 8 & 15
    if top == 0:
        by = (op & 0x7F) * 4
        r[13] = (np.int64(r[13]) + (-by if op & 0x80 else by)) & 0xFFFFFFFC
        return 1
    if top == 2 or top == 10:
        return _extend(op, r)
    if top == 4 or top == 5:
        return _push(op, r, sram)
    if top == 12 or top == 13:
        return _pop(op, r, s, sram)
    if op == 0xB672:
        s[MASKED] = 1
        return 1
    if op == 0xB662:
        return _unmask(s, 0)
    return 1 if op == 0xBF00 else _GONE


@njit
def _condition(s, cond):
    base = cond >> 1
    if base == 0:
        holds = s[Z] == 1
    elif base == 1:
        holds = s[C] == 1
    elif base == 2:
        holds = s[N] == 1
    elif base == 3:
        holds = s[V] == 1
    elif base == 4:
        holds = s[C] == 1 and s[Z] == 0
    elif base == 5:
        holds = s[N] == s[V]
    else:
        holds = s[N] == s[V] and s[Z] == 0
    return holds != (cond & 1 == 1)


@njit
def _branch(op, r, s):
    if op >> 12 == 14:
        if op & 0x800:
            return _GONE
        offset = (op & 0x7FF) << 1
        offset -= (offset & 0x800) << 1
    else:
        if op >> 9 & 7 == 7:
            return _GONE
        if not _condition(s, op >> 8 & 15):
            return 1
        offset = (op & 255) << 1
        offset -= (offset & 0x100) << 1
    r[15] = (np.int64(r[15]) + 2 + offset) & M32
    return 2


@njit
def _wide(op, r, s, rom, flash, sram):
    # BL, barriers, and the interrupt mask; every other system register is the emulator's.
    pc = np.int64(r[15])
    second = _read(s, rom, flash, sram, pc, 2)
    if second == _GONE or op >> 11 != 30:
        return _GONE
    if second >> 14 == 3 and second >> 12 & 1:
        sign = op >> 10 & 1
        i1, i2 = 1 - (sign ^ second >> 13 & 1), 1 - (sign ^ second >> 11 & 1)
        offset = sign * 0xFF000000 | i1 << 23 | i2 << 22 | (op & 0x3FF) << 12 | (second & 0x7FF) << 1
        r[14] = (pc + 2) | 1
        r[15] = (pc + 2 + offset) & M32
        return 3
    if op == 0xF3BF and 0x8F40 <= second & 0xFFF0 <= 0x8F60:
        r[15] = pc + 2
    elif op == 0xF3EF and second >> 12 == 8 and second & 255 == 16:
        r[second >> 8 & 15] = s[MASKED]
        r[15] = pc + 2
    elif op >> 4 == 0xF38 and second == 0x8810:
        r[15] = pc + 2
        _unmask(s, np.int64(r[op & 15]) & 1)
    else:
        return _GONE
    return 3


@njit
def _one(op, r, s, rom, flash, sram):
    # One instruction by its top bits.
    top = op >> 12
    if top < 2:
        return _shift_immediate(op, r, s) if op < 0x1800 else _immediate(op, r, s)
    if top < 4:
        return _immediate(op, r, s)
    if top == 4:
        if op < 0x4400:
            return _data(op, r, s)
        if op < 0x4800:
            return _high(op, r, s)
        address = ((np.int64(r[15]) + 2) & 0xFFFFFFFC) + (op & 255) * 4
        return _load(r, s, rom, flash, sram, address, 4, op >> 8 & 7, False)
    if top == 5:
        return _load_store_register(op, r, s, rom, flash, sram)
    if top < 10:
        return _load_store_immediate(op, r, s, rom, flash, sram)
    if top == 10:
        base = np.int64(r[13]) if op & 0x800 else ((np.int64(r[15]) - 2) & 0xFFFFFFFC) + 4
        r[op >> 8 & 7] = (base + (op & 255) * 4) & M32
        return 1
    if top == 11:
        return _miscellaneous(op, r, s, sram)
    if top == 12:
        return _multiple(op, r, sram)
    if top < 15 and not (top == 14 and op & 0x800):
        return _branch(op, r, s)
    return _wide(op, r, s, rom, flash, sram)


@njit
def run(r, s, rom, flash, sram):
    """Carry out instructions until `s[CYCLES]` reaches `s[LIMIT]` or the next is the emulator's (`s[LEFT]` = 1).

    r: uint32[16]; s: int64[STATE_WORDS]; rom, flash, sram: the memories as uint32.
    """
    s[LEFT] = 0
    while s[CYCLES] < s[LIMIT]:
        pc = np.int64(r[15]) & 0xFFFFFFFE
        op = _read(s, rom, flash, sram, pc, 2)
        if op == _GONE:
            s[LEFT] = 1
            return
        r[15] = (pc + 2) & M32
        cycles = _one(op, r, s, rom, flash, sram)
        if cycles == _GONE:
            r[15] = pc
            s[LEFT] = 1
            return
        s[CYCLES] += cycles
