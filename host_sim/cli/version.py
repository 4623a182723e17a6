"""What `sumpbench --version` prints: version, checksum of the control firmware, and which core runs."""

from importlib import metadata

from host_sim.compiled import select
from host_sim.run.journal import firmware_checksum


def version():
    """Return one line; the checksum is that of the control part, as in the first line of a journal."""
    try:
        number = metadata.version("sumpbench")
    except metadata.PackageNotFoundError:
        number = "(not installed, run from its sources)"
    return f"sumpbench {number}, control firmware {firmware_checksum():08x}, {select.told()}"
