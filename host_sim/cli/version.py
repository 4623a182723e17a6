"""What `sumpbench --version` prints: the package's version, and the checksum of the control firmware beside it."""

from importlib import metadata

from host_sim.run.journal import firmware_checksum


def version():
    """Return one line; the checksum is the one that a simulated night's journal names in its first line."""
    try:
        number = metadata.version("sumpbench")
    except metadata.PackageNotFoundError:
        number = "(not installed, run from its sources)"
    return f"sumpbench {number}, control firmware {firmware_checksum():08x}"
