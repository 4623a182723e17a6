"""Opens the SQLite databases of gateway and watchman: what was put in survives a kill and a power cut."""

import sqlite3
from pathlib import Path

from host_sim.errors import InputError


def open_database(path, schema):
    """Return an open SQLite database in WAL mode with `schema`.  Raises InputError where it cannot be used."""
    try:
        Path(path).parent.mkdir(parents=True, exist_ok=True)
        base = sqlite3.connect(path, check_same_thread=False, timeout=10.0)
        base.execute("pragma journal_mode=wal")
        base.execute("pragma synchronous=full")
        base.executescript(schema)
    except (sqlite3.Error, OSError) as error:
        raise InputError(f"this database cannot be used: {error}", str(path)) from error
    return base
