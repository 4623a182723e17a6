"""What the compiled instructions work on: flags and limits in one array, memories, the divider and the spin locks.

Registers, memories and state are arrays, because that is what numba passes
without copying.  All values are 0 .. 2**32 - 1 in 64-bit integers.  Source of
the addresses: RP2040 datasheet, sections 2.2 (address map) and 2.3.1 (SIO).
"""

import numpy as np

try:
    import numba

    # No function here makes an array, and counting references to them would take twenty times as long as the work.
    njit = numba.njit(_nrt=False)
    COMPILED = True
except ImportError:  # then these functions are too slow to run a board with, and still right
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
GONE = -1  # not here: the emulator's


@njit
def signed(value):
    return ((value & M32) ^ TOP) - TOP


@njit
def set_nz(s, value):
    s[N] = value >> 31 & 1
    s[Z] = 1 if value & M32 == 0 else 0


@njit
def add(s, a, b):
    total = a + b
    set_nz(s, total)
    s[C] = 1 if total > M32 else 0
    s[V] = 1 if signed(total) != signed(a) + signed(b) else 0
    return total & M32


@njit
def subtract(s, a, b):
    rest = a - b
    set_nz(s, rest)
    s[C] = 1 if a >= b else 0
    s[V] = 1 if (a ^ b) & (a ^ rest) & TOP else 0
    return rest & M32


# The divider and the spin locks.


@njit
def _divide(s, with_sign):
    dividend, divisor = s[DIVIDEND], s[DIVISOR]
    if divisor == 0:
        s[QUOTIENT] = M32 if dividend > 0 else 1
        s[REMAINDER] = dividend
    else:
        if with_sign:
            dividend, divisor = signed(dividend), signed(divisor)
        quotient = abs(dividend) // abs(divisor)
        if (dividend < 0) != (divisor < 0):
            quotient = -quotient
        s[QUOTIENT] = quotient & M32
        s[REMAINDER] = (dividend - quotient * divisor) & M32
    s[DIVIDER_CSR] = 3


@njit
def read_sio(s, at):
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
    return GONE


@njit
def write_sio(s, at, value):
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
def read(s, rom, flash, sram, address, size):
    # The value of `size` bytes, GONE when it is not memory or not aligned.
    if address & (size - 1):
        return GONE
    if SRAM <= address < SRAM_END:
        word = np.int64(sram[(address - SRAM) >> 2])
    elif FLASH <= address < FLASH_END:
        word = np.int64(flash[(address & 0xFFFFFF) >> 2])
    elif address < ROM_BYTES:
        word = np.int64(rom[address >> 2])
    elif SIO <= address < SIO_END and size == 4:
        return read_sio(s, address - SIO)
    else:
        return GONE
    if size == 4:
        return word
    return word >> ((address & 3) << 3) & (0xFF if size == 1 else 0xFFFF)


@njit
def write(s, sram, address, value, size):
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
        return write_sio(s, address - SIO, value)
    return False
