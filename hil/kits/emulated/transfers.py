"""Instructions that move between registers and memory: single loads and stores, push and pop, multiple ones.

Each returns its cycles, GONE when it is the emulator's; r[15] is two bytes on.
"""

import numpy as np

from hil.kits.emulated.memory import GONE, HANDLER, M32, SIO, SRAM, SRAM_END, njit, read, write


@njit
def load(r, s, rom, flash, sram, address, size, register, sign):
    address &= M32
    value = read(s, rom, flash, sram, address, size)
    if value == GONE:
        return GONE
    if sign and value >> (8 * size - 1):
        value |= M32 << (8 * size) & M32
    r[register] = value
    return 1 if address >= SIO else 2


@njit
def store(r, s, sram, address, size, register):
    address &= M32
    if not write(s, sram, address, np.int64(r[register]), size):
        return GONE
    return 1 if address >= SIO else 2


@njit
def load_store_register(op, r, s, rom, flash, sram):
    # STR, STRH, STRB, LDRSB, LDR, LDRH, LDRB, LDRSH with a register as offset.
    address = np.int64(r[op >> 6 & 7]) + np.int64(r[op >> 3 & 7])
    kind, t = op >> 9 & 7, op & 7
    if kind < 3:
        return store(r, s, sram, address, 4 >> kind, t)
    if kind == 4:
        return load(r, s, rom, flash, sram, address, 4, t, False)
    if kind == 5 or kind == 7:
        return load(r, s, rom, flash, sram, address, 2, t, kind == 7)
    return load(r, s, rom, flash, sram, address, 1, t, kind == 3)


@njit
def load_store_immediate(op, r, s, rom, flash, sram):
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
        return load(r, s, rom, flash, sram, address, size, t, False)
    return store(r, s, sram, address, size, t)


@njit
def _count(bits):
    found = 0
    for i in range(9):
        found += bits >> i & 1
    return found


@njit
def push(op, r, sram):
    count = _count(op & 0x1FF)
    address = np.int64(r[13]) - 4 * count
    if address < SRAM or address + 4 * count > SRAM_END:
        return GONE
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
def pop(op, r, s, sram):
    count = _count(op & 0x1FF)
    address = np.int64(r[13])
    if address < SRAM or address + 4 * count > SRAM_END:
        return GONE
    at = (address - SRAM) >> 2
    if op & 0x100:
        target = np.int64(sram[at + count - 1])
        if s[HANDLER] and target >> 28 == 15:
            return GONE
        r[15] = target & 0xFFFFFFFE
    for i in range(8):
        if op >> i & 1:
            r[i] = sram[at]
            at += 1
    r[13] = address + 4 * count
    return 1 + _count(op & 255) + (2 if op & 0x100 else 0)


@njit
def multiple(op, r, sram):
    # STM and LDM within the work memory.
    n, count = op >> 8 & 7, _count(op & 255)
    address = np.int64(r[n])
    if address & 3 or address < SRAM or address + 4 * count > SRAM_END:
        return GONE
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
