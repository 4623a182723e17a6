"""The record's files; a file that was not written by an earlier run is never overwritten."""

import json
import os
from pathlib import Path

from hil.record import document as doc
from hil.record.page import as_html
from host_sim.errors import InputError
from host_sim.report.files import write as write_file

JSON_NAME, HTML_NAME = "record.json", "record.html"


def check(folder):
    """Raise InputError where a record must not be written into `folder`; create nothing."""
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file: name a folder, or one that does not exist yet", "--out")
    for name in (JSON_NAME, HTML_NAME):
        if (folder / name).exists() and not is_ours(folder / JSON_NAME, doc.ACCEPTANCE):
            raise InputError(f"{folder} holds a {name} that no acceptance run wrote: name another folder", "--out")
    _writable(folder, "--out")


def check_file(path):
    """Raise InputError where a hose test must not write to `path`; a finished record is never overwritten."""
    path = Path(path)
    if path.suffix != ".json":
        raise InputError(f"{path}: name a file that ends with .json; the page is written beside it", "--record")
    for taken in (path, path.with_suffix(".html")):
        if taken.exists():
            raise InputError(f"{taken} exists, and a record is never overwritten: name another file", "--record")
    _writable(path.parent, "--record")


def _writable(folder, source):
    parent = next(place for place in (folder, *folder.resolve().parents) if place.exists())
    if not os.access(parent, os.W_OK) or not parent.is_dir():
        raise InputError(f"{parent} cannot be written to: name another place", source)


def is_ours(path, kind):
    """Tell whether a file holds a record of that kind."""
    try:
        found = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(found, dict) and found.get("format") == doc.FORMAT and found.get("kind") == kind


def write(record, folder):
    """Write an acceptance record (the runner's) into a folder; return (path of the JSON, path of the page)."""
    return _write(doc.acceptance(record), Path(folder) / JSON_NAME)


def write_hose_test(document, path):
    """Write the document of a hose test to a file, and its page beside it; return both paths."""
    doc.check(document)
    return _write(document, Path(path))


def _write(document, path):
    # The page first: the JSON marks the record as complete.
    page = path.with_suffix(".html")
    write_file(path.parent, page.name, as_html(document))
    write_file(path.parent, path.name, json.dumps(document, indent=1, ensure_ascii=False) + "\n")
    return path, page
