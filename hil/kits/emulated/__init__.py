"""The emulated board: a Raspberry Pi Pico in the computer, with real MicroPython in its flash and the firmware on it.

    flash.py          MicroPython's UF2, the file system's image, the firmware's files
    pico.py           the chip: pins, analog inputs, resets, its own clock
    engine.py         how it is run: by rp2040py's loop, or with plain instructions compiled
    thumb.py          those instructions; transfers.py those to and from memory; memory.py what they work on
    mended_uart.py    parts of the emulator, mended from outside
    mended_usb.py
    mended_adc.py
    bus.py            the I2C bus, and the expander and converter that may hang on it
    failing.py        what can fail on the chip itself: flash, clock, a pin
    pins.py           which wire goes to which pin, after the board's own wiring table
    line.py           the USB serial port for a client
    kit.py            all of it as a kit for the procedures
    quiet.py          when the board has next something to do, so that a night is affordable

Differences from a real board: writing and erasing flash takes no time and is never interrupted, voltages have no
noise, the oscillator is exact, and there is no second core.

The UF2 is MicroPython 1.24 or later for RPI_PICO, as downloaded; none is part of this project.
"""
