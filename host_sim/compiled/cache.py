"""Where compiled cores lie, and which one belongs to which sources.

A core is known by a checksum over the sources that it was made from, over the
translator, and by the Python it was built for.  So several checkouts can share
one cache, and a core never runs in the place of sources that have changed.
"""

import hashlib
import os
import sysconfig
from pathlib import Path

TRANSLATOR = ("build.py", "hooks.py", "shapes.py", "translate.py")
NAME = "sumpbench_core"  # the name of the extension module


def folder():
    """Return the folder of compiled cores: $SUMPBENCH_CACHE, or `sumpbench` in the user's cache."""
    given = os.environ.get("SUMPBENCH_CACHE")
    if given:
        return Path(given)
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "sumpbench"


def key(sources):
    """Return the name of the core made from the files `*.py` of a folder, by this translator, for this Python."""
    found = hashlib.sha256()
    here = Path(__file__).parent
    for path in [*sorted(Path(sources).glob("*.py")), *(here / name for name in TRANSLATOR)]:
        found.update(f"\0{path.name}\0".encode())
        found.update(path.read_bytes())
    return f"{found.hexdigest()[:16]}-{sysconfig.get_config_var('SOABI')}"


def library(name):
    """Return the path of the compiled core of a key; it may not exist."""
    return folder() / name / f"{NAME}{sysconfig.get_config_var('EXT_SUFFIX')}"
