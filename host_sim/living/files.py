"""The page's own files, the same for both engines: those in `web/`, and two that are made from the firmware."""

import json
from importlib import resources
from pathlib import Path

import duplexsump

from host_sim.living import narrative

MADE = {"firmware.json": lambda: firmware(), "narrative.html": lambda: narrative.page()}


def content(name):
    """Return the bytes of one file of the page, or None where there is none of that name."""
    if name in MADE:
        return MADE[name]().encode()
    path = resources.files("host_sim.living") / "web" / name
    return path.read_bytes() if "/" not in name and "\\" not in name and path.is_file() else None


def all_of_them():
    """Return [(name, bytes)] of the page's files."""
    web = resources.files("host_sim.living") / "web"
    names = sorted({item.name for item in web.iterdir() if item.is_file()} | set(MADE))
    return [(name, content(name)) for name in names]


def firmware():
    """Return the control core's sources as JSON, {"duplexsump/control/x.py": text}, for MicroPython in the page."""
    root = Path(duplexsump.__file__).parent
    paths = [root / "__init__.py", *sorted((root / "control").glob("*.py"))]
    return json.dumps({str(path.relative_to(root.parent)): path.read_text(encoding="utf-8") for path in paths})
