"""Secrets: from the environment, or from a file that only its owner can read; never from the command line."""

import os
import stat
from pathlib import Path

from host_sim.errors import InputError

VARIABLE, FILE_VARIABLE = "SUMPBENCH_MQTT_PASSWORD", "SUMPBENCH_MQTT_PASSWORD_FILE"
MOST_BYTES = 4096


def owner_only(path):
    """Return the text of a file.  Raises InputError where it cannot be read or others may read it."""
    path = Path(path)
    try:
        with path.open("rb") as file:
            mode = os.fstat(file.fileno()).st_mode
            data = file.read(1 << 20)
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", str(path)) from error
    if os.name == "posix" and stat.S_IMODE(mode) & 0o077:
        raise InputError(f"others may read this file, and it holds secrets: chmod 600 {path}", str(path))
    return data.decode("utf-8", "replace")


def password(environment=os.environ):
    """Return the broker password from the environment or the file that it names, "" without one.  Raises InputError."""
    if environment.get(VARIABLE):
        return environment[VARIABLE]
    if environment.get(FILE_VARIABLE):
        return owner_only(environment[FILE_VARIABLE])[:MOST_BYTES].strip()
    return ""
