"""The command `sumpbench compile`."""

import time


def register(app):
    """Add the command to the command line."""
    app.command(name="compile")(compile_core)


def compile_core():
    """Compile the control core for this computer: same files and results, ten times the speed; takes a minute."""
    from host_sim.compiled import build, cache, select
    from host_sim.errors import InputError

    place = select.sources()
    if place is None:
        raise InputError("no firmware is found to compile: run from an installed sumpbench")
    if cache.library(cache.key(place)).exists():
        print(f"compiled already: {cache.library(cache.key(place))}")
        return
    began = time.perf_counter()
    path = build.build(place)
    print(f"compiled in {time.perf_counter() - began:.0f} s: {path}")
    print("It runs from now on.  SUMPBENCH_CORE=pure runs the Python sources instead.")
