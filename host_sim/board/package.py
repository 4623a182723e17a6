"""package.json, by which `mip` installs the firmware's library on a board, and the seals.

`python -m host_sim.board.package` writes them anew from what there is.  `boot.py`
and `main.py` are not the library's: `sumpbench deploy` brings them.
"""

import json

from host_sim.board.alone import sealed
from host_sim.board.virtual import FIRMWARE

LIBRARY = "lib"
VERSION = "0.1.0"


# These start before anything can check them but the two first files themselves.
SEALED = (FIRMWARE / "main.py", FIRMWARE / LIBRARY / "duplexsump" / "station" / "minimal.py")


def content():
    """Return what package.json must hold, as a dictionary: every file of the library, its place on the board first."""
    root = FIRMWARE / LIBRARY
    names = sorted(str(path.relative_to(root)) for path in root.rglob("*.py"))
    return {"version": VERSION, "deps": [], "urls": [[name, f"firmware/{LIBRARY}/{name}"] for name in names]}


def text():
    """Return package.json as text."""
    return json.dumps(content(), indent=1) + "\n"


if __name__ == "__main__":
    for path in SEALED:
        path.write_text(sealed(path.read_text(encoding="utf-8")), encoding="utf-8")
    (FIRMWARE.parent / "package.json").write_text(text(), encoding="utf-8")
