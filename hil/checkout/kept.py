"""The record of a checkout as it is kept in its file, and taken up again."""

import json
from datetime import datetime

from host_sim.errors import InputError

KIND, VERSION = "build check", 1


def recall(path, board, expander, hardware):
    """Return the document in a file (Path), or a fresh one where there is none; creates nothing.

    Raises InputError where the file is of another build, of a simulated controller and
    this is a real one or the other way round, or is not ours.
    """
    fresh = {"kind": KIND, "version": VERSION, "board": board, "expander": expander,
             "when": datetime.now().astimezone().isoformat(timespec="seconds"), "firmware": "", "hardware": hardware,
             "absent": {}, "items": {}}  # fmt: skip
    if not path.exists():
        return fresh
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be read as a record: {error}; name another", "--record") from error
    if not isinstance(found, dict) or found.get("kind") != KIND or not isinstance(found.get("items"), dict):
        raise InputError(f"{path} is no record of a build check: name another", "--record")
    if (found.get("board"), found.get("expander")) != (board, expander):
        raise InputError(f"{path} is of another board: name another record", "--record")
    if found.get("hardware") != hardware:
        of = "a real controller" if found.get("hardware") else "a simulated controller: it proves no hardware"
        raise InputError(f"{path} is of {of}; name another record", "--record")
    return {**fresh, **found}
