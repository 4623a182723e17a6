"""The folder that a night leaves behind, and the care that nothing of somebody else's is lost.

A folder is ours when its summary says so.  A folder of ours is written anew,
file by file, each complete before it takes its name; a folder that holds files
of the same names but no such summary is refused before anything runs.
"""

import json
import os
from pathlib import Path

from host_sim.errors import InputError

SUMMARY = "summary.json"
MADE_BY = "sumpbench night"
PICTURES = ("strip.png", "strip.svg", "closeup.png", "closeup.svg")
NAMES = (*PICTURES, "timeline.txt", "journal.jsonl", SUMMARY)


def check(folder):
    """Raise InputError where results must not be written into `folder`; create nothing."""
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file: name a folder, or one that does not exist yet", "--out")
    taken = [name for name in NAMES if (folder / name).exists()]
    if taken and not is_ours(folder):
        files = ", ".join(taken)
        raise InputError(f"{folder} holds {files} that no night of ours wrote: name another folder", "--out")
    parent = next(place for place in (folder, *folder.resolve().parents) if place.exists())
    if not os.access(parent, os.W_OK):
        raise InputError(f"{parent} cannot be written to: name another folder", "--out")


def is_ours(folder):
    """Tell whether the summary in `folder` was written by a night of ours."""
    try:
        summary = json.loads((Path(folder) / SUMMARY).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(summary, dict) and summary.get("made_by") == MADE_BY


def write(folder, name, content):
    """Write one result, `content` being a text, or a function that writes to the path it is given.

    The file takes its name only when it is complete, so a stop half-way leaves the older one whole.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    stem, suffix = name.rsplit(".", 1)
    partial = folder / f".{stem}.partial.{suffix}"
    try:
        if callable(content):
            content(partial)
        else:
            partial.write_text(content, encoding="utf-8")
        partial.replace(folder / name)
    finally:
        partial.unlink(missing_ok=True)
    return folder / name
