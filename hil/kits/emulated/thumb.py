"""The processor's instruction set, compiled: the plain instructions in one go, everything else left to the emulator.

rp2040py carries out about four million instructions a second, most of its time
going into finding Python methods.  This file carries out the same
instructions on the same registers and memories, compiled by numba.  It takes
the cycle counts and the corner cases of rp2040py's own core, so that a run is
the same instruction for instruction (tests compare the two), and it touches
only memory, the divider and the spin locks.  At anything else - a peripheral,
an exception, a wait for an interrupt - it stops before the instruction, and
the emulator carries that one out.

Source of the encodings: ARM v6-M Architecture Reference Manual, chapter A5.
"""

import numpy as np

from hil.kits.emulated.memory import (
    CYCLES,
    GONE,
    HANDLER,
    LEFT,
    LIMIT,
    M32,
    MASKED,
    PENDING,
    C,
    N,
    V,
    Z,
    add,
    njit,
    read,
    set_nz,
    signed,
    subtract,
)
from hil.kits.emulated.transfers import load, load_store_immediate, load_store_register, multiple, pop, push

# Instructions.  Each returns its cycles, GONE when it is the emulator's; r[15] is two bytes on.


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
        result = signed(value) >> (by if by else 31)
        s[C] = value >> (by - 1 if by else 31) & 1
    set_nz(s, result)
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
        result = signed(value) >> min(31, by)
        s[C] = value >> (by - 1 & 31) & 1
    else:
        by &= 31
        result = (value >> by | value << (32 - by)) & M32
        s[C] = result >> 31
    set_nz(s, result)
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
        r[d] = add(s, b, a + s[C])
    elif kind == 6:
        r[d] = subtract(s, a, b + 1 - s[C])
    elif kind == 9:
        r[d] = subtract(s, 0, b)
    elif kind == 10:
        subtract(s, a, b)
    elif kind == 11:
        add(s, a, b)
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
        set_nz(s, result)
        if kind != 8:
            r[d] = result
    return 1


@njit
def _immediate(op, r, s):
    # MOV, CMP, ADD, SUB with eight bits; ADD, SUB with three bits or a register.
    if op < 0x2000:
        b = op >> 6 & 7 if op & 0x400 else np.int64(r[op >> 6 & 7])
        a = np.int64(r[op >> 3 & 7])
        r[op & 7] = subtract(s, a, b) if op & 0x200 else add(s, a, b)
        return 1
    d, number = op >> 8 & 7, op & 255
    kind = op >> 11 & 3
    if kind == 0:
        r[d] = number
        set_nz(s, number)
    elif kind == 1:
        subtract(s, np.int64(r[d]), number)
    elif kind == 2:
        r[d] = add(s, np.int64(r[d]), number)
    else:
        r[d] = subtract(s, np.int64(r[d]), number)
    return 1


@njit
def _high(op, r, s):
    # ADD, CMP, MOV with any register; BX and BLX.
    m, d = op >> 3 & 15, op >> 4 & 8 | op & 7
    kind = op >> 8 & 3
    if kind == 3:
        return _branch_register(op, r, s, m)
    if kind == 1:
        subtract(s, np.int64(r[d]), np.int64(r[m]))
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
        return GONE
    if op & 0x80:
        r[14] = np.int64(r[15]) | 1
        r[15] = np.int64(r[m]) & 0xFFFFFFFE
        return 2
    target = np.int64(r[m])
    if s[HANDLER] and target >> 28 == 15:
        return GONE
    r[15] = target & 0xFFFFFFFE
    return 2


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
        result = signed((swapped & 0xFFFF) << 16) >> 16 & M32
    else:
        return GONE
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
        return push(op, r, sram)
    if top == 12 or top == 13:
        return pop(op, r, s, sram)
    if op == 0xB672:
        s[MASKED] = 1
        return 1
    if op == 0xB662:
        return _unmask(s, 0)
    return 1 if op == 0xBF00 else GONE


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
            return GONE
        offset = (op & 0x7FF) << 1
        offset -= (offset & 0x800) << 1
    else:
        if op >> 9 & 7 == 7:
            return GONE
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
    second = read(s, rom, flash, sram, pc, 2)
    if second == GONE or op >> 11 != 30:
        return GONE
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
        return GONE
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
        return load(r, s, rom, flash, sram, address, 4, op >> 8 & 7, False)
    if top == 5:
        return load_store_register(op, r, s, rom, flash, sram)
    if top < 10:
        return load_store_immediate(op, r, s, rom, flash, sram)
    if top == 10:
        base = np.int64(r[13]) if op & 0x800 else ((np.int64(r[15]) - 2) & 0xFFFFFFFC) + 4
        r[op >> 8 & 7] = (base + (op & 255) * 4) & M32
        return 1
    if top == 11:
        return _miscellaneous(op, r, s, sram)
    if top == 12:
        return multiple(op, r, sram)
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
        op = read(s, rom, flash, sram, pc, 2)
        if op == GONE:
            s[LEFT] = 1
            return
        r[15] = (pc + 2) & M32
        cycles = _one(op, r, s, rom, flash, sram)
        if cycles == GONE:
            r[15] = pc
            s[LEFT] = 1
            return
        s[CYCLES] += cycles
