"""Noise and waves as functions of (seed, grid index): the same however often and in whatever order they are asked."""

from math import pi, sin

MASK = 0xFFFFFFFF
CHATTER, FLICKER, LEVEL, FLAPPING = 1, 2, 3, 4  # channels


def mixed(seed: int, index: int, channel: int) -> int:
    """Return 32 well-mixed bits of (seed, index, channel), all integers."""
    x = (index * 0x9E3779B1 + seed * 0x85EBCA77 + channel * 0xC2B2AE3D) & MASK
    x ^= x >> 16
    x = x * 0x7FEB352D & MASK
    x ^= x >> 15
    x = x * 0x846CA68B & MASK
    return x ^ x >> 16


def uniform(seed: int, index: int, channel: int) -> float:
    """Return a number in [-1, 1)."""
    return mixed(seed, index, channel) / 2147483648.0 - 1.0


def wave(seed: int, index: int, height_m: float) -> float:
    """Return the wave at a float, within +-height_m, at a grid index of 100 ms: two sines of invented periods."""
    phase = seed * 0.7391
    return height_m * (0.6 * sin(2.0 * pi * index / 13.7 + phase) + 0.4 * sin(2.0 * pi * index / 7.3 + 2.1 * phase))
