"""Where compiled cores lie, and which one belongs to which sources.

A core is known by a checksum over the sources that it was made from, over the
translator, and by the Python it was built for.  So several checkouts can share
one cache, and a core never runs in the place of sources that have changed.
"""

import hashlib
import os
import sysconfig
from pathlib import Path

TRANSLATOR = ("build.py", "carrier.py", "hooks.py", "shapes.py", "states.py", "translate.py")
NAME = "sumpbench_core"  # the name of the extension module
LOOP = "sumpbench_loop"  # that of the plant and the loop, which stand on the core

# What a regime is solved with.  It imports nothing else, and so is there when plant and loop are loaded, whose
# imports ask for it: a file of a library that is being loaded would come from its source.
PIPES = "sumpbench_pipes"
PIPES_MODULES = (
    "host_sim.plant.root",
    "host_sim.plant.friction",
    "host_sim.plant.branch",
)

# The files of plant and loop that are compiled, in the order of their imports.
MODULES = (
    "host_sim.plant.water_balance",
    "host_sim.plant.geometry",
    "host_sim.plant.battery",
    "host_sim.plant.noise",
    "host_sim.plant.totals",
    "host_sim.plant.trajectory",
    "host_sim.plant.mode",
    "host_sim.plant.next_event",
    "host_sim.plant.plant",
    "host_sim.run.recorder",
    "host_sim.run.schedule",
    "host_sim.run.controllers",
    "host_sim.run.closed_loop",
    "host_sim.proof.search.contract",
    "host_sim.proof.campaign.monitor",
)

SEARCH = "sumpbench_search"  # that of the explorer's parts, which stand on the core
# Their files, in the order of their imports.  The contract stands in both libraries: each calls its own.
SEARCH_MODULES = (
    "host_sim.proof.search.contract",
    "host_sim.proof.search.frontier",
    "host_sim.proof.search.stand_ins",
    "host_sim.proof.search.abstract_pump",
    "host_sim.proof.search.part_duty",
    "host_sim.proof.search.part_flood",
    "host_sim.proof.search.part_turns",
    "host_sim.proof.search.part_pump",
    "host_sim.proof.search.part_belief",
    "host_sim.proof.search.part_level",
    "host_sim.proof.search.part_pair",
    "host_sim.proof.search.part_alarms",
    "host_sim.proof.search.part_gate",
    "host_sim.proof.search.part_contacts",
)
LIBRARIES = {PIPES: PIPES_MODULES, LOOP: MODULES, SEARCH: SEARCH_MODULES}  # what stands on the core, each by itself


def folder():
    """Return the folder of compiled cores: $SUMPBENCH_CACHE, or `sumpbench` in the user's cache."""
    given = os.environ.get("SUMPBENCH_CACHE")
    if given:
        return Path(given)
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "sumpbench"


def key(sources):
    """Return the name of the core made from the files `*.py` of a folder, by this translator, for this Python."""
    here = Path(__file__).parent
    return _key([*sorted(Path(sources).glob("*.py")), *(here / name for name in TRANSLATOR)], "")


def loop_key(core, paths):
    """Return the name of what is made from the files `paths`, to stand on the core of key `core`."""
    return _key([*paths, Path(__file__).parent / "loop.py"], core)


def _key(paths, before):
    found = hashlib.sha256(before.encode())
    for path in paths:
        found.update(f"\0{path.name}\0".encode())
        found.update(path.read_bytes())
    return f"{found.hexdigest()[:16]}-{sysconfig.get_config_var('SOABI')}"


def library(name, module=NAME):
    """Return the path of the extension module kept under a key; it may not exist."""
    return folder() / name / f"{module}{sysconfig.get_config_var('EXT_SUFFIX')}"
