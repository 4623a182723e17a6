"""What the tests of the emulated board share: what must be installed, the UF2, and a bare chip."""

import os

import pytest

UF2_PLACES = ("SUMPBENCH_UF2", "SUMPBENCH_HIL_UF2")


def emulator():
    """Return the module rp2040py; skips by name where it is not installed."""
    return pytest.importorskip("rp2040py", reason="rp2040py is missing: pip install 'sumpbench[emulated]'")


def uf2():
    """Return the path of a MicroPython UF2 for RPI_PICO; skips by name where none is given."""
    emulator()
    for name in UF2_PLACES:
        if os.environ.get(name):
            return os.environ[name]
    return pytest.skip(f"no MicroPython UF2 for RPI_PICO: give its path in {UF2_PLACES[0]}")


def chip():
    """Return a bare chip with a clock and a silent log, no program in it."""
    emulator()
    from rp2040py.rp2040 import RP2040
    from rp2040py.simulator import Simulator
    from rp2040py.utils.logging import ConsoleLogger, LogLevel

    mcu = RP2040()
    Simulator(rp2040=mcu)
    mcu.logger = ConsoleLogger(LogLevel.ERROR)
    return mcu
