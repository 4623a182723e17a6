"""The program's name and version, as records and pages bear them."""

from importlib import metadata


def made_by():
    """Return the program's name and version."""
    try:
        return f"sumpbench {metadata.version('sumpbench')}"
    except metadata.PackageNotFoundError:
        return "sumpbench from a clone"
