"""The record's files; a file that was not written by an earlier run is never overwritten."""

import json
from pathlib import Path

from hil.record import document as doc
from hil.record.page import as_html
from host_sim.errors import InputError
from host_sim.report import files

JSON_NAME, HTML_NAME = "record.json", "record.html"
MARKS = {"format": doc.FORMAT, "kind": doc.ACCEPTANCE}


def check(folder):
    """Raise InputError where a record must not be written into `folder`; create nothing."""
    files.check(folder, (JSON_NAME, HTML_NAME), JSON_NAME, MARKS, "acceptance run")


def check_file(path):
    """Raise InputError where a hose test must not write to `path`; a finished record is never overwritten."""
    path = Path(path)
    if path.suffix != ".json":
        raise InputError(f"{path}: name a file that ends with .json; the page is written beside it", "--record")
    for taken in (path, path.with_suffix(".html")):
        if taken.exists():
            raise InputError(f"{taken} exists, and a record is never overwritten: name another file", "--record")
    files.writable(path.parent, "--record")


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
    files.write(path.parent, page.name, as_html(document))
    files.write(path.parent, path.name, json.dumps(document, indent=1, ensure_ascii=False) + "\n")
    return path, page
