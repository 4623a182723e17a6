"""Where the firmware's files lie: beside this package in a clone, else where the installation has laid them."""

import sysconfig
from pathlib import Path

BESIDE = Path(__file__).resolve().parents[2] / "firmware"
INSTALLED = Path(sysconfig.get_path("data")) / "share" / "sumpbench" / "firmware"


def find(places=(BESIDE, INSTALLED)):
    """Return the first of `places` that holds the firmware, else the first."""
    return next((place for place in places if (place / "main.py").is_file()), places[0])


FIRMWARE = find()
