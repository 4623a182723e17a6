"""The command `sumpbench compile`."""

import time


def register(app):
    """Add the command to the command line."""
    app.command(name="compile")(compile_core)


def compile_core():
    """Compile controller and plant for this computer: same files and results, less time; takes some minutes."""
    from host_sim.compiled import build, cache, select
    from host_sim.errors import InputError

    place = select.sources()
    if place is None:
        raise InputError("no firmware is found to compile: run from an installed sumpbench")

    def standing_on_it(library):
        return select.library_path(library), lambda: build.build_loop(place, select.loop_paths(library), library)

    wanted = (
        ("core", cache.library(cache.key(place)), lambda: build.build(place)),
        ("pipes and pumps", *standing_on_it(cache.PIPES)),
        ("plant and loop", *standing_on_it(cache.LOOP)),
        ("explorer", *standing_on_it(cache.SEARCH)),
    )
    for name, path, work in wanted:
        if path.exists():
            print(f"{name}: compiled already: {path}")
            continue
        began = time.perf_counter()
        work()
        print(f"{name}: compiled in {time.perf_counter() - began:.0f} s: {path}")
    print("They run from now on.  SUMPBENCH_CORE=pure runs the Python sources instead.")
